//! What was weighed before another reading came or the predictions were turned, so that what is hopeless is not weighed again.

use std::sync::Arc;

use crate::fit::Evidence;
use crate::predictions::Change;
use crate::rank::{Unit, Weighed};
use crate::rows::Taken;

/// Evidence of every variant as it was weighed once.
#[derive(Clone, Debug, PartialEq)]
pub struct Before {
    /// The readings.
    taken: Vec<Taken>,
    changes: Vec<Vec<Evidence>>,
    unseen: Vec<Vec<bool>>,
    /// How much less likely than the likeliest each variant is, in logarithm; at most so, where later readings were not
    /// weighed.
    below: Vec<Vec<f64>>,
    /// From so far below on a variant is hopeless.
    hopeless: f64,
    /// Whether the predictions were about the unit that fits already, so that all this stands.
    is_final: bool,
}

/// Variants this much less likely than the likeliest, in logarithm, will not be it; chosen far beyond what straight
/// lines err by where readings are a few standard deviations off. Where a healthy unit is less likely still by far, lines
/// may err by a share of that, as they are drawn through a unit that fits badly.
const HOPELESS: f64 = 60.0;
const SHARE: f64 = 1.0;
/// The same where the lines were carried over to a unit that fits, with what that errs by counted in; chosen by trial: with 10,
/// two of 142 faults more were missed than with 20, which misses no more than working out all.
const CARRIED: f64 = 20.0;
/// One more reading brings a variant nearer to the likeliest by no more, in logarithm: the likeliest may hold it for
/// wrong (a share of [`WRONG`](crate::WRONG) and a density of a tenth a volt, say), the other foretell it to half a millivolt.
const A_READING: f64 = 20.0;

impl Before {
    /// What was weighed by lines through a unit that may fit badly.
    pub(crate) fn of(unit: &Unit<'_>, weighed: Weighed) -> Self {
        Self::new(unit, weighed, |against| HOPELESS + SHARE * against)
    }

    /// What was weighed by lines that were carried over, and may err by more than they say.
    pub(crate) fn sifted(unit: &Unit<'_>, weighed: Weighed) -> Self {
        Self::new(unit, weighed, |_| CARRIED)
    }

    /// `hopeless` is asked how far below the likeliest a variant is, given how far a healthy unit is.
    fn new(unit: &Unit<'_>, weighed: Weighed, hopeless: impl Fn(f64) -> f64) -> Self {
        let changes = unit.predictions.changes();
        let weights: Vec<Vec<f64>> = changes
            .iter()
            .zip(&weighed.changes)
            .map(|(change, evidence)| {
                let weight = change.weight.ln() - (evidence.len() as f64).ln();
                evidence.iter().map(|e| weight + e.total()).collect()
            })
            .collect();
        let all = weights.iter().flatten().copied();
        let best = all.fold(weighed.healthy.total(), f64::max);
        let below = |c: usize, v: usize| match (&unit.before, unit.hopeless((c, v))) {
            (Some(before), Some(_)) => {
                let new = unit.taken.len() - before.taken.len();
                before.below[c][v] - A_READING * new as f64
            }
            _ => best - weights[c][v],
        };
        let each = |(c, list): (usize, &Vec<f64>)| (0..list.len()).map(|v| below(c, v)).collect();
        Self {
            taken: unit.taken.clone(),
            hopeless: hopeless(best - weighed.healthy.total()),
            below: weights.iter().enumerate().map(each).collect(),
            changes: weighed.changes,
            unseen: weighed.unseen,
            is_final: false,
        }
    }

    /// What is known of a variant that is hopeless even after so many readings; the second is whether no reading saw it.
    pub(crate) fn hopeless(
        &self,
        readings: usize,
        (c, v): (usize, usize),
    ) -> Option<(Evidence, bool)> {
        let new = readings.checked_sub(self.taken.len())?;
        let unseen = self.unseen[c][v];
        if self.is_final && new == 0 {
            return Some((self.changes[c][v], unseen));
        }
        // One more reading may see what no reading saw.
        let open = self.may(c, v, new) || (unseen && new > 0);
        (!open).then(|| (self.changes[c][v], unseen))
    }

    /// Whether a variant may turn out likely after so many more readings.
    fn may(&self, c: usize, v: usize, new: usize) -> bool {
        self.below[c][v] <= self.hopeless + A_READING * new as f64
    }

    /// Variants of changes that may yet turn out likely, those of neighbouring magnitude included, in order.
    pub fn likely(&self) -> Vec<(usize, usize)> {
        let mut likely = Vec::new();
        for (c, below) in self.below.iter().enumerate() {
            for v in 0..below.len() {
                if self.may(c, v, 0) && !self.unseen[c][v] {
                    let last = below.len() - 1;
                    likely.extend((v.saturating_sub(1)..=(v + 1).min(last)).map(|v| (c, v)));
                }
            }
        }
        likely.sort_unstable();
        likely.dedup();
        likely
    }

    /// The same, once it is known that the predictions need not be turned: all of it stands, and lines through a unit that
    /// fits err by no share of what speaks against a healthy one.
    pub fn kept(&self) -> Self {
        Self {
            hopeless: HOPELESS,
            is_final: true,
            ..self.clone()
        }
    }

    /// The same for readings of which these were the first; `None` if they were not, or if other changes are considered.
    pub fn for_more(self: &Arc<Self>, taken: &[Taken], changes: &[Change]) -> Option<Arc<Self>> {
        let alike = changes.len() == self.below.len()
            && changes
                .iter()
                .zip(&self.below)
                .all(|(c, b)| c.variants() == b.len());
        (alike && taken.starts_with(&self.taken)).then(|| Arc::clone(self))
    }
}
