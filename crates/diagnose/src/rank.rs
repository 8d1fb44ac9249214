//! How likely each suspect is: Bayes over a healthy unit, single faults, pairs of faults, wrong readings and a wrong drawing.

use std::collections::HashMap;
use std::sync::Arc;

use rayon::prelude::*;

use crate::before::Before;
use crate::closer::{self, Close};
use crate::fit::{Evidence, Shared, evidence_shared, fit};
use crate::groups;
use crate::normal::ln_sum;
use crate::pairs;
use crate::predictions::{Blame, Change, Predictions, Slopes};
use crate::reasons::{self, Reason};
use crate::rows::{self, Taken};

/// A unit, what is predicted of it, and what was read.
#[derive(Clone)]
pub struct Unit<'a> {
    /// Predictions of this unit as it is built.
    pub predictions: &'a dyn Predictions,
    /// What was read; places without a prediction say nothing.
    pub taken: Vec<Taken>,
    /// What was weighed of the same readings before the predictions were turned, if it was: what was hopeless
    /// then is not weighed again.
    pub before: Option<Arc<Before>>,
}

impl<'a> Unit<'a> {
    /// A unit of which nothing was weighed yet.
    pub fn new(predictions: &'a dyn Predictions, taken: Vec<Taken>) -> Self {
        Self {
            predictions,
            taken,
            before: None,
        }
    }

    /// What is known of a variant that was hopeless; the second is whether no reading saw it.
    pub(crate) fn hopeless(&self, at: (usize, usize)) -> Option<(Evidence, bool)> {
        self.before.as_ref()?.hopeless(self.taken.len(), at)
    }
}

/// Probabilities over the units and their drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Ranking {
    /// One a unit, in their order.
    pub units: Vec<Ranked>,
    /// What may be wrong with the drawing, likeliest first.
    pub doubts: Vec<Doubt>,
}

/// Probabilities of one unit; healthy, multiple, reading error, sheet and the suspects sum to 1.
#[derive(Clone, Debug, PartialEq)]
pub struct Ranked {
    /// Nothing is wrong, and every reading is right.
    pub healthy: f64,
    /// More than one fault.
    pub multiple: f64,
    /// Nothing is wrong with the unit, but with a reading.
    pub reading_error: f64,
    /// The drawing is wrong.
    pub sheet: f64,
    /// Single faults, likeliest first.
    pub suspects: Vec<Suspect>,
    /// Indices of suspects that no reading tells apart, likeliest group first.
    pub groups: Vec<Vec<usize>>,
    /// The likeliest pairs of faults: indices of changes, and probability.
    pub pairs: Vec<(usize, usize, f64)>,
    /// Probability of each reading that it is wrong.
    pub wrong: Vec<f64>,
}

/// A fault that would explain the readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Suspect {
    /// Index of its change.
    pub change: usize,
    /// Its likeliest variant.
    pub variant: usize,
    /// Magnitude fitted to the readings, for faults that have one.
    pub magnitude: Option<f64>,
    /// Probability.
    pub probability: f64,
    /// Index of its group.
    pub group: usize,
    /// What speaks for and against it; only of likely ones.
    pub reasons: Vec<Reason>,
}

/// Something that may be wrong with the drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// Part as the sheet names it.
    pub part: String,
    /// What is doubtful about it.
    pub doubt: String,
    /// Fitted magnitude: a factor on the value, or ohms.
    pub magnitude: Option<f64>,
    /// Probability.
    pub probability: f64,
}

/// Evidence of every variant of every change, and of a healthy unit.
pub(crate) struct Weighed {
    pub healthy: Evidence,
    pub changes: Vec<Vec<Evidence>>,
    /// Variants that no reading sees.
    pub unseen: Vec<Vec<bool>>,
    pub ln_wrong: Vec<f64>,
    /// What the healthy rows share.
    pub shared: Shared,
    /// Shared variables of the unit that fits best under the likeliest hypothesis that was looked at
    /// closely.
    pub unit: Slopes,
}

/// Density of each reading if it is wrong; zero in logarithm where nothing is predicted.
pub(crate) fn ln_wrong(unit: &Unit<'_>) -> Vec<f64> {
    unit.taken
        .iter()
        .map(|t| {
            let place = unit.predictions.healthy(t.place);
            place.map_or(0.0, |p| rows::wrong(p, t.shown))
        })
        .collect()
}

pub(crate) fn weigh(unit: &Unit<'_>) -> Weighed {
    weigh_closely(unit, CLOSE)
}

/// The same; so many variants are looked at closely.
fn weigh_closely(unit: &Unit<'_>, close: usize) -> Weighed {
    let p = unit.predictions;
    let ln_wrong = ln_wrong(unit);
    let rows = rows::rows(p, &unit.taken, None);
    let shared = Shared::of(&rows);
    let healthy = fit(rows, &ln_wrong).evidence;
    let all: Vec<(usize, usize)> = p
        .changes()
        .iter()
        .enumerate()
        .flat_map(|(c, change)| (0..change.variants()).map(move |v| (c, v)))
        .collect();
    let found: Vec<(Evidence, bool)> = all
        .par_iter()
        .map(|&at| {
            if let Some((evidence, hidden)) = unit.hopeless(at) {
                (if hidden { healthy } else { evidence }, hidden)
            } else if rows::moves(p, &unit.taken, at) {
                let rows = rows::rows(p, &unit.taken, Some(at));
                (evidence_shared(rows, &ln_wrong, &shared), false)
            } else {
                (healthy, true)
            }
        })
        .collect();
    let mut changes = vec![Vec::new(); p.changes().len()];
    let mut unseen = vec![Vec::new(); p.changes().len()];
    for (&(c, _), (evidence, hidden)) in all.iter().zip(found) {
        changes[c].push(evidence);
        unseen[c].push(hidden);
    }
    let mut weighed = Weighed {
        healthy,
        changes,
        unseen,
        ln_wrong,
        shared,
        unit: Slopes::new(),
    };
    look_closer(unit, &mut weighed, close);
    weighed
}

/// Variants that are looked at closely, at most, and how many at once; chosen because with 40, and fewer
/// kept by [`FAR`], one more of 39 faults of the demo was missed.
const CLOSE: usize = 48;
/// The same where only the likeliest is wanted.
const FEW: usize = 16;
const AT_ONCE: usize = 8;
/// Hypotheses this much less likely than the likeliest, in logarithm, are not looked at: one in a million.
const FAR: f64 = 14.0;

/// Looks closely at a healthy unit and at the likeliest variants, until none that was not looked at
/// is likely.
fn look_closer(unit: &Unit<'_>, weighed: &mut Weighed, close: usize) {
    let p = unit.predictions;
    let rows = rows::rows(p, &unit.taken, None);
    let Some(healthy) = closer::look(unit, &[], rows, &weighed.ln_wrong) else {
        return;
    };
    let (mut best, mut fitting) = (healthy.evidence.total(), healthy.unit);
    let healthy = healthy.evidence;
    weighed.healthy = healthy;
    let mut open: Vec<(usize, usize)> = Vec::new();
    for (c, hidden) in weighed.unseen.iter().enumerate() {
        for (v, hidden) in hidden.iter().enumerate() {
            if *hidden {
                weighed.changes[c][v] = healthy;
            } else {
                open.push((c, v));
            }
        }
    }
    let weight = |weighed: &Weighed, (c, v): (usize, usize)| {
        let change = &p.changes()[c];
        change.weight.ln() - (change.variants() as f64).ln() + weighed.changes[c][v].total()
    };
    let mut likeliest = healthy.total();
    let mut looked = 0;
    while looked < close && !open.is_empty() {
        if looked == 0 {
            let most = open.iter().map(|at| weight(weighed, *at));
            likeliest = most.fold(likeliest, f64::max);
        }
        let likely = |at: &&(usize, usize)| weight(weighed, **at) > likeliest - FAR;
        let mut now: Vec<(usize, usize)> = open.iter().filter(likely).copied().collect();
        now.sort_by(|a, b| weight(weighed, *b).total_cmp(&weight(weighed, *a)));
        now.truncate(AT_ONCE);
        if now.is_empty() {
            break;
        }
        let found: Vec<Option<Close>> = now
            .par_iter()
            .map(|&at| {
                let rows = rows::rows(p, &unit.taken, Some(at));
                closer::look(unit, &[at], rows, &weighed.ln_wrong)
            })
            .collect();
        for (at, close) in now.iter().zip(found) {
            let Some(close) = close else { continue };
            weighed.changes[at.0][at.1] = close.evidence;
            let likely = weight(weighed, *at);
            if likely > best {
                (best, fitting) = (likely, close.unit);
            }
        }
        looked += now.len();
        open.retain(|at| !now.contains(at));
    }
    weighed.unit = fitting;
}

/// Where the readings of a unit point.
#[derive(Clone, Debug, PartialEq)]
pub struct Toward {
    /// Shared variables of the unit that fits best.
    pub unit: Slopes,
    /// What was weighed on the way; none if nothing was.
    pub before: Option<Arc<Before>>,
}

impl Toward {
    /// Toward a unit, everything still being likely.
    pub fn all(unit: Slopes) -> Self {
        Self { unit, before: None }
    }
}

/// Toward the healthy unit that fits the readings best; asks for no change.
pub fn toward_healthy(unit: &Unit<'_>) -> Toward {
    let rows = rows::rows(unit.predictions, &unit.taken, None);
    let close = closer::look(unit, &[], rows, &ln_wrong(unit));
    Toward::all(close.map_or_else(Slopes::new, |c| c.unit))
}

/// Toward the unit that fits best under the likeliest hypothesis.
pub fn toward(unit: &Unit<'_>) -> Toward {
    let weighed = weigh_closely(unit, FEW);
    let fitting = weighed.unit.clone();
    let before = Before::of(unit, weighed);
    Toward {
        unit: fitting,
        before: Some(Arc::new(before)),
    }
}

/// What is likely once the lines of most variants were carried over from about another unit: enough to tell which are worth
/// working out.
pub fn sift(unit: &Unit<'_>) -> Before {
    Before::sifted(unit, weigh_closely(unit, 0))
}

/// Weight of a change times its mean likelihood, in logarithm.
pub(crate) fn ln_weight(change: &Change, evidence: &[Evidence]) -> f64 {
    change.weight.ln() - (evidence.len() as f64).ln() + ln_sum(evidence.iter().map(Evidence::total))
}

/// Ranks everything that may be wrong, all units together.
///
/// `together` is the factor on the product of two faults' weights. Units share the drawing: a doubt
/// about it must hold in all of them, a fault only in its own.
pub fn rank(units: &[Unit<'_>], together: f64) -> Ranking {
    let weighed: Vec<Weighed> = units.iter().map(weigh).collect();
    let alone: Vec<Alone> = units
        .iter()
        .zip(&weighed)
        .map(|(unit, w)| alone(unit, w, together))
        .collect();
    let right_sheet: f64 = alone.iter().map(|a| a.total).sum();
    let doubts = doubts(units, &weighed);
    let everything = ln_sum(
        doubts
            .iter()
            .map(|d| d.1)
            .chain(std::iter::once(right_sheet)),
    );
    let sheet: f64 = doubts.iter().map(|d| (d.1 - everything).exp()).sum();
    let mut listed: Vec<Doubt> = doubts
        .into_iter()
        .map(|(mut doubt, ln)| {
            doubt.probability = (ln - everything).exp();
            doubt
        })
        .collect();
    listed.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    let units = units
        .iter()
        .zip(&weighed)
        .zip(alone)
        .map(|((unit, w), a)| ranked(unit, w, a, sheet))
        .collect();
    Ranking {
        units,
        doubts: listed,
    }
}

/// Logarithms of the weights of one unit, the drawing being right.
struct Alone {
    single: Vec<f64>,
    multiple: f64,
    pairs: Vec<(usize, usize, f64)>,
    total: f64,
}

fn alone(unit: &Unit<'_>, weighed: &Weighed, together: f64) -> Alone {
    let changes = unit.predictions.changes();
    let single: Vec<f64> = changes
        .iter()
        .zip(&weighed.changes)
        .map(|(change, evidence)| match change.blame {
            Blame::Unit => ln_weight(change, evidence),
            Blame::Sheet => f64::NEG_INFINITY,
        })
        .collect();
    let (multiple, pairs) = if together > 0.0 {
        pairs::weigh(unit, weighed, &single, together)
    } else {
        (f64::NEG_INFINITY, Vec::new())
    };
    let total = ln_sum(
        single
            .iter()
            .copied()
            .chain([multiple, weighed.healthy.total()]),
    );
    Alone {
        single,
        multiple,
        pairs,
        total,
    }
}

/// Every doubt with the logarithm of its weight, over all units at once.
fn doubts(units: &[Unit<'_>], weighed: &[Weighed]) -> Vec<(Doubt, f64)> {
    let Some(first) = units.first() else {
        return Vec::new();
    };
    let key = |c: &Change| (c.blame, c.part.clone(), c.name.clone());
    let places: Vec<HashMap<_, usize>> = units
        .iter()
        .map(|u| {
            let list = u.predictions.changes().iter().enumerate();
            list.map(|(i, c)| (key(c), i)).collect()
        })
        .collect();
    let list = first.predictions.changes().iter();
    list.filter(|c| c.blame == Blame::Sheet)
        .map(|change| {
            let ln: Vec<f64> = (0..change.variants())
                .map(|v| {
                    weighed
                        .iter()
                        .zip(&places)
                        .map(|(w, place)| match place.get(&key(change)) {
                            Some(c) => w.changes[*c][v].total(),
                            // A unit that lacks the part says nothing about it.
                            None => w.healthy.total(),
                        })
                        .sum()
                })
                .collect();
            let all = ln_sum(ln.iter().copied());
            let best = (0..ln.len()).max_by(|a, b| ln[*a].total_cmp(&ln[*b]));
            let doubt = Doubt {
                part: change.part.clone(),
                doubt: change.name.clone(),
                magnitude: best.and_then(|v| {
                    let c = places[0][&key(change)];
                    fitted(first, &weighed[0], c, v)
                }),
                probability: 0.0,
            };
            (doubt, change.weight.ln() - (ln.len() as f64).ln() + all)
        })
        .collect()
}

/// The magnitude that fits best near a variant.
fn fitted(unit: &Unit<'_>, weighed: &Weighed, change: usize, variant: usize) -> Option<f64> {
    let p = unit.predictions;
    let of = &p.changes()[change];
    if of.magnitudes.is_empty() {
        return None;
    }
    let at = Some((change, variant));
    let within = if weighed.unseen[change][variant] {
        0.0
    } else {
        fit(rows::rows(p, &unit.taken, at), &weighed.ln_wrong).within()
    };
    rows::magnitude(of, variant, within)
}

/// Suspects below this get no words.
const WORTH_WORDS: f64 = 1e-3;

fn ranked(unit: &Unit<'_>, weighed: &Weighed, alone: Alone, sheet: f64) -> Ranked {
    let changes = unit.predictions.changes();
    let share = |ln: f64| (1.0 - sheet) * (ln - alone.total).exp();
    let mut suspects: Vec<Suspect> = (0..changes.len())
        .filter(|c| changes[*c].blame == Blame::Unit)
        .map(|c| {
            let evidence = &weighed.changes[c];
            let variant = (0..evidence.len())
                .max_by(|a, b| evidence[*a].total().total_cmp(&evidence[*b].total()))
                .unwrap_or(0);
            Suspect {
                change: c,
                variant,
                magnitude: None,
                probability: share(alone.single[c]),
                group: 0,
                reasons: Vec::new(),
            }
        })
        .collect();
    suspects.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    suspects.par_iter_mut().for_each(|s| {
        s.magnitude = fitted(unit, weighed, s.change, s.variant);
        if s.probability > WORTH_WORDS {
            s.reasons = reasons::of(unit, &weighed.ln_wrong, (s.change, s.variant));
        }
    });
    let groups = groups::of(unit, weighed, &mut suspects);
    let pairs = alone
        .pairs
        .iter()
        .map(|(a, b, ln)| (*a, *b, share(*ln)))
        .collect();
    let wrong = wrong_readings(unit, weighed, &alone, &suspects);
    Ranked {
        healthy: share(weighed.healthy.right),
        multiple: share(alone.multiple),
        reading_error: share(weighed.healthy.wrong),
        sheet,
        suspects,
        groups,
        pairs,
        wrong,
    }
}

/// Probability of each reading that it is wrong, by the hypotheses that matter.
fn wrong_readings(
    unit: &Unit<'_>,
    weighed: &Weighed,
    alone: &Alone,
    suspects: &[Suspect],
) -> Vec<f64> {
    let mut found = vec![0.0; unit.taken.len()];
    let healthy = (weighed.healthy.total() - alone.total).exp();
    let likely = suspects.iter().take_while(|s| s.probability > 0.01);
    let hypotheses = likely
        .map(|s| (Some((s.change, s.variant)), s.probability))
        .chain(std::iter::once((None, healthy)));
    for (hypothesis, share) in hypotheses {
        let rows = rows::rows(unit.predictions, &unit.taken, hypothesis);
        for row in fit(rows, &weighed.ln_wrong).suspect_rows() {
            found[row] += share;
        }
    }
    found
}
