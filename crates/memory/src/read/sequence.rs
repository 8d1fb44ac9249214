//! A captured sequence of micro-addresses: a plain list, or CSV with a column `address`.

use super::Reading;
use super::number::{address, zero_d_is_hex};
use super::table::{columns, rows, value};
use crate::diagnostic::Diagnostic;

/// Reads a sequence of addresses in the order in which they were captured.
pub fn read_sequence(text: &str, reading: &Reading) -> (Vec<u32>, Vec<Diagnostic>) {
    let mut found = Vec::new();
    let mut written: Vec<(usize, usize, String)> = Vec::new();
    let meaningful = |l: &&str| !l.trim().is_empty() && !l.trim_start().starts_with('#');
    let first = text.lines().find(meaningful).unwrap_or("");
    if first.to_ascii_lowercase().contains("address") {
        let (header, rows) = rows(text, &mut found);
        if let Some([at]) = columns(&header, ["address"], &mut found) {
            for (line, row) in &rows {
                if let Some(a) = value(row, at, *line, "address", &mut found) {
                    written.push((*line, 1, a.to_owned()));
                }
            }
        }
    } else {
        for (number, line) in text.lines().enumerate().filter(|(_, l)| meaningful(l)) {
            let parts = line.split(|c: char| c.is_whitespace() || c == ',');
            for part in parts.filter(|p| !p.is_empty()) {
                let before = part.as_ptr() as usize - line.as_ptr() as usize;
                let column = line[..before].chars().count() + 1;
                written.push((number + 1, column, part.to_owned()));
            }
        }
    }
    let hex = zero_d_is_hex(written.iter().map(|(.., a)| a.as_str()));
    let mut sequence = Vec::with_capacity(written.len());
    for (line, column, text) in &written {
        match address(text, reading, hex) {
            Ok(a) => sequence.push(a as u32),
            Err((message, help)) => found.push(Diagnostic::at(*line, *column, message, help)),
        }
    }
    if sequence.is_empty() && found.is_empty() {
        found.push(Diagnostic::at(
            1,
            1,
            "The file holds no addresses.",
            "Write the micro-addresses in the order captured, such as `00 01 1F`.",
        ));
    }
    (sequence, found)
}
