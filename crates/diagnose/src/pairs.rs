//! More than one fault: pairs that a residue proposes are fitted, all others are bounded by what singles say.

use std::collections::HashMap;

use rayon::prelude::*;

use crate::closer;
use crate::fit::{Evidence, Fit, evidence_shared, fit};
use crate::normal::ln_sum;
use crate::predictions::{Blame, Effect, Line};
use crate::rank::{Unit, Weighed};
use crate::rows::{self, Row};

/// Single faults whose residue is looked at.
const FIRST: usize = 6;
/// Pairs that are solved as one circuit.
const SOLVED: usize = 8;
/// A second fault must take at least a tenth off what a reading is off.
const CLOSER: f64 = 0.9;
/// A normal score beyond which a reading is a residue.
const RESIDUE: f64 = 2.5;

/// Logarithm of the weight of all pairs, and the likeliest pairs with theirs.
pub(crate) fn weigh(
    unit: &Unit<'_>,
    weighed: &Weighed,
    single: &[f64],
    together: f64,
) -> (f64, Vec<(usize, usize, f64)>) {
    let silent = others_silent(unit, weighed, single) + together.ln();
    let mut pairs = proposed(unit, weighed, single);
    pairs.iter_mut().for_each(|p| p.ln += together.ln());
    pairs.sort_by(|a, b| b.ln.total_cmp(&a.ln));
    let all = ln_sum(pairs.iter().map(|p| p.ln).chain(std::iter::once(silent)));
    pairs.truncate(SOLVED);
    let list = pairs.into_iter().map(|p| (p.first, p.second, p.ln));
    (all, list.collect())
}

/// Pairs of which the second adds nothing: a fault that the readings do not see, or hardly.
///
/// The likelihood of both is taken as the larger one's, times how far the other is contradicted.
fn others_silent(unit: &Unit<'_>, weighed: &Weighed, single: &[f64]) -> f64 {
    let changes = unit.predictions.changes();
    let healthy = weighed.healthy.total();
    let mut order: Vec<usize> = (0..changes.len())
        .filter(|c| changes[*c].blame == Blame::Unit)
        .collect();
    let mean = |c: usize| single[c] - changes[c].weight.ln();
    order.sort_by(|a, b| mean(*a).total_cmp(&mean(*b)));
    let allowed = |c: usize| {
        let evidence = &weighed.changes[c];
        let sum: f64 = evidence
            .iter()
            .map(|e| (e.total() - healthy).min(0.0).exp())
            .sum();
        changes[c].weight * sum / evidence.len() as f64
    };
    let mut sum = 0.0;
    let mut of_part: HashMap<&str, f64> = HashMap::new();
    let mut terms = Vec::new();
    for c in order {
        let part = changes[c].part.as_str();
        let own = of_part.entry(part).or_insert(0.0);
        terms.push(single[c] + (sum - *own).max(0.0).ln());
        let share = allowed(c);
        sum += share;
        *own += share;
    }
    ln_sum(terms.iter().copied())
}

struct Pair {
    first: usize,
    second: usize,
    variants: (usize, usize),
    ln: f64,
}

/// Pairs of which the second explains what the first leaves over.
fn proposed(unit: &Unit<'_>, weighed: &Weighed, single: &[f64]) -> Vec<Pair> {
    let p = unit.predictions;
    let changes = p.changes();
    let mut likely: Vec<usize> = (0..changes.len())
        .filter(|c| single[*c] > f64::NEG_INFINITY)
        .collect();
    likely.sort_by(|a, b| single[*b].total_cmp(&single[*a]));
    likely.truncate(FIRST);
    let mut found: Vec<Pair> = Vec::new();
    for first in likely {
        let evidence = &weighed.changes[first];
        let best = |a: &usize, b: &usize| evidence[*a].total().total_cmp(&evidence[*b].total());
        let Some(variant) = (0..evidence.len()).max_by(best) else {
            continue;
        };
        let at = (first, variant);
        let fitted = fit(rows::rows(p, &unit.taken, Some(at)), &weighed.ln_wrong);
        let residue: Vec<usize> = (0..unit.taken.len())
            .filter(|i| {
                fitted.suspect_rows().any(|r| r == *i)
                    || fitted.score(*i).is_some_and(|z| z.abs() > RESIDUE)
            })
            .collect();
        if residue.is_empty() {
            continue;
        }
        // Other magnitudes of the first share in the pair as they do in the single.
        let total = ln_sum(evidence.iter().map(Evidence::total));
        let others = total - evidence[variant].total() - (evidence.len() as f64).ln();
        let seconds: Vec<(usize, usize)> = (0..changes.len())
            .filter(|c| changes[*c].blame == Blame::Unit && changes[*c].part != changes[first].part)
            .flat_map(|c| (0..changes[c].variants()).map(move |v| (c, v)))
            .filter(|second| helps(unit, &fitted, &residue, *second))
            .collect();
        let pairs: Vec<Pair> = seconds
            .par_iter()
            .map(|&second| {
                let rows = both(unit, at, second, false);
                let of = &changes[second.0];
                let ln = changes[first].weight.ln() + others + of.weight.ln()
                    - (of.variants() as f64).ln()
                    + evidence_shared(rows, &weighed.ln_wrong, &weighed.shared).total();
                Pair {
                    first,
                    second: second.0,
                    variants: (variant, second.1),
                    ln,
                }
            })
            .collect();
        found.extend(pairs);
    }
    merged(unit, weighed, found)
}

/// Whether a second fault brings any of the readings that the first leaves over nearer to what was read, as far as the two
/// shifts add up.
fn helps(unit: &Unit<'_>, first: &Fit<'_>, residue: &[usize], (c, v): (usize, usize)) -> bool {
    let p = unit.predictions;
    residue.iter().any(|i| {
        let place = unit.taken[*i].place;
        let (effect, healthy) = (p.effect(c, v, place), p.healthy(place));
        let ways = match (effect, healthy, first.off(*i)) {
            (Effect::Unmoved, ..) | (_, None, _) => return false,
            (Effect::Moved(_), Some(healthy), Some(off)) => {
                let shift = |e| rows::in_unit(p, (place, healthy), e);
                shift(effect)
                    .zip(shift(&Effect::Unmoved))
                    .map(|(a, b)| (a - b, off))
            }
            _ => None,
        };
        // What cannot be told helps, for all one knows.
        ways.is_none_or(|(shift, off)| (off - shift).abs() < CLOSER * off.abs())
    })
}

/// One entry a pair of faults; the likeliest are solved as one circuit.
fn merged(unit: &Unit<'_>, weighed: &Weighed, mut list: Vec<Pair>) -> Vec<Pair> {
    list.sort_by(|a, b| b.ln.total_cmp(&a.ln));
    list.par_iter_mut().take(SOLVED).for_each(|pair| {
        let at = (pair.first, pair.variants.0);
        let second = (pair.second, pair.variants.1);
        let ln = |exact| {
            fit(both(unit, at, second, exact), &weighed.ln_wrong)
                .evidence
                .total()
        };
        // A pair that was looked at before has a start, and needs none from a solved circuit.
        let is_new = unit.predictions.looked(&[at, second]).is_none();
        let rows = both(unit, at, second, is_new);
        let close = closer::look(unit, &[at, second], rows, &weighed.ln_wrong);
        pair.ln += close.map_or_else(|| ln(true), |c| c.evidence.total()) - ln(false);
    });
    let mut found: Vec<Pair> = Vec::new();
    for pair in list {
        let same = |f: &&mut Pair| {
            (f.first, f.second) == (pair.first, pair.second)
                || (f.first, f.second) == (pair.second, pair.first)
        };
        match found.iter_mut().find(same) {
            // Seen from its other end it is the same pair again.
            Some(known) if known.first != pair.first => known.ln = known.ln.max(pair.ln),
            Some(known) => known.ln = ln_sum([known.ln, pair.ln].into_iter()),
            None => found.push(pair),
        }
    }
    found
}

/// All readings under two faults: solved together where both move one, if `exact`.
fn both<'a>(
    unit: &Unit<'a>,
    first: (usize, usize),
    second: (usize, usize),
    exact: bool,
) -> Vec<Row<'a>> {
    let p = unit.predictions;
    unit.taken
        .iter()
        .map(|t| {
            let Some(place) = p.healthy(t.place) else {
                return Row::Blind;
            };
            let a = p.effect(first.0, first.1, t.place);
            let b = p.effect(second.0, second.1, t.place);
            let within = [
                rows::within(p, first.0, first.1, t.place),
                rows::within(p, second.0, second.1, t.place),
            ];
            match (a, b) {
                (Effect::Unmoved, Effect::Unmoved) => rows::healthy(place, t.shown),
                (a, Effect::Unmoved) => rows::changed(place, a, within, t.shown),
                (Effect::Unmoved, b) => rows::changed(place, b, within, t.shown),
                _ if exact => {
                    let effect = p.together(first, second, t.place);
                    rows::changed(place, &effect, within, t.shown).owned()
                }
                (a, b) => rows::changed(place, &added(place, a, b), within, t.shown).owned(),
            }
        })
        .collect()
}

/// Both shifts added on the place's scale: enough to propose by.
fn added(place: &crate::predictions::Healthy, a: &Effect, b: &Effect) -> Effect {
    let (Effect::Moved(first), Effect::Moved(second)) = (a, b) else {
        return match (a, b) {
            (Effect::Unknown, _) | (_, Effect::Unknown) => Effect::Unknown,
            _ => Effect::OverRange,
        };
    };
    let Some(start) = rows::middle(place, &Effect::Unmoved) else {
        return b.clone();
    };
    let wider = if first.own > second.own {
        first
    } else {
        second
    };
    Effect::Moved(Line {
        middle: first.middle + second.middle - start,
        ..wider.clone()
    })
}
