//! Findings: opened, thought about before the probe, closed by a re-test that could have failed.

use units::Celsius;

use super::Site;
use crate::{Id, VerdictWord};

/// Something is not as it should be.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Where.
    pub site: Site,
    /// What is wrong.
    pub text: String,
    /// Who says so.
    pub origin: Origin,
    /// When it shows.
    pub circumstance: Circumstance,
}

/// What opened a finding.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Origin {
    /// A verdict on a reading.
    Verdict {
        /// The entry of the reading; none if it stands in a file.
        reading: Option<Id>,
        /// The verdict, in words.
        text: String,
    },
    /// A person.
    Hand,
}

/// Under which circumstances something shows, or a test was run; what is absent was not written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Circumstance {
    /// It comes and goes.
    pub intermittent: bool,
    /// Minutes since switch-on.
    pub minutes: Option<f64>,
    /// Temperature.
    pub celsius: Option<Celsius>,
    /// What was tapped.
    pub tapped: Option<String>,
}

/// What a finding might be, and what the probe would then show; written before the probe.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hypothesis {
    /// The entry of the finding.
    pub finding: Id,
    /// What it might be.
    pub text: String,
    /// What a reading would then show, and what it would show if not.
    pub predicts: String,
}

/// What the probe said of a hypothesis; the last word counts, and a refuted one stays to be seen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outcome {
    /// The entry of the hypothesis.
    pub hypothesis: Id,
    /// Refuted, or supported.
    pub refuted: bool,
    /// Readings and tests taken after it was written.
    pub evidence: Vec<Id>,
    /// How they speak.
    pub reason: String,
}

/// Why a finding needs no mending: the drawing was wrong, a difference is harmless. It is explained then, not closed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Explanation {
    /// The entry of the finding.
    pub finding: Id,
    /// Why.
    pub reason: String,
}

/// A finding was closed by a re-test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Closing {
    /// The entry of the finding.
    pub finding: Id,
    /// What was done against it: entries of repairs, turns and touches.
    pub remedies: Vec<Id>,
    /// What shows that it helped; at least one, and every one must count.
    pub retests: Vec<Retest>,
    /// Remark; may be empty.
    pub reason: String,
}

/// The same reading or test before and after.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Retest {
    /// The entry of the reading or test before.
    pub before: Id,
    /// What its verdict was.
    pub was: VerdictWord,
    /// The entry of the reading or test after.
    pub after: Id,
    /// What its verdict is.
    pub is: VerdictWord,
    /// What was tapped while it was taken.
    pub tapped: Option<String>,
}
