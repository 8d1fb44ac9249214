//! What a person holds to be so, and on what ground.

use super::{Circumstance, Site};
use crate::{ReadingKind, State};

/// A test with a name was run.
#[derive(Clone, Debug, PartialEq)]
pub struct Test {
    /// Where.
    pub site: Site,
    /// Its name; the same test has the same name.
    pub name: String,
    /// Whether it was passed.
    pub passed: bool,
    /// What was seen.
    pub text: String,
    /// Under which circumstances.
    pub circumstance: Circumstance,
}

/// How far a board is trusted. Trust is lost again at a move, a pulled board, a repair, or with time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trust {
    /// Which board.
    pub site: Site,
    /// How far.
    pub level: Level,
    /// The test that proved it; needed for `proven`, else the ground in words.
    pub test: String,
    /// How long it lasts.
    pub lasts: Lasts,
}

/// How far a board is trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Level {
    /// Nothing is known.
    Unknown,
    /// Nothing contradicts its being right.
    Consistent,
    /// A test that could have failed was passed.
    Proven,
}

impl Level {
    /// All of them.
    pub const ALL: [Level; 3] = [Level::Unknown, Level::Consistent, Level::Proven];

    /// The word.
    pub fn word(self) -> &'static str {
        match self {
            Level::Unknown => "unknown",
            Level::Consistent => "consistent",
            Level::Proven => "proven",
        }
    }
}

/// How long trust lasts if nothing happens.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Lasts {
    /// Four weeks.
    Weeks,
    /// For this power cycle: what rests on rail or logic readings.
    Cycle,
}

impl Lasts {
    /// Both.
    pub const ALL: [Lasts; 2] = [Lasts::Weeks, Lasts::Cycle];

    /// The word.
    pub fn word(self) -> &'static str {
        match self {
            Lasts::Weeks => "weeks",
            Lasts::Cycle => "cycle",
        }
    }
}

/// A suspect was ruled in or out by hand; the last word counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ruling {
    /// Where.
    pub site: Site,
    /// The suspect, `PART FAULT`, as the list of suspects has it.
    pub suspect: String,
    /// Ruled out, or ruled in.
    pub out: bool,
    /// Why.
    pub reason: String,
}

/// A difference of two recordings was dismissed as harmless; it need not be seen again.
#[derive(Clone, Debug, PartialEq)]
pub struct Harmless {
    /// The set of recordings.
    pub capture: String,
    /// The channel.
    pub channel: String,
    /// The kind of difference: missing, extra, moved, level, shape.
    pub difference: String,
    /// Where it is on the first unit's axis, seconds; none for all of this kind on this channel.
    pub at: Option<f64>,
    /// Harmless, because.
    pub reason: String,
}

/// A difference of the units, or one odd reading among like ones, was dismissed as harmless; it need not be seen again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Dismissal {
    /// The board.
    pub board: String,
    /// State of the circuit.
    pub state: State,
    /// What was measured.
    pub kind: ReadingKind,
    /// Where the red lead was.
    pub red: String,
    /// Where the black lead was.
    pub black: String,
    /// Harmless, because.
    pub reason: String,
    /// The one reading that it is about; none means the difference of the units at this place.
    pub one: Option<OddOne>,
}

/// The reading of one unit that stood out among like ones.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OddOne {
    /// The unit.
    pub unit: String,
    /// What was read there, as written: a reading that is not like it any more was not dismissed.
    pub value: String,
}
