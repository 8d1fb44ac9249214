//! Reproducible random units: the same seed gives the same parts on every machine.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A stream of random numbers that depends on nothing but `seed` and `stream`.
pub fn stream(seed: u64, stream: u64) -> ChaCha8Rng {
    let mut generator = ChaCha8Rng::seed_from_u64(seed);
    generator.set_stream(stream);
    generator
}

/// `count` independent standard normal numbers.
pub fn normals(generator: &mut ChaCha8Rng, count: usize) -> Vec<f64> {
    (0..count).map(|_| normal(generator)).collect()
}

/// One standard normal number.
pub fn normal(generator: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(generator)
}
