//! Channels sampled on the machine's own clock become words; two sequences of words are compared as sequences.

use crate::edges::Edges;

/// Logic thresholds of a family: at or beyond each of them a level is certain. In volts; the sense says which one means 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Thresholds {
    /// At or below this a line is low.
    pub low: f32,
    /// At or above this a line is high.
    pub high: f32,
    /// Negative logic: the low, or more negative, level is the 1.
    pub negative: bool,
}

/// One bit as read at a clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Bit {
    /// Logic 0.
    Zero,
    /// Logic 1.
    One,
    /// Between the thresholds.
    Between,
}

impl Thresholds {
    /// Reads one level.
    pub fn bit(&self, volts: f32) -> Bit {
        match (volts <= self.low, volts >= self.high) {
            (true, _) => {
                if self.negative {
                    Bit::One
                } else {
                    Bit::Zero
                }
            }
            (_, true) => {
                if self.negative {
                    Bit::Zero
                } else {
                    Bit::One
                }
            }
            _ => Bit::Between,
        }
    }
}

/// A word and where it was read.
#[derive(Clone, Debug, PartialEq)]
pub struct Word {
    /// Fractional sample index of the clock's transition.
    pub at: f64,
    /// Its value; none if a bit lay between the thresholds.
    pub value: Option<u64>,
}

/// Reads a word at each rising (or falling) transition of the clock, `early` samples before it; `lines` from the most significant.
pub fn words(clock: &Edges, rising: bool, early: f64, lines: &[(&[f32], Thresholds)]) -> Vec<Word> {
    let read = |at: f64| {
        let index = (at - early).round();
        lines.iter().try_fold(0u64, |word, (samples, thresholds)| {
            let volts = if index < 0.0 {
                None
            } else {
                samples.get(index as usize)
            };
            match thresholds.bit(*volts?) {
                Bit::Zero => Some(word << 1),
                Bit::One => Some(word << 1 | 1),
                Bit::Between => None,
            }
        })
    };
    let picked = (0..clock.at.len()).filter(|&i| clock.rises(i) == rising);
    picked
        .map(|i| Word {
            at: clock.at[i],
            value: read(clock.at[i]),
        })
        .collect()
}

/// A stretch where two sequences do not agree.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Divergence {
    /// Words of a that b does not have there.
    pub in_a: std::ops::Range<usize>,
    /// Words of b that a does not have there.
    pub in_b: std::ops::Range<usize>,
}

/// Words that must agree again before two sequences count as together.
const TOGETHER: usize = 4;

/// Compares two sequences that start together: stretches where they part, and whether they meet again.
///
/// After each parting the nearest place is sought, in words passed on both sides, where four words agree; without one within
/// `reach` words on either side, the last divergence runs to both ends. A word with a doubtful bit agrees with any word.
pub fn divergences(a: &[Option<u64>], b: &[Option<u64>], reach: usize) -> Vec<Divergence> {
    let agree = |i: usize, j: usize| a[i].is_none() || b[j].is_none() || a[i] == b[j];
    let (mut i, mut j) = (0, 0);
    let mut found = Vec::new();
    while i < a.len() && j < b.len() {
        if agree(i, j) {
            (i, j) = (i + 1, j + 1);
            continue;
        }
        let meets = |x: usize, y: usize| {
            let (left_a, left_b) = (a.len() - x, b.len() - y);
            let run = TOGETHER.min(left_a).min(left_b);
            run > 0 && (0..run).all(|k| agree(x + k, y + k))
        };
        let next = (1..=2 * reach).find_map(|sum| {
            (sum.saturating_sub(reach)..=sum.min(reach))
                .map(|da| (i + da, j + sum - da))
                .find(|&(x, y)| x < a.len() && y < b.len() && meets(x, y))
        });
        let (x, y) = next.unwrap_or((a.len(), b.len()));
        found.push(Divergence {
            in_a: i..x,
            in_b: j..y,
        });
        (i, j) = (x, y);
    }
    found
}

/// A run of words that repeats: where it starts, its length, and how many times it goes round.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Loop {
    /// Index of the first word.
    pub start: usize,
    /// Words once round.
    pub length: usize,
    /// Whole times round.
    pub turns: usize,
}

/// Finds the loops of a sequence, at most `longest` words round and at least three times round.
pub fn loops(words: &[Option<u64>], longest: usize) -> Vec<Loop> {
    let mut found = Vec::new();
    let mut start = 0;
    while start < words.len() {
        let best = (1..=longest.min((words.len() - start) / 3)).find_map(|length| {
            let same = (start + length..words.len())
                .take_while(|&k| words[k].is_some() && words[k] == words[k - length])
                .count();
            let turns = 1 + same / length;
            (turns >= 3).then_some(Loop {
                start,
                length,
                turns,
            })
        });
        match best {
            Some(one) => {
                start += one.length * one.turns;
                found.push(one);
            }
            None => start += 1,
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn some(words: &[u64]) -> Vec<Option<u64>> {
        words.iter().copied().map(Some).collect()
    }

    #[test]
    fn negative_logic_on_minus_twelve_volts_reads_by_its_thresholds() {
        let family = Thresholds {
            low: -9.0,
            high: -3.0,
            negative: true,
        };
        assert_eq!(
            [-12.0, -0.5, -6.0].map(|v| family.bit(v)),
            [Bit::One, Bit::Zero, Bit::Between]
        );
        let clock = Edges {
            at: vec![10.0, 15.0, 20.0, 25.0, 30.0],
            first_rises: true,
        };
        let line = |bits: [f32; 3]| -> Vec<f32> {
            (0..40)
                .map(|i| bits[((i + 3) / 10_usize).clamp(1, 3) - 1])
                .collect()
        };
        let (high, low) = (line([-12.0, 0.0, -12.0]), line([0.0, -12.0, -6.0]));
        let read = words(&clock, true, 2.0, &[(&high, family), (&low, family)]);
        assert_eq!(
            read.iter().map(|w| w.value).collect::<Vec<_>>(),
            [Some(2), Some(1), None]
        );
    }

    #[test]
    fn a_wrong_turn_is_one_divergence_and_the_sequences_meet_again() {
        let a = some(&[1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]);
        let b = some(&[1, 2, 3, 90, 91, 6, 7, 8, 9, 10, 11, 12]);
        assert_eq!(
            divergences(&a, &b, 16),
            [Divergence {
                in_a: 3..5,
                in_b: 3..5
            }]
        );
        let waits = some(&[1, 2, 3, 3, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]);
        assert_eq!(
            divergences(&a, &waits, 16),
            [Divergence {
                in_a: 3..3,
                in_b: 3..5
            }]
        );
        let lost = some(&[1, 2, 3, 50, 51, 52, 53, 54, 55]);
        assert_eq!(
            divergences(&a, &lost, 16),
            [Divergence {
                in_a: 3..12,
                in_b: 3..9
            }]
        );
        assert!(divergences(&a, &a, 16).is_empty());
    }

    #[test]
    fn a_machine_that_hangs_in_a_loop_is_seen() {
        let mut words = some(&[1, 2, 3]);
        (0..5).for_each(|_| words.extend(some(&[7, 8, 9, 8])));
        words.extend(some(&[4, 5]));
        assert_eq!(
            loops(&words, 16),
            [Loop {
                start: 3,
                length: 4,
                turns: 5
            }]
        );
    }
}
