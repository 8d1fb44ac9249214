//! What a manifest depends on, in every way in which Cargo lets it be written.

/// A dependency.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Dependency {
    /// The package, whatever it is called where it is used.
    pub package: String,
    /// Line, counted from 1.
    pub line: usize,
}

/// All dependencies of a manifest, those of tests and build scripts too.
pub fn dependencies(manifest: &str) -> Vec<Dependency> {
    let mut list = Vec::new();
    let mut section = Section::Other;
    for (number, line) in manifest.lines().enumerate() {
        let line = line.trim();
        let mut add = |package: &str| {
            list.push(Dependency {
                package: package.to_owned(),
                line: number + 1,
            });
        };
        if let Some(head) = line.strip_prefix('[').and_then(|l| l.strip_suffix(']')) {
            section = Section::of(head);
            if let Section::One(name) = &section {
                add(name);
            }
            continue;
        }
        let Some((key, value)) = line.split_once('=') else {
            continue;
        };
        let renamed = quoted_after(value, "package");
        match &section {
            Section::Other => {}
            Section::Many => {
                let name = key.trim().split('.').next().unwrap_or_default();
                add(renamed.unwrap_or(name.trim_matches('"')));
            }
            // `[dependencies.name]` with `package = "other"` below it.
            Section::One(_) => {
                if key.trim() == "package" {
                    add(value.trim().trim_matches('"'));
                }
            }
        }
    }
    list
}

enum Section {
    Other,
    Many,
    One(String),
}

impl Section {
    fn of(head: &str) -> Self {
        let kinds = ["dependencies", "dev-dependencies", "build-dependencies"];
        let last = |h: &str| h.rsplit('.').next().unwrap_or_default().to_owned();
        if head.starts_with("workspace") {
            return Section::Other;
        }
        if kinds.contains(&last(head).as_str()) {
            return Section::Many;
        }
        match head.rsplit_once('.') {
            Some((before, name)) if kinds.contains(&last(before).as_str()) => {
                Section::One(name.trim_matches('"').to_owned())
            }
            _ => Section::Other,
        }
    }
}

/// The quoted text after `word =`.
fn quoted_after<'a>(text: &'a str, word: &str) -> Option<&'a str> {
    let after = &text[text.find(word)? + word.len()..];
    let value = after.trim_start().strip_prefix('=')?.trim_start();
    value.strip_prefix('"')?.split('"').next()
}
