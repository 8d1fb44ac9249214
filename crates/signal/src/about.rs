//! What a person knows of a set of recordings: where it was taken, what its signals should be, what drives what, how words are read.

mod read;

use crate::measure::{Estimate, Measured};
use crate::states::Thresholds;

pub use read::read_about;

/// A mistake in the text, with its place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mistake {
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// What is wrong.
    pub message: String,
    /// What would mend it.
    pub help: String,
}

/// All that is known of a set of recordings.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct About {
    /// The board that it was taken from.
    pub board: Option<String>,
    /// What its signals should be.
    pub expects: Vec<Expect>,
    /// Names of channels, each driving the next.
    pub flows: Vec<Vec<String>>,
    /// A gate sheet of the project that says what drives what.
    pub gates: Option<String>,
    /// How its channels become words.
    pub states: Option<Words>,
    /// Dimensions of the tube that it is a picture of.
    pub tube: Option<Dimensions>,
    /// It is a volt-ampere curve, taken here.
    pub curve: Option<Pin>,
}

/// What one signal should be.
#[derive(Clone, Debug, PartialEq)]
pub struct Expect {
    /// Channel.
    pub channel: String,
    /// The net of the board's sheet, or the named point, that it was taken at.
    pub net: Option<String>,
    /// Figures and their room.
    pub wants: Vec<Want>,
}

/// A figure of a signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs, reason = "named as IEEE 181 names them")]
pub enum What {
    Low,
    High,
    Period,
    Width,
    Rise,
    Fall,
    Overshoot,
}

impl What {
    /// All of them.
    pub const ALL: [What; 7] = [
        What::Low,
        What::High,
        What::Period,
        What::Width,
        What::Rise,
        What::Fall,
        What::Overshoot,
    ];

    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            What::Low => "low",
            What::High => "high",
            What::Period => "period",
            What::Width => "width",
            What::Rise => "rise",
            What::Fall => "fall",
            What::Overshoot => "overshoot",
        }
    }

    /// What was measured of it.
    pub fn of(self, m: &Measured) -> Option<Estimate> {
        let level = |value| {
            Some(Estimate {
                value,
                uncertainty: m.levels.uncertainty,
            })
        };
        match self {
            What::Low => level(m.levels.low),
            What::High => level(m.levels.high),
            What::Period => m.period,
            What::Width => m.width,
            What::Rise => m.rise,
            What::Fall => m.fall,
            What::Overshoot => m.overshoot,
        }
    }
}

/// A figure that is expected: 95 of 100 healthy signals have it within `room`, or, as a limit, below `value`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Want {
    /// Which figure.
    pub what: What,
    /// Volts, seconds or per cent.
    pub value: f64,
    /// Half the width of the band, in the same unit.
    pub room: f64,
    /// It is the most that it may be: less is right, too.
    pub most: bool,
}

impl Want {
    /// Normal score of a figure: how many standard deviations of the band and of its own uncertainty it is off.
    ///
    /// Below a limit it is zero.
    pub fn score(&self, seen: Estimate) -> f64 {
        let off = seen.value - self.value;
        // a band of 95 in 100 reaches 1.96 deviations to each side
        let deviation = (self.room / 1.96)
            .hypot(seen.uncertainty)
            .max(f64::MIN_POSITIVE);
        if self.most {
            off.max(0.0) / deviation
        } else {
            off / deviation
        }
    }
}

/// Which channels make words, and at which clock.
#[derive(Clone, Debug, PartialEq)]
pub struct Words {
    /// Channel of the clock.
    pub clock: String,
    /// Its rising transitions count; else its falling ones.
    pub rising: bool,
    /// Channels of the bits, most significant first.
    pub bits: Vec<String>,
    /// Levels of the logic.
    pub levels: Thresholds,
    /// Samples before the clock's transition at which the bits are read.
    pub early: f64,
}

/// A tube's plates, as written: length, distance, way to the screen; and its accelerating volts.
#[derive(Clone, Debug, PartialEq)]
pub struct Dimensions {
    /// Plates that move the beam across.
    pub x: Option<String>,
    /// Plates that move it up.
    pub y: Option<String>,
    /// Volts from the cathode to the last anode.
    pub anode: f64,
}

/// Where a volt-ampere curve was taken.
#[derive(Clone, Debug, PartialEq)]
pub struct Pin {
    /// Place of the source's positive lead.
    pub red: String,
    /// Place of its other lead.
    pub black: String,
    /// The board is powered.
    pub powered: bool,
    /// Channel of the volts, if its unit does not tell.
    pub volts: Option<String>,
    /// Channel of the current.
    pub amps: Option<String>,
    /// Ohms across which the current's channel was taken.
    pub shunt: Option<f64>,
}
