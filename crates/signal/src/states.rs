//! Channels sampled on the machine's own clock become words; two sequences of words are compared as sequences.

use crate::about;
use crate::capture::{Capture, Channel, Steps, Trace};
use crate::compare::walked;
use crate::edges::{Edges, step_edges, step_levels};

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

/// Why a capture gives no words: the channel that is missing, or that is of another sort than its clock.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoChannel(pub String);

/// Reads the words of a capture. The places of words are in seconds here.
///
/// Of changes at stated times the levels are 0 and 1, whatever the volts were.
pub fn words_of(capture: &Capture, how: &about::Words) -> Result<Vec<Word>, NoChannel> {
    let channel = |name: &String| {
        let found = capture.channels.iter().find(|c| c.name == *name);
        found.ok_or_else(|| NoChannel(name.clone()))
    };
    let clock = channel(&how.clock)?;
    let bits: Vec<&Channel> = how.bits.iter().map(channel).collect::<Result<_, _>>()?;
    match &clock.trace {
        Trace::Sampled { axis, samples } => {
            let lines = bits.iter().map(|c| match &c.trace {
                Trace::Sampled { samples, .. } => Ok((&samples[..], how.levels)),
                Trace::Stepped(_) => Err(NoChannel(c.name.clone())),
            });
            let lines: Vec<(&[f32], Thresholds)> = lines.collect::<Result<_, _>>()?;
            let edges = walked(samples).map_or_else(Edges::default, |w| w.2);
            let mut found = words(&edges, how.rising, how.early, &lines);
            found.iter_mut().for_each(|w| w.at = axis.time(w.at));
            Ok(found)
        }
        Trace::Stepped(clock) => {
            let lines = bits.iter().map(|c| match &c.trace {
                Trace::Stepped(steps) => Ok(steps),
                Trace::Sampled { .. } => Err(NoChannel(c.name.clone())),
            });
            let lines: Vec<&Steps> = lines.collect::<Result<_, _>>()?;
            let edges = step_levels(clock).map_or_else(Edges::default, |l| step_edges(clock, &l));
            let levels = Thresholds {
                low: 0.25,
                high: 0.75,
                negative: how.levels.negative,
            };
            let read = |at: f64| {
                let before = at - how.early * clock.tick;
                lines.iter().try_fold(0u64, |word, steps| {
                    let k = steps
                        .times
                        .partition_point(|t| *t <= before)
                        .checked_sub(1)?;
                    match levels.bit(steps.values[k]?) {
                        Bit::Zero => Some(word << 1),
                        Bit::One => Some(word << 1 | 1),
                        Bit::Between => None,
                    }
                })
            };
            let picked = (0..edges.at.len()).filter(|&i| edges.rises(i) == how.rising);
            Ok(picked
                .map(|i| Word {
                    at: edges.at[i],
                    value: read(edges.at[i]),
                })
                .collect())
        }
    }
}

/// Where two sequences that were caught at different moments begin to run alike: the first place in each, nearest to both starts, from which
/// `run` words agree and are not all one word. None if there is none within `reach` words.
pub fn together(
    a: &[Option<u64>],
    b: &[Option<u64>],
    run: usize,
    reach: usize,
) -> Option<(usize, usize)> {
    let fits = |i: usize, j: usize| {
        let (Some(x), Some(y)) = (a.get(i..i + run), b.get(j..j + run)) else {
            return false;
        };
        x == y && x.iter().all(Option::is_some) && x.iter().any(|w| *w != x[0])
    };
    (0..=2 * reach).find_map(|sum| {
        (sum.saturating_sub(reach)..=sum.min(reach))
            .map(|i| (i, sum - i))
            .find(|&(i, j)| fits(i, j))
    })
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
    fn machines_caught_at_different_moments_are_laid_together() {
        let a = some(&[7, 7, 7, 1, 2, 3, 4, 5, 6]);
        let b = some(&[9, 2, 3, 4, 5, 6, 7]);
        assert_eq!(together(&a, &b, 4, 8), Some((4, 1)));
        assert_eq!(together(&some(&[1; 9]), &some(&[1; 9]), 4, 8), None);
    }

    #[test]
    fn changes_at_stated_times_become_words() {
        let steps = |times: &[f64], values: &[f32]| {
            Trace::Stepped(Steps {
                times: times.to_vec(),
                values: values.iter().copied().map(Some).collect(),
                end: 10.0,
                tick: 0.1,
            })
        };
        let channel = |name: &str, trace| Channel {
            name: name.to_owned(),
            unit: String::new(),
            trace,
        };
        let capture = Capture {
            format: crate::Format::Vcd,
            channels: vec![
                channel(
                    "C",
                    steps(
                        &[0.0, 1.0, 2.0, 3.0, 4.0, 5.0],
                        &[0.0, 1.0, 0.0, 1.0, 0.0, 1.0],
                    ),
                ),
                channel("B1", steps(&[0.0, 2.5], &[0.0, 1.0])),
                channel("B0", steps(&[0.0, 1.0, 4.5], &[1.0, 0.0, 1.0])),
            ],
            notes: Vec::new(),
        };
        let how = about::Words {
            clock: "C".to_owned(),
            rising: true,
            bits: vec!["B1".to_owned(), "B0".to_owned()],
            levels: Thresholds {
                low: 0.8,
                high: 2.0,
                negative: false,
            },
            early: 1.0,
        };
        let values = |how: &about::Words| -> Vec<Option<u64>> {
            words_of(&capture, how)
                .expect("words")
                .iter()
                .map(|w| w.value)
                .collect()
        };
        assert_eq!(values(&how), some(&[1, 2, 3]));
        let mut missing = how;
        missing.bits.push("B9".to_owned());
        assert_eq!(
            words_of(&capture, &missing),
            Err(NoChannel("B9".to_owned()))
        );
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
