//! A campaign: all faults of a list at one place, counted.

use circuit::Node;

use super::engine::{FaultBoard, FaultEngine, Way};
use crate::probe::Question;

/// Volts at the leads from which on a fault counts as seen.
const CHANGED_VOLTS: f64 = 10e-3;

/// What was done, counted in pairs of a fault and a reading.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Pairs that were answered.
    pub solves: usize,
    /// Those of them that were proven unmoved without a solve.
    pub screened: usize,
    /// Pairs without an answer, by no way.
    pub failed: usize,
    /// Pairs in which the leads moved by more than 10 mV.
    pub changed: usize,
    /// Pairs that the healthy tangents answered, with a bound on the error.
    pub linear: usize,
    /// Pairs that took laying out the whole circuit anew.
    pub anew: usize,
}

impl Tally {
    /// Both together.
    pub fn plus(self, other: Self) -> Self {
        Self {
            solves: self.solves + other.solves,
            screened: self.screened + other.screened,
            failed: self.failed + other.failed,
            changed: self.changed + other.changed,
            linear: self.linear + other.linear,
            anew: self.anew + other.anew,
        }
    }
}

/// Takes one reading with every fault.
pub fn tally(faulty: &FaultBoard<'_>, red: Node, black: Node, question: &Question) -> Tally {
    let mut tally = Tally::default();
    let Ok(mut engine) = FaultEngine::new(faulty, red, black, question) else {
        tally.failed = faulty.changes().len();
        return tally;
    };
    let healthy = engine.healthy().volts;
    for change in faulty.changes() {
        match engine.answer(change) {
            Ok(answer) => {
                tally.solves += 1;
                tally.screened += usize::from(answer.way == Way::Unmoved);
                tally.linear += usize::from(answer.way == Way::Linear);
                tally.anew += usize::from(answer.way == Way::Anew);
                tally.changed += usize::from((answer.volts - healthy).abs() > CHANGED_VOLTS);
            }
            Err(_) => tally.failed += 1,
        }
    }
    tally
}
