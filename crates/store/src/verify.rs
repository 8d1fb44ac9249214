//! Checks the chain and every attachment, and says exactly what is off.

use std::collections::BTreeMap;
use std::path::Path;

use record::{Digest, LedgerFault};

use crate::body::{self, Line};
use crate::chain;
use crate::salvage::{Salvage, salvage};

/// What a check of a ledger found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Report {
    /// Entries that could be read.
    pub entries: u64,
    /// Attachments that could be read and are what they were.
    pub attachments: u64,
    /// Hash of the last entry that could be read; who wrote it down elsewhere can tell that nothing before it changed.
    pub last: Digest,
    /// What is off; none if the ledger is whole.
    pub faults: Vec<Fault>,
}

/// Something that is off.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The entry that is off; none if the fault is an attachment's or the file's.
    pub entry: Option<u64>,
    /// What is off, a whole sentence.
    pub what: String,
}

/// Checks a ledger's file.
///
/// # Errors
/// If there is no file, or a later version wrote it; damage is no error here, it is what is reported.
pub fn verify(path: &Path) -> Result<Report, LedgerFault> {
    Ok(report(&salvage(path)?))
}

/// Checks what was read.
pub fn report(found: &Salvage) -> Report {
    let mut faults: Vec<Fault> = stray_faults(found);
    chain_faults(&found.lines, last_number(found), &mut faults);
    let last = found
        .lines
        .values()
        .next_back()
        .map_or(Digest::NONE, |l| l.hash);
    if let Some(head) = &found.head
        && (head.hash, head.number) != (last, found.lines.len() as u64)
        && faults.is_empty()
    {
        let what = format!(
            "The ledger says that it ends with entry {}, and it does not.",
            head.number
        );
        faults.push(Fault { entry: None, what });
    }
    let attachments = attachment_faults(found, &mut faults);
    let file = found.faults.iter().map(|what| Fault {
        entry: None,
        what: what.clone(),
    });
    faults.extend(file);
    Report {
        entries: found.lines.len() as u64,
        attachments,
        last,
        faults,
    }
}

/// What the file says, or what was read if that is more.
fn last_number(found: &Salvage) -> u64 {
    let read = found.lines.keys().next_back().copied().unwrap_or(0);
    let said = found.head.as_ref().map_or(0, |h| h.number);
    // A damaged number is not believed beyond what would be one line each.
    if said > read && said - read > found.lines.len() as u64 + 1000 {
        read
    } else {
        said.max(read)
    }
}

fn chain_faults(lines: &BTreeMap<u64, Line>, last: u64, faults: &mut Vec<Fault>) {
    let mut before = Some(Digest::NONE);
    for number in 1..=last {
        let Some(line) = lines.get(&number) else {
            faults.push(at(
                number,
                format!("Entry {number} is missing or cannot be read."),
            ));
            before = None;
            continue;
        };
        if let Some(what) = line_fault(line, before) {
            faults.push(at(number, what));
        }
        before = Some(line.hash);
    }
}

/// One for each; one for all if the whole file could be read by its bare bytes only.
fn stray_faults(found: &Salvage) -> Vec<Fault> {
    if found.head.is_none() {
        return Vec::new();
    }
    let stray = |number: &u64| {
        let what = "is not in its place; a copy of it was found elsewhere in the file.";
        at(*number, format!("Entry {number} {what}"))
    };
    found.strays.iter().map(stray).collect()
}

fn at(number: u64, what: String) -> Fault {
    Fault {
        entry: Some(number),
        what,
    }
}

/// After a gap the entry's own hash can not be checked, and is taken as the start of what follows.
fn line_fault(line: &Line, before: Option<Digest>) -> Option<String> {
    let number = line.number;
    if before.is_some_and(|before| chain::link(before, &line.body) != line.hash) {
        return Some(format!(
            "Entry {number} was changed: its text and the hash before it do not give its hash."
        ));
    }
    match body::read(&line.body, line.hash) {
        Some(entry) if entry.number == number => None,
        Some(entry) => Some(format!(
            "Entry {number} says that it is entry {}.",
            entry.number
        )),
        None => Some(format!("Entry {number} is not written as an entry is.")),
    }
}

/// Counts the attachments that are what they were.
fn attachment_faults(found: &Salvage, faults: &mut Vec<Fault>) -> u64 {
    let mut good = 0;
    for hash in &found.attachments {
        match found.attachment(*hash) {
            Some((_, bytes)) if chain::sum(&bytes) == *hash => good += 1,
            Some(_) => faults.push(Fault {
                entry: None,
                what: format!(
                    "The attachment {hash} was changed: its content does not give its hash."
                ),
            }),
            None => faults.push(Fault {
                entry: None,
                what: format!("The attachment {hash} cannot be read."),
            }),
        }
    }
    for line in found.lines.values() {
        let Some(entry) = body::read(&line.body, line.hash) else {
            continue;
        };
        for hash in entry.event.attachments() {
            if !found.attachments.contains(&hash) {
                let what = format!(
                    "Entry {} names the attachment {hash}, which is not there.",
                    line.number
                );
                faults.push(at(line.number, what));
            }
        }
    }
    good
}
