//! One measured value, with all that was written beside it.

use sheet::PartId;
use units::{Celsius, Unit};

use crate::Lead;

/// What was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum ReadingKind {
    /// Resistance.
    Ohms,
    /// Voltage of the diode test.
    Diode,
    /// DC voltage.
    Volts,
    /// AC voltage on top of it.
    Ripple,
    /// Current.
    Amps,
    /// Capacitance.
    Capacitance,
    /// Leakage current.
    Leakage,
}

impl ReadingKind {
    /// All kinds.
    pub const ALL: [ReadingKind; 7] = [
        ReadingKind::Ohms,
        ReadingKind::Diode,
        ReadingKind::Volts,
        ReadingKind::Ripple,
        ReadingKind::Amps,
        ReadingKind::Capacitance,
        ReadingKind::Leakage,
    ];

    /// The word in a file.
    pub fn word(self) -> &'static str {
        match self {
            ReadingKind::Ohms => "ohms",
            ReadingKind::Diode => "diode",
            ReadingKind::Volts => "volts",
            ReadingKind::Ripple => "ripple",
            ReadingKind::Amps => "amps",
            ReadingKind::Capacitance => "capacitance",
            ReadingKind::Leakage => "leakage",
        }
    }

    /// The unit of its value.
    pub fn unit(self) -> Unit {
        match self {
            ReadingKind::Ohms => Unit::Ohm,
            ReadingKind::Diode | ReadingKind::Volts | ReadingKind::Ripple => Unit::Volt,
            ReadingKind::Amps | ReadingKind::Leakage => Unit::Ampere,
            ReadingKind::Capacitance => Unit::Farad,
        }
    }
}

/// State of the circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum State {
    /// No supply connected.
    Cold,
    /// Supplies on.
    Powered,
}

impl State {
    /// Both states.
    pub const ALL: [State; 2] = [State::Cold, State::Powered];

    /// The word in a file.
    pub fn word(self) -> &'static str {
        match self {
            State::Cold => "cold",
            State::Powered => "powered",
        }
    }
}

/// Where the board was.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Placement {
    /// In its machine, with all that hangs on it.
    Chassis,
    /// On the bench by itself.
    BoardOut,
}

impl Placement {
    /// Both placements.
    pub const ALL: [Placement; 2] = [Placement::Chassis, Placement::BoardOut];

    /// The word in a file.
    pub fn word(self) -> &'static str {
        match self {
            Placement::Chassis => "chassis",
            Placement::BoardOut => "board-out",
        }
    }
}

/// What a display showed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shown {
    /// A value in the SI unit of the reading's kind; finite.
    Number(f64),
    /// Over range.
    OverRange,
}

/// The value of a reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ReadingValue {
    /// It stood still.
    Steady(Shown),
    /// It wandered between the two, as with a bad contact.
    Intermittent(Shown, Shown),
}

/// Conditions that belong to a reading; what is absent was not written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Conditions {
    /// Where the board was.
    pub placement: Option<Placement>,
    /// Part pins that were lifted from their nets.
    pub lifted: Vec<Lead>,
    /// Connectors that were unplugged.
    pub unplugged: Vec<PartId>,
    /// Temperature of the room.
    pub celsius: Option<Celsius>,
    /// Minutes since switch-on; not below zero.
    pub minutes: Option<f64>,
    /// Power cycle, as written.
    pub cycle: Option<String>,
}

/// One measured value.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The unit that was measured, as written.
    pub unit: String,
    /// State of the circuit.
    pub state: State,
    /// What was measured.
    pub kind: ReadingKind,
    /// Where the red lead was.
    pub red: Lead,
    /// Where the black lead was.
    pub black: Lead,
    /// What was read.
    pub value: ReadingValue,
    /// The value as written.
    pub written: String,
    /// Name of the meter profile; none means the one in force.
    pub meter: Option<String>,
    /// Remark; may be empty.
    pub note: String,
    /// Under which conditions.
    pub conditions: Conditions,
    /// When, as written.
    pub time: Option<String>,
    /// Line in its file, counted from 1; 0 if it has none.
    pub line: usize,
}
