//! What was done to parts: touched and repaired are two things.

use units::{Amps, Volts};

use super::Site;
use crate::{Digest, Id};

/// Something is about to be touched; written before it is done, because what follows may be its doing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Touch {
    /// Where.
    pub site: Site,
    /// Which connector, contact or part.
    pub what: String,
    /// In which way.
    pub how: How,
    /// Why.
    pub reason: String,
}

/// In which way something was touched without being changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum How {
    /// Drawn and put back.
    Reseated,
    /// Cleaned.
    Cleaned,
    /// Tapped or bent.
    Tapped,
    /// A joint made anew with the same part.
    Resoldered,
    /// A lead lifted and put back.
    Lifted,
    /// In another way, which the reason tells.
    Other,
}

impl How {
    /// All of them.
    pub const ALL: [How; 6] = [
        How::Reseated,
        How::Cleaned,
        How::Tapped,
        How::Resoldered,
        How::Lifted,
        How::Other,
    ];

    /// The word.
    pub fn word(self) -> &'static str {
        match self {
            How::Reseated => "reseated",
            How::Cleaned => "cleaned",
            How::Tapped => "tapped",
            How::Resoldered => "resoldered",
            How::Lifted => "lifted",
            How::Other => "other",
        }
    }
}

/// A part was changed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Repair {
    /// Where.
    pub site: Site,
    /// Designator.
    pub part: String,
    /// What was done: what came out and what went in.
    pub what: String,
    /// Why.
    pub reason: String,
    /// What it did wrong.
    pub symptom: String,
    /// Where the original is kept; none if it is still in place.
    pub kept: Option<String>,
    /// Whether it can be undone without a trace.
    pub reversible: bool,
    /// The finding that it is meant to mend.
    pub finding: Option<Id>,
    /// Photographs of it.
    pub photos: Vec<Digest>,
}

/// One row of a capacitor's record while it is measured or reformed.
#[derive(Clone, Debug, PartialEq)]
pub struct Capacitor {
    /// Where.
    pub site: Site,
    /// Designator.
    pub part: String,
    /// Voltage across it.
    pub volts: Volts,
    /// Current into it; none if it was not measured.
    pub amps: Option<Amps>,
    /// Minutes since the start of this treatment.
    pub minutes: f64,
    /// Series resistor, meter, warmth; what was decided, and why.
    pub note: String,
}
