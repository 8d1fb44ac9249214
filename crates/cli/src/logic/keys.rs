//! The verb `logic keys`.

use std::fmt::Write;
use std::path::Path;
use std::process::ExitCode;

use bench::Refused;
use bench::logic::{KeysView, keys as read};

use super::SHOWN;
use crate::{files, output};

/// Prints a keyboard's table, and what explains the codes that came.
pub fn keys(keyboard: &Path, codes: Option<&Path>, as_json: bool) -> ExitCode {
    let answer = || -> Result<KeysView, Refused> {
        let sheet = files::read(keyboard)?;
        let codes = codes.map(files::read).transpose()?;
        read(&sheet, codes.as_ref())
    };
    output::answer(answer(), as_json, told)
}

fn told(view: &KeysView) -> String {
    let mut text = format!("codes in the order {}\n", view.lines.join(" "));
    for key in &view.keys {
        let like: Vec<String> = key
            .broken
            .iter()
            .filter_map(|b| {
                b.like
                    .as_ref()
                    .map(|l| format!("as key {l} with its {}", b.fault))
            })
            .collect();
        let _ = writeln!(text, "{:<8} {}   {}", key.key, key.code, like.join("; "));
    }
    for unit in &view.units {
        let name = if unit.unit.is_empty() {
            "the keyboard".to_owned()
        } else {
            format!("unit {}", unit.unit)
        };
        let _ = writeln!(text);
        if unit.wrong.is_empty() {
            let _ = writeln!(text, "{name}: every code that was given is right.");
        }
        for [key, should, came] in &unit.wrong {
            let _ = writeln!(text, "{name}: key {key} gives {came}, not {should}.");
        }
        if !unit.missing.is_empty() {
            let _ = writeln!(
                text,
                "{name}: no code was given for {}.",
                unit.missing.join(", ")
            );
        }
        if unit.wrong.is_empty() {
            continue;
        }
        if unit.explanations.is_empty() {
            let _ = writeln!(
                text,
                "{name}: no four faults of diodes, contacts and lines give this; look at what stands behind the lines."
            );
        }
        for set in unit.explanations.iter().take(SHOWN) {
            let _ = writeln!(text, "    {}", set.join(" + "));
        }
        if unit.explanations.len() > SHOWN {
            let _ = writeln!(
                text,
                "    and {} more (all with --json)",
                unit.explanations.len() - SHOWN
            );
        }
    }
    text
}
