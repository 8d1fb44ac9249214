//! Keyboards for the command line: the table of codes, what each broken diode would give, and what explains the codes that came.

use ::logic::{KeyFault, Keyboard};
use serde::Serialize;

use super::{complaints, nothing_in};
use crate::loading::Text;
use crate::refused::{Complaint, Refused};

/// Faults that an explanation may have at most; chosen because four broken diodes show in four keys, each by itself.
const MOST: usize = 4;

/// A keyboard's table, and what explains the codes that came.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct KeysView {
    /// Its name.
    pub name: String,
    /// Lines, in the order of the codes.
    pub lines: Vec<String>,
    /// Keys.
    pub keys: Vec<KeyView>,
    /// One for each unit whose codes were given.
    pub units: Vec<KeyUnit>,
}

/// A key.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct KeyView {
    /// Its name.
    pub key: String,
    /// Its code, a 0 or 1 for each line.
    pub code: String,
    /// What would come with one of its diodes open, and which other key has that code.
    pub broken: Vec<BrokenView>,
}

/// A key with a fault.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BrokenView {
    /// The fault.
    pub fault: String,
    /// The code that comes.
    pub code: String,
    /// The key that has this code when all is well.
    pub like: Option<String>,
}

/// Codes that came in one unit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct KeyUnit {
    /// The unit.
    pub unit: String,
    /// What came of each key of the table, a 0, 1 or x for each line; none if it was not given.
    pub came: Vec<Option<String>>,
    /// Keys whose code is not that of the table: key, what should come, what came.
    pub wrong: Vec<[String; 3]>,
    /// Keys of the table for which no code was given.
    pub missing: Vec<String>,
    /// The smallest sets of up to four faults that give all codes.
    pub explanations: Vec<Vec<String>>,
}

fn written(code: u64, lines: usize) -> String {
    (0..lines)
        .map(|l| if code >> l & 1 == 1 { '1' } else { '0' })
        .collect()
}

/// Reads a keyboard and, if there is one, a table of codes: CSV with the columns key, code and perhaps unit; x for a line not seen.
///
/// # Errors
/// All mistakes in both files.
pub fn keys(sheet: &Text, codes: Option<&Text>) -> Result<KeysView, Refused> {
    let list: Vec<(&str, &Text)> = codes.into_iter().map(|text| ("", text)).collect();
    keys_of(sheet, &list)
}

/// As [`keys`], of several tables of codes, each with the unit that its rows are of if they name none.
///
/// # Errors
/// All mistakes in all files.
pub fn keys_of(sheet: &Text, codes: &[(&str, &Text)]) -> Result<KeysView, Refused> {
    let (board, wrong) = Keyboard::read(&sheet.text);
    let mut mistakes = complaints(sheet, wrong);
    let mut units = Vec::new();
    for (unit, text) in codes {
        came(&board, (unit, text), &mut units, &mut mistakes);
    }
    if !mistakes.is_empty() {
        return Err(Refused::Input(mistakes));
    }
    let count = board.lines.len();
    let key = |(at, (name, code)): (usize, &(String, u64))| {
        let broken = (0..count).filter(|l| code >> l & 1 == 1).map(|l| {
            let fault = KeyFault::DiodeOpen(at, l);
            let comes = board.code(at, &[fault]);
            BrokenView {
                fault: board.named(fault).to_string(),
                code: written(comes, count),
                like: board
                    .keys
                    .iter()
                    .find(|(_, c)| *c == comes)
                    .map(|(n, _)| n.clone()),
            }
        });
        KeyView {
            key: name.clone(),
            code: written(*code, count),
            broken: broken.collect(),
        }
    };
    Ok(KeysView {
        name: board.name.clone(),
        keys: board.keys.iter().enumerate().map(key).collect(),
        units: units
            .into_iter()
            .map(|(unit, seen)| explained(&board, unit, &seen))
            .collect(),
        lines: board.lines,
    })
}

type Seen = Vec<(usize, u64, u64)>;

fn came(
    board: &Keyboard,
    (own, text): (&str, &Text),
    units: &mut Vec<(String, Seen)>,
    mistakes: &mut Vec<Complaint>,
) {
    let mut lines = text.text.trim_start_matches('\u{feff}').lines().enumerate();
    let header: Vec<&str> = lines
        .next()
        .map_or(Vec::new(), |(_, l)| l.split(',').map(str::trim).collect());
    let column = |name: &str| header.iter().position(|c| *c == name);
    let (Some(key_at), Some(code_at)) = (column("key"), column("code")) else {
        mistakes.push(Complaint {
            help: Some("Begin with a line `key,code` or `unit,key,code`.".to_owned()),
            ..nothing_in(text, "The columns `key` and `code` are missing.")
        });
        return;
    };
    for (index, line) in lines.filter(|(_, l)| !l.trim().is_empty()) {
        let cells: Vec<&str> = line.split(',').map(str::trim).collect();
        let cell = |at: usize| cells.get(at).copied().unwrap_or_default();
        let key = board.keys.iter().position(|(n, _)| n == cell(key_at));
        let (mut mask, mut levels) = (0u64, 0u64);
        let is_code = cell(code_at).chars().count() == board.lines.len()
            && cell(code_at).chars().enumerate().all(|(l, c)| {
                mask |= u64::from(c != 'x') << l;
                levels |= u64::from(c == '1') << l;
                matches!(c, '0' | '1' | 'x')
            });
        match (key, is_code) {
            (Some(key), true) => {
                let unit = column("unit").map_or(own, cell);
                match units.iter_mut().find(|(u, _)| u == unit) {
                    Some((_, seen)) => seen.push((key, mask, levels)),
                    None => units.push((unit.to_owned(), vec![(key, mask, levels)])),
                }
            }
            _ => mistakes.push(Complaint {
                message: match key {
                    None => format!("`{}` is no key of this keyboard.", cell(key_at)),
                    Some(_) => format!("`{}` is no code.", cell(code_at)),
                },
                file: Some(text.file.clone()),
                line: Some(index + 1),
                column: Some(1),
                help: Some(format!(
                    "Write a key of the sheet, and a 0, 1 or x for each of {}.",
                    board.lines.join(" ")
                )),
                source_line: Some(line.to_owned()),
            }),
        }
    }
}

fn explained(board: &Keyboard, unit: String, seen: &Seen) -> KeyUnit {
    let count = board.lines.len();
    let is_wrong =
        |(key, mask, levels): &&(usize, u64, u64)| (board.keys[*key].1 ^ levels) & mask != 0;
    let shown = |mask: u64, levels: u64| -> String {
        let mark = |l: usize| match (mask >> l & 1, levels >> l & 1) {
            (0, _) => 'x',
            (_, 1) => '1',
            _ => '0',
        };
        (0..count).map(mark).collect()
    };
    KeyUnit {
        came: (0..board.keys.len())
            .map(|k| seen.iter().find(|s| s.0 == k))
            .map(|s| s.map(|(_, mask, levels)| shown(*mask, *levels)))
            .collect(),
        wrong: seen
            .iter()
            .filter(is_wrong)
            .map(|(k, mask, levels)| {
                [
                    board.keys[*k].0.clone(),
                    written(board.keys[*k].1, count),
                    shown(*mask, *levels),
                ]
            })
            .collect(),
        missing: (0..board.keys.len())
            .filter(|k| !seen.iter().any(|s| s.0 == *k))
            .map(|k| board.keys[k].0.clone())
            .collect(),
        explanations: board
            .explain(seen, MOST)
            .iter()
            .map(|set| set.iter().map(|f| board.named(*f).to_string()).collect())
            .collect(),
        unit,
    }
}
