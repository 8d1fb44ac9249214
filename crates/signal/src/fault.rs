//! What can be wrong with a recorded file, with the line or byte where it was seen and what would mend it.

use thiserror::Error;

/// Where in the file the trouble was seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// The file as a whole.
    Whole,
    /// A line, counted from 1 at the top of the file, and the column in bytes, counted from 1.
    Line(u64, u64),
    /// An offset in bytes, counted from 0.
    Byte(u64),
}

/// A fault of a recorded file and its place.
#[derive(Clone, Debug, PartialEq, Error)]
#[error("{wrong}")]
pub struct Fault {
    /// Where it was seen.
    pub place: Place,
    /// What was seen.
    pub wrong: Wrong,
}

/// Everything that can be wrong with a recorded file.
#[derive(Clone, Debug, PartialEq, Error)]
#[allow(
    missing_docs,
    reason = "the sentence on each variant says what its numbers are"
)]
pub enum Wrong {
    #[error("The file is empty.")]
    Empty,
    #[error("There is no row of numbers in this file.")]
    NoRows,
    #[error("The file does not say how far apart its samples are.")]
    NoTimeBase,
    #[error("The file has a time base of {file:e} s a sample, but {given:e} s was given.")]
    TwoTimeBases { file: f64, given: f64 },
    #[error("A sample interval of {seconds} s is not possible.")]
    BadInterval { seconds: f64 },
    #[error("`{text}` is not a number.")]
    NotANumber { text: String },
    #[error("`{text}` is an instrument's mark for over range or no reading, not a value.")]
    OverRange { text: String },
    #[error("This row has {found} fields where the header has {wanted}.")]
    TooFewFields { found: usize, wanted: usize },
    #[error("This row has {found} fields where {wanted} were expected.")]
    TooManyFields { found: usize, wanted: usize },
    #[error("Time goes back from {before} s to {after} s.")]
    TimeGoesBack { before: f64, after: f64 },
    #[error(
        "The channel `{name}` is recorded in divisions, and the file does not say how much a division is."
    )]
    Divisions { name: String },
    #[error("There is a time column but no channel beside it.")]
    NoChannel,
    #[error("The line is longer than {limit} bytes.")]
    LongLine { limit: usize },
    #[error("The file is text of sixteen-bit characters.")]
    SixteenBitText,
    #[error("The file ends {missing} bytes too early: {declared} were declared.")]
    CutOff { declared: u64, missing: u64 },
    #[error("The file ends in the middle of {what}.")]
    EndsInside { what: &'static str },
    #[error("{what} is not understood here: `{text}`.")]
    NotUnderstood { what: &'static str, text: String },
    #[error("{what} of {value} is not supported.")]
    Unsupported { what: &'static str, value: String },
    #[error("No variable was declared with the code `{code}`.")]
    UnknownCode { code: String },
    #[error("An array of shape {rows} x {columns} does not say which way time runs.")]
    WhichWay { rows: u64, columns: u64 },
    #[error("The library that reads this format gave up: {reason}.")]
    Library { reason: String },
    #[error("Reading failed: {reason}.")]
    Device { reason: String },
}

impl Wrong {
    /// The same trouble, with its place.
    pub fn at(self, place: Place) -> Fault {
        Fault { place, wrong: self }
    }

    /// What would mend it, where that can be said.
    pub fn help(&self) -> Option<&'static str> {
        Some(match self {
            Wrong::NoTimeBase => {
                "Say it with --interval SECONDS, or add a line such as `interval,1e-6` above the header."
            }
            Wrong::TwoTimeBases { .. } => {
                "Leave out --interval, or correct the file's own time base."
            }
            Wrong::BadInterval { .. } => {
                "Give the time between two samples in seconds, above zero."
            }
            Wrong::OverRange { .. } => "Cut these rows out, or record again on a higher range.",
            Wrong::TooFewFields { .. } => {
                "Complete the row or cut it out; a file cut off in the middle ends like this."
            }
            Wrong::TooManyFields { .. } => {
                "If the decimal sign is a comma, separate the fields with semicolons or tabs."
            }
            Wrong::Divisions { .. } => {
                "Export volts, or multiply by the volts a division and say V in the header."
            }
            Wrong::SixteenBitText => "Save it as UTF-8 or plain text.",
            Wrong::CutOff { .. } | Wrong::EndsInside { .. } => {
                "Copy the file from the instrument again."
            }
            Wrong::WhichWay { .. } => {
                "Store it with samples down the longer axis, one column a channel."
            }
            Wrong::NoRows => {
                "A capture needs rows of numbers, with or without a header above them."
            }
            _ => return None,
        })
    }
}

impl From<std::io::Error> for Fault {
    fn from(error: std::io::Error) -> Fault {
        Wrong::Device {
            reason: error.to_string(),
        }
        .at(Place::Whole)
    }
}
