//! Readers: each takes bytes as they come and either understands them or says where it stopped.

pub mod csv;
mod csv_layout;
pub mod fst;
pub mod npy;
pub mod unit;
pub mod vcd;
pub mod wav;

use crate::axis::Axis;
use crate::capture::{Capture, Channel, Format, Steps, Trace};
use crate::fault::{Fault, Place, Wrong};
use std::io::Read;
use std::sync::Arc;
use units::{Seconds, Volts};

/// What a person may add to what the file says.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Given {
    /// Time from one sample to the next, for files that do not say.
    pub interval: Option<Seconds>,
    /// Volts at full scale, for files that hold fractions of it.
    pub full_scale: Option<Volts>,
}

impl Given {
    fn seconds(&self) -> Result<Option<f64>, Fault> {
        match self.interval {
            Some(Seconds(seconds)) if !(seconds.is_finite() && seconds > 0.0) => {
                Err(Wrong::BadInterval { seconds }.at(Place::Whole))
            }
            other => Ok(other.map(|s| s.0)),
        }
    }
}

/// Name and unit of a channel of samples.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Head {
    /// Its name.
    pub name: String,
    /// Symbol of its SI unit, or empty.
    pub unit: String,
}

/// Takes samples block by block, so that a recording larger than memory can pass through.
pub trait Sink {
    /// The channels that will come; called once, before any block.
    fn open(&mut self, heads: &[Head]);
    /// The next samples of one channel. All channels advance together.
    fn block(&mut self, channel: usize, samples: &[f32]);
}

/// What a sampled file said besides its samples.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// Times of the samples.
    pub axis: Axis,
    /// Whole sentences on what was not said outright.
    pub notes: Vec<String>,
}

/// Keeps all samples.
#[derive(Debug, Default)]
pub struct Keep {
    heads: Vec<Head>,
    samples: Vec<Vec<f32>>,
}

impl Sink for Keep {
    fn open(&mut self, heads: &[Head]) {
        self.heads = heads.to_vec();
        self.samples = vec![Vec::new(); heads.len()];
    }

    fn block(&mut self, channel: usize, samples: &[f32]) {
        self.samples[channel].extend_from_slice(samples);
    }
}

impl Keep {
    fn into_capture(self, format: Format, told: Told) -> Capture {
        let axis = Arc::new(told.axis);
        let mut notes = told.notes;
        let channels = self
            .heads
            .into_iter()
            .zip(self.samples)
            .map(|(head, samples)| {
                let logic = !axis.is_uniform() && samples.iter().all(|v| *v == 0.0 || *v == 1.0);
                if logic {
                    notes.push(format!(
                        "{} holds only 0 and 1 at uneven times: each is taken to hold until the next.",
                        head.name
                    ));
                }
                let trace = if logic { changes(&axis, &samples) } else { Trace::Sampled { axis: axis.clone(), samples } };
                Channel { name: head.name, unit: head.unit, trace }
            })
            .collect();
        Capture {
            format,
            channels,
            notes,
        }
    }
}

fn changes(axis: &Axis, samples: &[f32]) -> Trace {
    let mut steps = Steps {
        tick: axis
            .runs()
            .iter()
            .map(|r| r.interval)
            .filter(|i| *i > 0.0)
            .fold(f64::MAX, f64::min),
        ..Steps::default()
    };
    for (index, value) in samples.iter().enumerate() {
        if steps.values.last() != Some(&Some(*value)) {
            steps.times.push(axis.time(index as f64));
            steps.values.push(Some(*value));
        }
    }
    steps.end = axis.time(samples.len().saturating_sub(1) as f64);
    Trace::Stepped(steps)
}

/// Tells the kind of file from its first bytes.
pub fn format_of(start: &[u8]) -> Format {
    if start.starts_with(b"RIFF") || start.starts_with(b"RF64") {
        Format::Wav
    } else if start.starts_with(b"\x93NUMPY") {
        Format::Npy
    } else if matches!(start.first(), Some(0 | 254)) && start.get(1..5) == Some(&[0; 4]) {
        // a fast signal trace opens with block 0 (or 254 if packed whole) and a length of eight bytes, the high ones zero
        Format::Fst
    } else if start.trim_ascii_start().first() == Some(&b'$') {
        Format::Vcd
    } else {
        Format::Csv
    }
}

/// Reads a whole capture into memory.
pub fn read(mut source: impl Read, given: &Given) -> Result<Capture, Fault> {
    let mut start = Vec::new();
    source.by_ref().take(64).read_to_end(&mut start)?;
    if start.is_empty() {
        return Err(Wrong::Empty.at(Place::Whole));
    }
    let format = format_of(&start);
    let source = std::io::Cursor::new(start).chain(source);
    match format {
        Format::Vcd => vcd::read(source),
        Format::Fst => fst::read(source),
        Format::Csv | Format::Wav | Format::Npy => {
            let mut keep = Keep::default();
            let told = stream(format, source, given, &mut keep)?;
            Ok(keep.into_capture(format, told))
        }
    }
}

/// Passes a sampled file through a sink without keeping it; formats of changes are refused.
pub fn stream(
    format: Format,
    source: impl Read,
    given: &Given,
    sink: &mut dyn Sink,
) -> Result<Told, Fault> {
    match format {
        Format::Csv => csv::stream(source, given, sink),
        Format::Wav => wav::stream(source, given, sink),
        Format::Npy => npy::stream(source, given, sink),
        Format::Vcd | Format::Fst => Err(Wrong::Unsupported {
            what: "Streaming",
            value: format!("{format:?}"),
        }
        .at(Place::Whole)),
    }
}
