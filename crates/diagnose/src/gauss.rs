//! Small dense symmetric systems, for the covariance of a unit's readings.

/// A symmetric positive definite matrix of order `n`, as its inverse triangular factor.
#[derive(Clone, Debug)]
pub struct Factor {
    n: usize,
    /// Rows of L^-1, lower triangle, where the matrix is L L^T.
    inverse: Vec<f64>,
    /// Logarithm of the determinant.
    pub ln_determinant: f64,
}

impl Factor {
    /// Factors `matrix` (row after row); `None` if it is not positive definite.
    pub fn new(mut matrix: Vec<f64>, n: usize) -> Option<Self> {
        let mut ln_determinant = 0.0;
        for i in 0..n {
            let (done, rest) = matrix.split_at_mut(i * n);
            let row = &mut rest[..n];
            for j in 0..i {
                let above = &done[j * n..j * n + j + 1];
                let sum: f64 = row[..j].iter().zip(above).map(|(a, b)| a * b).sum();
                row[j] = (row[j] - sum) / above[j];
            }
            let square = row[i] - row[..i].iter().map(|a| a * a).sum::<f64>();
            if square.is_nan() || square <= 0.0 {
                return None;
            }
            row[i] = square.sqrt();
            ln_determinant += square.ln();
        }
        Some(Self {
            n,
            inverse: inverse(&matrix, n),
            ln_determinant,
        })
    }

    /// L^-1 v: independent residuals of unit variance.
    pub fn whiten(&self, v: &[f64]) -> Vec<f64> {
        (0..self.n)
            .map(|i| dot(&self.inverse[i * self.n..i * self.n + i + 1], v))
            .collect()
    }

    /// The inverse matrix times `v`.
    pub fn solve(&self, v: &[f64]) -> Vec<f64> {
        self.spread(&self.whiten(v))
    }

    /// Diagonal of the inverse matrix.
    pub fn precisions(&self) -> Vec<f64> {
        let mut found = vec![0.0; self.n];
        for i in 0..self.n {
            let row = &self.inverse[i * self.n..i * self.n + i + 1];
            found.iter_mut().zip(row).for_each(|(f, a)| *f += a * a);
        }
        found
    }

    /// Column `k` of the inverse matrix.
    pub fn precision_column(&self, k: usize) -> Vec<f64> {
        let w: Vec<f64> = (0..self.n)
            .map(|i| {
                if i < k {
                    0.0
                } else {
                    self.inverse[i * self.n + k]
                }
            })
            .collect();
        self.spread(&w)
    }

    /// L^-T w.
    fn spread(&self, w: &[f64]) -> Vec<f64> {
        let mut found = vec![0.0; self.n];
        for (i, &x) in w.iter().enumerate() {
            if x != 0.0 {
                let row = &self.inverse[i * self.n..i * self.n + i + 1];
                found.iter_mut().zip(row).for_each(|(f, a)| *f += a * x);
            }
        }
        found
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// Inverse of a lower triangle, lower triangle itself.
fn inverse(lower: &[f64], n: usize) -> Vec<f64> {
    let mut found = vec![0.0; n * n];
    for i in 0..n {
        let (done, rest) = found.split_at_mut(i * n);
        let row = &mut rest[..n];
        for k in 0..i {
            let a = lower[i * n + k];
            if a != 0.0 {
                let above = &done[k * n..k * n + k + 1];
                row.iter_mut().zip(above).for_each(|(r, b)| *r -= a * b);
            }
        }
        let scale = 1.0 / lower[i * n + i];
        row[..i].iter_mut().for_each(|r| *r *= scale);
        row[i] = scale;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_worked_inverse() {
        // By hand: [[4,2],[2,3]] has determinant 8 and inverse [[3,-2],[-2,4]] / 8.
        let f = Factor::new(vec![4.0, 2.0, 2.0, 3.0], 2).unwrap();
        assert!((f.ln_determinant - 8f64.ln()).abs() < 1e-12);
        let close = |a: &[f64], b: [f64; 2]| a.iter().zip(b).all(|(x, y)| (x - y).abs() < 1e-12);
        assert!(close(&f.precisions(), [0.375, 0.5]));
        assert!(close(&f.precision_column(0), [0.375, -0.25]));
        assert!(close(&f.solve(&[1.0, 1.0]), [0.125, 0.25]));
        assert!(Factor::new(vec![1.0, 2.0, 2.0, 1.0], 2).is_none());
    }
}
