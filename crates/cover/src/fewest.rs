//! The least total weight of true literals in any model, and every set that reaches it.
//!
//! Core-guided search with one totaliser for each core (Andres, Kaufmann, Matheis and Schaub, ICLP 2012; Morgado, Dodaro and
//! Marques-Silva, CP 2014), so that the proof of the lower bound is a list of disjoint reasons and not one large counter.

use std::collections::HashMap;

use crate::sat::{Answer, Formula, Literal};
use crate::totaliser::Totaliser;

/// How a search for the minimum ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// No model has a smaller weight, and one has this.
    Proven(u64),
    /// No model exists at all.
    Impossible,
    /// The time was up; no model weighs less than this.
    AtLeast(u64),
}

struct Counter {
    totaliser: Totaliser,
    reached: usize,
}

/// A formula of which as little as possible should be true among some literals.
pub struct Fewest<'s> {
    /// The hard part; clauses may be added between questions.
    pub formula: Formula<'s>,
    literals: Vec<Literal>,
    /// Weight still to pay for each literal that would rather be false.
    weights: HashMap<Literal, u64>,
    counters: Vec<Counter>,
    counter_of: HashMap<Literal, usize>,
    bound: u64,
    fixed: bool,
}

impl<'s> Fewest<'s> {
    /// Prepares the search: each literal that is true costs its weight.
    pub fn new(formula: Formula<'s>, literals: &[(Literal, u64)]) -> Self {
        let mut weights = HashMap::new();
        for (literal, weight) in literals.iter().filter(|(_, w)| *w > 0) {
            *weights.entry(*literal).or_insert(0) += weight;
        }
        Self {
            formula,
            literals: literals.iter().map(|(l, _)| *l).collect(),
            weights,
            counters: Vec::new(),
            counter_of: HashMap::new(),
            bound: 0,
            fixed: false,
        }
    }

    /// Finds the least weight; each model met on the way is shown to `seen` as the indices of its true literals.
    pub fn minimum(&mut self, seen: &mut dyn FnMut(&[usize])) -> Outcome {
        // Heavy literals first, so that weighted cores are not split needlessly (stratification, Ansotegui et al., CP 2012).
        let mut level = self.weights.values().copied().max().unwrap_or(0);
        loop {
            let assumptions = self.assumptions(level);
            match self.formula.solve(&assumptions) {
                Answer::Stopped => return Outcome::AtLeast(self.bound),
                Answer::Satisfiable => {
                    seen(&self.model());
                    let next = self.weights.values().copied().filter(|w| *w < level).max();
                    match next {
                        Some(lower) => level = lower,
                        None => return Outcome::Proven(self.bound),
                    }
                }
                Answer::Unsatisfiable => {
                    let core = self.formula.conflict();
                    if core.is_empty() {
                        return Outcome::Impossible;
                    }
                    let Some(core) = self.reduced(core) else {
                        return Outcome::AtLeast(self.bound);
                    };
                    self.relax(&core);
                }
            }
        }
    }

    /// The least weight proved so far.
    pub fn bound(&self) -> u64 {
        self.bound
    }

    /// After [`Outcome::Proven`]: the next set of true literals of least weight, as ascending indices.
    ///
    /// A set once given must be blocked by the caller ([`Fewest::block`]), or it comes again.
    pub fn another(&mut self) -> Result<Option<Vec<usize>>, Stopped> {
        if !self.fixed {
            // At the minimum nothing is left to pay, so every remaining wish holds in every model wanted.
            for literal in self.assumptions(1) {
                self.formula.clause(&[literal]);
            }
            self.fixed = true;
        }
        match self.formula.solve(&[]) {
            Answer::Satisfiable => Ok(Some(self.model())),
            Answer::Unsatisfiable => Ok(None),
            Answer::Stopped => Err(Stopped),
        }
    }

    /// Forbids that all literals of `set` are true together.
    pub fn block(&mut self, set: &[usize]) {
        let clause: Vec<Literal> = set.iter().map(|i| !self.literals[*i]).collect();
        self.formula.clause(&clause);
    }

    fn model(&self) -> Vec<usize> {
        (0..self.literals.len())
            .filter(|i| self.formula.is_true(self.literals[*i]))
            .collect()
    }

    fn assumptions(&self, level: u64) -> Vec<Literal> {
        let mut assumptions: Vec<(u64, Literal)> = self
            .weights
            .iter()
            .filter(|(_, w)| **w >= level && **w > 0)
            .map(|(l, w)| (*w, !*l))
            .collect();
        assumptions.sort_unstable_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
        assumptions.into_iter().map(|(_, l)| l).collect()
    }

    /// Shrinks a core by asking again with only its own members, which often drops many.
    fn reduced(&mut self, mut core: Vec<Literal>) -> Option<Vec<Literal>> {
        for _ in 0..4 {
            core.reverse();
            match self.formula.solve(&core) {
                Answer::Unsatisfiable => {
                    let next = self.formula.conflict();
                    let done = next.len() == core.len();
                    core = next;
                    if done {
                        break;
                    }
                }
                Answer::Satisfiable => break,
                Answer::Stopped => return None,
            }
        }
        Some(core)
    }

    fn relax(&mut self, core: &[Literal]) {
        let payers: Vec<Literal> = core.iter().map(|l| !*l).collect();
        let weight = payers.iter().map(|l| self.weights[l]).min().unwrap_or(0);
        self.bound += weight;
        self.formula.clause(&payers);
        for payer in &payers {
            let left = self.weights[payer] - weight;
            if left == 0 {
                self.weights.remove(payer);
            } else {
                self.weights.insert(*payer, left);
            }
            if let Some(counter) = self.counter_of.get(payer).copied() {
                self.ask_one_more(counter, *payer, weight);
            }
        }
        if payers.len() > 1 {
            self.counters.push(Counter {
                totaliser: Totaliser::new(&payers),
                reached: 1,
            });
            self.next_output(self.counters.len() - 1, weight);
        }
    }

    fn ask_one_more(&mut self, counter: usize, paid: Literal, weight: u64) {
        let position = self.counters[counter].reached;
        let totaliser = &mut self.counters[counter].totaliser;
        let current = totaliser.at_least(&mut self.formula, position);
        if current == paid {
            self.next_output(counter, weight);
        } else {
            // A weighted output that was split pays at the output after its own.
            for count in 1..position {
                if totaliser.at_least(&mut self.formula, count) == paid {
                    let output = totaliser.at_least(&mut self.formula, count + 1);
                    *self.weights.entry(output).or_insert(0) += weight;
                    self.counter_of.insert(output, counter);
                }
            }
        }
    }

    fn next_output(&mut self, counter: usize, weight: u64) {
        let count = self.counters[counter].reached + 1;
        if count > self.counters[counter].totaliser.len() {
            return;
        }
        self.counters[counter].reached = count;
        let output = self.counters[counter]
            .totaliser
            .at_least(&mut self.formula, count);
        *self.weights.entry(output).or_insert(0) += weight;
        self.counter_of.insert(output, counter);
    }
}

/// The question of time said to stop before the answer was known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stopped;
