//! Many reads of one store, kept apart: what each bit reads mostly, how steadily, and how sure that is.

use crate::shape::Word;
use crate::wiring::Wiring;

/// One read of a store: words by address; `None` where the file had none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Dump {
    /// Where it came from.
    pub name: String,
    /// The word at each address, from 0.
    pub words: Vec<Option<Word>>,
}

/// How the reads of one bit fell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BitVote {
    /// Reads of it.
    pub reads: u32,
    /// Reads of a one.
    pub ones: u32,
}

impl BitVote {
    /// The majority; `None` if it is a tie or was never read.
    pub fn majority(self) -> Option<bool> {
        (self.ones * 2 != self.reads).then_some(self.ones * 2 > self.reads)
    }

    /// Whether the reads disagree.
    pub fn is_unstable(self) -> bool {
        self.ones != 0 && self.ones != self.reads
    }

    /// The chance that the majority is not what the bit reads more often than not, nothing being known beforehand of
    /// how often it reads a one. `None` for a tie.
    ///
    /// Bayes and Laplace: with every chance of a one equally credible before, k ones in n reads leave a beta
    /// distribution, whose part on the wrong side of one half is a binomial sum over n + 1 fair coins.
    pub fn doubt(self) -> Option<f64> {
        let minority = if self.majority()? {
            self.reads - self.ones
        } else {
            self.ones
        };
        Some(binomial_below(self.reads + 1, minority, 0.5))
    }

    /// The span of the chance of reading a one, at the given confidence (two-sided, exact).
    ///
    /// Method: Clopper and Pearson, Biometrika 26 (1934); the bounds hold at least at the stated confidence.
    pub fn chance_of_one(self, confidence: f64) -> (f64, f64) {
        let tail = (1.0 - confidence) / 2.0;
        let solve = |wanted: &dyn Fn(f64) -> bool| {
            let (mut low, mut high) = (0.0, 1.0);
            for _ in 0..60 {
                let middle = (low + high) / 2.0;
                if wanted(middle) {
                    low = middle
                } else {
                    high = middle
                }
            }
            (low + high) / 2.0
        };
        let (n, k) = (self.reads, self.ones);
        let low = if k == 0 {
            0.0
        } else {
            solve(&|p| 1.0 - binomial_below(n, k - 1, p) < tail)
        };
        let high = if k == n {
            1.0
        } else {
            solve(&|p| binomial_below(n, k, p) > tail)
        };
        (low, high)
    }
}

/// Probability of at most `most` successes in `count` trials.
fn binomial_below(count: u32, most: u32, chance: f64) -> f64 {
    if chance <= 0.0 {
        return 1.0;
    }
    if chance >= 1.0 {
        return if most >= count { 1.0 } else { 0.0 };
    }
    let mut log_term = f64::from(count) * (1.0 - chance).ln();
    let odds = chance.ln() - (1.0 - chance).ln();
    let mut sum = 0.0;
    for k in 0..=most.min(count) {
        sum += log_term.exp();
        log_term += f64::from(count - k).ln() - f64::from(k + 1).ln() + odds;
    }
    sum.min(1.0)
}

/// The reads of a store, counted bit by bit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Votes {
    bits: u8,
    /// Reads of each word.
    pub reads: Vec<u32>,
    ones: Vec<u32>,
    /// Bits that read one in the majority of reads, by address.
    pub majority: Vec<Word>,
    /// Bits on which the reads disagree, by address.
    pub unstable: Vec<Word>,
    /// Bits on which the reads are tied, by address.
    pub tied: Vec<Word>,
}

impl Votes {
    /// Counts the reads. Words beyond the store are ignored.
    pub fn count(wiring: &Wiring, dumps: &[Dump]) -> Self {
        let bits = wiring.shape().bits;
        let width = bits as usize;
        let space = wiring.space();
        let (mut reads, mut ones) = (vec![0u32; space], vec![0u32; space * width]);
        for dump in dumps {
            for (a, word) in dump.words.iter().take(space).enumerate() {
                let Some(word) = word else { continue };
                reads[a] += 1;
                let mut left = word & wiring.shape().mask();
                while left != 0 {
                    ones[a * width + left.trailing_zeros() as usize] += 1;
                    left &= left - 1;
                }
            }
        }
        let mut votes = Self {
            bits,
            reads,
            ones,
            majority: vec![0; space],
            unstable: vec![0; space],
            tied: vec![0; space],
        };
        for a in 0..space {
            for bit in 0..bits {
                let vote = votes.bit(a as u32, bit);
                votes.unstable[a] |= Word::from(vote.is_unstable()) << bit;
                match vote.majority() {
                    Some(one) => votes.majority[a] |= Word::from(one) << bit,
                    None => votes.tied[a] |= Word::from(vote.reads > 0) << bit,
                }
            }
        }
        votes
    }

    /// How the reads of one bit fell.
    pub fn bit(&self, address: u32, bit: u8) -> BitVote {
        let at = address as usize;
        BitVote {
            reads: self.reads[at],
            ones: self.ones[at * self.bits as usize + bit as usize],
        }
    }

    /// Bits that were read and always alike, by address.
    pub fn steady(&self, address: u32) -> Word {
        let a = address as usize;
        if self.reads[a] == 0 {
            0
        } else {
            crate::shape::mask(self.bits) & !self.unstable[a]
        }
    }

    /// How many bits the reads disagree on.
    pub fn unstable_count(&self) -> u64 {
        self.unstable
            .iter()
            .map(|w| u64::from(w.count_ones()))
            .sum()
    }
}
