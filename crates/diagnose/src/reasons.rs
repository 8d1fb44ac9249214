//! Which readings speak for a suspect and which against it, with the value it predicts for each.

use record::Shown;

use crate::fit::{alone, fit, right_alone};
use crate::predictions::Effect;
use crate::rank::Unit;
use crate::rows;

/// What a reading says about a suspect.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Speaks {
    /// Likelier with the fault than without.
    For,
    /// Likelier without.
    Against,
    /// Odd, and the fault does nothing to it.
    Unexplained,
}

/// A reading that says something about a suspect.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reason {
    /// Index of the reading.
    pub reading: usize,
    /// What it says.
    pub speaks: Speaks,
    /// What the suspect predicts.
    pub predicted: Shown,
    /// How strongly: logarithm of the ratio of its likelihoods, with and without the fault.
    pub strength: f64,
}

/// A ratio of e either way is worth a word.
const WORTH: f64 = 1.0;
/// Logarithms of ratios beyond this are all the same.
const BEYOND_DOUBT: f64 = 30.0;
/// Beyond this normal score a reading is odd.
const ODD: f64 = 3.29;

/// Reasons for and against a variant, the strongest first.
pub(crate) fn of(unit: &Unit<'_>, ln_wrong: &[f64], at: (usize, usize)) -> Vec<Reason> {
    let p = unit.predictions;
    let with = rows::rows(p, &unit.taken, Some(at));
    let without = rows::rows(p, &unit.taken, None);
    let half_steps = fit(with.clone(), ln_wrong).within().clamp(-2.0, 2.0);
    let mut found = Vec::new();
    for (i, t) in unit.taken.iter().enumerate() {
        let Some(place) = p.healthy(t.place) else {
            continue;
        };
        let effect = p.effect(at.0, at.1, t.place);
        let predicted = match effect {
            Effect::Unmoved => place.marginal.value(0.0),
            Effect::OverRange => Shown::OverRange,
            Effect::Unknown => continue,
            Effect::Moved(_) => {
                let within = rows::within(p, at.0, at.1, t.place);
                let here = rows::in_unit(p, (t.place, place), effect).unwrap_or_default();
                Shown::Number(place.scale.reading(here + within * half_steps))
            }
        };
        let strength = alone(&with[i], ln_wrong[i]) - alone(&without[i], ln_wrong[i]);
        let odd = match t.shown {
            Shown::Number(x) => place.marginal.score(x).is_none_or(|s| s.0.abs() > ODD),
            Shown::OverRange => place.marginal.over_range() < 1e-3,
        };
        let speaks = match effect {
            Effect::Unmoved if odd => Speaks::Unexplained,
            Effect::Unmoved => continue,
            _ if strength > WORTH => Speaks::For,
            _ if strength < -WORTH => Speaks::Against,
            _ => continue,
        };
        found.push(Reason {
            reading: i,
            speaks,
            predicted,
            strength,
        });
    }
    // How sharply a reading parts the two shows where nothing is allowed for a wrong reading; among
    // those that part them beyond doubt the one that is moved farthest comes first.
    let sharp = |r: &Reason| {
        let apart = right_alone(&with[r.reading]) - right_alone(&without[r.reading]);
        if apart.is_nan() {
            0.0
        } else {
            apart.abs().min(BEYOND_DOUBT)
        }
    };
    let moved = |r: &Reason| {
        let place = p.healthy(unit.taken[r.reading].place);
        match (place.map(|h| (h, h.marginal.value(0.0))), r.predicted) {
            (Some((h, Shown::Number(a))), Shown::Number(b)) => {
                (h.scale.at(a).0 - h.scale.at(b).0).abs()
            }
            _ => f64::INFINITY,
        }
    };
    found.sort_by(|a, b| {
        let by_sharp = sharp(b).total_cmp(&sharp(a));
        by_sharp.then(moved(b).total_cmp(&moved(a)))
    });
    found
}
