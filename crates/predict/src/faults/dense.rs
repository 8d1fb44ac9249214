//! A small dense system of equations.

/// Gaussian elimination with row exchange; `b` becomes the solution. False if a pivot vanishes.
pub(super) fn eliminate(a: &mut [f64], b: &mut [f64], m: usize) -> bool {
    for k in 0..m {
        let mut pivot = k;
        let mut largest = a[k * m + k].abs();
        for r in k + 1..m {
            let size = a[r * m + k].abs();
            if size > largest {
                (pivot, largest) = (r, size);
            }
        }
        if largest == 0.0 || !largest.is_finite() {
            return false;
        }
        let (upper, lower) = a.split_at_mut((k + 1) * m);
        let row = &mut upper[k * m..];
        if pivot != k {
            let other = &mut lower[(pivot - k - 1) * m..][..m];
            row[k..].swap_with_slice(&mut other[k..]);
            b.swap(k, pivot);
        }
        let inverse = 1.0 / row[k];
        let tail = &row[k + 1..];
        for (r, other) in lower.chunks_exact_mut(m).enumerate() {
            let factor = other[k] * inverse;
            if factor != 0.0 {
                for (o, t) in other[k + 1..].iter_mut().zip(tail) {
                    *o -= factor * t;
                }
                b[k + 1 + r] -= factor * b[k];
            }
        }
    }
    for k in (0..m).rev() {
        let row = &a[k * m..][..m];
        let mut sum = b[k];
        for (entry, x) in row[k + 1..].iter().zip(&b[k + 1..m]) {
            sum -= entry * x;
        }
        b[k] = sum / row[k];
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_system_that_needs_its_rows_exchanged() {
        // Solution (1, 2, 3) by hand.
        let mut a = [0.0, 2.0, 1.0, 1.0, 0.0, -1.0, 4.0, 1.0, 0.0];
        let mut b = [7.0, -2.0, 6.0];
        assert!(eliminate(&mut a, &mut b, 3));
        for (found, wanted) in b.iter().zip([1.0, 2.0, 3.0]) {
            assert!((found - wanted).abs() < 1e-14, "{b:?}");
        }
    }

    #[test]
    fn a_system_without_a_solution_is_refused() {
        let mut a = [1.0, 2.0, 2.0, 4.0];
        assert!(!eliminate(&mut a, &mut [1.0, 3.0], 2));
    }
}
