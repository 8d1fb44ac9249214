//! The difference network with only the tops of cones able to turn: the smaller problem that is searched.

use crate::cone::Cones;
use crate::difference::{Difference, Rule, Rules, Term};
use crate::simulate::{LANES, Word};

/// Nodes that may turn, or that depend on one that may.
#[derive(Clone, Debug)]
pub(crate) struct Core {
    pub(crate) rules: Rules,
    /// For each node the node of the difference network behind it.
    pub(crate) origin: Vec<u32>,
    /// Whether the node may turn.
    pub(crate) turns: Vec<bool>,
    /// Observed nodes and whether they differ from the level were all well.
    pub(crate) wanted: Vec<(usize, bool)>,
    /// For each node the observed nodes that it can change, a bit each.
    reach: Vec<u64>,
    stride: usize,
}

impl Core {
    pub(crate) fn of(difference: &Difference, cones: &Cones) -> Self {
        let count = difference.rules.len();
        let still = u32::MAX;
        let mut place = vec![still; count];
        let mut rules = Rules::default();
        let (mut origin, mut turns) = (Vec::new(), Vec::new());
        let mut terms: Vec<Term> = Vec::new();
        for node in 0..count {
            let may_turn = cones.top[node] as usize == node;
            let rule = difference.rules.rule(node);
            terms.clear();
            let mut impossible = false;
            for term in difference.rules.terms(node) {
                match place[term.node()] {
                    now if now != still => terms.push(Term::new(now as usize, term.negated())),
                    _ => impossible |= rule == Rule::All && !term.negated(),
                }
            }
            if impossible {
                terms.clear();
            }
            match terms.as_slice() {
                [] if !may_turn => continue,
                [one] if !may_turn && !one.negated() => {
                    place[node] = one.node() as u32;
                    continue;
                }
                _ => {}
            }
            place[node] = rules.len() as u32;
            rules.push(rule, &terms);
            origin.push(node as u32);
            turns.push(may_turn);
        }
        let wanted: Vec<(usize, bool)> = difference
            .wanted
            .iter()
            .map(|(node, differs)| (place[*node] as usize, *differs))
            .collect();
        let stride = wanted.len().div_ceil(64).max(1);
        let reach = reach_of(&rules, &wanted, stride);
        Self {
            rules,
            origin,
            turns,
            wanted,
            reach,
            stride,
        }
    }

    /// The observed nodes that a node can change, a bit each.
    pub(crate) fn reach(&self, node: usize) -> &[u64] {
        &self.reach[node * self.stride..(node + 1) * self.stride]
    }

    /// Whether a node can change all of these observed nodes.
    pub(crate) fn reaches_all(&self, node: usize, wrong: &[u64]) -> bool {
        self.reach(node).iter().zip(wrong).all(|(r, w)| w & !r == 0)
    }

    /// Number of words in a set of observed nodes.
    pub(crate) fn stride(&self) -> usize {
        self.stride
    }

    /// Observed nodes that are wrong while nothing turns.
    pub(crate) fn wrong(&self) -> Vec<u64> {
        let mut wrong = vec![0; self.stride];
        for (index, _) in self
            .wanted
            .iter()
            .enumerate()
            .filter(|(_, (_, differs))| *differs)
        {
            wrong[index / 64] |= 1 << (index % 64);
        }
        wrong
    }

    /// Nodes that may turn.
    pub(crate) fn tops(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.turns.len()).filter(|n| self.turns[*n])
    }
}

fn reach_of(rules: &Rules, wanted: &[(usize, bool)], stride: usize) -> Vec<u64> {
    let mut reach = vec![0; rules.len() * stride];
    for (index, (node, _)) in wanted.iter().enumerate() {
        reach[node * stride + index / 64] |= 1 << (index % 64);
    }
    for node in (0..rules.len()).rev() {
        for term in rules.terms(node) {
            for word in 0..stride {
                reach[term.node() * stride + word] |= reach[node * stride + word];
            }
        }
    }
    reach
}

/// Tries sets of turned nodes, as many at once as a [`Word`] has bits.
#[derive(Debug)]
pub(crate) struct Trial<'c> {
    core: &'c Core,
    values: Vec<Word>,
    turned: Vec<Word>,
    touched: Vec<u32>,
    cases: usize,
}

impl<'c> Trial<'c> {
    pub(crate) fn new(core: &'c Core) -> Self {
        let zero = [0; LANES / 64];
        Self {
            core,
            values: vec![zero; core.rules.len()],
            turned: vec![zero; core.rules.len()],
            touched: Vec::new(),
            cases: 0,
        }
    }

    /// Adds a set to be tried; returns true when no more fit.
    pub(crate) fn add(&mut self, set: impl IntoIterator<Item = usize>) -> bool {
        for node in set {
            if self.turned[node] == [0; LANES / 64] {
                self.touched.push(node as u32);
            }
            self.turned[node][self.cases / 64] ^= 1 << (self.cases % 64);
        }
        self.cases += 1;
        self.cases == LANES
    }

    /// Number of sets waiting.
    pub(crate) fn waiting(&self) -> usize {
        self.cases
    }

    /// Works out all waiting sets and forgets them; a bit for each set that explains everything seen.
    pub(crate) fn run(&mut self) -> Word {
        for node in 0..self.core.rules.len() {
            let mut value = self.core.rules.value(node, &self.values);
            for (out, turned) in value.iter_mut().zip(self.turned[node]) {
                *out ^= turned;
            }
            self.values[node] = value;
        }
        for node in self.touched.drain(..) {
            self.turned[node as usize] = [0; LANES / 64];
        }
        let mut wrong: Word = [0; LANES / 64];
        for (node, differs) in &self.core.wanted {
            let want = if *differs { !0 } else { 0 };
            (0..wrong.len()).for_each(|i| wrong[i] |= self.values[*node][i] ^ want);
        }
        let cases = std::mem::take(&mut self.cases);
        let mut right = wrong.map(|w| !w);
        for (index, word) in right.iter_mut().enumerate() {
            let here = cases.saturating_sub(index * 64).min(64);
            *word &= if here == 64 { !0 } else { (1 << here) - 1 };
        }
        right
    }

    /// The observed nodes that were wrong in a case of the last run.
    pub(crate) fn wrong_in(&self, case: usize) -> Vec<u64> {
        let mut wrong = vec![0; self.core.stride()];
        for (index, (node, differs)) in self.core.wanted.iter().enumerate() {
            let value = self.values[*node][case / 64] >> (case % 64) & 1 == 1;
            if value != *differs {
                wrong[index / 64] |= 1 << (index % 64);
            }
        }
        wrong
    }
}

/// The positions of the bits that are set.
pub(crate) fn bits(words: &[u64]) -> impl Iterator<Item = usize> + '_ {
    words.iter().enumerate().flat_map(|(index, word)| {
        let mut left = *word;
        std::iter::from_fn(move || {
            (left != 0).then(|| {
                let bit = left.trailing_zeros() as usize;
                left &= left - 1;
                index * 64 + bit
            })
        })
    })
}
