//! A reading held against its expectation and against the other unit's reading.

use crate::{Reading, ReadingValue, Shown};

/// What a healthy board would read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// With nominal parts and an error-free meter.
    pub nominal: Shown,
    /// 2.5 % quantile over healthy units and the meter's error.
    pub low: Shown,
    /// 97.5 % quantile.
    pub high: Shown,
}

/// How a reading stands to its expectation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum VerdictWord {
    /// Within the band.
    Agrees,
    /// Outside it, and not so far that chance is ruled out.
    Edge,
    /// Beyond that.
    Disagrees,
    /// Nothing could be computed to hold it against.
    NoExpectation,
}

impl VerdictWord {
    /// The word in output.
    pub fn word(self) -> &'static str {
        match self {
            VerdictWord::Agrees => "agrees",
            VerdictWord::Edge => "edge",
            VerdictWord::Disagrees => "disagrees",
            VerdictWord::NoExpectation => "no-expectation",
        }
    }
}

/// On which side of its band a reading is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Below.
    Low,
    /// Above.
    High,
}

impl Side {
    /// The word in output.
    pub fn word(self) -> &'static str {
        match self {
            Side::Low => "low",
            Side::High => "high",
        }
    }
}

/// How a reading stands to the other unit's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TwinCase {
    /// Only this one disagrees with its expectation.
    ThisOdd,
    /// Only the other one does.
    OtherOdd,
    /// Both do, and are alike: one fault in both, or a drawing that is wrong.
    AlikeButOff,
    /// Both do, and are not alike.
    AllDiffer,
    /// Neither does.
    BothAgree,
    /// Alike, and nothing to hold them against.
    Alike,
    /// Not alike, and nothing to hold them against.
    Differ,
}

impl TwinCase {
    /// The word in output.
    pub fn word(self) -> &'static str {
        match self {
            TwinCase::ThisOdd => "this-odd",
            TwinCase::OtherOdd => "other-odd",
            TwinCase::AlikeButOff => "alike-but-off",
            TwinCase::AllDiffer => "all-differ",
            TwinCase::BothAgree => "both-agree",
            TwinCase::Alike => "alike",
            TwinCase::Differ => "differ",
        }
    }
}

/// The other unit's reading of the same place.
#[derive(Clone, Debug, PartialEq)]
pub struct Twin {
    /// The other unit.
    pub other_unit: String,
    /// What it read.
    pub other_value: ReadingValue,
    /// How the two stand to each other.
    pub case: TwinCase,
}

/// A judged reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// The reading.
    pub reading: Reading,
    /// What it was held against; none if nothing could be computed.
    pub expected: Option<Expected>,
    /// How it stands to that.
    pub word: VerdictWord,
    /// On which side it is, unless it agrees.
    pub side: Option<Side>,
    /// Its normal score among healthy boards, the meter's error included once; none where it has none.
    pub z: Option<f64>,
    /// The other unit's reading, if there is one.
    pub twin: Option<Twin>,
}
