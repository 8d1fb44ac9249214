//! The pages of an export that are read without the program: text, and tables as CSV.

use std::collections::BTreeMap;

use record::event::{Event, Site};
use record::work::FindingWord;
use record::{Digest, Entry, Work, guarded};

use crate::media::ending;

/// One line an entry: number, time, author, what happened.
pub fn ledger(work: &Work) -> String {
    let mut text = String::new();
    for entry in work.entries() {
        let author = if entry.author.is_empty() {
            "-"
        } else {
            &entry.author
        };
        let standing = standing(work, entry);
        let words = entry.event.words();
        text += &format!(
            "{}  {}  {author}  [{}]  {words}{standing}\n",
            entry.number, entry.time, entry.id
        );
    }
    text
}

fn standing(work: &Work, entry: &Entry) -> String {
    use record::Counting;
    match work.counting(&entry.id) {
        Some(Counting::Replaced(by) | Counting::Withdrawn(by)) => {
            format!("  (corrected by entry {})", by.number)
        }
        Some(Counting::Refused(refusal)) => format!("  (does not count: {})", refusal.message),
        Some(Counting::AsWritten) | None => String::new(),
    }
}

/// Tables by their file's name; only those that hold anything.
pub fn tables(work: &Work) -> Vec<(String, String)> {
    let mut tables: BTreeMap<String, String> = BTreeMap::new();
    for board in work.boards_read() {
        let name = format!("readings/{}.csv", file_name(board));
        // Two boards whose names make one file name share it.
        let file = work.readings_file(board);
        let rows = file.split_once('\n').map_or("", |(_, rows)| rows);
        tables
            .entry(name)
            .and_modify(|text| text.push_str(rows))
            .or_insert_with(|| file.clone());
    }
    for (entry, event) in work.events() {
        if let Some((name, header, cells)) = row(event) {
            let table = tables
                .entry(format!("{name}.csv"))
                .or_insert_with(|| format!("entry,time,author,{header}\n"));
            let mut line = vec![
                entry.number.to_string(),
                entry.time.to_string(),
                entry.author.clone(),
            ];
            line.extend(cells);
            table.push_str(&csv(&line));
        }
    }
    if let Some(findings) = findings(work) {
        tables.insert("findings.csv".to_owned(), findings);
    }
    tables.into_iter().collect()
}

/// A name of a board as a name of a file.
pub fn file_name(name: &str) -> String {
    let fits = |c: char| {
        if c.is_alphanumeric() || "-_.".contains(c) {
            c
        } else {
            '_'
        }
    };
    let name: String = name.chars().map(fits).collect();
    format!("{}{name}", if name.starts_with('.') { "_" } else { "" })
}

/// The table of a kind, its columns, and this event's cells in it.
fn row(event: &Event) -> Option<(&'static str, &'static str, Vec<String>)> {
    let yes = |yes: bool| if yes { "yes" } else { "no" }.to_owned();
    let maybe = |text: &Option<String>| text.clone().unwrap_or_default();
    Some(match event {
        Event::Repair(e) => (
            "parts-changed",
            "unit,board,part,what,reason,symptom,original,reversible",
            at(
                &e.site,
                [
                    e.part.clone(),
                    e.what.clone(),
                    e.reason.clone(),
                    e.symptom.clone(),
                    maybe(&e.kept),
                    yes(e.reversible),
                ],
            ),
        ),
        Event::Touch(e) => (
            "touched",
            "unit,board,what,how,reason",
            at(
                &e.site,
                [e.what.clone(), e.how.word().to_owned(), e.reason.clone()],
            ),
        ),
        Event::Capacitor(e) => (
            "capacitors",
            "unit,board,part,volts,amps,minutes,note",
            at(
                &e.site,
                [
                    e.part.clone(),
                    e.volts.0.to_string(),
                    e.amps.map_or(String::new(), |a| a.0.to_string()),
                    e.minutes.to_string(),
                    e.note.clone(),
                ],
            ),
        ),
        Event::Connection(e) => (
            "slots-and-cables",
            "unit,what,name,step,holds,note",
            vec![
                e.unit.clone(),
                e.kind.word().to_owned(),
                e.name.clone(),
                e.step.word().to_owned(),
                maybe(&e.holds),
                e.note.clone(),
            ],
        ),
        Event::Mark(e) => (
            "trimmers",
            "unit,board,trimmer,step,position,reads,reason",
            at(
                &e.site,
                [
                    e.trimmer.clone(),
                    "marked".to_owned(),
                    e.position.clone(),
                    e.measured.clone(),
                    String::new(),
                ],
            ),
        ),
        Event::Turn(e) => (
            "trimmers",
            "unit,board,trimmer,step,position,reads,reason",
            at(
                &e.site,
                [
                    e.trimmer.clone(),
                    "turned".to_owned(),
                    e.position.clone(),
                    e.measured.clone(),
                    e.reason.clone(),
                ],
            ),
        ),
        Event::Condition(e) => ("as-found", "unit,board,what", at(&e.site, [e.text.clone()])),
        Event::Alteration(e) => (
            "alterations",
            "unit,board,part,what",
            at(&e.site, [maybe(&e.part), e.text.clone()]),
        ),
        _ => return None,
    })
}

fn at<const N: usize>(site: &Site, cells: [String; N]) -> Vec<String> {
    let mut list = vec![site.unit.clone(), site.board.clone().unwrap_or_default()];
    list.extend(cells);
    list
}

fn findings(work: &Work) -> Option<String> {
    let list = work.findings();
    if list.is_empty() {
        return None;
    }
    let mut text = "entry,time,author,unit,board,what,stands,because\n".to_owned();
    for state in list {
        let because = match (state.word, state.explanation, state.closing) {
            (FindingWord::Explained, Some((_, e)), _) => e.reason.clone(),
            (FindingWord::Mended | FindingWord::Quiet, _, Some((entry, _))) => entry.event.words(),
            _ => String::new(),
        };
        let site = &state.finding.site;
        text += &csv(&[
            state.entry.number.to_string(),
            state.entry.time.to_string(),
            state.entry.author.clone(),
            site.unit.clone(),
            site.board.clone().unwrap_or_default(),
            state.finding.text.clone(),
            state.word.word().to_owned(),
            because,
        ]);
    }
    Some(text)
}

/// The list of attachments: hash, media type, file, bytes, and the entries that name it.
pub fn attachments(list: &[(Digest, String, usize)], work: &Work) -> String {
    let mut named: BTreeMap<Digest, Vec<String>> = BTreeMap::new();
    for entry in work.entries() {
        for hash in entry.event.attachments() {
            named
                .entry(hash)
                .or_default()
                .push(entry.number.to_string());
        }
    }
    let mut text = "sha256,media,file,bytes,entries\n".to_owned();
    for (hash, media, bytes) in list {
        let entries = named.get(hash).map_or(String::new(), |l| l.join(" "));
        text += &csv(&[
            hash.to_string(),
            media.clone(),
            attachment_file(*hash, media),
            bytes.to_string(),
            entries,
        ]);
    }
    text
}

/// The name of an attachment's file.
pub fn attachment_file(hash: Digest, media: &str) -> String {
    format!("attachments/{hash}.{}", ending(media))
}

/// RFC 4180, guarded against a spreadsheet that takes a text for a formula.
fn csv(cells: &[String]) -> String {
    let quoted = |cell: &String| {
        let cell = guarded(cell);
        if cell.contains([',', '"', '\n', '\r']) {
            format!("\"{}\"", cell.replace('"', "\"\""))
        } else {
            cell
        }
    };
    let cells: Vec<String> = cells.iter().map(quoted).collect();
    format!("{}\n", cells.join(","))
}
