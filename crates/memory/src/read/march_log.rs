//! The log of a march test: CSV with columns `step`, `address`, `expected`, `read`.

use super::Reading;
use super::number::{address, word, zero_d_is_hex};
use super::table::{columns, rows, value};
use crate::diagnostic::Diagnostic;
use crate::shape::Word;

/// One read of a march test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LogRow {
    /// The step, as the log calls it; empty if the log has no such column.
    pub step: String,
    /// The address.
    pub address: u32,
    /// What should have been read.
    pub expected: Word,
    /// What was read.
    pub read: Word,
}

/// Reads a march log. It may hold all reads or only failing ones.
pub fn read_march_log(text: &str, reading: &Reading) -> (Vec<LogRow>, Vec<Diagnostic>) {
    let mut found = Vec::new();
    let mut log = Vec::new();
    let (header, rows) = rows(text, &mut found);
    let Some([at_address, at_expected, at_read]) =
        columns(&header, ["address", "expected", "read"], &mut found)
    else {
        return (log, found);
    };
    let hex = zero_d_is_hex(
        rows.iter()
            .filter_map(|(_, row)| row.get(at_address))
            .map(String::as_str),
    );
    let at_step = header.iter().position(|c| c == "step");
    for (line, row) in &rows {
        let mut take = |at, name| value(row, at, *line, name, &mut found).map(str::to_owned);
        let (Some(a), Some(expected), Some(read)) = (
            take(at_address, "address"),
            take(at_expected, "expected"),
            take(at_read, "read"),
        ) else {
            continue;
        };
        let parsed = address(&a, reading, hex).and_then(|a| {
            Ok((
                a,
                word(&expected, reading.bits)?,
                word(&read, reading.bits)?,
            ))
        });
        match parsed {
            Ok((a, Some(expected), Some(read))) => log.push(LogRow {
                step: at_step
                    .and_then(|at| row.get(at))
                    .cloned()
                    .unwrap_or_default(),
                address: a as u32,
                expected,
                read,
            }),
            Ok(_) => found.push(Diagnostic::at(
                *line,
                1,
                "A row of a march log needs both words.",
                "Remove rows of words that were not read.",
            )),
            Err((message, help)) => found.push(Diagnostic::at(*line, 1, message, help)),
        }
    }
    (log, found)
}
