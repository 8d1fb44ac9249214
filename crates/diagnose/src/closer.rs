//! A closer look at a hypothesis: straight lines through the unit that the readings point to, not through the middle of all units.
//!
//! A reading near a knee, or of a circuit that rests in one of two states, is no straight line over all
//! healthy units; over the units that fit what was read it nearly is. So the middle of the shared
//! variables given the readings is found, the circuit solved there, and again from there: the method of
//! Gauss and Newton, and the integral about its end that of Laplace (both textbook methods).

use record::Shown;

use crate::fit::{Evidence, fit};
use crate::predictions::{Effect, Healthy, Slopes};
use crate::rank::Unit;
use crate::rows::{self, Row};

/// Times that the circuit is solved anew; chosen because four found as many faults of the
/// demo, and two more cost little.
const ROUNDS: usize = 6;
/// Misfit of one reading, in squared standard deviations, that counts at most: it may be wrong.
/// Chosen: five and a half standard deviations.
const MOST: f64 = 30.0;

/// A hypothesis, looked at closely.
pub(crate) struct Close {
    pub evidence: Evidence,
    /// Shared variables of the unit that fits best under it.
    pub unit: Slopes,
    misfit: f64,
}

/// A hypothesis (changes that hold together; none: healthy), looked at closely; `within`
/// are the rows' slopes by the place of magnitudes between their neighbours. `None` if nothing better
/// than `before`, its rows from the middle of all units, is to be had.
pub(crate) fn look(
    unit: &Unit<'_>,
    hypothesis: &[(usize, usize)],
    before: Vec<Row<'_>>,
    ln_wrong: &[f64],
) -> Option<Close> {
    let fitted = fit(before.clone(), ln_wrong);
    let (start, foretold) = (bounded(fitted.middles()), fitted.evidence.total());
    let Some(known) = unit.predictions.looked(hypothesis) else {
        return from(unit, hypothesis, &before, ln_wrong, start);
    };
    let again = from(unit, hypothesis, &before, ln_wrong, known)?;
    if again.evidence.total() + BETTER > foretold {
        return Some(again);
    }
    // The last look ended in another valley, it seems.
    let other = from(unit, hypothesis, &before, ln_wrong, start)?;
    let better = other.evidence.total() > again.evidence.total();
    Some(if better { other } else { again })
}

/// What is gained by looking from elsewhere, in logarithm, must be worth it; chosen well below what decides.
const BETTER: f64 = 1.0;

/// The look from the unit at `at`.
fn from(
    unit: &Unit<'_>,
    hypothesis: &[(usize, usize)],
    before: &[Row<'_>],
    ln_wrong: &[f64],
    mut at: Slopes,
) -> Option<Close> {
    let places: Vec<usize> = unit.taken.iter().map(|t| t.place).collect();
    let within = within(unit, hypothesis);
    let mut last: Option<Close> = None;
    for _ in 0..ROUNDS {
        let near = unit.predictions.near(hypothesis, &at, &places)?;
        if last.is_some() && !near.solved {
            break;
        }
        let rows: Vec<Row<'_>> = (0..places.len())
            .map(|i| {
                let place = unit.predictions.healthy(places[i]);
                place
                    .and_then(|p| row(p, &near.effects[i], within[i], unit.taken[i].shown))
                    .unwrap_or_else(|| before[i].clone())
            })
            .collect();
        let misfit = misfit(&rows, &at);
        match &last {
            Some(best) if misfit > best.misfit + 1.0 => {
                at = halfway(&best.unit, &at);
                continue;
            }
            _ => {}
        }
        let fitted = fit(rows, ln_wrong);
        let next = bounded(fitted.middles());
        last = Some(Close {
            evidence: fitted.evidence,
            unit: at,
            misfit,
        });
        at = next;
    }
    last
}

fn within(unit: &Unit<'_>, hypothesis: &[(usize, usize)]) -> Vec<[f64; 2]> {
    let of = |k: usize, place: usize| {
        let at = hypothesis.get(k);
        at.map_or(0.0, |h| rows::within(unit.predictions, h.0, h.1, place))
    };
    unit.taken
        .iter()
        .map(|t| [of(0, t.place), of(1, t.place)])
        .collect()
}

/// Variables are not believed to stand farther off than this: one in 16 000 does (normal tables); circuits of
/// wilder parts take the solver long and tell nothing.
const FARTHEST: f64 = 4.0;

fn bounded(mut at: Slopes) -> Slopes {
    at.iter_mut()
        .for_each(|(_, x)| *x = x.clamp(-FARTHEST, FARTHEST));
    at
}

/// A reading by a line; `None` if there is none.
fn row<'a>(place: &Healthy, effect: &'a Effect, within: [f64; 2], shown: Shown) -> Option<Row<'a>> {
    match (effect, shown) {
        (Effect::Moved(line), _) => Some(rows::along(place, line, within, shown)),
        (Effect::OverRange, Shown::OverRange) => Some(Row::Certain),
        _ => None,
    }
}

/// How badly the unit at `at` fits: its readings, and how far from the middle it lies.
fn misfit(rows: &[Row<'_>], at: &[(u32, f64)]) -> f64 {
    let readings: f64 = rows
        .iter()
        .map(|row| match row {
            Row::Number {
                residual,
                follows,
                own,
                ..
            } => {
                let within = follows.by_magnitudes(follows);
                let off = residual - crate::fit::shared(&follows.shared, at);
                (off * off / (own + within)).min(MOST)
            }
            Row::Impossible => MOST,
            _ => 0.0,
        })
        .sum();
    readings + at.iter().map(|a| a.1 * a.1).sum::<f64>()
}

fn halfway(a: &[(u32, f64)], b: &[(u32, f64)]) -> Slopes {
    pairwise(a, b, |x, y| 0.5 * (x + y))
}

fn pairwise(a: &[(u32, f64)], b: &[(u32, f64)], of: impl Fn(f64, f64) -> f64) -> Slopes {
    let mut all: std::collections::BTreeMap<u32, (f64, f64)> =
        a.iter().map(|(v, x)| (*v, (*x, 0.0))).collect();
    for (v, y) in b {
        all.entry(*v).or_default().1 = *y;
    }
    all.into_iter().map(|(v, (x, y))| (v, of(x, y))).collect()
}
