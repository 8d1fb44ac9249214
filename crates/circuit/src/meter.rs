//! Meters as circuits: what an instrument connects to the two leads, and what it shows.

use sheet::meter::{CurrentRange, DiodeFunction, Meter, OhmsFunction, SeriesRange, VoltsFunction};

use crate::laws::{Law, Lead};
use crate::network::{Branch, Element, Node};

/// What is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Function {
    /// Resistance.
    Ohms,
    /// Diode test.
    Diode,
    /// DC volts.
    Volts,
}

/// A range of an instrument as a circuit between the leads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Setup {
    /// A current range of the ohms function.
    CurrentOhms {
        /// Test current in amperes.
        amps: f64,
        /// Voltage limit.
        limit: f64,
        /// Largest resistance shown, in ohms.
        full_scale: f64,
        /// Error as a fraction of the reading.
        accuracy: f64,
        /// Error in ohms at zero.
        floor: f64,
    },
    /// A battery behind a resistance.
    SeriesOhms {
        /// Resistance in ohms.
        source: f64,
        /// Open-circuit volts.
        open: f64,
        /// Largest resistance shown, in ohms.
        full_scale: f64,
        /// The red lead is the negative one.
        reversed: bool,
        /// Error as a fraction of the arc.
        accuracy: f64,
    },
    /// Diode test.
    Diode {
        /// Test current in amperes.
        amps: f64,
        /// Voltage limit.
        limit: f64,
        /// Error as a fraction of the reading.
        accuracy: f64,
        /// Error in volts at zero.
        floor: f64,
    },
    /// DC volts.
    Volts {
        /// Input resistance in ohms.
        ohms: f64,
        /// Error as a fraction of the reading.
        accuracy: f64,
        /// Error in volts at zero.
        floor: f64,
    },
    /// A source behind a resistance, as one point of a volt-ampere curve is taken, and a voltmeter without error beside it.
    Source {
        /// Volts of the source, positive on red.
        volts: f64,
        /// Resistance in ohms.
        ohms: f64,
    },
}

/// Which of several ranges gives the reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Choice {
    /// The instrument takes the first that is not exceeded.
    First,
    /// The person takes the one nearest mid-scale.
    NearestMiddle,
}

/// The ranges of `meter` for a function, and how one is chosen; `None` if the meter has it not.
pub fn setups(meter: &Meter, function: Function) -> Option<(Vec<Setup>, Choice)> {
    match function {
        Function::Ohms => match meter.ohms.as_ref()? {
            OhmsFunction::CurrentSource { ranges } => {
                Some((ranges.iter().map(current).collect(), Choice::First))
            }
            OhmsFunction::Series { ranges } => {
                Some((ranges.iter().map(series).collect(), Choice::NearestMiddle))
            }
        },
        Function::Diode => Some((vec![diode(meter.diode.as_ref()?)], Choice::First)),
        Function::Volts => Some((vec![volts(meter.volts.as_ref()?)], Choice::First)),
    }
}

fn current(range: &CurrentRange) -> Setup {
    Setup::CurrentOhms {
        amps: range.amps.0,
        limit: range.limit.0,
        full_scale: range.full_scale.0,
        accuracy: range.accuracy,
        floor: range.floor.0,
    }
}

fn series(range: &SeriesRange) -> Setup {
    Setup::SeriesOhms {
        source: range.source.0,
        open: range.open.0,
        full_scale: range.full.0,
        reversed: range.reversed,
        accuracy: range.accuracy,
    }
}

fn diode(function: &DiodeFunction) -> Setup {
    Setup::Diode {
        amps: function.amps.0,
        limit: function.limit.0,
        accuracy: function.accuracy,
        floor: function.floor.0,
    }
}

fn volts(function: &VoltsFunction) -> Setup {
    Setup::Volts {
        ohms: function.input.ohms().0,
        accuracy: function.accuracy,
        floor: function.floor.0,
    }
}

impl Setup {
    /// The branches that the instrument adds between `red` and `black`.
    pub fn branches(&self, red: Node, black: Node) -> Vec<Branch> {
        let branch = |element| Branch {
            part: None,
            nodes: [red, black, black],
            element,
        };
        let lead = |amps, limit| {
            branch(Element::Device {
                law: Law::Lead(Lead { amps, limit }),
                varying: [None; 3],
                sign: 1.0,
            })
        };
        match *self {
            Setup::CurrentOhms { amps, limit, .. } | Setup::Diode { amps, limit, .. } => {
                vec![lead(amps, limit)]
            }
            Setup::SeriesOhms {
                source,
                open,
                reversed,
                ..
            } => {
                let volts = if reversed { -open } else { open };
                vec![branch(Element::Battery {
                    volts,
                    ohms: source,
                })]
            }
            Setup::Volts { ohms, .. } => vec![branch(Element::Fixed(ohms))],
            Setup::Source { volts, ohms } => vec![branch(Element::Battery { volts, ohms })],
        }
    }

    /// What the instrument shows when `volts` stand between red and black; `None` is over range.
    pub fn shown(&self, volts: f64) -> Option<f64> {
        match *self {
            Setup::CurrentOhms {
                amps,
                limit,
                full_scale,
                ..
            } => {
                let ohms = volts / amps;
                (volts < limit && ohms <= full_scale).then_some(ohms)
            }
            Setup::SeriesOhms {
                source,
                open,
                full_scale,
                reversed,
                ..
            } => {
                let v = if reversed { -volts } else { volts };
                let ohms = source * v / (open - v);
                (v < open && ohms <= full_scale).then_some(ohms)
            }
            Setup::Diode { limit, .. } => (volts < limit).then_some(volts),
            Setup::Volts { .. } | Setup::Source { .. } => Some(volts),
        }
    }

    /// Derivative of what is shown by the volts between red and black.
    pub fn slope(&self, volts: f64) -> f64 {
        match *self {
            Setup::CurrentOhms { amps, .. } => 1.0 / amps,
            Setup::SeriesOhms {
                source,
                open,
                reversed,
                ..
            } => {
                let v = if reversed { -volts } else { volts };
                let slope = source * open / ((open - v) * (open - v));
                if reversed { -slope } else { slope }
            }
            Setup::Diode { .. } | Setup::Volts { .. } | Setup::Source { .. } => 1.0,
        }
    }

    /// Standard deviation of the meter's own error when it shows `reading`.
    pub fn error(&self, reading: f64) -> f64 {
        match *self {
            Setup::CurrentOhms {
                accuracy, floor, ..
            }
            | Setup::Diode {
                accuracy, floor, ..
            }
            | Setup::Volts {
                accuracy, floor, ..
            } => 0.5 * (accuracy * reading.abs() + floor),
            // R = source (1/d - 1) at the fraction d of the arc, so dR = source / d^2 dd.
            Setup::SeriesOhms {
                source, accuracy, ..
            } => 0.5 * accuracy * (reading + source) * (reading + source) / source,
            Setup::Source { .. } => 0.0,
        }
    }

    /// What the meter shows for a true `reading` when its error is `deviate` standard deviations;
    /// `None` if a needle falls below the end of its scale.
    ///
    /// A moving coil errs in arc, so its readings are not normal in ohms.
    pub fn misread(&self, reading: f64, deviate: f64) -> Option<f64> {
        match *self {
            Setup::SeriesOhms {
                source, accuracy, ..
            } => {
                let arc = source / (source + reading) + 0.5 * accuracy * deviate;
                (arc > 0.0).then(|| source * (1.0 / arc - 1.0))
            }
            _ => Some(reading + deviate * self.error(reading)),
        }
    }

    /// Whether the meter's error is normal in the unit it shows.
    pub fn errs_normally(&self) -> bool {
        !matches!(self, Setup::SeriesOhms { .. })
    }

    /// Distance from mid-scale, for the choice of a moving coil's range.
    pub fn off_middle(&self, reading: f64) -> f64 {
        match *self {
            Setup::SeriesOhms { source, .. } => (reading / source).ln().abs(),
            _ => 0.0,
        }
    }
}

impl Setup {
    /// Voltages between red and black at which the range is left: full scale and limit.
    pub fn border_volts(&self) -> [Option<f64>; 2] {
        match *self {
            Setup::CurrentOhms {
                amps,
                limit,
                full_scale,
                ..
            } => [Some(limit), Some(full_scale * amps).filter(|v| *v < limit)],
            Setup::SeriesOhms {
                source,
                open,
                full_scale,
                reversed,
                ..
            } => {
                let v = open * full_scale / (full_scale + source);
                [Some(if reversed { -v } else { v }), None]
            }
            Setup::Diode { limit, .. } => [Some(limit), None],
            Setup::Volts { .. } | Setup::Source { .. } => [None, None],
        }
    }
}
