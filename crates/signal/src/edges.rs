//! Transitions of a two-level signal: where it crosses half-way, with hysteresis beyond the noise.

use crate::blocks::{self, Block, SIZE};
use crate::capture::Steps;
use crate::levels::Levels;

/// Transitions in order; they alternate, so only the first one's direction is kept.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Edges {
    /// Fractional sample index (of samples) or time in seconds (of steps) of each crossing.
    pub at: Vec<f64>,
    /// Whether the first transition rises; the second then falls, and so on.
    pub first_rises: bool,
}

impl Edges {
    /// Whether transition `i` rises.
    #[inline]
    pub fn rises(&self, i: usize) -> bool {
        self.first_rises ^ (i % 2 == 1)
    }
}

/// Half the hysteresis as a fraction of the amplitude: four times the noise, within limits that still see short pulses.
fn hysteresis(levels: &Levels) -> f64 {
    (4.0 * levels.noise / levels.amplitude()).clamp(0.1, 0.35)
}

/// Finds the transitions of a sampled signal; none if it has no two states.
pub fn edges(samples: &[f32], blocks: &[Block], levels: &Levels) -> Edges {
    match Walk::begin(samples, levels) {
        Some(mut walk) => {
            walk.on(samples, blocks, 0);
            walk.found
        }
        None => Edges::default(),
    }
}

/// Blocks that are summed up and walked through at once; chosen so that their samples stay in the processor's nearest memories.
const AT_ONCE: usize = 512;

/// Sums up the blocks of a capture whose states are known, and finds its transitions on the way: memory is passed through once.
pub fn blocks_and_edges(samples: &[f32], levels: &Levels) -> (Vec<Block>, Edges) {
    let Some(mut walk) = Walk::begin(samples, levels) else {
        return (blocks::blocks(samples), Edges::default());
    };
    let mut all = Vec::with_capacity(samples.len() / SIZE + 1);
    for part in samples.chunks(AT_ONCE * SIZE) {
        let first = all.len();
        all.extend(part.chunks(SIZE).map(blocks::block));
        walk.on(samples, &all, first);
    }
    (all, walk.found)
}

/// A walk along the samples from one state to the other.
struct Walk {
    middle: f32,
    low: f32,
    high: f32,
    start: usize,
    is_high: bool,
    found: Edges,
}

impl Walk {
    /// Goes to the first sample that is plainly in a state; none if there are no two states or no such sample.
    fn begin(samples: &[f32], levels: &Levels) -> Option<Walk> {
        if !levels.two_states() {
            return None;
        }
        let middle = levels.at(0.5) as f32;
        let band = hysteresis(levels);
        let (low, high) = (levels.at(0.5 - band) as f32, levels.at(0.5 + band) as f32);
        let start = samples.iter().position(|v| *v <= low || *v >= high)?;
        let is_high = samples[start] >= high;
        let mut found = Edges {
            at: Vec::new(),
            first_rises: !is_high,
        };
        // a signal that starts half-way up is on its way: the crossing itself, if recorded, is a transition
        if (samples[0] > middle) != is_high {
            found.first_rises = is_high;
            found.at.push(crossing(samples, 0, start, middle));
        }
        Some(Walk {
            middle,
            low,
            high,
            start,
            is_high,
            found,
        })
    }

    /// Goes on through the blocks from number `first`.
    fn on(&mut self, samples: &[f32], blocks: &[Block], first: usize) {
        let (low, high) = (self.low, self.high);
        for (i, block) in blocks.iter().enumerate().skip(first.max(self.start / SIZE)) {
            let stays = if self.is_high {
                block.low > low
            } else {
                block.high < high
            };
            if stays {
                continue;
            }
            let mut at = (i * SIZE).max(self.start);
            let to = (i * SIZE + SIZE).min(samples.len());
            while at < to {
                let next = if self.is_high {
                    first_at_most(&samples[at..to], low)
                } else {
                    first_at_least(&samples[at..to], high)
                };
                let Some(step) = next else { break };
                let reached = at + step;
                let left = if self.is_high {
                    samples[..reached].iter().rposition(|v| *v >= high)
                } else {
                    samples[..reached].iter().rposition(|v| *v <= low)
                };
                let place = crossing(samples, left.unwrap_or(0), reached, self.middle);
                self.found.at.push(place);
                self.is_high = !self.is_high;
                at = reached + 1;
            }
        }
    }
}

/// Place of the first sample at or below a limit. Sixteens are asked at once by their least, in lanes, which spares a branch a sample.
#[inline(always)]
fn first_at_most(samples: &[f32], limit: f32) -> Option<usize> {
    let (chunks, rest) = samples.as_chunks::<16>();
    for (k, chunk) in chunks.iter().enumerate() {
        let mut least: [f32; 8] = std::array::from_fn(|i| lesser(chunk[i], chunk[i + 8]));
        for i in 0..4 {
            least[i] = lesser(least[i], least[i + 4]);
        }
        if lesser(lesser(least[0], least[1]), lesser(least[2], least[3])) <= limit {
            return chunk.iter().position(|v| *v <= limit).map(|i| k * 16 + i);
        }
    }
    let whole = chunks.len() * 16;
    rest.iter().position(|v| *v <= limit).map(|i| whole + i)
}

/// Place of the first sample at or above a limit.
#[inline(always)]
fn first_at_least(samples: &[f32], limit: f32) -> Option<usize> {
    let (chunks, rest) = samples.as_chunks::<16>();
    for (k, chunk) in chunks.iter().enumerate() {
        let mut most: [f32; 8] = std::array::from_fn(|i| greater(chunk[i], chunk[i + 8]));
        for i in 0..4 {
            most[i] = greater(most[i], most[i + 4]);
        }
        if greater(greater(most[0], most[1]), greater(most[2], most[3])) >= limit {
            return chunk.iter().position(|v| *v >= limit).map(|i| k * 16 + i);
        }
    }
    let whole = chunks.len() * 16;
    rest.iter().position(|v| *v >= limit).map(|i| whole + i)
}

#[inline(always)]
fn lesser(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

#[inline(always)]
fn greater(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// Where the samples `from..=to` cross `level`: the mean of all crossings, which noise on a slow edge does not pull to one side.
fn crossing(samples: &[f32], from: usize, to: usize, level: f32) -> f64 {
    let (mut sum, mut count) = (0.0, 0);
    for i in from..to {
        let (a, b) = (samples[i], samples[i + 1]);
        if (a < level) != (b < level) {
            sum += i as f64 + ((level - a) / (b - a)) as f64;
            count += 1;
        }
    }
    if count == 0 {
        0.5 * (from + to) as f64
    } else {
        sum / count as f64
    }
}

/// Low and high of a stepped recording: its least and greatest value.
pub fn step_levels(steps: &Steps) -> Option<Levels> {
    let values = || steps.values.iter().flatten().map(|v| *v as f64);
    let low = values().reduce(f64::min)?;
    let high = values().reduce(f64::max)?;
    Some(Levels {
        low,
        high,
        noise: 0.0,
        uncertainty: 0.0,
    })
}

/// Finds the transitions of a stepped recording; an unknown state keeps the last known one until it ends.
pub fn step_edges(steps: &Steps, levels: &Levels) -> Edges {
    let middle = levels.at(0.5);
    let mut found = Edges::default();
    let mut state = None;
    for (time, value) in steps.times.iter().zip(&steps.values) {
        let Some(value) = value else { continue };
        let now = *value as f64 > middle;
        if let Some(before) = state
            && before != now
        {
            if found.at.is_empty() {
                found.first_rises = now;
            }
            found.at.push(*time);
        }
        state = Some(now);
    }
    if levels.amplitude() > 0.0 {
        found
    } else {
        Edges::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blocks::blocks;
    use crate::levels::levels;

    fn find(samples: &[f32]) -> Edges {
        let all = blocks(samples);
        edges(samples, &all, &levels(samples, &all).expect("levels"))
    }

    #[test]
    fn crossings_are_found_between_samples_and_across_blocks() {
        let samples: Vec<f32> = (0..640)
            .map(|i| {
                (((i as f32 - 62.3) / 4.0 + 0.5).clamp(0.0, 1.0))
                    - ((i as f32 - 300.6) / 2.0 + 0.5).clamp(0.0, 1.0)
            })
            .collect();
        let found = find(&samples);
        assert!(found.first_rises && found.at.len() == 2, "{found:?}");
        assert!(
            (found.at[0] - 62.3).abs() < 1e-4 && (found.at[1] - 300.6).abs() < 1e-4,
            "{found:?}"
        );
    }

    #[test]
    fn a_flat_line_and_bare_noise_have_no_transitions() {
        assert!(find(&[1.0; 500]).at.is_empty());
        let mut state = 1u32;
        let noise: Vec<f32> = (0..20_000)
            .map(|_| {
                (0..12)
                    .map(|_| {
                        state = state.wrapping_mul(1664525).wrapping_add(1013904223);
                        (state >> 8) as f32 / (1 << 24) as f32
                    })
                    .sum::<f32>()
                    - 6.0
            })
            .collect();
        assert!(find(&noise).at.is_empty());
    }
}
