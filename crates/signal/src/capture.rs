//! Captures as plain data: channels of samples on a time base, or of changes at stated times.

use crate::axis::Axis;
use std::sync::Arc;

/// Kinds of file that are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Text in rows and columns.
    Csv,
    /// Value change dump, IEEE 1364.
    Vcd,
    /// Fast signal trace.
    Fst,
    /// RIFF wave.
    Wav,
    /// One array in NumPy's format.
    Npy,
}

/// A recorded file: its channels and what the reader had to assume.
#[derive(Clone, Debug, PartialEq)]
pub struct Capture {
    /// Kind of file it came from.
    pub format: Format,
    /// Channels in the file's order.
    pub channels: Vec<Channel>,
    /// Whole sentences on what was not said outright by the file.
    pub notes: Vec<String>,
}

/// One channel of a capture.
#[derive(Clone, Debug, PartialEq)]
pub struct Channel {
    /// Its name as the file gives it, without the unit.
    pub name: String,
    /// Symbol of the SI unit of its values, empty if the file names none.
    pub unit: String,
    /// What was recorded.
    pub trace: Trace,
}

/// What one channel recorded.
#[derive(Clone, Debug, PartialEq)]
pub enum Trace {
    /// Samples on a time base.
    Sampled {
        /// Time of each sample.
        axis: Arc<Axis>,
        /// Values in the channel's unit; all finite.
        samples: Vec<f32>,
    },
    /// Values that hold until the next change.
    Stepped(Steps),
}

/// Values that hold from their time to the next one's; times rise.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Steps {
    /// Times of change in seconds.
    pub times: Vec<f64>,
    /// Values from then on; none where the file says unknown or floating.
    pub values: Vec<Option<f32>>,
    /// End of the recording in seconds.
    pub end: f64,
    /// Seconds a tick of the file's clock.
    pub tick: f64,
}

impl Trace {
    /// First and last recorded time in seconds; none if nothing was recorded.
    pub fn span(&self) -> Option<(f64, f64)> {
        match self {
            Trace::Sampled { axis, samples } => {
                let last = samples.len().checked_sub(1)?;
                Some((axis.time(0.0), axis.time(last as f64)))
            }
            Trace::Stepped(steps) => Some((*steps.times.first()?, steps.end)),
        }
    }

    /// Seconds a sample, or a tick of a stepped recording.
    pub fn interval(&self) -> f64 {
        match self {
            Trace::Sampled { axis, .. } => axis.interval(),
            Trace::Stepped(steps) => steps.tick,
        }
    }
}
