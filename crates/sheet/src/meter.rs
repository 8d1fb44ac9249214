//! Meter profiles as plain data: what an instrument does to a circuit, and how wrong it may be.

mod file;
mod print;

use std::sync::LazyLock;

use units::{Amps, Ohms, Volts};

use crate::Diagnostic;

/// One instrument. A function that is absent is one the instrument has not.
#[derive(Clone, Debug, PartialEq)]
pub struct Meter {
    /// Name, such as `bench-digital`.
    pub name: String,
    /// Where its figures come from, if said.
    pub source: Option<String>,
    /// Ohms.
    pub ohms: Option<OhmsFunction>,
    /// Diode test.
    pub diode: Option<DiodeFunction>,
    /// DC volts.
    pub volts: Option<VoltsFunction>,
}

/// How resistance is measured; ranges in the order written, never empty.
#[derive(Clone, Debug, PartialEq)]
pub enum OhmsFunction {
    /// A current is sent, the voltage at the leads divided by it is the reading; the instrument picks the range.
    CurrentSource {
        /// Tried in this order: the first that is not exceeded and does not clamp gives the reading.
        ranges: Vec<CurrentRange>,
    },
    /// A battery behind a resistance (moving coil); the person picks the range.
    Series {
        /// Ranges, in the order written.
        ranges: Vec<SeriesRange>,
    },
}

/// A range that sends a current.
#[derive(Clone, Debug, PartialEq)]
pub struct CurrentRange {
    /// Name as written, such as `200R`.
    pub name: String,
    /// Largest resistance it shows: the number in its name.
    pub full_scale: Ohms,
    /// Test current.
    pub amps: Amps,
    /// Voltage at the leads where the source clamps.
    pub limit: Volts,
    /// Error as a fraction of the reading; with the floor, two standard deviations.
    pub accuracy: f64,
    /// Error at zero.
    pub floor: Ohms,
}

/// A range with a battery behind a resistance.
#[derive(Clone, Debug, PartialEq)]
pub struct SeriesRange {
    /// Name as written, such as `x1`.
    pub name: String,
    /// Resistance behind the battery, which is the reading at mid-scale.
    pub source: Ohms,
    /// Open-circuit voltage.
    pub open: Volts,
    /// Reading above which the needle tells nothing; 100 times `source` when not given.
    pub full: Ohms,
    /// The red lead is the negative one.
    pub reversed: bool,
    /// Error as a fraction of the arc, two standard deviations.
    pub accuracy: f64,
}

/// The diode test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DiodeFunction {
    /// Test current.
    pub amps: Amps,
    /// Voltage at and above which it shows over range.
    pub limit: Volts,
    /// Error as a fraction of the reading.
    pub accuracy: f64,
    /// Error at zero.
    pub floor: Volts,
}

/// DC volts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VoltsFunction {
    /// What loads the net.
    pub input: VoltsInput,
    /// Error as a fraction of the reading.
    pub accuracy: f64,
    /// Error at zero.
    pub floor: Volts,
    /// Above this the instrument is in danger, and the person, too; none means no limit is known.
    pub max: Option<Volts>,
}

/// The resistance with which an instrument loads what it measures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum VoltsInput {
    /// The same on every range.
    Fixed(Ohms),
    /// So much per volt of the range in use.
    PerVolt {
        /// Resistance for each volt of full scale.
        ohms_per_volt: Ohms,
        /// Full scale in use.
        range: Volts,
    },
}

impl VoltsInput {
    /// The resistance between the leads.
    pub fn ohms(self) -> Ohms {
        match self {
            VoltsInput::Fixed(ohms) => ohms,
            VoltsInput::PerVolt {
                ohms_per_volt,
                range,
            } => Ohms(ohms_per_volt.0 * range.0),
        }
    }
}

static SHIPPED: LazyLock<Vec<Meter>> = LazyLock::new(|| {
    let (meters, mistakes) = Meter::parse(include_str!("../data/meters.kdl"), "meters.kdl");
    assert!(
        mistakes.is_empty(),
        "the shipped meter file has mistakes: {mistakes:?}"
    );
    meters
});

impl Meter {
    /// Name of the profile that is used when nothing else was said.
    pub const DEFAULT: &'static str = "bench-digital";

    /// The profiles that come with the program.
    pub fn shipped() -> &'static [Meter] {
        &SHIPPED
    }

    /// Reads the profiles of a file, in order; a profile with any mistake is left out.
    pub fn parse(text: &str, file: &str) -> (Vec<Meter>, Vec<Diagnostic>) {
        file::parse(text, file)
    }
}
