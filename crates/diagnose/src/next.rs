//! Which reading to take next: the most expected information about the suspects for its minutes, looking one further ahead where that changes the choice.

mod ahead;
mod belief;
mod outcome;

use rayon::prelude::*;

use crate::predictions::Blame;
use crate::rank::{Ranked, Unit};
use belief::Belief;
use outcome::Table;

/// A reading that could be taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Candidate {
    /// Index of its place.
    pub place: usize,
    /// What it costs.
    pub minutes: f64,
}

/// Whom an outcome speaks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Class {
    /// No fault; all that was odd was a reading.
    NothingWrong,
    /// A single fault: index of its change.
    Fault(usize),
    /// The drawing is wrong: index of its change.
    Doubt(usize),
}

/// A value that may come, and what it would mean.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// About this is read; `None` is over range.
    pub near: Option<f64>,
    /// Probability that it comes.
    pub share: f64,
    /// Who would then lead, and how likely each would be.
    pub means: Vec<(Class, f64)>,
}

/// A reading worth taking.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// Index into the candidates.
    pub candidate: usize,
    /// Expected information about the suspects.
    pub bits: f64,
    /// What it costs.
    pub minutes: f64,
    /// What may come, likeliest first.
    pub outcomes: Vec<Outcome>,
}

/// Why no further reading is advised.
#[derive(Clone, Debug, PartialEq)]
pub enum Stop {
    /// One answer is likely enough to act on: the class and its probability.
    Convinced(Class, f64),
    /// What leads cannot be told apart by any reading offered.
    NothingTells,
}

/// What to do next.
#[derive(Clone, Debug, PartialEq)]
pub struct Advice {
    /// Readings, best first.
    pub offers: Vec<Offer>,
    /// Why one may stop, if one may.
    pub stop: Option<Stop>,
}

/// A leader of this probability is acted on.
pub const CONVINCED: f64 = 0.95;
/// Less than this many bits and a reading tells nothing.
const NOTHING: f64 = 0.01;
/// At most so many readings are offered.
const OFFERS: usize = 12;

/// The best readings among candidates, for a unit whose suspects are ranked.
///
/// `doubt_shares` are the probabilities of changes that blame the drawing.
pub fn next(
    unit: &Unit<'_>,
    ranked: &Ranked,
    doubt_shares: &[(usize, f64)],
    candidates: &[Candidate],
) -> Advice {
    let belief = Belief::new(unit, ranked, doubt_shares);
    let tables: Vec<Option<Table>> = candidates
        .par_iter()
        .map(|c| Table::new(unit, &belief, c.place))
        .collect();
    let shares = belief.shares();
    let mut order: Vec<(usize, f64)> = tables
        .iter()
        .enumerate()
        .filter_map(|(k, t)| Some((k, t.as_ref()?.bits(&shares))))
        .filter(|(_, bits)| *bits > NOTHING)
        .collect();
    let rate = |(k, bits): &(usize, f64)| bits / candidates[*k].minutes;
    order.sort_by(|a, b| rate(b).total_cmp(&rate(a)));
    ahead::reorder(&mut order, candidates, &tables, &shares);
    order.truncate(OFFERS);
    let offers: Vec<Offer> = order
        .iter()
        .map(|&(candidate, bits)| Offer {
            candidate,
            bits,
            minutes: candidates[candidate].minutes,
            outcomes: tables[candidate]
                .as_ref()
                .map_or(Vec::new(), |t| t.outcomes(&belief)),
        })
        .collect();
    let leader = belief.leader();
    let stop = match leader {
        Some((class, share)) if share >= CONVINCED => Some(Stop::Convinced(class, share)),
        _ if offers.is_empty() => Some(Stop::NothingTells),
        _ => None,
    };
    Advice { offers, stop }
}

/// The variants of changes whose effects at the candidates [`next`] will ask for, neighbours of
/// their magnitudes included.
pub fn alive(
    unit: &Unit<'_>,
    ranked: &Ranked,
    doubt_shares: &[(usize, f64)],
) -> Vec<(usize, usize)> {
    let belief = Belief::new(unit, ranked, doubt_shares);
    let mut found = Vec::new();
    for variant in belief.classes.iter().flat_map(|c| &c.variants) {
        if let Some((change, v)) = variant.hypothesis {
            let last = unit.predictions.changes()[change].variants() - 1;
            found.extend((v.saturating_sub(1)..=(v + 1).min(last)).map(|v| (change, v)));
        }
    }
    found.sort_unstable();
    found.dedup();
    found
}

/// The class that a change belongs to.
pub(crate) fn class_of(blame: Blame, change: usize) -> Class {
    match blame {
        Blame::Unit => Class::Fault(change),
        Blame::Sheet => Class::Doubt(change),
    }
}
