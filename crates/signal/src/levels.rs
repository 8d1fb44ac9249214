//! The two states of a pulse train by the histogram of its values, as IEEE 181 does it, and the noise on them.
//!
//! The histogram runs from the least to the greatest value and is split half-way; the mode of each half is a state. A mode is only as
//! fine as its bin, so the state is the centre of the samples around the mode.

use crate::blocks::{self, Block, SIZE};

/// Bins from least to greatest value; chosen finer than the eight bits of most recorders.
const BINS: usize = 512;
/// Samples looked at in a long capture, in runs spread evenly over it.
const LOOK: usize = 1 << 17;
/// Samples of a half that tell its state; with fewer among those looked at, more are sought out.
const ENOUGH: usize = 1000;
/// Samples in one such run.
const STRETCH: usize = 512;

/// The states of a two-level signal and its noise, in the channel's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Levels {
    /// The low state.
    pub low: f64,
    /// The high state.
    pub high: f64,
    /// Root mean square of the noise, from differences of neighbours.
    pub noise: f64,
    /// Standard uncertainty of each state: noise over the root of the samples behind it, and half a bin where the noise is finer.
    pub uncertainty: f64,
}

impl Levels {
    /// High less low.
    pub fn amplitude(&self) -> f64 {
        self.high - self.low
    }

    /// The value at a fraction of the amplitude: 0.1, 0.5, 0.9 are the reference levels of IEEE 181.
    pub fn at(&self, fraction: f64) -> f64 {
        self.low + fraction * self.amplitude()
    }

    /// Whether there are two states at all, and not one with noise on it.
    pub fn two_states(&self) -> bool {
        // two halves of one normal distribution have their centres 1.6 noise apart
        self.amplitude() > 4.0 * self.noise && self.amplitude() > 0.0
    }
}

/// Finds the states of a capture; none if it has fewer than three samples.
pub fn levels(samples: &[f32], blocks: &[Block]) -> Option<Levels> {
    if samples.len() < 3 {
        return None;
    }
    if let Some(guess) = guess(samples).filter(|g| g.holds(blocks)) {
        return Some(guess.levels);
    }
    let (least, greatest) = extremes(blocks);
    let looked = look(samples);
    let noise = noise(&looked, (greatest - least) as f64);
    if least == greatest {
        return Some(Levels {
            low: least as f64,
            high: least as f64,
            noise: 0.0,
            uncertainty: 0.0,
        });
    }
    let (least, greatest) = without_lone_spikes(samples, blocks, least, greatest);
    let middle = 0.5 * (least + greatest);
    let flat: Vec<f32> = looked.concat();
    let low = half(samples, blocks, &flat, |v| v < middle, |b| b.low < middle);
    let high = half(
        samples,
        blocks,
        &flat,
        |v| v >= middle,
        |b| b.high >= middle,
    );
    Some(of_halves([low, high], [least, greatest], noise))
}

fn of_halves([low, high]: [Vec<f32>; 2], ends: [f32; 2], noise: f64) -> Levels {
    let bin = (ends[1] - ends[0]) as f64 / BINS as f64;
    let (low, n_low) = state(low, bin, noise).unwrap_or((ends[0] as f64, 1));
    let (high, n_high) = state(high, bin, noise).unwrap_or((ends[1] as f64, 1));
    let finest = if noise < bin {
        0.5 * bin / 3f64.sqrt()
    } else {
        0.0
    };
    Levels {
        low,
        high,
        noise,
        uncertainty: (noise / (n_low.min(n_high) as f64).sqrt()).max(finest),
    }
}

fn extremes(blocks: &[Block]) -> (f32, f32) {
    blocks.iter().fold((f32::MAX, f32::MIN), |(l, h), b| {
        (l.min(b.low), h.max(b.high))
    })
}

/// The states of a long capture by the samples that are looked at alone, before anything is known of the rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guess {
    /// The states.
    pub levels: Levels,
    /// Least and greatest sample that was looked at.
    ends: [f32; 2],
}

impl Guess {
    /// Whether the rest of the capture, of which these are the blocks, holds nothing beyond what was looked at but noise.
    pub fn holds(&self, blocks: &[Block]) -> bool {
        let room = (6.0 * self.levels.noise) as f32 + 1e-5 * (self.ends[1] - self.ends[0]);
        let (least, greatest) = extremes(blocks);
        least >= self.ends[0] - room && greatest <= self.ends[1] + room
    }
}

/// Guesses the states of a long capture; none if it is short, flat, or has a state so rare that it must be sought out.
pub fn guess(samples: &[f32]) -> Option<Guess> {
    if samples.len() <= LOOK {
        return None;
    }
    let looked = look(samples);
    let flat: Vec<f32> = looked.concat();
    let (least, greatest) = extremes(&blocks::blocks(&flat));
    if least == greatest {
        return None;
    }
    let noise = noise(&looked, (greatest - least) as f64);
    let middle = 0.5 * (least + greatest);
    let halves = [true, false].map(|low| -> Vec<f32> {
        let own = flat.iter().copied().filter(|v| (*v < middle) == low);
        own.collect()
    });
    if halves.iter().any(|h| h.len() < ENOUGH) {
        return None;
    }
    Some(Guess {
        levels: of_halves(halves, [least, greatest], noise),
        ends: [least, greatest],
    })
}

fn look(samples: &[f32]) -> Vec<&[f32]> {
    if samples.len() <= LOOK {
        return vec![samples];
    }
    let runs = LOOK / STRETCH;
    let pitch = (samples.len() - STRETCH) as f64 / (runs - 1) as f64;
    (0..runs)
        .map(|i| (i as f64 * pitch) as usize)
        .map(|from| &samples[from..from + STRETCH])
        .collect()
}

/// Noise from second differences, by their lower third: edges may fill up to two thirds of the record.
fn noise(runs: &[&[f32]], range: f64) -> f64 {
    let pick = runs
        .iter()
        .map(|r| r.len())
        .sum::<usize>()
        .div_ceil(1 << 15)
        .max(1);
    let mut differences: Vec<f32> = runs
        .iter()
        .flat_map(|run| run.windows(3).step_by(pick))
        .map(|w| (w[0] - 2.0 * w[1] + w[2]).abs())
        .collect();
    if differences.is_empty() {
        return 0.0;
    }
    let third = differences.len() / 3;
    let (_, value, _) = differences.select_nth_unstable_by(third, f32::total_cmp);
    // a third of a normal distribution lies within 0.4307 of its deviation; second differences have sqrt 6 times the noise's
    let noise = *value as f64 / 0.4307 / 6f64.sqrt();
    if noise < 1e-6 * range { 0.0 } else { noise }
}

/// A single sample far from all others is a disturbance, not a state.
fn without_lone_spikes(
    samples: &[f32],
    blocks: &[Block],
    mut least: f32,
    mut greatest: f32,
) -> (f32, f32) {
    for _ in 0..4 {
        if samples.len() < 64 {
            break;
        }
        let middle = 0.5 * (least + greatest);
        let count = |past: &dyn Fn(f32) -> bool, block_past: &dyn Fn(&Block) -> bool| {
            let mut count = 0;
            for (i, _) in blocks.iter().enumerate().filter(|(_, b)| block_past(b)) {
                count += samples[i * SIZE..]
                    .iter()
                    .take(SIZE)
                    .filter(|v| past(**v))
                    .count();
                if count > 1 {
                    break;
                }
            }
            count
        };
        let rest = |past: &dyn Fn(f32) -> bool| {
            samples
                .iter()
                .copied()
                .filter(|v| !past(*v))
                .fold((f32::MAX, f32::MIN), |(l, h), v| (l.min(v), h.max(v)))
        };
        if count(&|v| v >= middle, &|b| b.high >= middle) == 1 {
            greatest = rest(&|v| v >= middle).1;
        } else if count(&|v| v < middle, &|b| b.low < middle) == 1 {
            least = rest(&|v| v < middle).0;
        } else {
            break;
        }
        if least >= greatest {
            return (least.min(greatest), least.max(greatest));
        }
    }
    (least, greatest)
}

/// Samples of one half, from those looked at; rare pulses are sought out by their blocks.
fn half(
    samples: &[f32],
    blocks: &[Block],
    looked: &[f32],
    belongs: impl Fn(f32) -> bool,
    may: impl Fn(&Block) -> bool,
) -> Vec<f32> {
    let found: Vec<f32> = looked.iter().copied().filter(|v| belongs(*v)).collect();
    if found.len() >= ENOUGH || looked.len() == samples.len() {
        return found;
    }
    let rare: Vec<usize> = (0..blocks.len()).filter(|&i| may(&blocks[i])).collect();
    let pick = rare.len().div_ceil(4096).max(1);
    rare.iter()
        .step_by(pick)
        .flat_map(|&i| samples[i * SIZE..].iter().take(SIZE))
        .copied()
        .filter(|v| belongs(*v))
        .collect()
}

/// Mode of a half, refined to the centre of the samples around it; and how many those were.
fn state(mut values: Vec<f32>, bin: f64, noise: f64) -> Option<(f64, usize)> {
    let least = values.iter().copied().fold(f32::MAX, f32::min) as f64;
    if values.is_empty() {
        return None;
    }
    let mut counts = vec![0u32; BINS + 4];
    for value in &values {
        counts[((*value as f64 - least) / bin) as usize % (BINS + 2) + 1] += 1;
    }
    let spread = ((1.5 * noise / bin) as usize).clamp(1, BINS / 8);
    let near = |i: usize| {
        counts[i.saturating_sub(spread)..(i + spread + 1).min(counts.len())]
            .iter()
            .sum::<u32>()
    };
    let best = (1..=BINS).max_by_key(|&i| (near(i), counts[i]))?;
    let mut centre = least + (best as f64 - 0.5) * bin;
    let reach = (2.5 * noise).max(1.5 * bin);
    if noise < bin {
        values.retain(|v| (*v as f64 - centre).abs() <= reach);
        let middle = values.len() / 2;
        let n = values.len();
        return (n > 0).then(|| {
            (
                *values.select_nth_unstable_by(middle, f32::total_cmp).1 as f64,
                n,
            )
        });
    }
    let mut n = 0;
    for _ in 0..4 {
        let (sum, count) = values
            .iter()
            .filter(|v| (**v as f64 - centre).abs() <= reach)
            .fold((0.0, 0), |(s, n), v| (s + *v as f64, n + 1));
        if count == 0 {
            break;
        }
        (centre, n) = (sum / count as f64, count);
    }
    Some((centre, n.max(1)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blocks::blocks;

    /// Reference levels of the clock example in a numerical package's public documentation of its IEEE 181 functions:
    /// states 0.0138 V and 5.1848 V give 10 % at 0.5309 V and 90 % at 4.6677 V.
    #[test]
    fn reference_levels_of_the_published_clock_example() {
        let levels = Levels {
            low: 0.0138,
            high: 5.1848,
            noise: 0.0,
            uncertainty: 0.0,
        };
        assert!((levels.at(0.1) - 0.5309).abs() < 5e-5);
        assert!((levels.at(0.9) - 4.6677).abs() < 5e-5);
        assert!((levels.at(0.5) - 2.5993).abs() < 5e-5);
    }

    #[test]
    fn a_rare_pulse_in_a_long_record_has_its_level() {
        let mut samples = vec![0.25f32; 2_000_000];
        samples[1_234_567..1_234_567 + 30].fill(4.75);
        let found = levels(&samples, &blocks(&samples)).expect("levels");
        assert_eq!((found.low, found.high), (0.25, 4.75));
        assert!(found.two_states());
    }

    #[test]
    fn one_wild_sample_is_not_a_state() {
        let mut samples: Vec<f32> = (0..4000)
            .map(|i| if (i / 20) % 2 == 0 { -12.0 } else { 0.0 })
            .collect();
        samples[777] = 90.0;
        let found = levels(&samples, &blocks(&samples)).expect("levels");
        assert_eq!((found.low, found.high), (-12.0, 0.0));
    }
}
