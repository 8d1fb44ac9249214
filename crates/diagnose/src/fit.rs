//! The joint likelihood of a unit's readings under one hypothesis.
//!
//! Readings share the variables behind them, so their covariance is that of the common slopes plus
//! each one's own variance. Over-range readings enter as inequalities, one after another with the
//! moments of the truncated normal (Mendell and Elston, Biometrics 30, 1974). Any reading may be
//! wrong, with a small share: sets of wrong readings are summed greedily, the likeliest first. All
//! spreads together may be wider than the sheet says: three widths are mixed, which gives the
//! heavier tails of a common unknown scale.

mod beside;
#[cfg(test)]
mod brute_force;

pub(crate) use beside::Shared;

use crate::gauss::Factor;
use crate::normal::{self, below, hazard, ln_density, ln_sum};
use crate::rows::{Follows, Row};

/// Share of readings that are wrong; chosen so that about one sheet of fifteen readings in three
/// holds one, as notebooks of students show (leads exchanged, wrong node, misplaced decimal).
pub const WRONG: f64 = 0.025;
/// (factor on all spreads, share of units for which it holds); chosen because spreads taken from
/// small samples are known to half as much again at best.
const WIDTHS: [(f64, f64); 3] = [(1.0, 0.80), (1.5, 0.16), (2.5, 0.04)];
/// At most so many readings of a unit are taken for wrong.
const MOST_WRONG: usize = 4;

/// Logarithms of the likelihood of a unit's readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    /// With every reading right.
    pub right: f64,
    /// With one or more of them wrong.
    pub wrong: f64,
}

impl Evidence {
    /// Either way.
    pub fn total(&self) -> f64 {
        ln_sum([self.right, self.wrong].into_iter())
    }
}

/// A hypothesis fitted to the readings: what they say about the shared variables under it.
#[derive(Clone, Debug)]
pub(crate) struct Fit<'a> {
    pub evidence: Evidence,
    rows: Vec<Row<'a>>,
    /// Rows that are numbers and taken for right.
    kept: Vec<usize>,
    /// Rows taken for wrong.
    pub removed: Vec<usize>,
    factor: Factor,
    /// Inverse covariance times residuals, in the order of `kept`.
    pull: Vec<f64>,
    /// Mean square of the factor on all spreads, given the readings.
    width: f64,
}

/// What is summed for one width.
struct Sum {
    right: f64,
    wrong: f64,
    removed: Vec<usize>,
}

/// Fits a hypothesis; `ln_wrong` holds each reading's density if it is wrong.
pub(crate) fn fit<'a>(rows: Vec<Row<'a>>, ln_wrong: &[f64]) -> Fit<'a> {
    fit_widths(rows, ln_wrong, &WIDTHS)
}

/// The evidence alone, sharing what healthy rows have in common.
pub(crate) fn evidence_shared(rows: Vec<Row<'_>>, ln_wrong: &[f64], shared: &Shared) -> Evidence {
    shared
        .evidence(&rows, ln_wrong)
        .unwrap_or_else(|| fit_with(rows, ln_wrong, &WIDTHS, Some(shared)).evidence)
}

/// The evidence from that of each width (right, wrong), of rows that depend on no other, and of those over range.
fn evidence(widths: &[(f64, f64)], fixed: (f64, f64), beyond: (f64, f64)) -> Evidence {
    let right = ln_sum(widths.iter().map(|s| s.0));
    let wrong = ln_sum(widths.iter().map(|s| s.1));
    let all = ln_sum([right, wrong].into_iter()) + fixed.1 + beyond.1;
    let right = right + fixed.0 + beyond.0;
    // What is not right is wrong; where both are equal but for rounding nothing is.
    let wrong = all + (-(right - all).exp()).max(-1.0).ln_1p();
    Evidence { right, wrong }
}

fn fit_widths<'a>(rows: Vec<Row<'a>>, ln_wrong: &[f64], widths: &[(f64, f64)]) -> Fit<'a> {
    fit_with(rows, ln_wrong, widths, None)
}

fn fit_with<'a>(
    rows: Vec<Row<'a>>,
    ln_wrong: &[f64],
    widths: &[(f64, f64)],
    known: Option<&Shared>,
) -> Fit<'a> {
    let numbers: Vec<usize> = (0..rows.len())
        .filter(|i| matches!(rows[*i], Row::Number { .. }))
        .collect();
    let (factor, residuals) = joint(&rows, &numbers, known);
    let fixed = fixed(&rows, ln_wrong);
    let start = Start {
        square: factor.whiten(&residuals).iter().map(|w| w * w).sum(),
        pull: factor.solve(&residuals),
        precision: factor.precisions(),
        ln_determinant: factor.ln_determinant,
    };
    let column = |k: usize| factor.precision_column(k);
    let sums: Vec<Sum> = widths
        .iter()
        .map(|(width, share)| {
            let mut sum = at_width(&rows, ln_wrong, &numbers, &column, &start, *width);
            sum.right += share.ln();
            sum.wrong += share.ln();
            sum
        })
        .collect();
    let right = ln_sum(sums.iter().map(|s| s.right));
    let wrong = ln_sum(sums.iter().map(|s| s.wrong));
    let both = ln_sum([right, wrong].into_iter());
    let weights = sums
        .iter()
        .map(|s| (ln_sum([s.right, s.wrong].into_iter()) - both).exp());
    let width = weights
        .clone()
        .zip(widths)
        .map(|(w, (width, _))| w * width * width)
        .sum();
    let best = weights
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map_or(0, |b| b.0);
    let each: Vec<(f64, f64)> = sums.iter().map(|s| (s.right, s.wrong)).collect();
    let removed = sums.into_iter().nth(best).map_or(Vec::new(), |s| s.removed);
    let mut fit = Fit {
        evidence: Evidence { right, wrong },
        kept: numbers,
        removed,
        pull: start.pull,
        factor,
        rows,
        width,
    };
    if !fit.removed.is_empty() {
        fit.kept.retain(|i| !fit.removed.contains(i));
        let (factor, residuals) = joint(&fit.rows, &fit.kept, known);
        fit.pull = factor.solve(&residuals);
        fit.factor = factor;
    }
    fit.evidence = evidence(&each, fixed, fit.beyond(ln_wrong));
    fit
}

/// Covariance of the chosen rows, factored, and their residuals.
fn joint(rows: &[Row<'_>], chosen: &[usize], known: Option<&Shared>) -> (Factor, Vec<f64>) {
    let n = chosen.len();
    let part = |k: usize| match &rows[chosen[k]] {
        Row::Number {
            follows,
            own,
            residual,
            ..
        } => (follows, *own, *residual),
        _ => unreachable!("only numbers are chosen"),
    };
    let mut matrix = vec![0.0; n * n];
    for i in 0..n {
        let (follows, own, _) = part(i);
        for j in 0..=i {
            let other = part(j).0;
            matrix[i * n + j] = match known {
                Some(k) if follows.alike && other.alike => {
                    k.matrix[chosen[i] * k.n + chosen[j]] + follows.by_magnitudes(other)
                }
                _ => follows.with(other),
            };
        }
        matrix[i * n + i] += own;
    }
    let residuals = (0..n).map(|k| part(k).2).collect();
    let factor = Factor::new(matrix, n).expect("own variances make a covariance definite");
    (factor, residuals)
}

/// Covariance by shared variables.
pub(crate) fn shared(a: &[(u32, f64)], b: &[(u32, f64)]) -> f64 {
    let (mut i, mut j, mut sum) = (0, 0, 0.0);
    while i < a.len() && j < b.len() {
        match a[i].0.cmp(&b[j].0) {
            std::cmp::Ordering::Less => i += 1,
            std::cmp::Ordering::Greater => j += 1,
            std::cmp::Ordering::Equal => {
                sum += a[i].1 * b[j].1;
                i += 1;
                j += 1;
            }
        }
    }
    sum
}

/// Rows whose probability depends on no other: (all right, right or wrong).
fn fixed(rows: &[Row<'_>], ln_wrong: &[f64]) -> (f64, f64) {
    let (mut right, mut all) = (0.0, 0.0);
    for (row, wrong) in rows.iter().zip(ln_wrong) {
        match row {
            Row::Certain => {
                right += (1.0 - WRONG).ln();
                all += (1.0 - WRONG + WRONG * wrong.exp()).ln();
            }
            Row::Impossible => {
                right = f64::NEG_INFINITY;
                all += WRONG.ln() + wrong;
            }
            Row::Blind => {
                right += wrong;
                all += wrong;
            }
            Row::Number { .. } | Row::Beyond { .. } => {}
        }
    }
    (right, all)
}

/// What all widths start from: no reading is wrong.
struct Start {
    /// Sum of the whitened residuals' squares.
    square: f64,
    ln_determinant: f64,
    /// Inverse covariance times the residuals.
    pull: Vec<f64>,
    /// Diagonal of the inverse covariance.
    precision: Vec<f64>,
}

/// Sums over sets of wrong readings for one width of all spreads.
fn at_width(
    rows: &[Row<'_>],
    ln_wrong: &[f64],
    numbers: &[usize],
    column: &dyn Fn(usize) -> Vec<f64>,
    start: &Start,
    width: f64,
) -> Sum {
    let n = numbers.len();
    let ln_slope = |k: usize| match rows[numbers[k]] {
        Row::Number { ln_slope, .. } => ln_slope,
        _ => unreachable!("only numbers are chosen"),
    };
    let square = start.square;
    let all = n as f64;
    let right = -0.5
        * (all * (2.0 * std::f64::consts::PI * width * width).ln()
            + start.ln_determinant
            + square / (width * width))
        + (0..n).map(ln_slope).sum::<f64>()
        + all * (1.0 - WRONG).ln();
    let mut pull = start.pull.clone();
    let mut precision = start.precision.clone();
    let mut gone: Vec<(usize, Vec<f64>)> = Vec::new();
    let (mut reached, mut wrong) = (right, f64::NEG_INFINITY);
    while gone.len() < MOST_WRONG.min(n) {
        // What taking one more for wrong would gain.
        let gain: Vec<f64> = (0..n)
            .map(|k| {
                if gone.iter().any(|g| g.0 == k) {
                    return f64::NEG_INFINITY;
                }
                let alone = ln_density(pull[k] / precision[k], width * width / precision[k]);
                WRONG.ln() + ln_wrong[numbers[k]] - (1.0 - WRONG).ln() - alone - ln_slope(k)
            })
            .collect();
        wrong = ln_sum([wrong, reached + ln_sum(gain.iter().copied())].into_iter());
        let Some(best) = (0..n).max_by(|a, b| gain[*a].total_cmp(&gain[*b])) else {
            break;
        };
        if gain[best] < 0.0 {
            break;
        }
        reached += gain[best];
        let mut column = column(best);
        for (k, earlier) in &gone {
            let scale = earlier[best] / earlier[*k];
            column
                .iter_mut()
                .zip(earlier)
                .for_each(|(c, e)| *c -= scale * e);
        }
        let (own, push) = (column[best], pull[best]);
        for k in 0..n {
            let ratio = column[k] / own;
            pull[k] -= ratio * push;
            precision[k] -= ratio * column[k];
        }
        gone.push((best, column));
    }
    Sum {
        right,
        wrong,
        removed: gone.into_iter().map(|g| numbers[g.0]).collect(),
    }
}

impl Fit<'_> {
    /// Middle and variance of something that follows so, with this own variance, given the readings.
    pub fn given(&self, follows: &Follows<'_>, own: f64) -> (f64, f64) {
        let with = self.with(follows);
        let middle = with.iter().zip(&self.pull).map(|(a, b)| a * b).sum();
        let told: f64 = self.factor.whiten(&with).iter().map(|w| w * w).sum();
        let variance = follows.variance() - told;
        (middle, variance.max(0.0) * self.width + own)
    }

    /// Middle of each shared variable, given the readings, ascending by variable.
    pub fn middles(&self) -> Vec<(u32, f64)> {
        let mut found = std::collections::BTreeMap::new();
        for (i, pull) in self.kept.iter().zip(&self.pull) {
            if let Row::Number { follows, .. } = &self.rows[*i] {
                for (variable, slope) in follows.shared.iter() {
                    *found.entry(*variable).or_insert(0.0) += slope * pull;
                }
            }
        }
        found.into_iter().collect()
    }

    /// Where between its neighbours the magnitude lies, in half-steps.
    pub fn within(&self) -> f64 {
        self.given(&Follows::magnitude(), 0.0).0
    }

    /// Covariance with each kept reading.
    fn with(&self, other: &Follows<'_>) -> Vec<f64> {
        self.kept
            .iter()
            .map(|i| match &self.rows[*i] {
                Row::Number { follows, .. } => follows.with(other),
                _ => unreachable!("only numbers are kept"),
            })
            .collect()
    }

    /// Probability of the over-range readings given the numbers: (all right, right or wrong).
    fn beyond(&self, ln_wrong: &[f64]) -> (f64, f64) {
        let mut list = Vec::new();
        for (row, wrong) in self.rows.iter().zip(ln_wrong) {
            if let Row::Beyond {
                border,
                follows,
                own,
            } = row
            {
                list.push((*border, follows, *own, wrong.exp()));
            }
        }
        let n = list.len();
        if n == 0 {
            return (0.0, 0.0);
        }
        let with: Vec<Vec<f64>> = list
            .iter()
            .map(|(_, follows, ..)| self.factor.whiten(&self.with(follows)))
            .collect();
        let mut mean: Vec<f64> = list.iter().map(|l| self.given(l.1, 0.0).0).collect();
        let mut cov = vec![vec![0.0; n]; n];
        for i in 0..n {
            for j in 0..n {
                let told: f64 = with[i].iter().zip(&with[j]).map(|(a, b)| a * b).sum();
                cov[i][j] = list[i].1.with(list[j].1) - told;
            }
            cov[i][i] += list[i].2;
        }
        let (mut right, mut all) = (0.0, 0.0);
        for i in 0..n {
            let sd = cov[i][i].max(1e-12).sqrt();
            let border = (list[i].0 - mean[i]) / sd;
            let share = below(-border);
            let ok = (1.0 - WRONG) * share;
            let either = ok + WRONG * list[i].3;
            right += ok.max(f64::MIN_POSITIVE).ln();
            all += either.max(f64::MIN_POSITIVE).ln();
            // The part that is right tells on those that follow.
            let certain = ok / either;
            let hazard = hazard(border) * certain;
            let shrink = hazard * (hazard - border);
            let towards: Vec<f64> = cov[i].iter().map(|c| c / sd).collect();
            for j in i + 1..n {
                mean[j] += towards[j] * hazard;
                let row = cov[j].iter_mut().zip(&towards);
                row.for_each(|(c, t)| *c -= towards[j] * t * shrink);
            }
        }
        (right, all)
    }

    /// Rows that are wrong under this hypothesis: taken for it, or impossible otherwise.
    pub fn suspect_rows(&self) -> impl Iterator<Item = usize> + '_ {
        let impossible = (0..self.rows.len()).filter(|i| matches!(self.rows[*i], Row::Impossible));
        self.removed.iter().copied().chain(impossible)
    }

    /// How far a number lies from what the kept ones foretell for it, on its scale; `None` if it is none.
    pub fn off(&self, row: usize) -> Option<f64> {
        let Row::Number {
            residual, follows, ..
        } = &self.rows[row]
        else {
            return None;
        };
        match self.kept.iter().position(|i| *i == row) {
            Some(k) => Some(self.pull[k] / self.factor.precisions()[k]),
            None => Some(residual - self.given(follows, 0.0).0),
        }
    }

    /// Normal score of a kept number given all other kept ones.
    pub fn score(&self, row: usize) -> Option<f64> {
        let k = self.kept.iter().position(|i| *i == row)?;
        let precision = self.factor.precisions()[k];
        Some(self.pull[k] / (precision * self.width).sqrt())
    }
}

/// Density of one row by itself, for words about it: right or wrong.
pub(crate) fn alone(row: &Row<'_>, ln_wrong: f64) -> f64 {
    let right = match row {
        Row::Blind => ln_wrong,
        row => right_alone(row),
    };
    ln_sum([(1.0 - WRONG).ln() + right, WRONG.ln() + ln_wrong].into_iter())
}

/// Density of one row by itself, if it is right.
pub(crate) fn right_alone(row: &Row<'_>) -> f64 {
    match row {
        Row::Number {
            residual,
            follows,
            own,
            ln_slope,
        } => ln_density(*residual, follows.variance() + own) + ln_slope,
        Row::Beyond {
            border,
            follows,
            own,
        } => {
            let sd = (follows.variance() + own).sqrt();
            normal::below(-border / sd).max(f64::MIN_POSITIVE).ln()
        }
        Row::Certain | Row::Blind => 0.0,
        Row::Impossible => f64::NEG_INFINITY,
    }
}
