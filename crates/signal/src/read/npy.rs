//! One array in NumPy's file format (its enhancement proposal 1): numbers of any width, one channel or several.

use super::{Given, Head, Sink, Told};
use crate::axis::Axis;
use crate::fault::{Fault, Place, Wrong};
use std::io::Read;

/// A longer header is not an array of plain numbers.
const LONGEST_HEADER: usize = 1 << 16;

#[derive(Clone, Copy, Debug, PartialEq)]
struct Kind {
    letter: u8,
    width: usize,
    big: bool,
}

#[derive(Debug, PartialEq)]
struct Header {
    kind: Kind,
    /// Whether the file holds whole columns one after the other.
    fortran: bool,
    shape: Vec<u64>,
}

/// Reads the array; time comes from the interval given, since the format has none.
pub fn stream(mut source: impl Read, given: &Given, sink: &mut dyn Sink) -> Result<Told, Fault> {
    let interval = given.seconds()?;
    let (header, start) = header(&mut source)?;
    let (rows, columns, by_rows) = match header.shape[..] {
        [n] => (n, 1, true),
        [a, b] if a == b && a > 1 => {
            return Err(Wrong::WhichWay {
                rows: a,
                columns: b,
            }
            .at(Place::Whole));
        }
        [a, b] if a >= b => (a, b, !header.fortran),
        [a, b] => (b, a, header.fortran),
        _ => {
            return Err(Wrong::Unsupported {
                what: "An array",
                value: format!("{} axes", header.shape.len()),
            }
            .at(Place::Whole));
        }
    };
    if rows == 0 || columns == 0 {
        return Err(Wrong::NoRows.at(Place::Whole));
    }
    if columns > 4096 {
        return Err(Wrong::Unsupported {
            what: "A number of channels",
            value: columns.to_string(),
        }
        .at(Place::Whole));
    }
    let interval = interval.ok_or(Wrong::NoTimeBase.at(Place::Whole))?;
    let columns = columns as usize;
    let heads: Vec<Head> = (1..=columns)
        .map(|i| Head {
            name: format!("channel {i}"),
            unit: String::new(),
        })
        .collect();
    sink.open(&heads);
    let width = header.kind.width;
    let declared = rows.checked_mul((columns * width) as u64).ok_or(
        Wrong::Unsupported {
            what: "An array",
            value: format!("{rows} rows"),
        }
        .at(Place::Whole),
    )?;
    let mut left = declared;
    let (mut held, mut element) = (Vec::new(), 0u64);
    let mut block: Vec<Vec<f32>> = vec![Vec::new(); columns];
    while left > 0 {
        let got = source
            .by_ref()
            .take(left.min(1 << 18))
            .read_to_end(&mut held)? as u64;
        if got == 0 {
            return Err(Wrong::CutOff {
                declared,
                missing: left,
            }
            .at(Place::Byte(start + declared - left)));
        }
        left -= got;
        let whole = held.len() / width * width;
        for bytes in held[..whole].chunks_exact(width) {
            let value = value(bytes, header.kind);
            if !value.is_finite() || crate::number::is_over_range(value) {
                let at = start + element * width as u64;
                return Err(Wrong::OverRange {
                    text: value.to_string(),
                }
                .at(Place::Byte(at)));
            }
            let channel = if by_rows {
                element % columns as u64
            } else {
                element / rows
            } as usize;
            block[channel].push(value as f32);
            element += 1;
        }
        for (channel, samples) in block.iter_mut().enumerate() {
            if !samples.is_empty() {
                sink.block(channel, samples);
            }
            samples.clear();
        }
        held.drain(..whole);
    }
    let mut notes = Vec::new();
    if matches!(header.kind.letter, b'i' | b'u') {
        notes.push("The array holds whole numbers: they are counts, not volts.".to_owned());
    }
    Ok(Told {
        axis: Axis::uniform(0.0, interval),
        notes,
    })
}

fn take(source: &mut impl Read, count: usize, at: u64) -> Result<Vec<u8>, Fault> {
    let mut bytes = Vec::with_capacity(count);
    source.by_ref().take(count as u64).read_to_end(&mut bytes)?;
    if bytes.len() < count {
        return Err(Wrong::EndsInside {
            what: "the array's header",
        }
        .at(Place::Byte(at + bytes.len() as u64)));
    }
    Ok(bytes)
}

fn header(source: &mut impl Read) -> Result<(Header, u64), Fault> {
    let opening = take(source, 8, 0)?;
    let long = opening[6] >= 2;
    let length = take(source, if long { 4 } else { 2 }, 8)?;
    let size = length
        .iter()
        .rev()
        .fold(0usize, |sum, b| sum << 8 | *b as usize);
    if size > LONGEST_HEADER {
        return Err(Wrong::Unsupported {
            what: "A header length",
            value: size.to_string(),
        }
        .at(Place::Byte(8)));
    }
    let at = 8 + length.len() as u64;
    let text = take(source, size, at)?;
    let text = String::from_utf8_lossy(&text).into_owned();
    let wrong = || {
        Wrong::NotUnderstood {
            what: "The array's header",
            text: text.chars().take(80).collect(),
        }
        .at(Place::Byte(at))
    };
    let after = |key: &str| {
        text.split_once(&format!("'{key}'"))
            .map(|(_, rest)| rest.trim_start().trim_start_matches(':').trim_start())
    };
    let descr = after("descr").ok_or_else(wrong)?;
    if descr.starts_with('[') {
        return Err(Wrong::Unsupported {
            what: "An array",
            value: "records with named fields".into(),
        }
        .at(Place::Byte(at)));
    }
    let descr: String = descr.chars().skip(1).take_while(|c| *c != '\'').collect();
    let kind = kind(&descr).ok_or_else(|| {
        Wrong::Unsupported {
            what: "An element type",
            value: descr.clone(),
        }
        .at(Place::Byte(at))
    })?;
    let fortran = after("fortran_order")
        .ok_or_else(wrong)?
        .starts_with("True");
    let shape = after("shape")
        .and_then(|t| t.strip_prefix('('))
        .and_then(|t| t.split_once(')'))
        .ok_or_else(wrong)?
        .0;
    let shape: Option<Vec<u64>> = shape
        .split(',')
        .map(str::trim)
        .filter(|t| !t.is_empty())
        .map(|t| t.parse().ok())
        .collect();
    Ok((
        Header {
            kind,
            fortran,
            shape: shape.ok_or_else(wrong)?,
        },
        at + size as u64,
    ))
}

fn kind(descr: &str) -> Option<Kind> {
    let (order, rest) = descr.split_at_checked(1)?;
    let (letter, width) = rest.split_at_checked(1)?;
    let width: usize = width.parse().ok()?;
    let letter = letter.as_bytes()[0];
    let fits = match letter {
        b'f' => matches!(width, 4 | 8),
        b'i' | b'u' => matches!(width, 1 | 2 | 4 | 8),
        b'b' => width == 1,
        _ => false,
    };
    (fits && matches!(order, "<" | ">" | "|" | "=")).then_some(Kind {
        letter,
        width,
        big: order == ">",
    })
}

fn value(bytes: &[u8], kind: Kind) -> f64 {
    let mut raw = [0u8; 8];
    let width = kind.width;
    raw[..width].copy_from_slice(bytes);
    if kind.big {
        raw[..width].reverse();
    }
    let bits = u64::from_le_bytes(raw);
    match (kind.letter, width) {
        (b'f', 4) => f32::from_bits(bits as u32) as f64,
        (b'f', _) => f64::from_bits(bits),
        (b'i', _) => ((bits << (64 - 8 * width)) as i64 >> (64 - 8 * width)) as f64,
        _ => bits as f64,
    }
}
