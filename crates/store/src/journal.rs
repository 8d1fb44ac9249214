//! Reads the journal beside a ledger (SQLite's write-ahead file) before SQLite does, which takes a damaged place for its end.
//!
//! An unfinished write leaves nothing whole behind it. Where a whole, finished frame stands behind a broken one, something that
//! was acknowledged would be passed over in silence, and written over at the next entry. Only in the last frame damage cannot
//! be told from a write that was cut off. Format: SQLite, Database File Format, section 4 (the write-ahead log).

use std::path::{Path, PathBuf};

/// Bytes of the journal's head, and of each frame's.
const HEAD: usize = 32;
const FRAME_HEAD: usize = 24;

/// What is said of a broken journal.
pub const BROKEN: &str = "its journal, the file that ends in -wal, is damaged, and finished entries stand behind the damage";

/// The journal's place.
pub fn beside(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push("-wal");
    PathBuf::from(name)
}

/// The journal of a ledger with every frame's sum made anew, so that all of it can be read; none if it is not broken.
pub fn mended(path: &Path) -> Option<Vec<u8>> {
    let read = || std::fs::read(beside(path)).ok();
    let bytes = read()?;
    let mended = Journal::of(&bytes)?.mended()?;
    // Another process may have begun it anew while it was read: what is broken stays so.
    std::thread::sleep(std::time::Duration::from_millis(20));
    let again = read()?;
    (again[..HEAD.min(again.len())] == bytes[..HEAD] && Journal::of(&again)?.mended().is_some())
        .then_some(mended)
}

type Sum = [u32; 2];

/// A journal as it stands in its file.
struct Journal<'a> {
    bytes: &'a [u8],
    /// Words of the sums are read in this order.
    is_big: bool,
    /// Bytes of a frame with its head.
    frame: usize,
}

impl<'a> Journal<'a> {
    /// None if it is too short to hold anything.
    fn of(bytes: &'a [u8]) -> Option<Self> {
        let size = word(bytes.get(8..12)?) as usize;
        // The head itself may be hit: then the usual size is tried.
        let is_size = size.is_power_of_two() && (512..=65_536).contains(&size);
        let frame = FRAME_HEAD + if is_size { size } else { 4096 };
        let of = |is_big| Self {
            bytes,
            is_big,
            frame,
        };
        if bytes.len() < HEAD + frame {
            return None;
        }
        let whole = |j: &Self| (0..j.count()).filter(|k| j.is_whole(*k)).count();
        let (small, big) = (of(false), of(true));
        Some(if whole(&big) > whole(&small) {
            big
        } else {
            small
        })
    }

    fn count(&self) -> usize {
        (self.bytes.len() - HEAD) / self.frame
    }

    fn at(&self, k: usize) -> &'a [u8] {
        let start = HEAD + k * self.frame;
        &self.bytes[start..start + self.frame]
    }

    /// The sum that is written in the journal's head, or in the frame before one.
    fn before(&self, k: usize) -> Sum {
        let text = match k {
            0 => &self.bytes[24..32],
            k => &self.at(k - 1)[16..24],
        };
        [word(&text[..4]), word(&text[4..])]
    }

    fn written(&self, k: usize) -> Sum {
        self.before(k + 1)
    }

    /// A frame fits to the sum that is written before it.
    fn is_whole(&self, k: usize) -> bool {
        self.sum_of(k, self.before(k)) == self.written(k)
    }

    fn sum_of(&self, k: usize, before: Sum) -> Sum {
        let frame = self.at(k);
        let sum = self.sum(&frame[..8], before);
        self.sum(&frame[FRAME_HEAD..], sum)
    }

    /// The running sum of section 4.2.
    fn sum(&self, bytes: &[u8], [mut a, mut b]: Sum) -> Sum {
        let read = |w: &[u8]| {
            let four = [w[0], w[1], w[2], w[3]];
            match self.is_big {
                true => u32::from_be_bytes(four),
                false => u32::from_le_bytes(four),
            }
        };
        for pair in bytes.chunks_exact(8) {
            a = a.wrapping_add(read(&pair[..4])).wrapping_add(b);
            b = b.wrapping_add(read(&pair[4..])).wrapping_add(a);
        }
        [a, b]
    }

    fn salt(&self, k: usize) -> &'a [u8] {
        &self.at(k)[8..16]
    }

    /// The same journal without a broken place, up to the last finished write; none if nothing is broken that is followed
    /// by one.
    fn mended(&self) -> Option<Vec<u8>> {
        let is_head_whole = self.sum(&self.bytes[..24], [0, 0]) == self.before(0);
        let own = &self.bytes[16..24];
        let is_good = |k: usize| is_head_whole && self.salt(k) == own && self.is_whole(k);
        let first = (0..self.count()).find(|k| !is_good(*k))?;
        let is_finished = |k: usize| {
            // The salt of a head that was hit says nothing: then that of the frame before it has to fit.
            let salt = if is_head_whole { own } else { self.salt(k - 1) };
            self.salt(k) == salt && self.is_whole(k) && word(&self.at(k)[4..8]) != 0
        };
        let last = (first + 1..self.count()).rev().find(|k| is_finished(*k))?;
        let salt = self.salt(last);
        let mut out = self.bytes[..HEAD].to_vec();
        let magic: u32 = if self.is_big {
            0x377f_0683
        } else {
            0x377f_0682
        };
        out[..4].copy_from_slice(&magic.to_be_bytes());
        // The version of the format.
        out[4..8].copy_from_slice(&3_007_000u32.to_be_bytes());
        out[8..12].copy_from_slice(&((self.frame - FRAME_HEAD) as u32).to_be_bytes());
        out[16..24].copy_from_slice(salt);
        let mut sum = self.sum(&out[..24], [0, 0]);
        put(&mut out[24..32], sum);
        for k in 0..=last {
            sum = self.sum_of(k, sum);
            let start = out.len();
            out.extend_from_slice(self.at(k));
            out[start + 8..start + 16].copy_from_slice(salt);
            put(&mut out[start + 16..start + 24], sum);
        }
        Some(out)
    }
}

fn word(bytes: &[u8]) -> u32 {
    u32::from_be_bytes([bytes[0], bytes[1], bytes[2], bytes[3]])
}

fn put(place: &mut [u8], [a, b]: Sum) {
    place[..4].copy_from_slice(&a.to_be_bytes());
    place[4..8].copy_from_slice(&b.to_be_bytes());
}
