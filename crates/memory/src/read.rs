//! Readers: the contents of a store from the text or bytes that a reader, a terminal or a person wrote.
//!
//! None of them fails as a whole: a bad line costs that line alone, and is reported with its place and what would mend it.

mod binary;
mod hex_text;
mod march_log;
mod number;
mod records;
mod sequence;
mod table;

pub use binary::read_binary;
pub use hex_text::read_hex_text;
pub use march_log::{LogRow, read_march_log};
pub use records::{read_colon_records, read_s_records};
pub use sequence::read_sequence;
pub use table::read_table;

use crate::diagnostic::Diagnostic;
use crate::shape::{Shape, Word};
use crate::votes::Dump;

/// How the words lie in a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reading {
    /// Data bits of a word.
    pub bits: u8,
    /// Address lines.
    pub address_bits: u8,
    /// Addresses are decimal, not hexadecimal.
    pub decimal: bool,
    /// In records and binary files, the least significant byte of a word comes first.
    pub low_byte_first: bool,
    /// In binary files, words follow each other bit by bit, most significant bit first, without filling up bytes.
    pub packed: bool,
}

impl Reading {
    /// The usual: hexadecimal addresses, most significant byte first, each word in whole bytes.
    pub fn of(shape: &Shape) -> Self {
        Self {
            bits: shape.bits,
            address_bits: shape.address_bits,
            decimal: false,
            low_byte_first: false,
            packed: false,
        }
    }

    /// Words that the address lines can tell apart.
    pub fn space(&self) -> usize {
        1 << self.address_bits
    }

    /// Bytes of a word in records and unpacked binary files.
    pub fn bytes(&self) -> usize {
        usize::from(self.bits).div_ceil(8)
    }
}

/// What a file turned out to hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Contents {
    /// Reads of the whole store or parts of it; more than one only from a table with a `pass` column.
    Dumps(Vec<Dump>),
    /// The log of a march test.
    Log(Vec<LogRow>),
}

/// Reads a file by what it looks like: colon records, S-records, a table, a march log, hex text, or else bytes.
/// `name` ends in `.bin` for bytes that happen to look like text.
pub fn read_contents(name: &str, bytes: &[u8], reading: &Reading) -> (Contents, Vec<Diagnostic>) {
    let text = match std::str::from_utf8(bytes) {
        Ok(text) if !name.ends_with(".bin") && !text.contains('\0') => text,
        _ => return one(name, read_binary(bytes, reading)),
    };
    let first = text
        .lines()
        .map(str::trim)
        .find(|l| !l.is_empty() && !l.starts_with('#'))
        .unwrap_or("");
    if first.starts_with(':') {
        one(name, read_colon_records(text, reading))
    } else if first.starts_with('S') && first[1..].starts_with(|c: char| c.is_ascii_digit()) {
        one(name, read_s_records(text, reading))
    } else if first.contains(',') {
        let columns: Vec<String> = first
            .split(',')
            .map(|c| c.trim().to_ascii_lowercase())
            .collect();
        if ["address", "expected", "read"]
            .iter()
            .all(|c| columns.iter().any(|have| have == c))
        {
            let (rows, found) = read_march_log(text, reading);
            (Contents::Log(rows), found)
        } else {
            let (passes, found) = read_table(text, reading);
            let dumps = passes
                .into_iter()
                .map(|(pass, words)| Dump {
                    name: format!("{name}{pass}"),
                    words,
                })
                .collect();
            (Contents::Dumps(dumps), found)
        }
    } else {
        one(name, read_hex_text(text, reading))
    }
}

/// Words by address, and what was wrong with the file.
pub type Words = (Vec<Option<Word>>, Vec<Diagnostic>);

fn one(name: &str, (words, found): Words) -> (Contents, Vec<Diagnostic>) {
    (
        Contents::Dumps(vec![Dump {
            name: name.to_owned(),
            words,
        }]),
        found,
    )
}
