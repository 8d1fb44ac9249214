//! One observation as a network of differences: for each gate, whether its output is not what it would be were all well.
//!
//! With every input known, a smallest set of gates explains the observation exactly if turning all of them round gives the levels
//! seen: in a smallest set no member can be following its function, or the set without it would do. So one bit a gate suffices.

use crate::network::{Function, NetId, Network};
use crate::observation::Observation;

/// How a node's difference follows from those of the nodes before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Rule {
    /// Differs if any input does.
    Any,
    /// Differs if all terms hold.
    All,
    /// Differs if an odd number of inputs does.
    Parity,
}

/// A node and whether its difference is wanted false, packed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Term(u32);

impl Term {
    pub(crate) fn new(node: usize, negated: bool) -> Self {
        Self((node as u32) << 1 | u32::from(negated))
    }
    pub(crate) fn node(self) -> usize {
        (self.0 >> 1) as usize
    }
    pub(crate) fn negated(self) -> bool {
        self.0 & 1 == 1
    }
}

/// Rules and terms of nodes in topological order.
#[derive(Clone, Debug, Default)]
pub(crate) struct Rules {
    rules: Vec<Rule>,
    ends: Vec<u32>,
    terms: Vec<Term>,
}

impl Rules {
    pub(crate) fn push(&mut self, rule: Rule, terms: &[Term]) {
        self.rules.push(rule);
        self.terms.extend_from_slice(terms);
        self.ends.push(self.terms.len() as u32);
    }

    pub(crate) fn len(&self) -> usize {
        self.rules.len()
    }

    pub(crate) fn rule(&self, node: usize) -> Rule {
        self.rules[node]
    }

    pub(crate) fn terms(&self, node: usize) -> &[Term] {
        let start = if node == 0 {
            0
        } else {
            self.ends[node - 1] as usize
        };
        &self.terms[start..self.ends[node] as usize]
    }

    /// A node's difference from `values` of earlier nodes, before any turning of its own.
    pub(crate) fn value<const N: usize>(&self, node: usize, values: &[[u64; N]]) -> [u64; N] {
        let terms = self.terms(node);
        let mut out = [0; N];
        match self.rules[node] {
            Rule::Any => terms
                .iter()
                .for_each(|t| (0..N).for_each(|i| out[i] |= values[t.node()][i])),
            Rule::Parity => terms
                .iter()
                .for_each(|t| (0..N).for_each(|i| out[i] ^= values[t.node()][i])),
            Rule::All if terms.is_empty() => {}
            Rule::All => {
                out = [!0; N];
                for term in terms {
                    let flip = if term.negated() { !0 } else { 0 };
                    (0..N).for_each(|i| out[i] &= values[term.node()][i] ^ flip);
                }
            }
        }
        out
    }
}

/// The part of a network that can matter to one observation.
#[derive(Clone, Debug)]
pub(crate) struct Difference {
    pub(crate) rules: Rules,
    /// The gate behind each node, as a position in the network.
    pub(crate) gates: Vec<u32>,
    /// Nodes whose level was seen, and whether that differs from the level were all well.
    pub(crate) wanted: Vec<(usize, bool)>,
}

impl Difference {
    /// None if a net that feeds a gate and that nothing drives was not seen.
    pub(crate) fn of(network: &Network, observation: &Observation) -> Option<Self> {
        let levels = levels_when_well(network, observation)?;
        let rules = all_rules(network, &levels);
        let mut needed = vec![false; network.gates().len()];
        let mut wanted = Vec::new();
        for (net, seen) in &observation.levels {
            if let Some(gate) = network.driver(*net) {
                needed[gate] = true;
                wanted.push((gate, *seen != levels[net.index()]));
            }
        }
        for node in (0..needed.len()).rev() {
            if needed[node] {
                rules
                    .terms(node)
                    .iter()
                    .for_each(|t| needed[t.node()] = true);
            }
        }
        let mut place = vec![u32::MAX; needed.len()];
        let mut kept = Rules::default();
        let mut gates = Vec::new();
        let mut terms = Vec::new();
        for node in (0..needed.len()).filter(|n| needed[*n]) {
            terms.clear();
            terms.extend(
                rules
                    .terms(node)
                    .iter()
                    .map(|t| Term::new(place[t.node()] as usize, t.negated())),
            );
            place[node] = kept.len() as u32;
            kept.push(rules.rule(node), &terms);
            gates.push(node as u32);
        }
        let wanted = wanted
            .into_iter()
            .map(|(gate, differs)| (place[gate] as usize, differs))
            .collect();
        Some(Self {
            rules: kept,
            gates,
            wanted,
        })
    }
}

fn levels_when_well(network: &Network, observation: &Observation) -> Option<Vec<bool>> {
    let mut words = vec![0u64; network.nets().len()];
    let mut known = vec![false; network.nets().len()];
    for (net, level) in &observation.levels {
        if network.driver(*net).is_none() {
            words[net.index()] = if *level { !0 } else { 0 };
            known[net.index()] = true;
        }
    }
    for gate in network.gates() {
        if gate
            .inputs
            .iter()
            .any(|n| !known[n.index()] && network.driver(*n).is_none())
        {
            return None;
        }
        words[gate.output.index()] = gate
            .function
            .of_words(gate.inputs.iter().map(|n| words[n.index()]));
    }
    Some(words.into_iter().map(|w| w & 1 == 1).collect())
}

fn all_rules(network: &Network, levels: &[bool]) -> Rules {
    let mut rules = Rules::default();
    let mut terms = Vec::new();
    for gate in network.gates() {
        terms.clear();
        let rule = rule_of(network, gate.function, &gate.inputs, levels, &mut terms);
        rules.push(rule, &terms);
    }
    rules
}

/// An AND whose inputs are all high differs if any does; else all its low inputs must change and no high one. OR is its mirror.
fn rule_of(
    network: &Network,
    function: Function,
    inputs: &[NetId],
    levels: &[bool],
    terms: &mut Vec<Term>,
) -> Rule {
    let controlling = match function {
        Function::And | Function::Nand => false,
        Function::Or | Function::Nor => true,
        _ => {
            terms.extend(
                inputs
                    .iter()
                    .filter_map(|n| network.driver(*n))
                    .map(|g| Term::new(g, false)),
            );
            return Rule::Parity;
        }
    };
    let mut any_controlling = false;
    for net in inputs {
        let controls = levels[net.index()] == controlling;
        any_controlling |= controls;
        match network.driver(*net) {
            Some(gate) => terms.push(Term::new(gate, !controls)),
            None if controls => {
                terms.clear();
                return Rule::Any;
            }
            None => {}
        }
    }
    if any_controlling {
        return Rule::All;
    }
    terms
        .iter_mut()
        .for_each(|t| *t = Term::new(t.node(), false));
    Rule::Any
}
