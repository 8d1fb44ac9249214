//! Least, greatest and sums of every sixty-four samples: one pass over a capture that spares most later ones.

/// Samples a block.
pub const SIZE: usize = 64;

/// Quarters of a block whose sums are kept.
const QUARTERS: usize = 4;
/// Samples a quarter.
const QUARTER: usize = SIZE / QUARTERS;

/// Least, greatest and sums of a block of samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Block {
    /// Least sample.
    pub low: f32,
    /// Greatest sample.
    pub high: f32,
    /// Sums of its quarters; those beyond the end of the capture are zero.
    pub sums: [f32; QUARTERS],
}

/// Quarters of which a mean is taken without the samples; chosen so that it loses no more than a third of them.
const ENOUGH: usize = 4;

const LANES: usize = 16;

#[inline(always)]
fn lesser(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

#[inline(always)]
fn greater(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// Sums up one whole block, in lanes: the compiler makes vectors of them.
#[inline(always)]
fn whole(samples: &[f32; SIZE]) -> Block {
    let (mut low, mut high) = ([f32::MAX; LANES], [f32::MIN; LANES]);
    let mut sums = [0.0; QUARTERS];
    for (quarter, sum) in samples.chunks_exact(QUARTER).zip(&mut sums) {
        let mut fours = [0f32; 4];
        for lane in 0..LANES {
            let value = quarter[lane];
            low[lane] = lesser(value, low[lane]);
            high[lane] = greater(value, high[lane]);
        }
        for (lane, four) in fours.iter_mut().enumerate() {
            *four = (quarter[lane] + quarter[lane + 4]) + (quarter[lane + 8] + quarter[lane + 12]);
        }
        *sum = (fours[0] + fours[1]) + (fours[2] + fours[3]);
    }
    let mut width = LANES / 2;
    while width > 0 {
        for lane in 0..width {
            low[lane] = lesser(low[lane], low[lane + width]);
            high[lane] = greater(high[lane], high[lane + width]);
        }
        width /= 2;
    }
    Block {
        low: low[0],
        high: high[0],
        sums,
    }
}

/// Sums up one block of any length from 1 to [`SIZE`].
#[inline]
pub fn block(samples: &[f32]) -> Block {
    if let Ok(samples) = samples.try_into() {
        return whole(samples);
    }
    let mut found = Block {
        low: f32::MAX,
        high: f32::MIN,
        sums: [0.0; QUARTERS],
    };
    for (k, &v) in samples.iter().enumerate() {
        found.low = lesser(v, found.low);
        found.high = greater(v, found.high);
        found.sums[k / QUARTER] += v;
    }
    found
}

/// All blocks of a capture in order; the last may be short.
pub fn blocks(samples: &[f32]) -> Vec<Block> {
    let (all, rest) = samples.as_chunks::<SIZE>();
    let mut found = Vec::with_capacity(all.len() + 1);
    found.extend(all.iter().map(whole));
    if !rest.is_empty() {
        found.push(block(rest));
    }
    found
}

fn sum(samples: &[f32]) -> f32 {
    samples.iter().sum()
}

/// Mean of the samples `from..to` and how many it rests on. The range must not be empty.
///
/// Of a long stretch only whole quarters of blocks are taken, up to fifteen samples less at each end: the samples themselves are then not
/// looked at, which on a long recording is what costs.
pub fn mean(samples: &[f32], blocks: &[Block], from: usize, to: usize) -> (f64, usize) {
    let (first, last) = (from.div_ceil(QUARTER), to / QUARTER);
    if last < first + ENOUGH {
        return (
            sum(&samples[from..to]) as f64 / (to - from) as f64,
            to - from,
        );
    }
    let one = |q: usize| blocks[q / QUARTERS].sums[q % QUARTERS] as f64;
    let (b, e) = (first.div_ceil(QUARTERS), last / QUARTERS);
    let total: f64 = if e > b + 2 {
        let whole = |block: &Block| block.sums.iter().map(|s| *s as f64).sum::<f64>();
        (first..b * QUARTERS).map(one).sum::<f64>()
            + blocks[b..e].iter().map(whole).sum::<f64>()
            + (e * QUARTERS..last).map(one).sum::<f64>()
    } else {
        (first..last).map(one).sum()
    };
    let count = (last - first) * QUARTER;
    (total / count as f64, count)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn means_from_blocks_are_means_of_samples() {
        let samples: Vec<f32> = (0..1000).map(|i| ((i * 37) % 101) as f32).collect();
        let all = blocks(&samples);
        for (from, to) in [
            (0, 1000),
            (3, 5),
            (60, 70),
            (64, 128),
            (1, 999),
            (63, 193),
            (16, 992),
        ] {
            let (found, count) = mean(&samples, &all, from, to);
            let inner = if count == to - from {
                from..to
            } else {
                from.next_multiple_of(16)..to / 16 * 16
            };
            assert_eq!(inner.len(), count, "{from}..{to}");
            assert!(count * 3 >= 2 * (to - from), "{from}..{to}");
            let plain = samples[inner].iter().sum::<f32>() as f64 / count as f64;
            assert!((found - plain).abs() < 1e-4, "{from}..{to}");
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
