//! Plain simulation of a network, many cases at once, with chosen gates giving the opposite of what they should.

use std::collections::HashMap;

use crate::network::{NetId, Network};

/// Cases simulated at once.
pub const LANES: usize = 256;

/// One bit for each case.
pub type Word = [u64; LANES / 64];

/// Works out the level of every net, one bit a case.
///
/// Made to certify what a search found: it reads the network as written and nothing that the search prepared.
#[derive(Debug)]
pub struct Simulator<'n> {
    network: &'n Network,
    levels: Vec<Word>,
    turned: Vec<Word>,
    touched: Vec<usize>,
}

impl<'n> Simulator<'n> {
    /// All nets low, no gate turned.
    pub fn new(network: &'n Network) -> Self {
        Self {
            network,
            levels: vec![[0; LANES / 64]; network.nets().len()],
            turned: vec![[0; LANES / 64]; network.gates().len()],
            touched: Vec::new(),
        }
    }

    /// Sets a net that no gate drives, the same in all cases.
    pub fn set(&mut self, net: NetId, level: bool) {
        self.levels[net.index()] = [if level { !0 } else { 0 }; LANES / 64];
    }

    /// Sets a net that no gate drives, in one case.
    pub fn set_case(&mut self, net: NetId, case: usize, level: bool) {
        let word = &mut self.levels[net.index()][case / 64];
        *word = *word & !(1 << (case % 64)) | u64::from(level) << (case % 64);
    }

    /// Lets the gate (a position in [`Network::gates`]) give the opposite of its function in that case.
    pub fn turn(&mut self, gate: usize, case: usize) {
        if self.turned[gate] == [0; LANES / 64] {
            self.touched.push(gate);
        }
        self.turned[gate][case / 64] |= 1 << (case % 64);
    }

    /// Lets every gate follow its function again.
    pub fn mend(&mut self) {
        for gate in self.touched.drain(..) {
            self.turned[gate] = [0; LANES / 64];
        }
    }

    /// Works out all driven nets.
    pub fn run(&mut self) {
        for (index, gate) in self.network.gates().iter().enumerate() {
            let mut word = self.turned[index];
            for (part, out) in word.iter_mut().enumerate() {
                *out ^= gate
                    .function
                    .of_words(gate.inputs.iter().map(|n| self.levels[n.index()][part]));
            }
            self.levels[gate.output.index()] = word;
        }
    }

    /// As [`Simulator::run`], with some gates held: for each gate, cases and the level it gives in them.
    pub fn run_held(&mut self, held: &HashMap<usize, Vec<(usize, bool)>>) {
        for (index, gate) in self.network.gates().iter().enumerate() {
            let mut word = self.turned[index];
            for (part, out) in word.iter_mut().enumerate() {
                *out ^= gate
                    .function
                    .of_words(gate.inputs.iter().map(|n| self.levels[n.index()][part]));
            }
            for (case, level) in held.get(&index).into_iter().flatten() {
                let part = &mut word[case / 64];
                *part = *part & !(1 << (case % 64)) | u64::from(*level) << (case % 64);
            }
            self.levels[gate.output.index()] = word;
        }
    }

    /// The levels of a net, one bit a case.
    pub fn word(&self, net: NetId) -> Word {
        self.levels[net.index()]
    }

    /// The level of a net in one case.
    pub fn level(&self, net: NetId, case: usize) -> bool {
        self.levels[net.index()][case / 64] >> (case % 64) & 1 == 1
    }
}
