//! LU factors of a matrix with a symmetric pattern and a fixed elimination order.

use crate::elimination::elimination_order;

/// Where the entries of the matrix and of its factors stand.
///
/// Values live in one vector of [`Pattern::len`] places, row by row in elimination order; the
/// places include the fill, so that factoring needs no search.
#[derive(Clone, Debug)]
pub struct Pattern {
    n: usize,
    order: Vec<u32>,
    rank: Vec<u32>,
    row_start: Vec<u32>,
    diagonal: Vec<u32>,
    columns: Vec<u32>,
}

/// A pivot was not finite.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Singular {
    /// The unknown at which elimination stopped.
    pub unknown: u32,
}

impl Pattern {
    /// Pattern of an `n` by `n` matrix with the given off-diagonal places, and their mirror images.
    pub fn new(n: usize, pairs: &[(u32, u32)]) -> Self {
        let order = elimination_order(n, pairs);
        Self::with_order(order, pairs)
    }

    /// The same for a known elimination order, of any quality.
    pub fn with_order(order: Vec<u32>, pairs: &[(u32, u32)]) -> Self {
        let n = order.len();
        let mut rank = vec![0; n];
        for (k, &unknown) in order.iter().enumerate() {
            rank[unknown as usize] = k as u32;
        }
        let upper = fill(n, &rank, pairs);
        let mut lower = vec![Vec::<u32>::new(); n];
        for (row, columns) in upper.iter().enumerate() {
            for &column in columns {
                lower[column as usize].push(row as u32);
            }
        }
        let mut pattern = Self {
            n,
            order,
            rank,
            row_start: vec![0],
            diagonal: Vec::with_capacity(n),
            columns: Vec::new(),
        };
        for row in 0..n {
            pattern.columns.extend_from_slice(&lower[row]);
            pattern.diagonal.push(pattern.columns.len() as u32);
            pattern.columns.push(row as u32);
            pattern.columns.extend_from_slice(&upper[row]);
            pattern.row_start.push(pattern.columns.len() as u32);
        }
        pattern
    }

    /// Number of unknowns.
    pub fn unknowns(&self) -> usize {
        self.n
    }

    /// Number of places, fill included.
    pub fn len(&self) -> usize {
        self.columns.len()
    }

    /// True for a system without unknowns.
    pub fn is_empty(&self) -> bool {
        self.columns.is_empty()
    }

    /// The elimination order in use.
    pub fn order(&self) -> &[u32] {
        &self.order
    }

    /// Place of entry (`row`, `column`), or `None` where the pattern has a structural zero.
    pub fn place(&self, row: u32, column: u32) -> Option<u32> {
        let (row, column) = (self.rank[row as usize], self.rank[column as usize]);
        let start = self.row_start[row as usize] as usize;
        let end = self.row_start[row as usize + 1] as usize;
        self.columns[start..end]
            .binary_search(&column)
            .ok()
            .map(|offset| (start + offset) as u32)
    }

    fn row(&self, k: usize) -> (usize, usize, usize) {
        (
            self.row_start[k] as usize,
            self.diagonal[k] as usize,
            self.row_start[k + 1] as usize,
        )
    }
}

/// Columns right of the diagonal in each row, in elimination order, fill included.
fn fill(n: usize, rank: &[u32], pairs: &[(u32, u32)]) -> Vec<Vec<u32>> {
    let mut upper = vec![Vec::<u32>::new(); n];
    for &(a, b) in pairs {
        let (a, b) = (rank[a as usize], rank[b as usize]);
        if a != b {
            upper[a.min(b) as usize].push(a.max(b));
        }
    }
    // The pattern below a row is handed to its first neighbour, its parent in the elimination
    // tree (George and Liu, Computer Solution of Large Sparse Positive Definite Systems, 1981).
    for row in 0..n {
        let mut columns = std::mem::take(&mut upper[row]);
        columns.sort_unstable();
        columns.dedup();
        if let Some((&parent, rest)) = columns.split_first() {
            upper[parent as usize].extend_from_slice(rest);
        }
        upper[row] = columns;
    }
    upper
}

/// The numbers of a factored matrix; the pattern is handed in at each call.
#[derive(Clone, Debug, Default)]
pub struct Factors {
    values: Vec<f64>,
    inverse_pivots: Vec<f64>,
    work: Vec<f64>,
    /// The matrix that `values` were made from; empty after a failure.
    source: Vec<f64>,
    renewed: Vec<bool>,
}

/// A pivot below this fraction of its row's largest entry is not trusted: rounding in the
/// entry could be all of it. Its unknown is then held by that largest entry: nothing in the
/// matrix says where it should go, so it stays where it is for this step, and the others move.
const PIVOT_FLOOR: f64 = 1e-15;

impl Factors {
    /// Factors `matrix`, given in the places of `pattern`, in the order fixed there.
    ///
    /// Rows that are as they were at the last call, and depend on no row that is not, keep their
    /// factors; the result is the same to the last bit.
    pub fn factor(&mut self, pattern: &Pattern, matrix: &[f64]) -> Result<(), Singular> {
        let n = pattern.n;
        let first = self.source.len() != matrix.len() || self.inverse_pivots.len() != n;
        if first {
            self.values = matrix.to_vec();
            self.inverse_pivots = vec![0.0; n];
            self.work = vec![0.0; n];
        }
        self.renewed.clear();
        self.renewed.resize(n, false);
        for k in 0..n {
            let (start, diagonal, end) = pattern.row(k);
            let depends = |p: &u32| self.renewed[*p as usize];
            let kept = !first
                && matrix[start..end] == self.source[start..end]
                && !pattern.columns[start..diagonal].iter().any(depends);
            if kept {
                continue;
            }
            self.renewed[k] = true;
            if let Err(singular) = self.row(pattern, matrix, k) {
                self.source.clear();
                return Err(singular);
            }
        }
        self.source.clear();
        self.source.extend_from_slice(matrix);
        Ok(())
    }

    /// Eliminates one row by all rows before it.
    fn row(&mut self, pattern: &Pattern, matrix: &[f64], k: usize) -> Result<(), Singular> {
        let (start, diagonal, end) = pattern.row(k);
        let mut largest = 0.0_f64;
        for (&column, &value) in pattern.columns[start..end].iter().zip(&matrix[start..end]) {
            self.work[column as usize] = value;
            largest = largest.max(value.abs());
        }
        for position in start..diagonal {
            let earlier = pattern.columns[position] as usize;
            let multiplier = self.work[earlier] * self.inverse_pivots[earlier];
            self.values[position] = multiplier;
            if multiplier == 0.0 {
                continue;
            }
            let (_, other, other_end) = pattern.row(earlier);
            let range = other + 1..other_end;
            for (&column, &value) in pattern.columns[range.clone()]
                .iter()
                .zip(&self.values[range])
            {
                self.work[column as usize] -= multiplier * value;
            }
        }
        for position in diagonal..end {
            self.values[position] = self.work[pattern.columns[position] as usize];
        }
        let pivot = self.values[diagonal];
        if !pivot.is_finite() {
            return Err(Singular {
                unknown: pattern.order[k],
            });
        }
        let trusted = pivot.abs() > PIVOT_FLOOR * largest && pivot != 0.0;
        let held = if largest > 0.0 { largest } else { 1.0 };
        self.values[diagonal] = if trusted { pivot } else { held };
        self.inverse_pivots[k] = 1.0 / self.values[diagonal];
        Ok(())
    }

    /// Solves `A x = b`; `b` is replaced by `x`. `scratch` is resized as needed.
    pub fn solve(&self, pattern: &Pattern, b: &mut [f64], scratch: &mut Vec<f64>) {
        scratch.clear();
        scratch.extend(pattern.order.iter().map(|&i| b[i as usize]));
        for k in 0..pattern.n {
            let (start, diagonal, _) = pattern.row(k);
            let mut sum = scratch[k];
            for position in start..diagonal {
                sum -= self.values[position] * scratch[pattern.columns[position] as usize];
            }
            scratch[k] = sum;
        }
        for k in (0..pattern.n).rev() {
            let (_, diagonal, end) = pattern.row(k);
            let mut sum = scratch[k];
            for position in diagonal + 1..end {
                sum -= self.values[position] * scratch[pattern.columns[position] as usize];
            }
            scratch[k] = sum * self.inverse_pivots[k];
        }
        for (k, &i) in pattern.order.iter().enumerate() {
            b[i as usize] = scratch[k];
        }
    }

    /// Solves `Aᵀ y = c`; `c` is replaced by `y`. `scratch` is resized as needed.
    pub fn solve_transposed(&self, pattern: &Pattern, c: &mut [f64], scratch: &mut Vec<f64>) {
        scratch.clear();
        scratch.extend(pattern.order.iter().map(|&i| c[i as usize]));
        for k in 0..pattern.n {
            let (_, diagonal, end) = pattern.row(k);
            let value = scratch[k] * self.inverse_pivots[k];
            scratch[k] = value;
            if value == 0.0 {
                continue;
            }
            for position in diagonal + 1..end {
                scratch[pattern.columns[position] as usize] -= self.values[position] * value;
            }
        }
        for k in (0..pattern.n).rev() {
            let (start, diagonal, _) = pattern.row(k);
            let value = scratch[k];
            if value == 0.0 {
                continue;
            }
            for position in start..diagonal {
                scratch[pattern.columns[position] as usize] -= self.values[position] * value;
            }
        }
        for (k, &i) in pattern.order.iter().enumerate() {
            c[i as usize] = scratch[k];
        }
    }
}

/// How many right sides are solved together.
pub const SIDES: usize = 8;

impl Factors {
    /// Solves `A X = B` for [`SIDES`] right sides at once; `b[i]` holds row `i` of all of them and
    /// is replaced by the same row of `X`. `scratch` is resized as needed.
    pub fn solve_sides(
        &self,
        pattern: &Pattern,
        b: &mut [[f64; SIDES]],
        scratch: &mut Vec<[f64; SIDES]>,
    ) {
        scratch.clear();
        scratch.extend(pattern.order.iter().map(|&i| b[i as usize]));
        for k in 0..pattern.n {
            let (start, diagonal, _) = pattern.row(k);
            let mut sum = scratch[k];
            for position in start..diagonal {
                let other = &scratch[pattern.columns[position] as usize];
                subtract(&mut sum, self.values[position], other);
            }
            scratch[k] = sum;
        }
        for k in (0..pattern.n).rev() {
            let (_, diagonal, end) = pattern.row(k);
            let mut sum = scratch[k];
            for position in diagonal + 1..end {
                let other = &scratch[pattern.columns[position] as usize];
                subtract(&mut sum, self.values[position], other);
            }
            scratch[k] = sum.map(|s| s * self.inverse_pivots[k]);
        }
        for (k, &i) in pattern.order.iter().enumerate() {
            b[i as usize] = scratch[k];
        }
    }

    /// The same for the transposed matrix.
    pub fn solve_transposed_sides(
        &self,
        pattern: &Pattern,
        c: &mut [[f64; SIDES]],
        scratch: &mut Vec<[f64; SIDES]>,
    ) {
        scratch.clear();
        scratch.extend(pattern.order.iter().map(|&i| c[i as usize]));
        for k in 0..pattern.n {
            let (_, diagonal, end) = pattern.row(k);
            let value = scratch[k].map(|s| s * self.inverse_pivots[k]);
            scratch[k] = value;
            for position in diagonal + 1..end {
                let other = &mut scratch[pattern.columns[position] as usize];
                subtract(other, self.values[position], &value);
            }
        }
        for k in (0..pattern.n).rev() {
            let (start, diagonal, _) = pattern.row(k);
            let value = scratch[k];
            for position in start..diagonal {
                let other = &mut scratch[pattern.columns[position] as usize];
                subtract(other, self.values[position], &value);
            }
        }
        for (k, &i) in pattern.order.iter().enumerate() {
            c[i as usize] = scratch[k];
        }
    }
}

/// `sum -= factor * other`, side by side.
fn subtract(sum: &mut [f64; SIDES], factor: f64, other: &[f64; SIDES]) {
    for (s, o) in sum.iter_mut().zip(other) {
        *s -= factor * o;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Small deterministic generator for test matrices (a 64-bit linear congruence).
    fn numbers(seed: u64) -> impl FnMut() -> f64 {
        let mut state = seed;
        move || {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            (state >> 11) as f64 / (1u64 << 53) as f64
        }
    }

    /// A right side `b`, another multiple of it on each side.
    fn scaled(b: f64) -> [f64; SIDES] {
        std::array::from_fn(|side| (side as f64 - 3.0) * b)
    }

    #[test]
    fn both_solutions_satisfy_the_unfactored_matrix() {
        for seed in 0..50 {
            let mut next = numbers(seed);
            let n = 3 + (next() * 30.0) as usize;
            let pairs: Vec<(u32, u32)> = (0..2 * n)
                .map(|_| ((next() * n as f64) as u32, (next() * n as f64) as u32))
                .collect();
            let pattern = Pattern::new(n, &pairs);
            let mut matrix = vec![0.0; pattern.len()];
            let mut dense = vec![vec![0.0; n]; n];
            for (r, row) in dense.iter_mut().enumerate() {
                for (c, entry) in row.iter_mut().enumerate() {
                    if let Some(place) = pattern.place(r as u32, c as u32) {
                        let value = if r == c { 8.0 + next() } else { next() - 0.5 };
                        matrix[place as usize] = value;
                        *entry = value;
                    }
                }
            }
            let mut factors = Factors::default();
            factors.factor(&pattern, &matrix).unwrap();
            let b: Vec<f64> = (0..n).map(|_| next()).collect();
            let mut scratch = Vec::new();
            let mut x = b.clone();
            factors.solve(&pattern, &mut x, &mut scratch);
            let mut y = b.clone();
            factors.solve_transposed(&pattern, &mut y, &mut scratch);
            let mut sides: Vec<[f64; SIDES]> = b.iter().map(|b| scaled(*b)).collect();
            factors.solve_sides(&pattern, &mut sides, &mut Vec::new());
            let mut mirrored: Vec<[f64; SIDES]> = b.iter().map(|b| scaled(*b)).collect();
            factors.solve_transposed_sides(&pattern, &mut mirrored, &mut Vec::new());
            for r in 0..n {
                for side in 0..SIDES {
                    let factor = side as f64 - 3.0;
                    assert!(
                        (sides[r][side] - factor * x[r]).abs() < 1e-12,
                        "seed {seed}"
                    );
                    assert!(
                        (mirrored[r][side] - factor * y[r]).abs() < 1e-12,
                        "seed {seed}"
                    );
                }
                let ax: f64 = (0..n).map(|c| dense[r][c] * x[c]).sum();
                let aty: f64 = (0..n).map(|c| dense[c][r] * y[c]).sum();
                assert!((ax - b[r]).abs() < 1e-12, "seed {seed}");
                assert!((aty - b[r]).abs() < 1e-12, "seed {seed}");
            }
        }
    }

    #[test]
    fn factoring_again_after_small_changes_is_factoring_anew() {
        let mut next = numbers(7);
        let n = 40;
        let pairs: Vec<(u32, u32)> = (0..3 * n)
            .map(|_| ((next() * n as f64) as u32, (next() * n as f64) as u32))
            .collect();
        let pattern = Pattern::new(n, &pairs);
        let mut matrix: Vec<f64> = (0..pattern.len()).map(|_| next() - 0.5).collect();
        for i in 0..n as u32 {
            matrix[pattern.place(i, i).unwrap() as usize] += 9.0;
        }
        let mut kept = Factors::default();
        kept.factor(&pattern, &matrix).unwrap();
        for round in 0..30 {
            for _ in 0..1 + round % 4 {
                let place = (next() * matrix.len() as f64) as usize;
                matrix[place] += 0.1;
            }
            kept.factor(&pattern, &matrix).unwrap();
            let mut anew = Factors::default();
            anew.factor(&pattern, &matrix).unwrap();
            assert_eq!(kept.values, anew.values, "round {round}");
        }
    }

    #[test]
    fn an_unknown_that_nothing_places_is_held_and_the_others_are_solved() {
        // A link between two unknowns, and nothing that ties them to zero.
        let pattern = Pattern::new(3, &[(0, 1)]);
        let mut matrix = vec![0.0; pattern.len()];
        for (row, column, value) in [(0, 0, 2.0), (0, 1, -2.0), (1, 0, -2.0), (1, 1, 2.0)] {
            matrix[pattern.place(row, column).unwrap() as usize] = value;
        }
        matrix[pattern.place(2, 2).unwrap() as usize] = 4.0;
        let mut factors = Factors::default();
        factors.factor(&pattern, &matrix).unwrap();
        let mut x = vec![6.0, -6.0, 8.0];
        factors.solve(&pattern, &mut x, &mut Vec::new());
        assert!((x[0] - x[1] - 3.0).abs() < 1e-12, "{x:?}");
        assert_eq!(x[2], 2.0);
    }

    #[test]
    fn a_matrix_with_a_number_that_is_none_names_its_unknown() {
        let pattern = Pattern::new(2, &[(0, 1)]);
        let mut matrix = vec![1.0; pattern.len()];
        let mut factors = Factors::default();
        matrix[pattern.place(1, 1).unwrap() as usize] = f64::NAN;
        assert_eq!(
            factors.factor(&pattern, &matrix),
            Err(Singular { unknown: 1 })
        );
    }
}
