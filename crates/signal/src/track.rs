//! Follows one train of transitions along another from a first guess, learning offset and rate as it goes.

use crate::align::{Seed, Train};

/// One transition of a and the one of b that it was laid on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pair {
    /// Index in a.
    pub a: u32,
    /// Index in b.
    pub b: u32,
}

/// Pairs after which the filter's memory stops growing.
const MEMORY: f64 = 96.0;

/// Follows forwards and backwards from the seed; none if it leads nowhere within a few dozen transitions.
pub(crate) fn follow(a: &Train, b: &Train, seed: &Seed) -> Option<Vec<Pair>> {
    let start = a.times.partition_point(|t| *t < seed.at);
    let mut forward = Walk::new(a, b, seed, true);
    let ahead = forward.run(start..a.times.len());
    let mut backward = Walk::new(a, b, seed, false);
    // what was learned on the way out holds on the way back
    if forward.learned > 20.0 {
        (backward.shift, backward.rate, backward.scatter) = (
            seed.shift,
            forward.first_rate,
            forward.scatter.max(backward.floor),
        );
        backward.learned = 8.0;
    }
    let mut pairs = backward.run((0..start).rev());
    if forward.lost && backward.lost {
        return None;
    }
    pairs.reverse();
    pairs.extend(ahead);
    pairs.dedup_by_key(|p| p.b);
    Some(pairs)
}

struct Walk<'a> {
    a: &'a Train,
    b: &'a Train,
    forward: bool,
    /// Expected shift at `at`, its slope, and the mean square miss.
    shift: f64,
    rate: f64,
    scatter: f64,
    at: f64,
    learned: f64,
    floor: f64,
    step: f64,
    first_rate: f64,
    lost: bool,
}

impl<'a> Walk<'a> {
    fn new(a: &'a Train, b: &'a Train, seed: &Seed, forward: bool) -> Walk<'a> {
        let unit = a.unit.max(b.unit);
        let floor = (0.5 * unit).max(a.jitter.hypot(b.jitter));
        let step = (a.times[a.times.len() - 1] - a.times[0]) / (a.times.len() - 1) as f64;
        Walk {
            a,
            b,
            forward,
            shift: seed.shift,
            rate: 0.0,
            // the crowd that made the seed was this wide
            scatter: 2.0 * floor + 1e-4 * step * 512f64.min(a.times.len() as f64),
            at: seed.at,
            learned: 0.0,
            floor,
            step,
            first_rate: 0.0,
            lost: false,
        }
    }

    fn run(&mut self, order: impl Iterator<Item = usize>) -> Vec<Pair> {
        let (a, b) = (self.a, self.b);
        let mut pairs: Vec<Pair> = Vec::new();
        let mut near = b.times.partition_point(|t| *t < self.at + self.shift);
        let mut seen = 0;
        for i in order {
            let t = a.times[i];
            let expected = t + self.shift + self.rate * (t - self.at);
            if expected < b.span.0 - self.step || expected > b.span.1 + self.step {
                if seen > 0 {
                    break;
                }
                continue;
            }
            seen += 1;
            let gate = (6.0 * self.scatter).min(0.45 * self.room(i));
            if self.forward {
                while near < b.times.len() && b.times[near] < expected - gate {
                    near += 1;
                }
            } else {
                while near > 0 && b.times[near - 1] >= expected - gate {
                    near -= 1;
                }
            }
            let mut best: Option<(f64, usize)> = None;
            let mut j = near;
            while j < b.times.len() && b.times[j] <= expected + gate {
                let miss = b.times[j] - expected;
                if b.rises(j) == a.rises(i)
                    && best.is_none_or(|(least, _)| miss.abs() < least.abs())
                {
                    best = Some((miss, j));
                }
                j += 1;
            }
            if let Some((miss, j)) = best {
                self.learn(t, expected, miss);
                pairs.push(Pair {
                    a: i as u32,
                    b: j as u32,
                });
            }
            if seen == 64 && pairs.len() < 26 {
                self.lost = true;
                break;
            }
        }
        self.lost |= pairs.len() * 3 < seen;
        pairs
    }

    /// Distance to the nearest transition of the same direction, which must not be taken for this one.
    fn room(&self, i: usize) -> f64 {
        let t = &self.a.times;
        let before = if i >= 2 { t[i] - t[i - 2] } else { f64::MAX };
        let after = if i + 2 < t.len() {
            t[i + 2] - t[i]
        } else {
            f64::MAX
        };
        before.min(after)
    }

    /// Growing-memory filter of first order (Morrison's expanding-memory polynomial), held at [`MEMORY`] pairs.
    fn learn(&mut self, t: f64, expected: f64, miss: f64) {
        self.learned += 1.0;
        let k = self.learned.min(MEMORY) + 1.0;
        let (g, h) = (
            2.0 * (2.0 * k - 1.0) / (k * (k + 1.0)),
            6.0 / (k * (k + 1.0)),
        );
        self.shift = expected - t + g.min(1.0) * miss;
        let way = if self.forward { self.step } else { -self.step };
        if self.learned > 1.0 {
            self.rate += h * miss / way;
        }
        self.at = t;
        let fade = (1.0 / k).max(0.02);
        self.scatter = ((1.0 - fade) * self.scatter.powi(2) + fade * miss * miss)
            .sqrt()
            .clamp(self.floor, 6.0 * self.floor);
        if self.learned == 64.0 {
            self.first_rate = self.rate;
        }
    }
}
