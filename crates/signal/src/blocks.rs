//! Least, greatest and sum of every sixty-four samples: one pass over a capture that spares most later ones.

/// Samples a block.
pub const SIZE: usize = 64;

/// Least, greatest and sum of a block of samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Block {
    /// Least sample.
    pub low: f32,
    /// Greatest sample.
    pub high: f32,
    /// Sum of the samples.
    pub sum: f32,
}

const LANES: usize = 16;

/// Sums up one block of any length from 1 to [`SIZE`].
#[inline]
pub fn block(samples: &[f32]) -> Block {
    let (mut low, mut high, mut sum) = ([f32::MAX; LANES], [f32::MIN; LANES], [0.0; LANES]);
    let chunks = samples.chunks_exact(LANES);
    let rest = chunks.remainder();
    for chunk in chunks {
        for lane in 0..LANES {
            let value = chunk[lane];
            low[lane] = if value < low[lane] { value } else { low[lane] };
            high[lane] = if value > high[lane] {
                value
            } else {
                high[lane]
            };
            sum[lane] += value;
        }
    }
    let start = Block {
        low: f32::MAX,
        high: f32::MIN,
        sum: 0.0,
    };
    let lanes = (0..LANES).fold(start, |b, i| Block {
        low: b.low.min(low[i]),
        high: b.high.max(high[i]),
        sum: b.sum + sum[i],
    });
    rest.iter().fold(lanes, |b, &v| Block {
        low: b.low.min(v),
        high: b.high.max(v),
        sum: b.sum + v,
    })
}

/// All blocks of a capture in order; the last may be short.
pub fn blocks(samples: &[f32]) -> Vec<Block> {
    samples.chunks(SIZE).map(block).collect()
}

/// Sum of a short stretch, in lanes: a plain sum would wait for each addition.
#[inline]
fn sum(samples: &[f32]) -> f64 {
    let mut lanes = [0f32; LANES];
    let chunks = samples.chunks_exact(LANES);
    let rest: f32 = chunks.remainder().iter().sum();
    for chunk in chunks {
        for lane in 0..LANES {
            lanes[lane] += chunk[lane];
        }
    }
    lanes.iter().map(|v| *v as f64).sum::<f64>() + rest as f64
}

/// Mean of the samples `from..to`, with whole blocks taken from their sums. The range must not be empty.
pub fn mean(samples: &[f32], blocks: &[Block], from: usize, to: usize) -> f64 {
    let (first, last) = (from.div_ceil(SIZE), to / SIZE);
    // of a short stretch the ends would cost more than the middle spares
    let total = if last > first + 2 {
        let inner: f64 = blocks[first..last].iter().map(|b| b.sum as f64).sum();
        sum(&samples[from..first * SIZE]) + inner + sum(&samples[last * SIZE..to])
    } else {
        sum(&samples[from..to])
    };
    total / (to - from) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn means_from_blocks_are_means_of_samples() {
        let samples: Vec<f32> = (0..1000).map(|i| ((i * 37) % 101) as f32).collect();
        let all = blocks(&samples);
        for (from, to) in [(0, 1000), (3, 5), (60, 70), (64, 128), (1, 999), (63, 193)] {
            let plain = samples[from..to].iter().sum::<f32>() as f64 / (to - from) as f64;
            assert!(
                (mean(&samples, &all, from, to) - plain).abs() < 1e-4,
                "{from}..{to}"
            );
        }
        assert_eq!(
            all.last().map(|b| (b.low, b.high)),
            Some((
                samples[960..].iter().copied().fold(f32::MAX, f32::min),
                samples[960..].iter().copied().fold(f32::MIN, f32::max)
            ))
        );
    }
}
