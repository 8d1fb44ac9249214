//! The shortest set of readings that would show a fault, and tell it from every other that readings can tell it from.

use rayon::prelude::*;

use crate::groups::{Foretold, foretold};
use crate::next::Candidate;
use crate::predictions::{Blame, Predictions};

/// Standard deviations that part two predictions beyond doubt: each lies two from midway.
const APART: f64 = 4.0;

/// Readings that would show a fault.
#[derive(Clone, Debug, PartialEq)]
pub struct Proof {
    /// Candidates that together show it, as indices; empty if none of them does.
    pub readings: Vec<usize>,
    /// Whether no cheaper set does.
    pub proven: bool,
    /// Faults that no candidate tells from it: indices of changes and variants.
    pub twins: Vec<(usize, usize)>,
}

/// The cheapest set of candidates that tells a variant from a healthy unit and from all other
/// faults, as far as they can be told.
///
/// A fault with a magnitude is told at the middle of its magnitudes. When `stop` ends the search the
/// best set met is given.
pub fn proves(
    predictions: &dyn Predictions,
    fault: (usize, usize),
    candidates: &[Candidate],
    stop: &(dyn Fn() -> bool + Sync),
) -> Proof {
    let changes = predictions.changes();
    let rivals: Vec<(usize, usize)> = (0..changes.len())
        .filter(|c| changes[*c].blame == Blame::Unit && *c != fault.0)
        .map(|c| (c, changes[c].variants() / 2))
        .collect();
    // Of each candidate: whom it tells from the fault; the first is a healthy unit.
    let told: Vec<Vec<bool>> = candidates
        .par_iter()
        .map(|candidate| {
            let nobody = vec![false; rivals.len() + 1];
            let Some(place) = predictions.healthy(candidate.place).filter(|_| !stop()) else {
                return nobody;
            };
            let at = |(c, v): (usize, usize)| {
                foretold(place, predictions.effect(c, v, candidate.place), 0.0)
            };
            let Some(own) = at(fault) else {
                return nobody;
            };
            let healthy = foretold(place, &crate::predictions::Effect::Unmoved, 0.0);
            let tells = |other: Option<Foretold>| other.is_some_and(|o| own.apart(&o) >= APART);
            std::iter::once(tells(healthy))
                .chain(rivals.iter().map(|r| tells(at(*r))))
                .collect()
        })
        .collect();
    let tellable = |k: usize| told.iter().any(|t| t[k]);
    if !tellable(0) {
        return Proof {
            readings: Vec::new(),
            proven: true,
            twins: Vec::new(),
        };
    }
    let items: Vec<usize> = (0..=rivals.len()).filter(|k| tellable(*k)).collect();
    let sets: Vec<Vec<usize>> = told
        .iter()
        .map(|t| (0..items.len()).filter(|i| t[items[*i]]).collect())
        .collect();
    let costs: Vec<u64> = candidates
        .iter()
        .map(|c| (100.0 * c.minutes).round().max(1.0) as u64)
        .collect();
    let cover = cover::cheapest_cover(items.len(), &sets, &costs, &|| stop())
        .expect("only what can be told is to be covered");
    Proof {
        readings: cover.chosen,
        proven: cover.proven,
        twins: (0..rivals.len())
            .filter(|k| !tellable(k + 1))
            .map(|k| rivals[k])
            .collect(),
    }
}
