//! What may come at a place, in bins of its scale, under each class that is alive.

use crate::fit::WRONG;
use crate::normal::below;
use crate::predictions::{Effect, Healthy};
use crate::rank::Unit;
use crate::rows::{self, Follows};

use super::belief::{Belief, Variant};
use super::{Class, Outcome};

/// At most so many bins of numbers; one more is over range.
const BINS: usize = 40;

/// What a variant foretells on the place's scale, given the readings so far.
#[derive(Clone, Copy, Debug)]
enum Foretold {
    /// Over range for certain.
    OverRange,
    /// Normal in the score of a healthy board.
    Score(f64, f64),
    /// Normal on the scale, over range beyond the border.
    Number(f64, f64, f64),
    /// Anything.
    Unknown,
}

/// Probabilities of the bins, class by class.
pub(super) struct Table {
    /// Rows by class; the last bin is over range.
    chance: Vec<Vec<f64>>,
    /// The variants' means, for words: (class, reading or over range, share).
    means: Vec<(usize, Option<f64>, f64)>,
    /// Distance on the scale below which two means are one outcome.
    apart: f64,
    scale: crate::predictions::Scale,
}

impl Table {
    /// `None` if nothing can be foretold at the place.
    pub fn new(unit: &Unit<'_>, belief: &Belief<'_>, place: usize) -> Option<Self> {
        let healthy = unit.predictions.healthy(place)?;
        let foretold: Vec<Vec<Foretold>> = belief
            .classes
            .iter()
            .map(|c| {
                let list = c.variants.iter();
                list.map(|v| foretell(unit, belief, healthy, place, v))
                    .collect()
            })
            .collect();
        let (edges, apart) = edges(healthy, &foretold);
        let chance = belief
            .classes
            .iter()
            .zip(&foretold)
            .map(|(c, list)| {
                let mut row = vec![0.0; edges.len() + 2];
                for (v, f) in c.variants.iter().zip(list) {
                    add(&mut row, healthy, &edges, f, v.weight);
                }
                let total: f64 = row.iter().sum();
                let even = WRONG / row.len() as f64;
                row.iter_mut()
                    .for_each(|x| *x = (1.0 - WRONG) * *x / total + even);
                row
            })
            .collect();
        let mut means = Vec::new();
        for (k, (c, list)) in belief.classes.iter().zip(&foretold).enumerate() {
            for (v, f) in c.variants.iter().zip(list) {
                let at = match f {
                    Foretold::OverRange => None,
                    Foretold::Score(m, _) => match healthy.marginal.value(*m) {
                        record::Shown::Number(x) => Some(healthy.scale.at(x).0),
                        record::Shown::OverRange => None,
                    },
                    Foretold::Number(m, _, border) => (m <= border).then_some(*m),
                    Foretold::Unknown => continue,
                };
                means.push((k, at, c.share * v.weight));
            }
        }
        Some(Self {
            chance,
            means,
            apart,
            scale: healthy.scale,
        })
    }

    pub fn bins(&self) -> usize {
        self.chance.first().map_or(0, Vec::len)
    }

    /// Shares of the classes after an outcome, and its probability.
    pub fn after(&self, bin: usize, shares: &[f64]) -> (Vec<f64>, f64) {
        let joint: Vec<f64> = shares
            .iter()
            .zip(&self.chance)
            .map(|(s, row)| s * row[bin])
            .collect();
        let total: f64 = joint.iter().sum();
        (joint.into_iter().map(|j| j / total).collect(), total)
    }

    /// Expected information about the class, in bits.
    pub fn bits(&self, shares: &[f64]) -> f64 {
        let mut sum = 0.0;
        for bin in 0..self.bins() {
            let all: f64 = shares
                .iter()
                .zip(&self.chance)
                .map(|(s, row)| s * row[bin])
                .sum();
            for (share, row) in shares.iter().zip(&self.chance) {
                let p = row[bin];
                if p > 0.0 && *share > 0.0 {
                    sum += share * p * (p / all).log2();
                }
            }
        }
        sum.max(0.0)
    }

    /// What may come, in words' worth: means that lie together are one outcome.
    pub fn outcomes(&self, belief: &Belief<'_>) -> Vec<Outcome> {
        let mut list = self.means.clone();
        list.sort_by(|a, b| match (a.1, b.1) {
            (Some(x), Some(y)) => x.total_cmp(&y),
            (Some(_), None) => std::cmp::Ordering::Less,
            (None, Some(_)) => std::cmp::Ordering::Greater,
            (None, None) => std::cmp::Ordering::Equal,
        });
        let mut clusters: Vec<Vec<(usize, Option<f64>, f64)>> = Vec::new();
        for one in list {
            let joins =
                clusters
                    .last()
                    .and_then(|c| c.last())
                    .is_some_and(|last| match (last.1, one.1) {
                        (Some(a), Some(b)) => b - a < self.apart,
                        (None, None) => true,
                        _ => false,
                    });
            match clusters.last_mut() {
                Some(c) if joins => c.push(one),
                _ => clusters.push(vec![one]),
            }
        }
        let mut found: Vec<Outcome> = clusters.iter().map(|c| self.outcome(belief, c)).collect();
        found.sort_by(|a, b| b.share.total_cmp(&a.share));
        found.truncate(6);
        found
    }

    fn outcome(&self, belief: &Belief<'_>, cluster: &[(usize, Option<f64>, f64)]) -> Outcome {
        let share: f64 = cluster.iter().map(|c| c.2).sum();
        let middle = cluster
            .iter()
            .try_fold(0.0, |sum, c| Some(sum + c.1? * c.2));
        let mut means: Vec<(Class, f64)> = Vec::new();
        for (k, _, weight) in cluster {
            let class = belief.classes[*k].class;
            match means.iter_mut().find(|m| m.0 == class) {
                Some(m) => m.1 += weight / share,
                None => means.push((class, weight / share)),
            }
        }
        means.sort_by(|a, b| b.1.total_cmp(&a.1));
        Outcome {
            near: middle.map(|m| self.scale.reading(m / share)),
            share,
            means,
        }
    }
}

fn foretell(
    unit: &Unit<'_>,
    belief: &Belief<'_>,
    healthy: &Healthy,
    place: usize,
    variant: &Variant,
) -> Foretold {
    let p = unit.predictions;
    let fit = &belief.fits[variant.fit];
    let effect = variant
        .hypothesis
        .map_or(&Effect::Unmoved, |(c, v)| p.effect(c, v, place));
    if let (Effect::Unmoved, Some(line)) = (effect, &healthy.line) {
        let (m, v) = fit.given(&Follows::only(&line.slopes), line.own);
        return Foretold::Number(line.middle + m, v.sqrt(), line.border);
    }
    match effect {
        Effect::OverRange => Foretold::OverRange,
        Effect::Unknown => Foretold::Unknown,
        Effect::Unmoved if healthy.marginal.over_range() > 1.0 - 1e-9 => Foretold::OverRange,
        Effect::Unmoved => {
            let told: f64 = healthy.slopes.iter().map(|s| s.1 * s.1).sum();
            let (m, v) = fit.given(&Follows::only(&healthy.slopes), (1.0 - told).max(1e-6));
            Foretold::Score(m, v.sqrt())
        }
        Effect::Moved(line) => {
            let within = variant
                .hypothesis
                .map_or(0.0, |(c, v)| rows::within(p, c, v, place));
            let follows = Follows {
                within: [within, 0.0],
                ..Follows::only(&line.slopes)
            };
            let (m, v) = fit.given(&follows, line.own);
            Foretold::Number(line.middle + m, v.sqrt(), line.border)
        }
    }
}

/// Edges of the bins on the scale, and how far apart two outcomes must be to be two.
fn edges(healthy: &Healthy, foretold: &[Vec<Foretold>]) -> (Vec<f64>, f64) {
    let mut points: Vec<f64> = Vec::new();
    let mut widths: Vec<f64> = Vec::new();
    for f in foretold.iter().flatten() {
        let ends = match f {
            Foretold::Score(m, sd) => {
                [m - 2.0 * sd, *m, m + 2.0 * sd].map(|t| match healthy.marginal.value(t) {
                    record::Shown::Number(x) => Some(healthy.scale.at(x).0),
                    record::Shown::OverRange => None,
                })
            }
            Foretold::Number(m, sd, _) => [m - 2.0 * sd, *m, m + 2.0 * sd].map(Some),
            Foretold::OverRange | Foretold::Unknown => continue,
        };
        if let [Some(a), _, Some(b)] = ends {
            widths.push(b - a);
        }
        points.extend(ends.into_iter().flatten());
    }
    points.sort_by(f64::total_cmp);
    widths.sort_by(f64::total_cmp);
    let width = widths.get(widths.len() / 2).copied().unwrap_or(0.1);
    let finest = widths.first().copied().unwrap_or(0.1);
    points.dedup_by(|b, a| *b - *a < 0.2 * finest);
    if points.len() > BINS {
        let step = points.len() as f64 / BINS as f64;
        points = (0..BINS)
            .map(|k| points[(k as f64 * step) as usize])
            .collect();
    }
    (points, width)
}

/// Adds a variant's probabilities to its class.
fn add(row: &mut [f64], healthy: &Healthy, edges: &[f64], foretold: &Foretold, weight: f64) {
    let last = row.len() - 1;
    let up_to = |edge: f64| match foretold {
        Foretold::Score(m, sd) => {
            let reading = healthy.scale.reading(edge);
            let score = healthy.marginal.score(reading).map_or(0.0, |s| s.0);
            below((score.min(healthy.marginal.border()) - m) / sd)
        }
        Foretold::Number(m, sd, border) => below((edge.min(*border) - m) / sd),
        Foretold::OverRange | Foretold::Unknown => 0.0,
    };
    let (in_range, spread) = match foretold {
        Foretold::OverRange => {
            row[last] += weight;
            return;
        }
        Foretold::Unknown => {
            let even = weight / row.len() as f64;
            row.iter_mut().for_each(|r| *r += even);
            return;
        }
        Foretold::Score(m, sd) => (below((healthy.marginal.border() - m) / sd), weight),
        Foretold::Number(m, sd, border) => (below((border - m) / sd), weight),
    };
    let mut before = 0.0;
    for (bin, edge) in edges.iter().enumerate() {
        let now = up_to(*edge);
        row[bin] += spread * (now - before).max(0.0);
        before = now.max(before);
    }
    row[edges.len()] += spread * (in_range - before).max(0.0);
    row[last] += spread * (1.0 - in_range);
}
