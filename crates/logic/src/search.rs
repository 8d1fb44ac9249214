//! All smallest sets of turned nodes of a core: one and two by trying them, more by satisfiability.

use std::collections::HashSet;

use cover::{Fewest, Formula, Literal, Outcome};

use crate::core::{Core, Trial, bits};
use crate::difference::Rule;

/// Smallest sets of core nodes.
#[derive(Clone, Debug, Default)]
pub(crate) struct TopSets {
    /// Sets of equal size, each ascending.
    pub(crate) sets: Vec<Vec<u32>>,
    /// No smaller set exists.
    pub(crate) smallest: bool,
    /// No other set of that size exists.
    pub(crate) complete: bool,
}

/// Sets of at most two nodes, by trying; none if there are none.
pub(crate) fn by_trying(core: &Core) -> Option<TopSets> {
    let wrong = core.wrong();
    if wrong.iter().all(|w| *w == 0) {
        return Some(TopSets {
            sets: vec![Vec::new()],
            smallest: true,
            complete: true,
        });
    }
    let singles = singles(core, &wrong);
    let sets = if singles.is_empty() {
        pairs(core, &wrong)
    } else {
        singles
    };
    (!sets.is_empty()).then_some(TopSets {
        sets,
        smallest: true,
        complete: true,
    })
}

fn singles(core: &Core, wrong: &[u64]) -> Vec<Vec<u32>> {
    let mut trying = Trying::new(core);
    for node in core.tops().filter(|n| core.reaches_all(*n, wrong)) {
        trying.add(vec![node as u32]);
    }
    trying.finish()
}

fn pairs(core: &Core, wrong: &[u64]) -> Vec<Vec<u32>> {
    let Some(firsts) = narrowest(core, wrong) else {
        return Vec::new();
    };
    let mut rank = vec![usize::MAX; core.rules.len()];
    firsts.iter().enumerate().for_each(|(i, n)| rank[*n] = i);
    let tops: Vec<usize> = core.tops().collect();
    let mut trial = Trial::new(core);
    let mut trying = Trying::new(core);
    for chunk in firsts.chunks(crate::simulate::LANES) {
        chunk.iter().for_each(|n| {
            trial.add([*n]);
        });
        trial.run();
        for (case, first) in chunk.iter().enumerate() {
            let left = trial.wrong_in(case);
            // A second from among the earlier firsts was tried with the roles exchanged.
            for second in tops
                .iter()
                .filter(|s| rank[**s] == usize::MAX || rank[**s] > rank[*first])
            {
                if core.reaches_all(*second, &left) {
                    let mut set = vec![*first as u32, *second as u32];
                    set.sort_unstable();
                    trying.add(set);
                }
            }
        }
    }
    trying.finish()
}

/// The nodes that can change the wrong output which fewest can change: every explanation holds one of them.
fn narrowest(core: &Core, wrong: &[u64]) -> Option<Vec<usize>> {
    bits(wrong)
        .map(|output| {
            core.tops()
                .filter(|n| core.reach(*n)[output / 64] >> (output % 64) & 1 == 1)
                .collect::<Vec<_>>()
        })
        .min_by_key(Vec::len)
}

/// Sets waiting to be tried, and those that explained what was seen.
struct Trying<'c> {
    trial: Trial<'c>,
    waiting: Vec<Vec<u32>>,
    good: Vec<Vec<u32>>,
}

impl<'c> Trying<'c> {
    fn new(core: &'c Core) -> Self {
        Self {
            trial: Trial::new(core),
            waiting: Vec::new(),
            good: Vec::new(),
        }
    }

    fn add(&mut self, set: Vec<u32>) {
        let full = self.trial.add(set.iter().map(|n| *n as usize));
        self.waiting.push(set);
        if full {
            self.flush();
        }
    }

    fn flush(&mut self) {
        let good = self.trial.run();
        self.good
            .extend(bits(&good).map(|case| std::mem::take(&mut self.waiting[case])));
        self.waiting.clear();
    }

    fn finish(mut self) -> Vec<Vec<u32>> {
        if self.trial.waiting() > 0 {
            self.flush();
        }
        self.good
    }
}

/// All smallest sets by satisfiability, any size; each set found is also varied one member at a time, which finds most others.
pub(crate) fn by_satisfiability(core: &Core, stop: &dyn Fn() -> bool) -> TopSets {
    let tops: Vec<usize> = core.tops().collect();
    let mut number = vec![0; core.rules.len()];
    tops.iter().enumerate().for_each(|(i, n)| number[*n] = i);
    let (formula, turned) = encode(core, stop);
    let weighted: Vec<(Literal, u64)> = turned.iter().map(|l| (*l, 1)).collect();
    let mut search = Fewest::new(formula, &weighted);
    let outcome = search.minimum(&mut |_| {});
    let Outcome::Proven(_) = outcome else {
        let set = by_steps(core);
        let proven = matches!(outcome, Outcome::AtLeast(least) if least as usize == set.len());
        let sets = neighbours_closed(core, vec![set], stop);
        return TopSets {
            sets,
            smallest: proven,
            complete: false,
        };
    };
    let mut known: HashSet<Vec<u32>> = HashSet::new();
    let mut sets = Vec::new();
    loop {
        let model = match search.another() {
            Ok(Some(model)) => model,
            Ok(None) => {
                return TopSets {
                    sets,
                    smallest: true,
                    complete: true,
                };
            }
            Err(_) => {
                return TopSets {
                    sets,
                    smallest: true,
                    complete: false,
                };
            }
        };
        let mut queue = vec![model.iter().map(|i| tops[*i] as u32).collect::<Vec<u32>>()];
        known.insert(queue[0].clone());
        while let Some(set) = queue.pop() {
            search.block(&set.iter().map(|n| number[*n as usize]).collect::<Vec<_>>());
            if stop() {
                sets.push(set);
                return TopSets {
                    sets,
                    smallest: true,
                    complete: false,
                };
            }
            for next in neighbours(core, &tops, &set) {
                if known.insert(next.clone()) {
                    queue.push(next);
                }
            }
            sets.push(set);
        }
    }
}

/// Sets that differ from `set` in one member and explain what was seen.
fn neighbours(core: &Core, tops: &[usize], set: &[u32]) -> Vec<Vec<u32>> {
    let mut bases = Trial::new(core);
    for left_out in set {
        bases.add(set.iter().filter(|n| *n != left_out).map(|n| *n as usize));
    }
    bases.run();
    let mut trying = Trying::new(core);
    for (case, left_out) in set.iter().enumerate() {
        let wrong = bases.wrong_in(case);
        for node in tops
            .iter()
            .filter(|n| core.reaches_all(**n, &wrong) && !set.contains(&(**n as u32)))
        {
            let mut next: Vec<u32> = set
                .iter()
                .copied()
                .filter(|n| n != left_out)
                .chain([*node as u32])
                .collect();
            next.sort_unstable();
            trying.add(next);
        }
    }
    trying.finish()
}

fn neighbours_closed(core: &Core, start: Vec<Vec<u32>>, stop: &dyn Fn() -> bool) -> Vec<Vec<u32>> {
    let tops: Vec<usize> = core.tops().collect();
    let mut known: HashSet<Vec<u32>> = start.iter().cloned().collect();
    let mut queue = start;
    let mut sets = Vec::new();
    while let Some(set) = queue.pop() {
        if !stop() {
            for next in neighbours(core, &tops, &set) {
                if known.insert(next.clone()) {
                    queue.push(next);
                }
            }
        }
        sets.push(set);
    }
    sets
}

/// Some explanation, not always a smallest: at each step the turn that leaves fewest outputs wrong.
fn by_steps(core: &Core) -> Vec<u32> {
    let tops: Vec<usize> = core.tops().collect();
    let mut set: Vec<u32> = Vec::new();
    let mut left = core.wrong();
    let weight = |wrong: &[u64]| wrong.iter().map(|w| w.count_ones()).sum::<u32>();
    let mut trial = Trial::new(core);
    while weight(&left) > 0 {
        let mut best: Option<(u32, u32, Vec<u64>)> = None;
        for chunk in tops.chunks(crate::simulate::LANES) {
            for node in chunk {
                trial.add(set.iter().map(|n| *n as usize).chain([*node]));
            }
            trial.run();
            for (case, node) in chunk.iter().enumerate() {
                let wrong = trial.wrong_in(case);
                if best.as_ref().is_none_or(|(w, _, _)| weight(&wrong) < *w) {
                    best = Some((weight(&wrong), *node as u32, wrong));
                }
            }
        }
        // Turning a wrong output itself always helps unless it feeds others; then the first in order is turned.
        let Some((_, node, wrong)) = best else { break };
        if weight(&wrong) >= weight(&left) {
            let Some(output) = bits(&left).min_by_key(|i| core.wanted[*i].0) else {
                break;
            };
            toggle(&mut set, core.wanted[output].0 as u32);
            trial.add(set.iter().map(|n| *n as usize));
            trial.run();
            left = trial.wrong_in(0);
        } else {
            toggle(&mut set, node);
            left = wrong;
        }
    }
    set.sort_unstable();
    set
}

fn toggle(set: &mut Vec<u32>, node: u32) {
    match set.iter().position(|n| *n == node) {
        Some(at) => {
            set.remove(at);
        }
        None => set.push(node),
    }
}

/// The core as clauses, with one literal for each node that may turn, in order.
fn encode<'s>(core: &Core, stop: &'s dyn Fn() -> bool) -> (Formula<'s>, Vec<Literal>) {
    let mut formula = Formula::new(stop);
    let mut wanted = vec![None; core.rules.len()];
    core.wanted
        .iter()
        .for_each(|(node, differs)| wanted[*node] = Some(*differs));
    let mut literal: Vec<Literal> = Vec::with_capacity(core.rules.len());
    let mut turned = Vec::new();
    for (node, seen) in wanted.iter().enumerate() {
        let inputs: Vec<Literal> = core
            .rules
            .terms(node)
            .iter()
            .map(|t| {
                if t.negated() {
                    !literal[t.node()]
                } else {
                    literal[t.node()]
                }
            })
            .collect();
        let follows = match core.rules.rule(node) {
            Rule::Any => formula.any(&inputs),
            Rule::All if inputs.is_empty() => !formula.truth(),
            Rule::All => formula.all(&inputs),
            Rule::Parity => {
                let none = !formula.truth();
                inputs.iter().fold(none, |a, b| formula.differ(a, *b))
            }
        };
        literal.push(match (core.turns[node], *seen) {
            (false, _) => follows,
            (true, Some(differs)) => {
                turned.push(if differs { !follows } else { follows });
                if differs {
                    formula.truth()
                } else {
                    !formula.truth()
                }
            }
            (true, None) => {
                let turn = formula.variable();
                turned.push(turn);
                formula.differ(follows, turn)
            }
        });
    }
    (formula, turned)
}
