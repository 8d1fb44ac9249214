//! Transitions of a two-level signal: where it crosses half-way, with hysteresis beyond the noise.

use crate::blocks::{Block, SIZE};
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
    if !levels.two_states() {
        return Edges::default();
    }
    let middle = levels.at(0.5) as f32;
    let band = hysteresis(levels);
    let (low, high) = (levels.at(0.5 - band) as f32, levels.at(0.5 + band) as f32);
    let Some(start) = samples.iter().position(|v| *v <= low || *v >= high) else {
        return Edges::default();
    };
    let mut state = samples[start] >= high;
    let mut found = Edges {
        at: Vec::new(),
        first_rises: !state,
    };
    // a signal that starts half-way up is on its way: the crossing itself, if recorded, is a transition
    let begun = samples[0] > middle;
    if begun != state {
        found.first_rises = state;
        found.at.push(crossing(samples, 0, start, middle));
    }
    for (i, block) in blocks.iter().enumerate().skip(start / SIZE) {
        if if state {
            block.low > low
        } else {
            block.high < high
        } {
            continue;
        }
        let from = (i * SIZE).max(start);
        let to = (i * SIZE + SIZE).min(samples.len());
        let mut at = from;
        while at < to {
            let next = if state {
                first(&samples[at..to], |v| v <= low)
            } else {
                first(&samples[at..to], |v| v >= high)
            };
            let Some(step) = next else { break };
            let reached = at + step;
            let left = if state {
                samples[..reached].iter().rposition(|v| *v >= high)
            } else {
                samples[..reached].iter().rposition(|v| *v <= low)
            };
            found
                .at
                .push(crossing(samples, left.unwrap_or(0), reached, middle));
            state = !state;
            at = reached + 1;
        }
    }
    found
}

/// Place of the first sample that passes; eights are asked at once, which spares a branch a sample.
#[inline(always)]
fn first(samples: &[f32], passes: impl Fn(f32) -> bool) -> Option<usize> {
    const LANES: usize = 8;
    let chunks = samples.chunks_exact(LANES);
    let rest = chunks.remainder();
    for (k, chunk) in chunks.enumerate() {
        let any = chunk.iter().fold(false, |any, v| any | passes(*v));
        if any {
            return chunk.iter().position(|v| passes(*v)).map(|i| k * LANES + i);
        }
    }
    let whole = samples.len() - rest.len();
    rest.iter().position(|v| passes(*v)).map(|i| whole + i)
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
