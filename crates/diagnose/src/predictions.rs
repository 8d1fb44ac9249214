//! What the reasoning asks of whoever knows the circuit: readings healthy and under each change, and what they share.

use std::sync::Arc;

use record::Shown;

use crate::fit::shared;
use crate::marginal::Marginal;

/// How readings at a place spread, and so on which scale they are compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scale {
    /// Resistance: by ratio, except near zero where the leads' own resistance blurs it.
    Ohms,
    /// Volts of a diode test, never negative of note.
    Diode,
    /// Volts, either sign.
    Volts,
}

/// Below about this many ohms a resistance is compared by difference, not by ratio: leads have
/// 0.2 to 0.5 ohm (common practice).
const LEADS: f64 = 0.5;

impl Scale {
    /// The reading on the scale, and the scale's slope there.
    pub fn at(self, reading: f64) -> (f64, f64) {
        match self {
            Scale::Ohms => {
                let x = reading / (2.0 * LEADS);
                (x.asinh(), 1.0 / (reading.hypot(2.0 * LEADS)))
            }
            Scale::Diode | Scale::Volts => (reading, 1.0),
        }
    }

    /// A border of the reading on the scale; infinite where there is none.
    pub fn border(self, reading: f64) -> f64 {
        if reading.is_finite() {
            self.at(reading).0
        } else {
            reading
        }
    }

    /// The reading at a point of the scale.
    pub fn reading(self, at: f64) -> f64 {
        match self {
            Scale::Ohms => 2.0 * LEADS * at.sinh(),
            Scale::Diode | Scale::Volts => at,
        }
    }
}

/// How much something moves with each of the standard normal variables that readings share:
/// (variable, slope), ascending by variable.
pub type Slopes = Vec<(u32, f64)>;

/// A place on a healthy board.
#[derive(Clone, Debug, PartialEq)]
pub struct Healthy {
    /// The scale of the place.
    pub scale: Scale,
    /// With nominal parts.
    pub nominal: Shown,
    /// Over healthy units.
    pub marginal: Marginal,
    /// Slopes of the normal score; the squares sum to at most 1, and what they lack is the
    /// reading's own.
    pub slopes: Slopes,
    /// The same place with the leads exchanged, where that is another reading.
    pub reversed: Option<Marginal>,
    /// How it follows the variables near one unit, if the predictions are of units near that one;
    /// then it counts for what is read, and not the distribution over all units.
    pub line: Option<Line>,
}

/// A reading as a straight line in the shared variables, on the scale of its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Where it meets the middle of the variables.
    pub middle: f64,
    /// Slopes by the shared variables; like lines share them.
    pub slopes: Arc<[(u32, f64)]>,
    /// Variance that is the reading's own.
    pub own: f64,
    /// Above this the meter shows over range; infinite where it never does.
    pub border: f64,
}

/// A reading as it was solved in one unit, in the unit of the reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Solved {
    /// What is read.
    pub mean: f64,
    /// Slopes by the shared variables.
    pub slopes: Slopes,
    /// Standard deviation that is the reading's own: the meter's error.
    pub sd: f64,
    /// Standard deviation on the scale of the place by which the straight line errs.
    pub bend: f64,
    /// Above this the meter shows over range; infinite where it never does.
    pub border: f64,
}

impl Solved {
    /// The line through it, solved in the unit whose shared variables stand at `unit`, ascending, those
    /// not named in the middle.
    pub fn line(self, scale: Scale, unit: &[(u32, f64)]) -> Line {
        let (at, slope) = scale.at(self.mean);
        let slopes: Slopes = self.slopes.iter().map(|(v, s)| (*v, s * slope)).collect();
        Line {
            middle: at - shared(&slopes, unit),
            slopes: slopes.into(),
            own: (self.sd * slope).powi(2) + self.bend.powi(2),
            border: scale.border(self.border),
        }
    }
}

/// What a change does to the reading of one place.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// Nothing to speak of.
    Unmoved,
    /// It is over range, far beyond chance.
    OverRange,
    /// It reads otherwise.
    Moved(Line),
    /// The changed circuit could not be solved.
    Unknown,
}

/// What may be otherwise than the sheet says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Blame {
    /// The unit: a fault.
    Unit,
    /// The drawing.
    Sheet,
}

/// One thing that may be wrong, with its magnitudes.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// Unit or sheet.
    pub blame: Blame,
    /// Part as JSON has it: `R4`, `J1.2`, `bridge`.
    pub part: String,
    /// Fault or doubt without magnitude: `open`, `high`.
    pub name: String,
    /// Prior weight against a weight of 1 for a healthy unit with a right sheet.
    pub weight: f64,
    /// Magnitudes that are tried, equally likely and evenly spaced by their logarithm; empty if
    /// it has none.
    pub magnitudes: Vec<f64>,
}

impl Change {
    /// Number of variants: one for each magnitude, or one.
    pub fn variants(&self) -> usize {
        self.magnitudes.len().max(1)
    }

    /// `R4 open`, `C6 leaky=330`.
    pub fn words(&self, magnitude: Option<f64>) -> String {
        match magnitude {
            Some(m) => format!("{} {}={}", self.part, self.name, short(m)),
            None => format!("{} {}", self.part, self.name),
        }
    }
}

/// A magnitude with two digits, which is more than a diagnosis knows.
fn short(x: f64) -> String {
    let step = 10f64.powf(x.abs().log10().floor() - 1.0);
    units::number((x / step).round() * step)
}

/// Readings healthy and changed, of one unit. Places and changes are named by their index.
pub trait Predictions: Sync {
    /// All that may be wrong.
    fn changes(&self) -> &[Change];
    /// The place on a healthy board; `None` where nothing could be computed.
    fn healthy(&self, place: usize) -> Option<&Healthy>;
    /// The place under a variant of a change.
    fn effect(&self, change: usize, variant: usize, place: usize) -> &Effect;
    /// The place under two changes at once, each (change, variant); asked only where both move it.
    fn together(&self, first: (usize, usize), second: (usize, usize), place: usize) -> Effect;
    /// The unit near which the predictions of a place hold: its variables, ascending, those not named at zero.
    fn centre(&self, place: usize) -> &[(u32, f64)] {
        let _ = place;
        &[]
    }
    /// What these places read under some changes at once (none: a healthy unit) in the unit whose
    /// shared variables stand at `at`, ascending by variable, those not named at zero, or in one near it.
    /// `None` if straight lines through the middle are all that is known.
    fn near(
        &self,
        changes: &[(usize, usize)],
        at: &[(u32, f64)],
        places: &[usize],
    ) -> Option<Near> {
        let _ = (changes, at, places);
        None
    }
    /// The unit in which these changes were looked at last, if they were.
    fn looked(&self, changes: &[(usize, usize)]) -> Option<Slopes> {
        let _ = changes;
        None
    }
}

/// Readings as lines through one unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Near {
    /// One a place, never [`Effect::Unmoved`].
    pub effects: Vec<Arc<Effect>>,
    /// Whether any was solved anew; if not they are those of the last time.
    pub solved: bool,
}
