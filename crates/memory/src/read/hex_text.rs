//! Hex text: `08: 9E8E699 0000000`, the address of the first word of the line, then its words.

use super::number::{address, place, word, zero_d_is_hex};
use super::{Reading, Words};
use crate::diagnostic::Diagnostic;

/// Reads hex text. Blank lines and lines that begin with `#` are skipped.
pub fn read_hex_text(text: &str, reading: &Reading) -> Words {
    let mut words = vec![None; reading.space()];
    let mut found = Vec::new();
    let mut any = false;
    let starts = text.lines().filter(|l| !l.trim_start().starts_with('#'));
    let hex = zero_d_is_hex(starts.filter_map(|l| Some(l.split_once(':')?.0.trim())));
    for (number, line) in text.lines().enumerate() {
        let number = number + 1;
        if line.trim().is_empty() || line.trim_start().starts_with('#') {
            continue;
        }
        any = true;
        let Some((start, rest)) = line.split_once(':') else {
            found.push(Diagnostic::at(
                number,
                1,
                "This line has no address.",
                "Begin it with the address of its first word and a colon, as in `08: 9E8E699`.",
            ));
            continue;
        };
        let first = match address(start.trim(), reading, hex) {
            Ok(a) => a,
            Err((message, help)) => {
                found.push(Diagnostic::at(number, 1, message, help));
                continue;
            }
        };
        if rest.trim().is_empty() {
            found.push(Diagnostic::at(
                number,
                line.chars().count(),
                "This line has no words.",
                "Write its words, or remove it.",
            ));
        }
        let base = start.len() + 1;
        for (at, (offset, part)) in (first..).zip(parts(rest)) {
            let column = line[..base + offset].chars().count() + 1;
            if at >= reading.space() {
                found.push(Diagnostic::at(
                    number,
                    column,
                    format!(
                        "`{part}` would lie beyond the last address, {:X}.",
                        reading.space() - 1
                    ),
                    "Check the address of the line and the number of its words.",
                ));
                break;
            }
            match word(part, reading.bits) {
                Ok(w) => place(&mut words, at, w, (number, column), &mut found),
                Err((message, help)) => found.push(Diagnostic::at(number, column, message, help)),
            }
        }
    }
    if !any {
        found.push(Diagnostic::at(
            1,
            1,
            "The file holds no words.",
            "Write lines such as `08: 9E8E699 0000000`.",
        ));
    }
    (words, found)
}

/// The words of a line with their byte offsets.
fn parts(text: &str) -> impl Iterator<Item = (usize, &str)> {
    text.split_whitespace()
        .map(|part| (part.as_ptr() as usize - text.as_ptr() as usize, part))
}
