//! `ARCHITECTURE.md` says what is true: its table is the one that is enforced, and it has a
//! paragraph on every crate.

use crate::Breach;
use crate::imports::TABLE;
use crate::tree::Tree;

const PAGE: &str = "ARCHITECTURE.md";

/// Rows that differ from the import table, and crates without a paragraph.
pub fn breaches(tree: &Tree) -> Vec<Breach> {
    let text = tree.files.get(PAGE).map_or("", String::as_str);
    let breach = |line: usize, what: String| Breach {
        file: PAGE.to_owned(),
        line,
        what,
    };
    let mut found = Vec::new();
    let rows = rows(text);
    for (name, imports) in TABLE {
        match rows.iter().find(|r| r.1 == *name) {
            None => found.push(breach(1, format!("the table has no row for {name}"))),
            Some((line, _, written)) if written != imports => {
                let what = format!("{name} may import {imports:?}, the page says {written:?}");
                found.push(breach(*line, what));
            }
            Some(_) => {}
        }
    }
    for name in tree.crates() {
        let heading = format!("### `{name}`");
        if !text.lines().any(|l| l.trim() == heading) {
            found.push(breach(1, format!("says nothing of {name}")));
        }
    }
    found
}

/// Rows `| crate | what | may import |` of the page: line, crate, imports.
fn rows(text: &str) -> Vec<(usize, &str, Vec<&str>)> {
    text.lines()
        .enumerate()
        .filter_map(|(number, line)| {
            let cells: Vec<&str> = line.trim().strip_prefix('|')?.split('|').collect();
            let name = cells.first()?.trim().strip_prefix('`')?.strip_suffix('`')?;
            let imports = cells.get(2)?.trim();
            let list = imports
                .split(", ")
                .map(|w| w.trim_matches('`'))
                .filter(|w| *w != "-")
                .collect();
            Some((number + 1, name, list))
        })
        .collect()
}
