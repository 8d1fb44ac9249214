//! From tops of cones back to gates: which members of a cone could have done what its top did.

use std::collections::HashMap;
use std::rc::Rc;

use crate::cone::Cones;
use crate::core::{Core, bits};
use crate::difference::Difference;
use crate::simulate::{LANES, Word};

/// For one set of tops: for each top the gates (positions in the network) that can stand in for it, the top's own included.
pub(crate) type Choices = Vec<Rc<[u32]>>;

/// Unfolds sets of tops. Cones do not overlap and meet the rest only at their tops, so the choices are independent.
pub(crate) struct Expander<'d> {
    difference: &'d Difference,
    cones: &'d Cones,
    core: &'d Core,
    values: Vec<Word>,
    scratch: Vec<Word>,
    edges: HashMap<u32, Rc<[u32]>>,
    known: HashMap<(u32, Vec<u64>), Rc<[u32]>>,
}

impl<'d> Expander<'d> {
    pub(crate) fn new(difference: &'d Difference, cones: &'d Cones, core: &'d Core) -> Self {
        let zero = [0; LANES / 64];
        Self {
            difference,
            cones,
            core,
            values: vec![zero; difference.rules.len()],
            scratch: vec![zero; difference.rules.len()],
            edges: HashMap::new(),
            known: HashMap::new(),
        }
    }

    /// Unfolds up to [`LANES`] sets of core nodes.
    pub(crate) fn expand(&mut self, sets: &[Vec<u32>]) -> Vec<Choices> {
        assert!(sets.len() <= LANES, "at most {LANES} sets at once");
        let mut turned: HashMap<u32, Word> = HashMap::new();
        for (case, set) in sets.iter().enumerate() {
            for node in set {
                let origin = self.core.origin[*node as usize];
                turned.entry(origin).or_insert([0; LANES / 64])[case / 64] |= 1 << (case % 64);
            }
        }
        for node in 0..self.values.len() {
            let mut value = self.difference.rules.value(node, &self.values);
            if let Some(turn) = turned.get(&(node as u32)) {
                (0..value.len()).for_each(|i| value[i] ^= turn[i]);
            }
            self.values[node] = value;
        }
        let mut all = Vec::with_capacity(sets.len());
        for (case, set) in sets.iter().enumerate() {
            all.push(
                set.iter()
                    .map(|node| self.choices(self.core.origin[*node as usize], case))
                    .collect(),
            );
        }
        all
    }

    fn choices(&mut self, top: u32, case: usize) -> Rc<[u32]> {
        let edges = self.edges(top);
        let mut key = vec![0u64; edges.len() / 64 + 1];
        for (index, node) in edges.iter().enumerate() {
            key[index / 64] |=
                (self.values[*node as usize][case / 64] >> (case % 64) & 1) << (index % 64);
        }
        let goal = self.values[top as usize][case / 64] >> (case % 64) & 1;
        // What the top does is fixed by its surroundings: the opposite of what follows from them.
        let key = (top, key);
        if let Some(choices) = self.known.get(&key) {
            return choices.clone();
        }
        for node in edges.iter() {
            let level = self.values[*node as usize][case / 64] >> (case % 64) & 1;
            self.scratch[*node as usize] = [if level == 1 { !0 } else { 0 }; LANES / 64];
        }
        let found: Rc<[u32]> = self.stand_ins(top, goal == 1).into();
        self.known.insert(key, found.clone());
        found
    }

    /// Turns each member of the cone alone and keeps those that bring the top to `goal`.
    fn stand_ins(&mut self, top: u32, goal: bool) -> Vec<u32> {
        let members = &self.cones.members[top as usize];
        let mut found = Vec::new();
        for chunk in members.chunks(LANES) {
            let mut next = 0;
            for node in members {
                let mut value = self.difference.rules.value(*node as usize, &self.scratch);
                if chunk.get(next) == Some(node) {
                    value[next / 64] ^= 1 << (next % 64);
                    next += 1;
                }
                self.scratch[*node as usize] = value;
            }
            let right = self.scratch[top as usize].map(|w| if goal { w } else { !w });
            found.extend(
                bits(&right)
                    .take_while(|b| *b < chunk.len())
                    .map(|b| self.difference.gates[chunk[b] as usize]),
            );
        }
        found
    }

    /// Nodes outside the cone that feed it.
    fn edges(&mut self, top: u32) -> Rc<[u32]> {
        if let Some(edges) = self.edges.get(&top) {
            return edges.clone();
        }
        let mut edges: Vec<u32> = self.cones.members[top as usize]
            .iter()
            .flat_map(|m| self.difference.rules.terms(*m as usize))
            .map(|t| t.node() as u32)
            .filter(|n| self.cones.top[*n as usize] != top)
            .collect();
        edges.sort_unstable();
        edges.dedup();
        let edges: Rc<[u32]> = edges.into();
        self.edges.insert(top, edges.clone());
        edges
    }
}
