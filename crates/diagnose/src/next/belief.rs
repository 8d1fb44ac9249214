//! What is believed before the next reading: the classes that are still alive, each with its fitted variants.

use crate::fit::{Fit, fit};
use crate::normal::ln_sum;
use crate::rank::{Ranked, Unit, ln_wrong};
use crate::rows::{self, Hypothesis};

use super::{Class, class_of};

/// Classes below this share of the leader's probability are left out.
const ALIVE: f64 = 1e-3;
/// At most so many classes are weighed.
const MOST: usize = 48;
/// Variants of a class below this share of it are left out.
const SLIGHT: f64 = 0.08;

/// A variant of a class.
pub(super) struct Variant {
    pub hypothesis: Hypothesis,
    pub weight: f64,
    /// Index of its fit; variants that no reading sees share the healthy one.
    pub fit: usize,
}

/// A class and its variants, whose weights sum to 1.
pub(super) struct Alive {
    pub class: Class,
    pub share: f64,
    pub variants: Vec<Variant>,
}

/// All that is believed.
pub(super) struct Belief<'a> {
    pub classes: Vec<Alive>,
    pub fits: Vec<Fit<'a>>,
}

impl<'a> Belief<'a> {
    pub fn new(unit: &Unit<'a>, ranked: &Ranked, doubt_shares: &[(usize, f64)]) -> Self {
        let p = unit.predictions;
        let wrong = ln_wrong(unit);
        let healthy = fit(rows::rows(p, &unit.taken, None), &wrong);
        let mut fits = vec![healthy];
        let mut shares: Vec<(Class, Option<usize>, f64)> = ranked
            .suspects
            .iter()
            .map(|s| {
                let class = class_of(p.changes()[s.change].blame, s.change);
                (class, Some(s.change), s.probability)
            })
            .collect();
        let nothing = ranked.healthy + ranked.reading_error;
        shares.push((Class::NothingWrong, None, nothing));
        shares.extend(
            doubt_shares
                .iter()
                .map(|(change, share)| (Class::Doubt(*change), Some(*change), *share)),
        );
        shares.sort_by(|a, b| b.2.total_cmp(&a.2));
        let least = shares.first().map_or(0.0, |s| ALIVE * s.2);
        shares.retain(|s| s.2 >= least && s.2 > 0.0);
        shares.truncate(MOST);
        let total: f64 = shares.iter().map(|s| s.2).sum();
        let classes = shares
            .into_iter()
            .map(|(class, change, share)| Alive {
                class,
                share: share / total,
                variants: match change {
                    None => vec![Variant {
                        hypothesis: None,
                        weight: 1.0,
                        fit: 0,
                    }],
                    Some(change) => variants(unit, change, &wrong, &mut fits),
                },
            })
            .collect();
        Self { classes, fits }
    }

    pub fn shares(&self) -> Vec<f64> {
        self.classes.iter().map(|c| c.share).collect()
    }

    /// The likeliest class.
    pub fn leader(&self) -> Option<(Class, f64)> {
        self.classes.first().map(|c| (c.class, c.share))
    }
}

fn variants<'a>(
    unit: &Unit<'a>,
    change: usize,
    wrong: &[f64],
    fits: &mut Vec<Fit<'a>>,
) -> Vec<Variant> {
    let p = unit.predictions;
    let count = p.changes()[change].variants();
    let mut found: Vec<(usize, Option<Fit<'a>>, f64)> = (0..count)
        .map(|v| {
            if rows::moves(p, &unit.taken, (change, v)) {
                let fitted = fit(rows::rows(p, &unit.taken, Some((change, v))), wrong);
                let ln = fitted.evidence.total();
                (v, Some(fitted), ln)
            } else {
                (v, None, fits[0].evidence.total())
            }
        })
        .collect();
    let all = ln_sum(found.iter().map(|f| f.2));
    let best = found.iter().map(|f| f.2).fold(f64::NEG_INFINITY, f64::max);
    found.retain(|f| (f.2 - best).exp() >= SLIGHT);
    let kept: f64 = found.iter().map(|f| (f.2 - all).exp()).sum();
    found
        .into_iter()
        .map(|(v, fitted, ln)| Variant {
            hypothesis: Some((change, v)),
            weight: (ln - all).exp() / kept,
            fit: match fitted {
                None => 0,
                Some(fitted) => {
                    fits.push(fitted);
                    fits.len() - 1
                }
            },
        })
        .collect()
}
