//! Binary files of words of any width.

use super::{Reading, Words};
use crate::diagnostic::Diagnostic;
use crate::shape::{Word, mask};

/// Reads bytes as words from address 0: each in whole bytes, or packed bit by bit.
pub fn read_binary(bytes: &[u8], reading: &Reading) -> Words {
    let mut found = Vec::new();
    let mut words: Vec<Option<Word>> = if reading.packed {
        packed(bytes, reading, &mut found)
    } else {
        whole(bytes, reading, &mut found)
    };
    if bytes.is_empty() {
        found.push(Diagnostic::at(
            1,
            1,
            "The file holds no words.",
            "Check that the reader wrote it.",
        ));
    }
    if words.len() > reading.space() {
        found.push(Diagnostic::at(
            1,
            1,
            format!("The file holds {} words, the store only {}.", words.len(), reading.space()),
            "Check `address bits=` and `data bits=` in the shape file, and whether the words are packed.",
        ));
    }
    words.resize(reading.space(), None);
    (words, found)
}

fn whole(bytes: &[u8], reading: &Reading, found: &mut Vec<Diagnostic>) -> Vec<Option<Word>> {
    let size = reading.bytes();
    if !bytes.len().is_multiple_of(size) {
        found.push(Diagnostic::at(
            1,
            1,
            format!(
                "{} bytes do not divide into words of {size} bytes.",
                bytes.len()
            ),
            "The file is cut short, or its words are packed.",
        ));
    }
    let mut words = Vec::new();
    for (number, chunk) in bytes.chunks_exact(size).enumerate() {
        let word = assemble(chunk, reading.low_byte_first);
        if word & !mask(reading.bits) != 0 {
            found.push(Diagnostic::at(
                1,
                1,
                format!(
                    "Word {number:X} is {word:X}, which does not fit into {} bits.",
                    reading.bits
                ),
                "Check `data bits=` in the shape file, and which byte of a word comes first.",
            ));
            words.push(None);
        } else {
            words.push(Some(word));
        }
    }
    words
}

/// A word from its bytes.
pub(super) fn assemble(bytes: &[u8], low_byte_first: bool) -> Word {
    let push = |word: Word, byte: &u8| word << 8 | Word::from(*byte);
    if low_byte_first {
        bytes.iter().rev().fold(0, push)
    } else {
        bytes.iter().fold(0, push)
    }
}

fn packed(bytes: &[u8], reading: &Reading, found: &mut Vec<Diagnostic>) -> Vec<Option<Word>> {
    let width = usize::from(reading.bits);
    let count = bytes.len() * 8 / width;
    let bit = |at: usize| Word::from(bytes[at / 8] >> (7 - at % 8) & 1);
    let words = (0..count)
        .map(|n| Some((0..width).fold(0, |w, b| w << 1 | bit(n * width + b))))
        .collect();
    if (count * width..bytes.len() * 8).any(|at| bit(at) == 1) {
        found.push(Diagnostic::at(
            1,
            1,
            format!("After {count} words of {width} bits, bits are left over that are not zero."),
            "The file is cut short, or its words are not packed.",
        ));
    }
    words
}
