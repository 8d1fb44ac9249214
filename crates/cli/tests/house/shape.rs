//! How a file looks: its first sentence, its length, its name, nothing left undone.

use crate::Breach;
use crate::rust;
use crate::tree::{Tree, ends_with};

/// Lines after which a file needs a reason.
const LONGEST: usize = 600;

/// Files that are longer, each with its reason.
const LONGER: &[(&str, &str)] = &[(
    "crates/signal/tests/readers.rs",
    "one table of files, well and ill formed, over every format of recordings",
)];

/// Words that say nothing about what a file holds.
const EMPTY_WORDS: &[&str] = &[
    "common", "data", "handle", "handler", "helper", "helpers", "manager", "mgr", "misc", "util",
    "utils",
];

/// Files that do not look as they should.
pub fn breaches(tree: &Tree) -> Vec<Breach> {
    tree.files
        .iter()
        .filter(|(file, _)| ["rs", "py", "js", "css"].iter().any(|e| ends_with(file, e)))
        .flat_map(|(file, text)| of_file(file, text))
        .chain(stale(tree))
        .collect()
}

fn of_file(file: &str, text: &str) -> Vec<Breach> {
    let mut found = Vec::new();
    let mut add = |line, what| {
        found.push(Breach {
            file: file.to_owned(),
            line,
            what,
        });
    };
    let lines = text.lines().count();
    if lines > LONGEST && !LONGER.iter().any(|l| l.0 == file) {
        let what = format!("{lines} lines; over {LONGEST} a file needs a reason in the list");
        add(LONGEST + 1, what);
    }
    let stem = file.rsplit('/').next().and_then(|n| n.split('.').next());
    for word in stem.unwrap_or_default().split('_') {
        if EMPTY_WORDS.contains(&word) {
            add(
                1,
                format!("the name `{word}` says nothing of what is inside"),
            );
        }
    }
    if ends_with(file, "rs") {
        if !begins_with_a_sentence(text) {
            add(1, "begins without a `//!` sentence".to_owned());
        }
        for (line, what) in undone(text) {
            add(line, what);
        }
    }
    found
}

/// `//!` at the top; a capital or a code word at its start, a full stop at the end of the paragraph.
fn begins_with_a_sentence(text: &str) -> bool {
    let paragraph: Vec<&str> = text
        .lines()
        .map_while(|l| l.strip_prefix("//!"))
        .map(str::trim)
        .take_while(|l| !l.is_empty())
        .collect();
    let first = paragraph.first().and_then(|l| l.chars().next());
    let last = paragraph.last().and_then(|l| l.chars().last());
    first.is_some_and(|c| c.is_uppercase() || c.is_numeric() || c == '`')
        && last.is_some_and(|c| matches!(c, '.' | ':' | '?'))
}

/// Work left undone, and tests that never run.
fn undone(text: &str) -> Vec<(usize, String)> {
    let code = rust::code(text);
    let tokens = rust::tokens(&code);
    let mut found = Vec::new();
    for w in tokens.windows(3) {
        let said = match (w[0].text, w[1].text, w[2].text) {
            (name @ ("todo" | "unimplemented"), "!", _) => format!("`{name}!` is unfinished work"),
            ("#", "[", "ignore") => "`#[ignore]` hides a test".to_owned(),
            _ => continue,
        };
        found.push((w[0].line, said));
    }
    found
}

/// Entries of the list of long files that are long no more.
fn stale(tree: &Tree) -> Vec<Breach> {
    let long = |file: &str| {
        tree.files
            .get(file)
            .is_some_and(|t| t.lines().count() > LONGEST)
    };
    LONGER
        .iter()
        .filter(|l| !long(l.0))
        .map(|l| Breach {
            file: l.0.to_owned(),
            line: 1,
            what: format!("is no longer than {LONGEST} lines and should leave the list"),
        })
        .collect()
}
