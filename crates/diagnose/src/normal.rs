//! The normal distribution: its function, its density, its tails and their logarithms.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// Probability below `x`.
pub fn below(x: f64) -> f64 {
    0.5 * libm::erfc(-x * FRAC_1_SQRT_2)
}

/// Density at `x`.
pub fn density(x: f64) -> f64 {
    (-0.5 * x * x).exp() / (2.0 * PI).sqrt()
}

/// Natural logarithm of the density at `x` of a normal with variance `variance` about zero.
pub fn ln_density(x: f64, variance: f64) -> f64 {
    -0.5 * (x * x / variance + variance.ln() + (2.0 * PI).ln())
}

/// Density over tail probability above `x` (the inverse Mills ratio), for truncated moments.
pub fn hazard(x: f64) -> f64 {
    if x < 25.0 {
        density(x) / below(-x)
    } else {
        // Abramowitz and Stegun 26.2.12, to first order: beyond 25 the next term is 1e-6.
        x + 1.0 / x
    }
}

/// The value below which a share `p` lies, between -9 and 9.
pub fn quantile(p: f64) -> f64 {
    let (mut low, mut high) = (-9.0, 9.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if below(middle) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Logarithm of the sum of exponentials; of none, minus infinity.
pub fn ln_sum(terms: impl Iterator<Item = f64> + Clone) -> f64 {
    let largest = terms.clone().fold(f64::NEG_INFINITY, f64::max);
    if largest == f64::NEG_INFINITY {
        return largest;
    }
    largest + terms.map(|t| (t - largest).exp()).sum::<f64>().ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tabulated_values() {
        // Standard normal table (Abramowitz and Stegun, table 26.1 and 26.5).
        assert!((below(1.959_964) - 0.975).abs() < 1e-7);
        assert!((density(1.0) - 0.241_970_725).abs() < 1e-9);
        assert!((quantile(0.999) - 3.090_232).abs() < 1e-6);
        assert!((hazard(0.0) - 0.797_884_561).abs() < 1e-8);
        assert!((hazard(25.0) / hazard(24.999_999) - 1.0).abs() < 1e-5);
    }

    #[test]
    fn a_sum_of_small_exponentials_does_not_underflow() {
        let terms = [-1000.0, -1000.0];
        assert!((ln_sum(terms.into_iter()) + 1000.0 - 2f64.ln()).abs() < 1e-12);
        assert_eq!(ln_sum(std::iter::empty()), f64::NEG_INFINITY);
    }
}
