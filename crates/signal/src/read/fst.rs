//! Fast signal traces, through the library that knows them; its failures become faults, never a crash.

use super::vcd::{Store, Variable, assemble, bit, qualified};
use crate::capture::{Capture, Format};
use crate::fault::{Fault, Place, Wrong};
use fst_reader::{FstFilter, FstHierarchyEntry, FstReader, FstSignalValue};
use std::io::{Cursor, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};

/// More variables than this are no recording of a desk machine, and a damaged count must not ask for memory.
const MOST: u64 = 1 << 20;

/// Reads a whole trace; each bit of a vector becomes a channel `name[i]`.
pub fn read(mut source: impl Read) -> Result<Capture, Fault> {
    let mut bytes = Vec::new();
    source.read_to_end(&mut bytes)?;
    check_blocks(&bytes)?;
    // the library panics on some damaged files; nothing of it survives the unwinding
    let outcome = catch_unwind(AssertUnwindSafe(|| decode(bytes)));
    outcome.unwrap_or_else(|_| {
        Err(Wrong::Library {
            reason: "the file is damaged".into(),
        }
        .at(Place::Whole))
    })
}

/// Follows the chain of blocks to the end of the file, so that a cut-off file is known by its offset.
fn check_blocks(bytes: &[u8]) -> Result<(), Fault> {
    let mut at = 0u64;
    while (at as usize) < bytes.len() {
        let Some(length) = bytes.get(at as usize + 1..at as usize + 9) else {
            return Err(Wrong::EndsInside {
                what: "a block's heading",
            }
            .at(Place::Byte(at)));
        };
        let length = length.iter().fold(0u64, |sum, b| sum << 8 | *b as u64);
        let end = at
            .checked_add(1)
            .and_then(|a| a.checked_add(length))
            .filter(|_| length >= 8);
        match end {
            Some(end) if end <= bytes.len() as u64 => {
                check_sizes(&bytes[at as usize..end as usize], at, bytes.len() as u64)?;
                at = end;
            }
            Some(end) => {
                return Err(Wrong::CutOff {
                    declared: length,
                    missing: end - bytes.len() as u64,
                }
                .at(Place::Byte(at)));
            }
            None => {
                return Err(Wrong::NotUnderstood {
                    what: "A block's length",
                    text: length.to_string(),
                }
                .at(Place::Byte(at)));
            }
        }
    }
    Ok(())
}

/// Refuses sizes that would make the library ask for more memory than any such file unpacks to.
fn check_sizes(block: &[u8], at: u64, file: u64) -> Result<(), Fault> {
    let most = file.saturating_mul(2000).clamp(1 << 20, 1 << 36);
    let number = |from: usize| {
        block
            .get(from..from + 8)
            .map_or(0, |b| b.iter().fold(0u64, |sum, b| sum << 8 | *b as u64))
    };
    let tail = block.len().saturating_sub(24);
    // positions from the published description of the blocks: 0 header, 3 geometry, 4 6 7 hierarchy, 1 5 8 changes, 2 blackouts
    let sizes: Vec<u64> = match block[0] {
        3 => vec![number(9), number(17).saturating_mul(16)],
        1 | 5 | 8 => vec![
            number(25),
            number(tail),
            number(tail + 8),
            number(tail + 16).saturating_mul(8),
        ],
        4 | 6 | 7 | 254 => vec![number(9)],
        _ => vec![],
    };
    match sizes.into_iter().find(|size| *size > most) {
        Some(size) => Err(Wrong::NotUnderstood {
            what: "A size in a block",
            text: size.to_string(),
        }
        .at(Place::Byte(at))),
        None => Ok(()),
    }
}

fn decode(bytes: Vec<u8>) -> Result<Capture, Fault> {
    let library = |reason: String| Wrong::Library { reason }.at(Place::Whole);
    let mut reader = FstReader::open(Cursor::new(bytes)).map_err(|e| library(e.to_string()))?;
    let header = reader.get_header();
    if header.max_handle > MOST || header.var_count > MOST {
        return Err(Wrong::Unsupported {
            what: "A number of variables",
            value: header.var_count.to_string(),
        }
        .at(Place::Whole));
    }
    let tick = crate::number::scaled(1.0, header.timescale_exponent as i32);
    let (mut scopes, mut variables) = (Vec::new(), Vec::new());
    let mut widths = vec![1usize; header.max_handle as usize];
    let hierarchy = reader.read_hierarchy(|entry| match entry {
        FstHierarchyEntry::Scope { name, .. } => scopes.push(name),
        FstHierarchyEntry::UpScope => {
            scopes.pop();
        }
        FstHierarchyEntry::Var {
            tpe,
            name,
            length,
            handle,
            ..
        } => {
            let width = if tpe.is_real() {
                0
            } else {
                (length as usize).clamp(1, 4096)
            };
            if let Some(slot) = widths.get_mut(handle.get_index()) {
                *slot = width;
                // names may carry their range, as in `bus [7:0]`
                let plain = name
                    .split_once(" [")
                    .map_or(name.as_str(), |(plain, _)| plain);
                let shown = if width == 1 {
                    name.replace(' ', "")
                } else {
                    plain.to_owned()
                };
                variables.push(Variable {
                    name: qualified(&scopes, &shown, ""),
                    width,
                    code: handle.get_index() as u32,
                });
            }
        }
        _ => {}
    });
    hierarchy.map_err(|e| library(e.to_string()))?;
    if variables.is_empty() {
        return Err(Wrong::NoChannel.at(Place::Whole));
    }
    let mut store = Store::new(&widths);
    let mut back = None;
    let outcome = reader.read_signals(&FstFilter::all(), |time, handle, value| {
        let time = time as f64 * tick;
        let (first, width) = store.first[handle.get_index()];
        for i in 0..width.max(1) as usize {
            let value = match value {
                FstSignalValue::Real(number) => number.is_finite().then_some(number as f32),
                FstSignalValue::String(bits) => {
                    bits.len().checked_sub(i + 1).and_then(|at| bit(bits[at]))
                }
            };
            let track = &mut store.tracks[first as usize + i];
            match track.times.last() {
                Some(last) if *last > time => back = Some((*last, time)),
                _ => track.set(time, value),
            }
        }
        Ok::<(), std::convert::Infallible>(())
    });
    outcome.map_err(|e| library(e.to_string()))?;
    if let Some((before, after)) = back {
        return Err(Wrong::TimeGoesBack { before, after }.at(Place::Whole));
    }
    Ok(assemble(
        Format::Fst,
        variables,
        store,
        tick,
        header.end_time as f64 * tick,
    ))
}
