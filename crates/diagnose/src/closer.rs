//! A closer look at a hypothesis: straight lines through the unit that the readings point to, not through the middle of all units.
//!
//! A reading near a knee, or of a circuit that rests in one of two states, is no straight line over all
//! healthy units; over the units that fit what was read it nearly is. So the middle of the shared
//! variables given the readings is found, the circuit solved there, and again from there: the method of
//! Gauss and Newton, and the integral about its end that of Laplace (both textbook methods).

use std::borrow::Cow;

use record::Shown;

use crate::fit::{Evidence, fit};
use crate::predictions::{Effect, Healthy, Slopes};
use crate::rank::Unit;
use crate::rows::{self, Row, SECOND_WITHIN, WITHIN};

/// Times that the circuit is solved anew; chosen because four found as many faults of the
/// demo, and two more cost little.
const ROUNDS: usize = 6;
/// Variables that move by less, in standard deviations, have settled; chosen because a reading then moves by
/// less than its own error.
const SETTLED: f64 = 0.1;
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
    let places: Vec<usize> = unit.taken.iter().map(|t| t.place).collect();
    let within = within(unit, hypothesis);
    let mut at = shared_only(fit(before.clone(), ln_wrong).middles());
    let mut last: Option<Close> = None;
    for _ in 0..ROUNDS {
        let effects = unit.predictions.near(hypothesis, &at, &places)?;
        let rows: Vec<Row<'_>> = (0..places.len())
            .map(|i| {
                let place = unit.predictions.healthy(places[i]);
                place
                    .and_then(|p| row(p, &effects[i], &at, &within[i], unit.taken[i].shown))
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
        let next = shared_only(fitted.middles());
        let moved = apart(&at, &next);
        last = Some(Close {
            evidence: fitted.evidence,
            unit: at,
            misfit,
        });
        if moved < SETTLED {
            break;
        }
        at = next;
    }
    last
}

fn within(unit: &Unit<'_>, hypothesis: &[(usize, usize)]) -> Vec<Slopes> {
    let names = [WITHIN, SECOND_WITHIN];
    unit.taken
        .iter()
        .map(|t| {
            let mut found: Slopes = hypothesis
                .iter()
                .zip(names)
                .map(|(h, name)| (name, rows::within(unit.predictions, h.0, h.1, t.place)))
                .filter(|w| w.1 != 0.0)
                .collect();
            found.sort_by_key(|w| w.0);
            found
        })
        .collect()
}

/// Variables are not believed to stand farther off than this: one in 16 000 does (normal tables); circuits of
/// wilder parts take the solver long and tell nothing.
const FARTHEST: f64 = 4.0;

fn shared_only(mut at: Slopes) -> Slopes {
    at.retain(|(variable, _)| *variable < SECOND_WITHIN);
    at.iter_mut()
        .for_each(|(_, x)| *x = x.clamp(-FARTHEST, FARTHEST));
    at
}

/// A reading by a line through the unit at `at`; `None` if there is none.
fn row<'a>(
    place: &Healthy,
    effect: &Effect,
    at: &[(u32, f64)],
    within: &[(u32, f64)],
    shown: Shown,
) -> Option<Row<'a>> {
    let Effect::Moved(moved) = effect else {
        return match (effect, shown) {
            (Effect::OverRange, Shown::OverRange) => Some(Row::Certain),
            _ => None,
        };
    };
    let (here, slope) = place.scale.at(moved.mean);
    let mut slopes: Slopes = moved.slopes.iter().map(|(v, s)| (*v, s * slope)).collect();
    let middle = here - crate::fit::shared(&slopes, at);
    let own = (moved.sd * slope).powi(2) + moved.bend.powi(2);
    slopes.extend(within);
    Some(match shown {
        Shown::Number(reading) => {
            let (x, slope) = place.scale.at(reading);
            Row::Number {
                residual: x - middle,
                slopes: Cow::Owned(slopes),
                own,
                ln_slope: slope.ln(),
            }
        }
        Shown::OverRange => {
            let border = place.scale.at(moved.border.min(f64::MAX)).0 - middle;
            rows::beyond(border, Cow::Owned(slopes), own)
        }
    })
}

/// How badly the unit at `at` fits: its readings, and how far from the middle it lies.
fn misfit(rows: &[Row<'_>], at: &[(u32, f64)]) -> f64 {
    let readings: f64 = rows
        .iter()
        .map(|row| match row {
            Row::Number {
                residual,
                slopes,
                own,
                ..
            } => {
                let within: f64 = slopes
                    .iter()
                    .filter(|s| s.0 >= SECOND_WITHIN)
                    .map(|s| s.1 * s.1)
                    .sum();
                let off = residual - crate::fit::shared(slopes, at);
                (off * off / (own + within)).min(MOST)
            }
            Row::Impossible => MOST,
            _ => 0.0,
        })
        .sum();
    readings + at.iter().map(|a| a.1 * a.1).sum::<f64>()
}

fn apart(a: &[(u32, f64)], b: &[(u32, f64)]) -> f64 {
    pairwise(a, b, |x, y| (x - y).abs())
        .into_iter()
        .map(|d| d.1)
        .fold(0.0, f64::max)
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
