//! One line of the ledger: who wrote what when, and the hashes that chain it to the line before.

use std::fmt;

use crate::{Event, Moment};

/// Name of an entry, made by whoever appends it: 1 to 64 letters, digits, `-`, `_` and `.` of ASCII.
///
/// The same entry sent twice is one entry, so an answer that got lost on its way costs nothing.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Id(String);

impl Id {
    /// From text; none if it is no such name.
    pub fn new(text: &str) -> Option<Self> {
        let fits = |b: u8| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_' | b'.');
        let good = (1..=64).contains(&text.len()) && text.bytes().all(fits);
        good.then(|| Self(text.to_owned()))
    }

    /// As text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// A SHA-256 sum (FIPS 180-4): the name of an attachment, or a link of the chain. Printed as 64 hexadecimal digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Digest(pub [u8; 32]);

impl Digest {
    /// What stands before the first entry: 32 zero bytes.
    pub const NONE: Digest = Digest([0; 32]);

    /// Reads 64 hexadecimal digits in lower case; none for any other text.
    pub fn read(text: &str) -> Option<Self> {
        let digit = |b: u8| match b {
            b'0'..=b'9' => Some(b - b'0'),
            b'a'..=b'f' => Some(b - b'a' + 10),
            _ => None,
        };
        let pairs = text.as_bytes();
        if pairs.len() != 64 {
            return None;
        }
        let mut sum = [0; 32];
        for (byte, pair) in sum.iter_mut().zip(pairs.chunks_exact(2)) {
            *byte = digit(pair[0])? << 4 | digit(pair[1])?;
        }
        Some(Self(sum))
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

/// What is handed in to be appended.
#[derive(Clone, Debug, PartialEq)]
pub struct Draft {
    /// Its name; a new one for each new entry.
    pub id: Id,
    /// When it was written.
    pub time: Moment,
    /// Who wrote it; may be empty.
    pub author: String,
    /// What happened.
    pub event: Event,
}

/// A line of the ledger.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// 1, 2, 3 and so on without gaps, in the order in which entries were acknowledged.
    pub number: u64,
    /// Its name.
    pub id: Id,
    /// When it was written.
    pub time: Moment,
    /// Who wrote it; may be empty.
    pub author: String,
    /// What happened.
    pub event: Event,
    /// Sum over the hash before and this entry's body.
    pub hash: Digest,
}
