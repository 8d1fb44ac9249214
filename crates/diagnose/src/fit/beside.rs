//! The likelihood of a hypothesis that touches few readings, from the covariance of a healthy unit and its inverse.
//!
//! What a fault does to the covariance stands in a small block of the touched readings, so its inverse and its
//! determinant follow from those of a healthy unit (Woodbury 1950; the matrix determinant lemma).

use crate::gauss::Factor;
use crate::rows::{Follows, Row};

use super::{Evidence, Start, WIDTHS, at_width, evidence, fixed, joint, shared};

/// What healthy readings share, computed once.
pub(crate) struct Shared {
    pub n: usize,
    /// Covariance of the rows by shared variables.
    pub matrix: Vec<f64>,
    /// Rows that are numbers.
    numbers: Vec<usize>,
    /// Their own variances and residuals.
    own: Vec<f64>,
    residuals: Vec<f64>,
    /// Inverse of their covariance, row after row, its determinant, and the inverse times the residuals.
    inverse: Vec<f64>,
    ln_determinant: f64,
    pull: Vec<f64>,
}

fn number<'a, 'b>(row: &'b Row<'a>) -> Option<(&'b Follows<'a>, f64, f64)> {
    match row {
        Row::Number {
            follows,
            own,
            residual,
            ..
        } => Some((follows, *own, *residual)),
        _ => None,
    }
}

impl Shared {
    /// Of the rows of a healthy unit.
    pub fn of(rows: &[Row<'_>]) -> Self {
        let n = rows.len();
        let slopes = |i: usize| number(&rows[i]).map_or(&[][..], |r| &r.0.shared[..]);
        let mut matrix = vec![0.0; n * n];
        for i in 0..n {
            for j in 0..=i {
                matrix[i * n + j] = shared(slopes(i), slopes(j));
                matrix[j * n + i] = matrix[i * n + j];
            }
        }
        let numbers: Vec<usize> = (0..n).filter(|i| number(&rows[*i]).is_some()).collect();
        let (factor, residuals): (Factor, Vec<f64>) = joint(rows, &numbers, None);
        let columns = (0..numbers.len()).flat_map(|k| factor.precision_column(k));
        Self {
            n,
            matrix,
            own: numbers
                .iter()
                .filter_map(|i| number(&rows[*i]))
                .map(|r| r.1)
                .collect(),
            inverse: columns.collect(),
            ln_determinant: factor.ln_determinant,
            pull: factor.solve(&residuals),
            residuals,
            numbers,
        }
    }

    fn column(&self, k: usize) -> &[f64] {
        let n = self.numbers.len();
        &self.inverse[k * n..(k + 1) * n]
    }

    /// Logarithms of the likelihood; `None` where the hypothesis touches too many readings for this way, or otherwise
    /// than by their own variance and a magnitude.
    pub fn evidence(&self, rows: &[Row<'_>], ln_wrong: &[f64]) -> Option<Evidence> {
        let n = self.numbers.len();
        let mut next = self.numbers.iter().peekable();
        let mut touched = Vec::new();
        let mut residuals = Vec::with_capacity(n);
        for (i, row) in rows.iter().enumerate() {
            let healthy = next.next_if_eq(&&i).is_some();
            match (row, number(row)) {
                (Row::Beyond { .. }, _) => return None,
                (_, None) if healthy => return None,
                (_, None) => {}
                (_, Some(_)) if !healthy => return None,
                (_, Some((follows, own, residual))) => {
                    let k = residuals.len();
                    if !follows.alike {
                        return None;
                    }
                    if own != self.own[k]
                        || follows.within != [0.0; 2]
                        || residual != self.residuals[k]
                    {
                        touched.push((k, own - self.own[k], follows.within));
                    }
                    residuals.push(residual);
                }
            }
        }
        if 3 * touched.len() > n {
            return None;
        }
        let block = self.block(&touched)?;
        // Inverse times residuals: first as if only the residuals were others.
        let mut pull = self.pull.clone();
        for (k, ..) in &touched {
            let more = residuals[*k] - self.residuals[*k];
            pull.iter_mut()
                .zip(self.column(*k))
                .for_each(|(p, c)| *p += more * c);
        }
        let at: Vec<f64> = touched.iter().map(|t| pull[t.0]).collect();
        self.correct(&touched, &block, &at, &mut pull);
        let square = residuals.iter().zip(&pull).map(|(r, p)| r * p).sum();
        let column = |k: usize| {
            let mut found = self.column(k).to_vec();
            let at: Vec<f64> = touched.iter().map(|t| found[t.0]).collect();
            self.correct(&touched, &block, &at, &mut found);
            found
        };
        let t = touched.len();
        let precision = (0..n).map(|k| {
            let own = self.column(k);
            let at = |a: usize| own[touched[a].0];
            let mut less = 0.0;
            for a in 0..t {
                for b in 0..t {
                    less += at(a) * block.matrix[a * t + b] * at(b);
                }
            }
            own[k] - less
        });
        let start = Start {
            square,
            ln_determinant: self.ln_determinant + block.ln_determinant,
            precision: precision.collect(),
            pull,
        };
        if start.precision.iter().any(|p| p.is_nan() || *p <= 0.0) {
            return None;
        }
        let sums = WIDTHS.iter().map(|(width, share)| {
            let sum = at_width(rows, ln_wrong, &self.numbers, &column, &start, *width);
            (sum.right + share.ln(), sum.wrong + share.ln())
        });
        Some(evidence(
            sums.collect::<Vec<_>>().as_slice(),
            fixed(rows, ln_wrong),
            (0.0, 0.0),
        ))
    }

    /// What is taken from the inverse: `matrix` between the columns of the touched readings.
    fn block(&self, touched: &[(usize, f64, [f64; 2])]) -> Option<Block> {
        let t = touched.len();
        let change = |a: usize, b: usize| {
            let (_, own, [p, q]) = touched[a];
            let [r, s] = touched[b].2;
            p * r + q * s + if a == b { own } else { 0.0 }
        };
        // (1 + change inverse) matrix = change
        let mut left = vec![0.0; t * t];
        let mut right = vec![0.0; t * t];
        for a in 0..t {
            for b in 0..t {
                right[a * t + b] = change(a, b);
                let through = |c: usize| change(a, c) * self.column(touched[c].0)[touched[b].0];
                left[a * t + b] = (0..t).map(through).sum::<f64>() + f64::from(u8::from(a == b));
            }
        }
        let ln_determinant = eliminate(&mut left, &mut right, t)?;
        Some(Block {
            matrix: right,
            ln_determinant,
        })
    }

    /// Takes the block's part from a vector that was multiplied by the healthy inverse and stood `at` the touched
    /// readings.
    fn correct(
        &self,
        touched: &[(usize, f64, [f64; 2])],
        block: &Block,
        at: &[f64],
        found: &mut [f64],
    ) {
        let t = touched.len();
        for (a, (k, ..)) in touched.iter().enumerate() {
            let row = &block.matrix[a * t..(a + 1) * t];
            let less: f64 = row.iter().zip(at).map(|(m, x)| m * x).sum();
            found
                .iter_mut()
                .zip(self.column(*k))
                .for_each(|(f, c)| *f -= less * c);
        }
    }
}

struct Block {
    matrix: Vec<f64>,
    ln_determinant: f64,
}

/// Gauss's elimination with the largest pivot; `right` becomes the solution. Returns the logarithm of the determinant,
/// `None` unless that is positive.
fn eliminate(left: &mut [f64], right: &mut [f64], t: usize) -> Option<f64> {
    let mut ln = 0.0;
    let mut positive = true;
    for k in 0..t {
        let largest =
            (k..t).max_by(|a, b| left[a * t + k].abs().total_cmp(&left[b * t + k].abs()))?;
        if largest != k {
            positive = !positive;
            for c in 0..t {
                left.swap(k * t + c, largest * t + c);
                right.swap(k * t + c, largest * t + c);
            }
        }
        let pivot = left[k * t + k];
        positive ^= pivot < 0.0;
        ln += pivot.abs().ln();
        for r in (0..t).filter(|r| *r != k) {
            let factor = left[r * t + k] / pivot;
            if factor != 0.0 {
                for c in 0..t {
                    left[r * t + c] -= factor * left[k * t + c];
                    right[r * t + c] -= factor * right[k * t + c];
                }
            }
        }
    }
    for k in 0..t {
        for c in 0..t {
            right[k * t + c] /= left[k * t + k];
        }
    }
    (positive && f64::is_finite(ln)).then_some(ln)
}

#[cfg(test)]
mod tests {
    use std::borrow::Cow;

    use super::super::fit;
    use super::*;

    /// Rows of a healthy unit that share three variables, numbers by a small congruence.
    fn rows(n: usize) -> Vec<Row<'static>> {
        let mut state = 5_u64;
        let mut draw = move || {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            (state >> 11) as f64 / (1u64 << 53) as f64 - 0.5
        };
        (0..n)
            .map(|_| Row::Number {
                residual: 2.0 * draw(),
                follows: Follows {
                    shared: Cow::Owned((0..3).map(|v| (v, 1.5 * draw())).collect()),
                    within: [0.0; 2],
                    alike: true,
                },
                own: 0.2 + draw().abs(),
                ln_slope: draw(),
            })
            .collect()
    }

    #[test]
    fn a_few_touched_readings_weigh_the_same_as_by_the_whole_matrix() {
        let healthy = rows(12);
        let ln_wrong = [-2.5; 12];
        let known = Shared::of(&healthy);
        for (touched, far) in [
            (vec![], 0.0),
            (vec![3], 0.7),
            (vec![0, 5, 11], 9.0),
            (vec![1, 2, 7, 8], -3.0),
        ] {
            let mut changed = healthy.clone();
            for (k, i) in touched.iter().enumerate() {
                if let Row::Number {
                    residual,
                    follows,
                    own,
                    ..
                } = &mut changed[*i]
                {
                    *residual += far;
                    follows.within = [0.3 * far, 0.1 * k as f64];
                    *own += 0.4;
                }
            }
            let quick = known
                .evidence(&changed, &ln_wrong)
                .expect("few are touched");
            let whole = fit(changed, &ln_wrong).evidence;
            assert!(
                (quick.right - whole.right).abs() < 1e-9,
                "{quick:?} {whole:?}"
            );
            assert!(
                (quick.wrong - whole.wrong).abs() < 1e-9,
                "{quick:?} {whole:?}"
            );
        }
    }

    #[test]
    fn what_is_no_number_or_follows_otherwise_is_left_to_the_whole_matrix() {
        let healthy = rows(6);
        let known = Shared::of(&healthy);
        let mut gone = healthy.clone();
        gone[2] = Row::Impossible;
        assert_eq!(known.evidence(&gone, &[-2.5; 6]), None);
        let mut other = healthy.clone();
        if let Row::Number { follows, .. } = &mut other[1] {
            follows.alike = false;
        }
        assert_eq!(known.evidence(&other, &[-2.5; 6]), None);
    }
}
