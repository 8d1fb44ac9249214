//! A person's word on suspects, weighed as evidence together with all readings.
//!
//! A ruling is a witness that never errs, and Bayes' rule says what such a witness does: a suspect that is ruled out keeps
//! nothing, neither alone nor in a pair, and everything else keeps its odds against everything else. It acts on the prior
//! weights, so that pairs, wrong readings, doubts about the drawing and the other unit are weighed anew with it. The page
//! says that a person said so, and the ruling can be withdrawn.

use diagnose::{Change, Effect, Healthy, Near, Predictions, Ranking, Slopes, Unit};

use crate::case::{Case, OneUnit};
use crate::entered::Ruled;

/// Prior weight of a suspect that was ruled in, against 1 for a healthy unit. Chosen: no number of readings speaks against
/// a fault by as much, because each may be wrong by itself, and its square is still weighed by its logarithm.
const CERTAIN: f64 = 1e300;

/// Ranks everything that may be wrong, with what persons ruled.
pub(super) fn rank(case: &Case, rulings: &[Ruled]) -> Ranking {
    let bare = case.units();
    let heard: Vec<Heard> = case
        .units
        .iter()
        .zip(&bare)
        .map(|(unit, bare)| Heard {
            said: bare.predictions,
            changes: weighed(unit, rulings),
        })
        .collect();
    let units: Vec<Unit> = bare
        .iter()
        .zip(&heard)
        .zip(&case.units)
        .map(|((bare, heard), unit)| Unit {
            // What was hopeless before a person spoke may be it now.
            before: bare
                .before
                .clone()
                .filter(|_| !rulings.iter().any(|r| r.unit == unit.name)),
            ..Unit::new(heard, bare.taken.clone())
        })
        .collect();
    diagnose::rank(&units, case.together)
}

/// The rulings of one unit.
pub(super) fn of_unit(rulings: &[Ruled], unit: &str) -> Vec<Ruled> {
    let mut list = rulings.to_vec();
    list.retain(|r| r.unit == unit);
    list
}

/// What may be wrong with a unit, with the weights that its rulings leave.
fn weighed(unit: &OneUnit, rulings: &[Ruled]) -> Vec<Change> {
    let mut changes = unit.predictor.changes().to_vec();
    let own: Vec<&Ruled> = rulings.iter().filter(|r| r.unit == unit.name).collect();
    for change in changes
        .iter_mut()
        .filter(|c| c.blame == diagnose::Blame::Unit)
    {
        let is_it = |r: &&&Ruled| {
            let rest = r.suspect.strip_prefix(change.part.as_str());
            rest.and_then(|r| r.strip_prefix(' ')) == Some(change.name.as_str())
        };
        match own.iter().find(is_it) {
            Some(ruled) if ruled.out => change.weight = 0.0,
            Some(_) => change.weight = CERTAIN,
            None => {}
        }
    }
    changes
}

/// Predictions under other prior weights.
struct Heard<'a> {
    said: &'a dyn Predictions,
    changes: Vec<Change>,
}

impl Predictions for Heard<'_> {
    fn changes(&self) -> &[Change] {
        &self.changes
    }

    fn healthy(&self, place: usize) -> Option<&Healthy> {
        self.said.healthy(place)
    }

    fn effect(&self, change: usize, variant: usize, place: usize) -> &Effect {
        self.said.effect(change, variant, place)
    }

    fn together(&self, first: (usize, usize), second: (usize, usize), place: usize) -> Effect {
        self.said.together(first, second, place)
    }

    fn centre(&self, place: usize) -> &[(u32, f64)] {
        self.said.centre(place)
    }

    fn near(
        &self,
        changes: &[(usize, usize)],
        at: &[(u32, f64)],
        places: &[usize],
    ) -> Option<Near> {
        self.said.near(changes, at, places)
    }

    fn looked(&self, changes: &[(usize, usize)]) -> Option<Slopes> {
        self.said.looked(changes)
    }
}

#[cfg(test)]
mod tests;
