//! Who may import whom.

use crate::Breach;
use crate::manifest;
use crate::rust::{self, Token};
use crate::tree::Tree;

/// The import table: a crate, and the crates that it may import.
pub const TABLE: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("solve", &[]),
    ("sheet", &["units"]),
    ("record", &["units", "sheet"]),
    ("circuit", &["units", "sheet"]),
    ("logic", &["units", "sheet", "cover"]),
    ("memory", &["units", "sheet", "cover"]),
    ("signal", &["units", "sheet"]),
    ("predict", &["units", "sheet", "record", "circuit", "solve"]),
    ("diagnose", &["units", "sheet", "record", "cover"]),
    ("cover", &[]),
    ("exact", &[]),
    ("link", &["units", "record"]),
    (
        "bench",
        &[
            "units", "sheet", "record", "circuit", "logic", "memory", "signal", "predict",
            "diagnose", "cover", "exact", "link",
        ],
    ),
    ("store", &["units", "sheet", "record"]),
    ("web", &["bench", "store"]),
    ("cli", &["bench", "store", "web"]),
];

/// Crates that compute; nothing above the facade may name them, not even through it.
const NUMERIC: &[&str] = &[
    "solve", "circuit", "predict", "diagnose", "logic", "memory", "signal", "cover", "exact",
];

/// The crates that `name` may import; none if it has no row.
pub fn allowed(name: &str) -> Option<&'static [&'static str]> {
    TABLE.iter().find(|row| row.0 == name).map(|row| row.1)
}

/// Imports that the table forbids.
pub fn breaches(tree: &Tree) -> Vec<Breach> {
    let mut found = Vec::new();
    for name in tree.crates() {
        let manifest = format!("crates/{name}/Cargo.toml");
        let breach = |file: &str, line: usize, what: String| Breach {
            file: file.to_owned(),
            line,
            what,
        };
        let Some(allowed) = allowed(name) else {
            let what = format!("{name} has no row in the import table");
            found.push(breach(&manifest, 1, what));
            continue;
        };
        let forbidden = |other: &str| {
            other != name && TABLE.iter().any(|row| row.0 == other) && !allowed.contains(&other)
        };
        let may_not = |other: &str| format!("{name} may not import {other}");
        for dependency in manifest::dependencies(&tree.files[&manifest]) {
            if forbidden(&dependency.package) {
                let what = may_not(&dependency.package);
                found.push(breach(&manifest, dependency.line, what));
            }
        }
        let own = own_modules(tree, name);
        for folder in ["src", "tests", "benches", "examples"] {
            for (file, text) in tree.rust(name, folder) {
                let code = rust::code(text);
                let tokens = rust::tokens(&code);
                let local =
                    |word: &str| own.contains(&word.to_owned()) || brought_in(&tokens, word);
                for other in heads(&tokens) {
                    if forbidden(other.text) && !local(other.text) {
                        found.push(breach(file, other.line, may_not(other.text)));
                    }
                }
                if name == "bench" && folder == "src" {
                    for other in handed_on(&tokens) {
                        let what = format!("bench hands on {}, which computes", other.text);
                        found.push(breach(file, other.line, what));
                    }
                }
            }
        }
    }
    found
}

/// Names of the modules that a crate declares.
fn own_modules(tree: &Tree, name: &str) -> Vec<String> {
    let mut list = Vec::new();
    for (_, text) in tree.rust(name, "src") {
        let code = rust::code(text);
        for pair in rust::tokens(&code).windows(2) {
            if pair[0].text == "mod" {
                list.push(pair[1].text.to_owned());
            }
        }
    }
    list
}

/// Words at the head of a path: `word::`, `::word::`, `use word;`, `use word as`.
fn heads<'a>(tokens: &[Token<'a>]) -> Vec<Token<'a>> {
    let text = |i: Option<usize>| i.and_then(|i| tokens.get(i)).map_or("", |t| t.text);
    let is_word = |t: &str| t.starts_with(|c: char| c.is_alphanumeric() || c == '_');
    (0..tokens.len())
        .filter(|&i| {
            let before = text(i.checked_sub(1));
            let after = text(Some(i + 1));
            let rooted = before == "::" && !is_word(text(i.checked_sub(2)));
            let first = before != "::" && before != ".";
            let imported = before == "use" && matches!(after, ";" | "as");
            (first || rooted) && after == "::" || imported
        })
        .map(|i| tokens[i])
        .collect()
}

/// Whether a `use` of this file brings `word` in from somewhere else, as in `use bench::signal`.
fn brought_in(tokens: &[Token<'_>], word: &str) -> bool {
    tokens
        .split(|t| t.text == ";")
        .filter_map(|statement| {
            let at = statement.iter().position(|t| t.text == "use")?;
            Some(&statement[at + 1..])
        })
        .any(|path| path.iter().skip(1).any(|t| t.text == word) && path[0].text != word)
}

/// Crates that compute, at the head of a `pub use`.
fn handed_on<'a>(tokens: &[Token<'a>]) -> Vec<Token<'a>> {
    tokens
        .windows(3)
        .filter(|w| w[0].text == "pub" && w[1].text == "use" && NUMERIC.contains(&w[2].text))
        .map(|w| w[2])
        .collect()
}

#[test]
fn the_table_has_no_circle() {
    // A crate may import only crates that can be built before it.
    let mut built: Vec<&str> = Vec::new();
    while built.len() < TABLE.len() {
        let before = built.len();
        for (name, imports) in TABLE {
            if !built.contains(name) && imports.iter().all(|i| built.contains(i)) {
                built.push(name);
            }
        }
        assert!(built.len() > before, "a circle outside {built:?}");
    }
}
