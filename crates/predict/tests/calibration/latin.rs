//! Units drawn as a Latin hypercube, so that a few hundred tell what thousands of plain draws would.
//!
//! Every variable takes each of as many equally likely slices as there are units exactly once
//! (McKay, Beckman and Conover, Technometrics 21, 1979). A unit by itself is a fair random unit.

use predict::random;
use rand::Rng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

/// The drawn units.
pub struct Latin {
    generator: ChaCha8Rng,
    /// One list a variable, one number a unit.
    variables: Vec<Vec<f64>>,
    deviates: Vec<f64>,
}

impl Latin {
    /// Draws `units` units of that many standard normal variables.
    pub fn new(variables: usize, units: usize, seed: u64) -> Self {
        let mut generator = random::stream(2_024, seed);
        let variables = (0..variables)
            .map(|_| column(&mut generator, units))
            .collect();
        let deviates = column(&mut generator, units);
        Self {
            generator,
            variables,
            deviates,
        }
    }

    /// How many.
    pub fn units(&self) -> usize {
        self.deviates.len()
    }

    /// The variables of a unit.
    pub fn variables(&self, unit: usize) -> Vec<f64> {
        self.variables.iter().map(|v| v[unit]).collect()
    }

    /// The meter's own deviate when it reads that unit.
    pub fn deviate(&self, unit: usize) -> f64 {
        self.deviates[unit]
    }

    /// The next reading errs anew.
    pub fn shuffle_deviates(&mut self) {
        self.deviates.shuffle(&mut self.generator);
    }
}

fn column(g: &mut ChaCha8Rng, units: usize) -> Vec<f64> {
    let mut list: Vec<f64> = (0..units)
        .map(|k| normal_quantile((k as f64 + g.random_range(0.0..1.0)) / units as f64))
        .collect();
    list.shuffle(g);
    list
}

/// The standard normal quantile of `p`, by halving.
fn normal_quantile(p: f64) -> f64 {
    let (mut low, mut high) = (-9.0, 9.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if circuit::parameter::normal_cdf(middle) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[test]
fn every_variable_is_standard_normal_and_no_two_move_together() {
    // Standard normal table: 97.5 % below 1.959964.
    assert!((normal_quantile(0.975) - 1.959_964).abs() < 1e-6);
    let latin = Latin::new(6, 400, 1);
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>() / 400.0;
    for (k, a) in latin.variables.iter().enumerate() {
        assert!((a.iter().sum::<f64>() / 400.0).abs() < 0.01);
        assert!((dot(a, a) - 1.0).abs() < 0.05);
        assert_eq!(a.iter().filter(|z| z.abs() > 1.959_964).count(), 20);
        for b in &latin.variables[k + 1..] {
            assert!(dot(a, b).abs() < 0.2);
        }
    }
}
