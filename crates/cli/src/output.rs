//! What is printed: answers, refusals and progress.

use std::collections::HashMap;
use std::ffi::OsString;
use std::io::{IsTerminal, Write};
use std::process::ExitCode;

use bench::{Complaint, Refused};
use serde::Serialize;

use crate::usage;

/// Prints a document.
pub fn json(document: &impl Serialize) -> ExitCode {
    let text = serde_json::to_string(document).expect("view data has string keys only");
    print(&text);
    print("\n");
    ExitCode::SUCCESS
}

/// Prints text; a reader that went away is no fault.
pub fn print(text: &str) {
    let _ = std::io::stdout().write_all(text.as_bytes());
}

/// Prints an answer as JSON or as text, or the refusal.
pub fn answer<T: Serialize>(
    result: Result<T, Refused>,
    as_json: bool,
    to_text: impl Fn(&T) -> String,
) -> ExitCode {
    match result {
        Ok(view) if as_json => json(&view),
        Ok(view) => {
            print(&to_text(&view));
            ExitCode::SUCCESS
        }
        Err(refused) => refusal(&refused, as_json),
    }
}

/// Prints why a command was not done.
pub fn refusal(refused: &Refused, as_json: bool) -> ExitCode {
    complaints(refused.complaints(), as_json);
    ExitCode::from(refused.exit_code())
}

/// Prints lines that were skipped, on standard error.
pub fn skipped(list: &[Complaint]) {
    for complaint in list {
        eprintln!("skipped: {}", words(complaint));
    }
}

fn complaints(list: &[Complaint], as_json: bool) {
    if as_json {
        let document = serde_json::json!({ "error": list.first(), "errors": list });
        print(&format!("{document}\n"));
    } else {
        told(list).iter().for_each(|text| eprintln!("{text}"));
    }
}

/// So many complaints that say the same are told whole; of the rest only where they are.
const WHOLE: usize = 8;

/// Complaints for people, in their order; at the end those that only repeat what was told.
fn told(list: &[Complaint]) -> Vec<String> {
    let mut found = Vec::new();
    let mut times: HashMap<&str, usize> = HashMap::new();
    let mut more: Vec<(&Complaint, Vec<usize>)> = Vec::new();
    for complaint in list {
        let known = times.entry(&complaint.message).or_default();
        *known += 1;
        let (Some(line), true) = (complaint.line, *known > WHOLE) else {
            found.push(words(complaint));
            continue;
        };
        let same = |c: &Complaint| c.message == complaint.message && c.file == complaint.file;
        match more.iter_mut().find(|m| same(m.0)) {
            Some((_, lines)) => lines.push(line),
            None => more.push((complaint, vec![line])),
        }
    }
    found.extend(more.iter().map(|(first, lines)| repeated(first, lines)));
    found
}

/// Where a complaint was made again, in words.
fn repeated(first: &Complaint, lines: &[usize]) -> String {
    let some: Vec<String> = lines.iter().take(WHOLE).map(usize::to_string).collect();
    let rest = match lines.len().saturating_sub(WHOLE) {
        0 => String::new(),
        n => format!(" and {n} more"),
    };
    let file = first.file.as_deref().unwrap_or("The file");
    let word = if lines.len() == 1 { "line" } else { "lines" };
    format!(
        "{file}: the same on {word} {}{rest}: {}",
        some.join(", "),
        first.message
    )
}

/// A complaint for people: place, what is wrong, the line itself, what would mend it.
fn words(c: &Complaint) -> String {
    let mut text = String::new();
    // A complaint about a file as a whole names it in its message.
    if let (Some(file), true) = (&c.file, c.line.is_some()) {
        text += file;
        for number in [c.line, c.column].into_iter().flatten() {
            text += &format!(":{number}");
        }
        text += ": ";
    }
    text += &c.message;
    if let (Some(line), Some(column)) = (&c.source_line, c.column)
        && !line.is_empty()
    {
        // A tab stays a tab, so that the mark stands under its place.
        let before: String = line
            .chars()
            .take(column - 1)
            .map(|c| if c == '\t' { '\t' } else { ' ' })
            .collect();
        text += &format!("\n    {line}\n    {before}^");
    }
    if let Some(help) = &c.help {
        text += &format!("\n  {help}");
    }
    text
}

/// Words of the command line that were not understood; asking for help is not a fault.
pub fn usage(error: &clap::Error, words: &[OsString]) -> ExitCode {
    use clap::error::ErrorKind;
    let as_json = words.iter().any(|w| w == "--json");
    match error.kind() {
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion => {
            print(&error.to_string());
            return ExitCode::SUCCESS;
        }
        ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand if !as_json => {
            eprint!("{error}");
        }
        _ => complaints(&[usage::complaint(error, words)], as_json),
    }
    ExitCode::from(2)
}

/// Shows how far long work is, on a terminal only.
pub fn progress(done: usize, all: usize) {
    shown(done, all, "readings");
}

/// The same where what is counted changes on the way: faults, then readings.
pub fn steps(done: usize, all: usize) {
    shown(done, all, "done");
}

fn shown(done: usize, all: usize, what: &str) {
    let step = (all / 100).max(1);
    if (done.is_multiple_of(step) || done == all) && std::io::stderr().is_terminal() {
        let end = if done == all { "\n" } else { "" };
        eprint!("\r{done} of {all} {what}{end}");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_two_hundred_lines_have_wrong_alike_is_told_eight_times() {
        let of = |line: usize, message: &str| Complaint {
            file: Some("pairs.csv".to_owned()),
            line: Some(line),
            ..Complaint::new(message, "Mend it.")
        };
        let mut list: Vec<Complaint> = (1..=200).map(|line| of(line, "no such net")).collect();
        list.insert(150, of(999, "another thing"));
        let told = told(&list);
        assert_eq!(told.len(), WHOLE + 2);
        assert!(told[WHOLE].contains("999") && told[WHOLE].contains("another thing"));
        let last =
            "pairs.csv: the same on lines 9, 10, 11, 12, 13, 14, 15, 16 and 184 more: no such net";
        assert_eq!(told[WHOLE + 1], last);
    }
}
