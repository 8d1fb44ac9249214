//! The two common hex record formats, with their checksums: colon records and S-records.
//!
//! Layouts from memory of the published specifications: colon records (`:LLAAAATT..CC`, all bytes of a record add up to
//! zero) and S-records (`STLLAA..CC`, all bytes after the type add up to 255).

use std::collections::BTreeMap;

use super::binary::assemble;
use super::number::place;
use super::{Reading, Words};
use crate::diagnostic::Diagnostic;
use crate::shape::{Word, mask};

/// Bytes by their address, gathered until whole words can be made of them.
struct Bytes {
    size: u64,
    bytes: BTreeMap<u64, (u8, usize)>,
    found: Vec<Diagnostic>,
}

impl Bytes {
    fn new(reading: &Reading) -> Self {
        let size = (reading.space() * reading.bytes()) as u64;
        Self {
            size,
            bytes: BTreeMap::new(),
            found: Vec::new(),
        }
    }

    fn wrong(&mut self, line: usize, message: impl Into<String>, help: &str) {
        self.found.push(Diagnostic::at(line, 1, message, help));
    }

    fn put(&mut self, from: u64, data: &[u8], line: usize) {
        for (at, byte) in (from..).zip(data) {
            if at >= self.size {
                let message = format!(
                    "Byte {at:X} lies beyond the store, whose last byte is {:X}.",
                    self.size - 1
                );
                self.wrong(
                    line,
                    message,
                    "Check `address bits=` and `data bits=` in the shape file.",
                );
                return;
            }
            match self.bytes.get(&at).copied() {
                Some((before, first)) if before != *byte => {
                    let message = format!(
                        "Byte {at:X} was given as {before:02X} in line {first}, and now as {byte:02X}."
                    );
                    self.wrong(
                        line,
                        message,
                        "Give every read of the store a file of its own.",
                    );
                    return;
                }
                _ => {
                    self.bytes.insert(at, (*byte, line));
                }
            }
        }
    }

    fn words(mut self, reading: &Reading) -> Words {
        let size = reading.bytes();
        let mut words: Vec<Option<Word>> = vec![None; reading.space()];
        let bytes = std::mem::take(&mut self.bytes);
        let mut chunks: BTreeMap<usize, Vec<(u64, u8, usize)>> = BTreeMap::new();
        for (at, (byte, line)) in bytes {
            chunks
                .entry(at as usize / size)
                .or_default()
                .push((at, byte, line));
        }
        for (number, chunk) in chunks {
            let line = &chunk[0].2;
            if chunk.len() < size {
                self.wrong(
                    *line,
                    format!("Word {number:X} has only some of its {size} bytes."),
                    "Read the word again, whole.",
                );
                continue;
            }
            let whole: Vec<u8> = chunk.iter().map(|(_, byte, _)| *byte).collect();
            let word = assemble(&whole, reading.low_byte_first);
            if word & !mask(reading.bits) != 0 {
                let message = format!(
                    "Word {number:X} is {word:X}, which does not fit into {} bits.",
                    reading.bits
                );
                self.wrong(
                    *line,
                    message,
                    "Check `data bits=` in the shape file, and which byte of a word comes first.",
                );
                continue;
            }
            place(&mut words, number, Some(word), (*line, 1), &mut self.found);
        }
        self.found.sort_by_key(|d| d.line);
        (words, self.found)
    }
}

/// The bytes of a record after its mark, or what is wrong with them.
fn hex_bytes(digits: &str) -> Result<Vec<u8>, String> {
    if !digits.chars().all(|c| c.is_ascii_hexdigit()) {
        return Err("The record holds something that is not a hexadecimal digit.".to_owned());
    }
    if digits.len() % 2 == 1 {
        return Err("The record has half a byte.".to_owned());
    }
    Ok((0..digits.len())
        .step_by(2)
        .filter_map(|at| u8::from_str_radix(&digits[at..at + 2], 16).ok())
        .collect())
}

fn sum(bytes: &[u8]) -> u8 {
    bytes.iter().fold(0, |s, b| s.wrapping_add(*b))
}

const CUT: &str = "The line is damaged or cut short; transfer the file again.";

/// Reads colon records: data, end, and extended segment and linear addresses.
pub fn read_colon_records(text: &str, reading: &Reading) -> Words {
    let mut into = Bytes::new(reading);
    let (mut base, mut ended) = (0u64, false);
    for (line, record) in lines(text) {
        if ended {
            into.wrong(
                line,
                "There is a record after the end record.",
                "Put every read into a file of its own.",
            );
            break;
        }
        let Some(digits) = record.strip_prefix(':') else {
            into.wrong(
                line,
                "This is not a colon record.",
                "Every line begins with a colon.",
            );
            continue;
        };
        let bytes = match hex_bytes(digits) {
            Ok(bytes) => bytes,
            Err(message) => {
                into.wrong(line, message, CUT);
                continue;
            }
        };
        if bytes.len() < 5 || usize::from(bytes[0]) != bytes.len() - 5 {
            let says = bytes.first().copied().unwrap_or(0);
            let message = format!(
                "The record says {says} data bytes and has {}.",
                bytes.len() as i64 - 5
            );
            into.wrong(line, message, CUT);
            continue;
        }
        if sum(&bytes) != 0 {
            let last = bytes[bytes.len() - 1];
            let message = format!(
                "The checksum is {last:02X} and should be {:02X}.",
                last.wrapping_sub(sum(&bytes))
            );
            into.wrong(line, message, CUT);
            continue;
        }
        let at = u64::from(bytes[1]) << 8 | u64::from(bytes[2]);
        let data = &bytes[4..bytes.len() - 1];
        match (bytes[3], data) {
            (0, _) => into.put(base + at, data, line),
            (1, _) => ended = true,
            (2, [high, low]) => base = (u64::from(*high) << 8 | u64::from(*low)) << 4,
            (4, [high, low]) => base = (u64::from(*high) << 8 | u64::from(*low)) << 16,
            (3 | 5, _) => {}
            (kind, _) => {
                into.wrong(
                    line,
                    format!("Record type {kind:02X} is not known, or has a wrong length."),
                    "Known types are 00 to 05.",
                );
            }
        }
    }
    if !ended {
        into.wrong(
            text.lines().count().max(1),
            "The end record is missing.",
            CUT,
        );
    }
    into.words(reading)
}

/// Reads S-records: header, data with addresses of 16, 24 and 32 bits, counts and end.
pub fn read_s_records(text: &str, reading: &Reading) -> Words {
    let mut into = Bytes::new(reading);
    let (mut data_records, mut ended) = (0usize, false);
    for (line, record) in lines(text) {
        if ended {
            into.wrong(
                line,
                "There is a record after the end record.",
                "Put every read into a file of its own.",
            );
            break;
        }
        let kind = record
            .strip_prefix('S')
            .and_then(|r| r.chars().next())
            .and_then(|c| c.to_digit(10));
        let Some(kind) = kind else {
            into.wrong(
                line,
                "This is not an S-record.",
                "Every line begins with S and a digit.",
            );
            continue;
        };
        let bytes = match hex_bytes(&record[2..]) {
            Ok(bytes) => bytes,
            Err(message) => {
                into.wrong(line, message, CUT);
                continue;
            }
        };
        let width = match kind {
            0 | 1 | 5 | 9 => 2,
            2 | 6 | 8 => 3,
            3 | 7 => 4,
            _ => {
                into.wrong(
                    line,
                    format!("Record type S{kind} is not known."),
                    "Known types are S0 to S3 and S5 to S9.",
                );
                continue;
            }
        };
        if bytes.len() < width + 2 || usize::from(bytes[0]) != bytes.len() - 1 {
            let says = bytes.first().copied().unwrap_or(0);
            let message = format!(
                "The record says {says} bytes and has {}.",
                bytes.len().saturating_sub(1)
            );
            into.wrong(line, message, CUT);
            continue;
        }
        if sum(&bytes) != 0xFF {
            let last = bytes[bytes.len() - 1];
            let should = last.wrapping_sub(sum(&bytes).wrapping_add(1));
            into.wrong(
                line,
                format!("The checksum is {last:02X} and should be {should:02X}."),
                CUT,
            );
            continue;
        }
        let number = bytes[1..=width]
            .iter()
            .fold(0u64, |n, b| n << 8 | u64::from(*b));
        match kind {
            1..=3 => {
                data_records += 1;
                into.put(number, &bytes[width + 1..bytes.len() - 1], line);
            }
            5 | 6 if number != data_records as u64 => {
                into.wrong(
                    line,
                    format!("The file says {number} data records and has {data_records}."),
                    CUT,
                );
            }
            7..=9 => ended = true,
            _ => {}
        }
    }
    if !ended {
        into.wrong(
            text.lines().count().max(1),
            "The end record is missing.",
            CUT,
        );
    }
    into.words(reading)
}

fn lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    text.lines()
        .enumerate()
        .map(|(n, l)| (n + 1, l.trim()))
        .filter(|(_, l)| !l.is_empty() && !l.starts_with('#'))
}
