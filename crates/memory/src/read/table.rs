//! A table: CSV with columns `address` and `word`, and `pass` where it holds several reads.

use super::Reading;
use super::number::{address, place, word, zero_d_is_hex};
use crate::diagnostic::Diagnostic;
use crate::shape::Word;

/// Passes of a table, each with the ending that its pass gives to the file's name.
pub type Passes = Vec<(String, Vec<Option<Word>>)>;

/// Splits a CSV text into its header, in lower case, and its rows with their lines.
pub(super) fn rows(
    text: &str,
    found: &mut Vec<Diagnostic>,
) -> (Vec<String>, Vec<(usize, Vec<String>)>) {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    let mut all: Vec<(usize, Vec<String>)> = Vec::new();
    for record in reader.records() {
        match record {
            Ok(record) => {
                let line = record.position().map_or(1, |p| p.line() as usize);
                all.push((line, record.iter().map(str::to_owned).collect()));
            }
            Err(broken) => {
                let line = broken.position().map_or(1, |p| p.line() as usize);
                found.push(Diagnostic::at(
                    line,
                    1,
                    "This row is not CSV.",
                    "Close every quote, and separate values by commas.",
                ));
            }
        }
    }
    if all.is_empty() {
        return (Vec::new(), all);
    }
    let header = all
        .remove(0)
        .1
        .iter()
        .map(|c| c.to_ascii_lowercase())
        .collect();
    (header, all)
}

/// The places of the named columns; says which are missing.
pub(super) fn columns<const N: usize>(
    header: &[String],
    names: [&str; N],
    found: &mut Vec<Diagnostic>,
) -> Option<[usize; N]> {
    let mut places = [0; N];
    let mut complete = true;
    for (place, name) in places.iter_mut().zip(names) {
        match header.iter().position(|c| c == name) {
            Some(at) => *place = at,
            None => {
                complete = false;
                found.push(Diagnostic::at(
                    1,
                    1,
                    format!("The header has no column `{name}`."),
                    format!("Begin the file with the line `{}`.", names.join(",")),
                ));
            }
        }
    }
    complete.then_some(places)
}

/// The value in a column, or a diagnostic that the row is short.
pub(super) fn value<'r>(
    row: &'r [String],
    at: usize,
    line: usize,
    name: &str,
    found: &mut Vec<Diagnostic>,
) -> Option<&'r str> {
    match row.get(at) {
        Some(v) if !v.is_empty() => Some(v),
        _ => {
            found.push(Diagnostic::at(
                line,
                1,
                format!("The row has no `{name}`."),
                "Fill the column in, or remove the row.",
            ));
            None
        }
    }
}

/// Reads a table of addresses and words.
pub fn read_table(text: &str, reading: &Reading) -> (Passes, Vec<Diagnostic>) {
    let mut found = Vec::new();
    let mut passes: Passes = Vec::new();
    let (header, rows) = rows(text, &mut found);
    let Some([at_address, at_word]) = columns(&header, ["address", "word"], &mut found) else {
        return (vec![(String::new(), vec![None; reading.space()])], found);
    };
    let hex = zero_d_is_hex(
        rows.iter()
            .filter_map(|(_, row)| row.get(at_address))
            .map(String::as_str),
    );
    let at_pass = header.iter().position(|c| c == "pass");
    for (line, row) in &rows {
        let Some(a) = value(row, at_address, *line, "address", &mut found) else {
            continue;
        };
        let Some(w) = value(row, at_word, *line, "word", &mut found) else {
            continue;
        };
        let (a, w) = match (address(a, reading, hex), word(w, reading.bits)) {
            (Ok(a), Ok(w)) => (a, w),
            (Err((message, help)), _) | (_, Err((message, help))) => {
                found.push(Diagnostic::at(*line, 1, message, help));
                continue;
            }
        };
        let pass = at_pass
            .and_then(|at| row.get(at))
            .filter(|p| !p.is_empty())
            .map_or(String::new(), |p| format!(" pass {p}"));
        let place_of_pass = passes
            .iter()
            .position(|(p, _)| *p == pass)
            .unwrap_or_else(|| {
                passes.push((pass, vec![None; reading.space()]));
                passes.len() - 1
            });
        place(&mut passes[place_of_pass].1, a, w, (*line, 1), &mut found);
    }
    if passes.is_empty() {
        found.push(Diagnostic::at(
            1,
            1,
            "The table holds no words.",
            "Write rows such as `08,9E8E699`.",
        ));
        passes.push((String::new(), vec![None; reading.space()]));
    }
    (passes, found)
}
