//! The project's text files, read once, so that a breach can be planted in a copy.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// Files by their path from the project's root, with `/` between the names.
#[derive(Clone, Debug, Default)]
pub struct Tree {
    /// Contents.
    pub files: BTreeMap<String, String>,
}

/// The root of the project.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// Endings of the files that rules are about.
const ENDINGS: [&str; 6] = ["rs", "toml", "md", "py", "js", "css"];

impl Tree {
    /// Reads all files with an ending of interest below `root`.
    pub fn read(root: &Path) -> Self {
        let mut tree = Self::default();
        tree.add(root, "");
        tree
    }

    fn add(&mut self, directory: &Path, prefix: &str) {
        let entries = std::fs::read_dir(directory).expect("the project can be read");
        for entry in entries {
            let entry = entry.expect("the project can be read");
            let name = entry.file_name().to_string_lossy().into_owned();
            let path = format!("{prefix}{name}");
            let kind = entry.file_type().expect("the project can be read");
            if name.starts_with('.') || name == "target" {
                continue;
            }
            if kind.is_dir() {
                self.add(&entry.path(), &format!("{path}/"));
            } else if kind.is_file() && ENDINGS.iter().any(|e| ends_with(&name, e)) {
                let text = std::fs::read_to_string(entry.path()).expect("source is UTF-8");
                self.files.insert(path, text);
            }
        }
    }

    /// A copy in which `text` is appended to a file, which is made if it is not there.
    pub fn with(&self, file: &str, text: &str) -> Self {
        let mut copy = self.clone();
        copy.files
            .entry(file.to_owned())
            .or_default()
            .push_str(text);
        copy
    }

    /// Names of the folders in `crates/` that hold a manifest.
    pub fn crates(&self) -> BTreeSet<&str> {
        self.files
            .keys()
            .filter_map(|f| f.strip_prefix("crates/")?.strip_suffix("/Cargo.toml"))
            .filter(|name| !name.contains('/'))
            .collect()
    }

    /// The Rust files of a crate in one of its folders, `src` or `tests` or another.
    pub fn rust<'a>(
        &'a self,
        name: &str,
        folder: &str,
    ) -> impl Iterator<Item = (&'a str, &'a str)> {
        let prefix = format!("crates/{name}/{folder}/");
        self.files
            .iter()
            .filter(move |(f, _)| f.starts_with(&prefix) && ends_with(f, "rs"))
            .map(|(f, text)| (f.as_str(), text.as_str()))
    }
}

/// Whether a path has this ending.
pub fn ends_with(path: &str, ending: &str) -> bool {
    Path::new(path).extension().is_some_and(|e| e == ending)
}

/// A copy of the project on disk, in a fresh folder of that name.
pub fn copy(name: &str) -> PathBuf {
    let to = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}-{}", std::process::id()));
    for (file, text) in &Tree::read(&root()).files {
        let path = to.join(file);
        let folder = path.parent().expect("a file is in a folder");
        std::fs::create_dir_all(folder).expect("the copy can be made");
        std::fs::write(path, text).expect("the copy can be made");
    }
    to
}
