//! Addresses and words as they are written, and the place where they go.

use super::Reading;
use crate::diagnostic::Diagnostic;
use crate::shape::{Word, mask};

/// Whether `0d` begins plain hexadecimal addresses in this file: all are equally long, and some begin otherwise.
pub(super) fn zero_d_is_hex<'t>(addresses: impl Iterator<Item = &'t str>) -> bool {
    let (mut others, mut length) = (false, None);
    for address in addresses {
        others |= !address.starts_with("0d");
        if *length.get_or_insert(address.len()) != address.len() {
            return false;
        }
    }
    others
}

/// An address: hexadecimal, or decimal if it begins with `0d` (small d) or the whole file is decimal.
pub(super) fn address(
    text: &str,
    reading: &Reading,
    zero_d_is_hex: bool,
) -> Result<usize, (String, String)> {
    let (digits, radix) = match text.get(..2) {
        Some("0d") if !zero_d_is_hex || reading.decimal => (&text[2..], 10),
        Some("0x" | "0X") => (&text[2..], 16),
        _ => (text, if reading.decimal { 10 } else { 16 }),
    };
    let base = if radix == 10 {
        "decimal"
    } else {
        "hexadecimal"
    };
    let not_a_number = || {
        (
            format!("`{text}` is not a {base} address."),
            "Addresses are hexadecimal, `0d10` is decimal, and `--decimal` makes all of them decimal.".to_owned(),
        )
    };
    if digits.is_empty() || !digits.chars().all(|c| c.is_digit(radix)) {
        return Err(not_a_number());
    }
    match usize::from_str_radix(digits, radix) {
        Ok(a) if a < reading.space() => Ok(a),
        _ => Err((
            format!(
                "Address {text} lies beyond the store, which has {} address lines.",
                reading.address_bits
            ),
            "Check the address, whether it is decimal, and `address bits=` in the shape file."
                .to_owned(),
        )),
    }
}

/// A word in hexadecimal; `None` for a word that was not read, written `-` or `?` in every place.
pub(super) fn word(text: &str, bits: u8) -> Result<Option<Word>, (String, String)> {
    if !text.is_empty() && (text.chars().all(|c| c == '-') || text.chars().all(|c| c == '?')) {
        return Ok(None);
    }
    let digits = text
        .strip_prefix("0x")
        .or_else(|| text.strip_prefix("0X"))
        .unwrap_or(text);
    if digits.is_empty() || !digits.chars().all(|c| c.is_ascii_hexdigit()) {
        return Err((
            format!("`{text}` is not a hexadecimal word."),
            "Write digits 0-9 and A-F; a word that was not read is `-`.".to_owned(),
        ));
    }
    match Word::from_str_radix(digits, 16) {
        Ok(w) if w & !mask(bits) == 0 => Ok(Some(w)),
        _ => Err((
            format!("`{text}` does not fit into a word of {bits} bits."),
            "Check the word, and `data bits=` in the shape file.".to_owned(),
        )),
    }
}

/// Puts a word at its address; a second one there is a mistake, unless it is the same.
pub(super) fn place(
    words: &mut [Option<Word>],
    at: usize,
    word: Option<Word>,
    (line, column): (usize, usize),
    found: &mut Vec<Diagnostic>,
) {
    match (words[at], word) {
        (Some(before), Some(now)) if before != now => found.push(Diagnostic::at(
            line,
            column,
            format!("Address {at:X} already holds {before:X}, and now {now:X}."),
            "Give every read of the store a file of its own, or a `pass` column.",
        )),
        (_, Some(now)) => words[at] = Some(now),
        (_, None) => {}
    }
}
