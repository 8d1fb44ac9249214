//! RIFF wave files: whole numbers of 8 to 32 bits and floating point, as fractions of full scale or in volts.

use super::{Given, Head, Sink, Told};
use crate::axis::Axis;
use crate::fault::{Fault, Place, Wrong};
use std::io::Read;

const UNKNOWN: u32 = u32::MAX;

struct Bytes<R> {
    source: R,
    at: u64,
}

impl<R: Read> Bytes<R> {
    fn exact<const N: usize>(&mut self, what: &'static str) -> Result<[u8; N], Fault> {
        let mut bytes = [0; N];
        let mut got = 0;
        while got < N {
            match self.source.read(&mut bytes[got..])? {
                0 => return Err(Wrong::EndsInside { what }.at(Place::Byte(self.at + got as u64))),
                n => got += n,
            }
        }
        self.at += N as u64;
        Ok(bytes)
    }

    fn pass(&mut self, count: u64, what: &'static str) -> Result<(), Fault> {
        let passed = std::io::copy(&mut self.source.by_ref().take(count), &mut std::io::sink())?;
        self.at += passed;
        if passed < count {
            Err(Wrong::EndsInside { what }.at(Place::Byte(self.at)))
        } else {
            Ok(())
        }
    }
}

#[derive(Clone, Copy)]
struct Shape {
    float: bool,
    bits: u16,
    channels: u16,
    rate: u32,
}

fn shape(fmt: &[u8], place: Place) -> Result<Shape, Fault> {
    let u16_at = |i: usize| u16::from_le_bytes([fmt[i], fmt[i + 1]]);
    let tag = if u16_at(0) == 0xfffe && fmt.len() >= 26 {
        u16_at(24)
    } else {
        u16_at(0)
    };
    let rate = u32::from_le_bytes([fmt[4], fmt[5], fmt[6], fmt[7]]);
    let shape = Shape {
        float: tag == 3,
        bits: u16_at(14),
        channels: u16_at(2),
        rate,
    };
    let fits = match tag {
        1 => matches!(shape.bits, 8 | 16 | 24 | 32),
        3 => matches!(shape.bits, 32 | 64),
        _ => false,
    };
    if !fits {
        return Err(Wrong::Unsupported {
            what: "A sample format",
            value: format!("{tag}, {} bits", shape.bits),
        }
        .at(place));
    }
    if shape.channels == 0 || shape.rate == 0 {
        return Err(Wrong::Unsupported {
            what: "A wave",
            value: format!("{} channels at {rate} Hz", shape.channels),
        }
        .at(place));
    }
    let frame = shape.channels as u32 * shape.bits as u32 / 8;
    if u16_at(12) as u32 != frame {
        return Err(Wrong::NotUnderstood {
            what: "A frame size",
            text: u16_at(12).to_string(),
        }
        .at(place));
    }
    Ok(shape)
}

/// Reads frames as they come; values are fractions of full scale, or volts if full scale was given.
pub fn stream(source: impl Read, given: &Given, sink: &mut dyn Sink) -> Result<Told, Fault> {
    let mut bytes = Bytes { source, at: 0 };
    let riff = bytes.exact::<12>("the file's heading")?;
    if &riff[8..] != b"WAVE" {
        let text = String::from_utf8_lossy(&riff[8..]).into_owned();
        return Err(Wrong::NotUnderstood {
            what: "A RIFF file's kind",
            text,
        }
        .at(Place::Byte(8)));
    }
    let mut found: Option<Shape> = None;
    loop {
        let head = bytes.exact::<8>("the list of chunks, before any samples")?;
        let size = u32::from_le_bytes([head[4], head[5], head[6], head[7]]);
        match (&head[..4], found) {
            (b"fmt ", _) => {
                let place = Place::Byte(bytes.at);
                if !(16..=4096).contains(&size) {
                    return Err(Wrong::NotUnderstood {
                        what: "A format chunk's size",
                        text: size.to_string(),
                    }
                    .at(place));
                }
                let mut fmt = bytes.exact::<16>("the format chunk")?.to_vec();
                for _ in 16..size + (size & 1) {
                    fmt.extend(bytes.exact::<1>("the format chunk")?);
                }
                found = Some(shape(&fmt, place)?);
            }
            (b"data", Some(shape)) => return frames(&mut bytes, size, shape, given, sink),
            (b"data", None) => {
                return Err(Wrong::NotUnderstood {
                    what: "A data chunk before its format",
                    text: "data".into(),
                }
                .at(Place::Byte(bytes.at - 8)));
            }
            _ => bytes.pass(
                size as u64 + (size & 1) as u64,
                "a chunk before the samples",
            )?,
        }
    }
}

fn frames<R: Read>(
    bytes: &mut Bytes<R>,
    size: u32,
    shape: Shape,
    given: &Given,
    sink: &mut dyn Sink,
) -> Result<Told, Fault> {
    let channels = shape.channels as usize;
    let unit = if given.full_scale.is_some() { "V" } else { "" };
    let heads: Vec<Head> = (1..=channels)
        .map(|i| Head {
            name: format!("channel {i}"),
            unit: unit.to_owned(),
        })
        .collect();
    sink.open(&heads);
    let width = shape.bits as usize / 8;
    let frame = width * channels;
    let declared = if size == UNKNOWN {
        u64::MAX
    } else {
        size as u64
    };
    let scale = given.full_scale.map_or(1.0, |v| v.0);
    let mut block = vec![Vec::with_capacity(4096); channels];
    let (mut left, mut held) = (declared, Vec::new());
    loop {
        let want = left.min((1 << 16) as u64);
        let got = bytes.source.by_ref().take(want).read_to_end(&mut held)? as u64;
        bytes.at += got;
        left -= got;
        let whole = held.len() / frame * frame;
        for one in held[..whole].chunks_exact(frame) {
            for (channel, sample) in one.chunks_exact(width).enumerate() {
                let value = value(sample, shape.float);
                if !value.is_finite() {
                    return Err(Wrong::OverRange {
                        text: value.to_string(),
                    }
                    .at(Place::Byte(bytes.at)));
                }
                block[channel].push((value * scale) as f32);
            }
        }
        for (channel, samples) in block.iter_mut().enumerate() {
            sink.block(channel, samples);
            samples.clear();
        }
        held.drain(..whole);
        if got == 0 {
            break;
        }
    }
    if declared != u64::MAX && left > 0 {
        return Err(Wrong::CutOff {
            declared,
            missing: left,
        }
        .at(Place::Byte(bytes.at)));
    }
    if !held.is_empty() {
        return Err(Wrong::EndsInside { what: "a frame" }.at(Place::Byte(bytes.at)));
    }
    let file = 1.0 / shape.rate as f64;
    if let Some(given) = given.seconds()?
        && (given / file - 1.0).abs() > 0.01
    {
        return Err(Wrong::TwoTimeBases { file, given }.at(Place::Whole));
    }
    let notes = if given.full_scale.is_some() {
        vec![]
    } else {
        vec!["Values are fractions of full scale; the file does not say volts.".to_owned()]
    };
    Ok(Told {
        axis: Axis::uniform(0.0, file),
        notes,
    })
}

fn value(sample: &[u8], float: bool) -> f64 {
    match (sample, float) {
        (&[a], _) => (a as f64 - 128.0) / 128.0,
        (&[a, b], _) => i16::from_le_bytes([a, b]) as f64 / 32768.0,
        (&[a, b, c], _) => (i32::from_le_bytes([0, a, b, c]) >> 8) as f64 / 8_388_608.0,
        (&[a, b, c, d], false) => i32::from_le_bytes([a, b, c, d]) as f64 / 2_147_483_648.0,
        (&[a, b, c, d], true) => f32::from_le_bytes([a, b, c, d]) as f64,
        (&[a, b, c, d, e, f, g, h], _) => f64::from_le_bytes([a, b, c, d, e, f, g, h]),
        _ => unreachable!("widths were checked with the format"),
    }
}
