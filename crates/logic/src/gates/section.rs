//! What is drawn as one box: the pins of a part that belong together, such as one gate of four in a package.

use std::collections::{HashMap, HashSet};

use super::machine::Machine;
use crate::network::NetId;

/// Pins of a part that belong together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Section {
    /// Position of its part in [`Machine::parts`].
    pub part: usize,
    /// Positions in [`Machine::pins`] of the pins that take a level.
    pub inputs: Vec<usize>,
    /// Positions of the pins that give one; at least one.
    pub outputs: Vec<usize>,
    /// Whether it keeps a state.
    pub keeps_state: bool,
}

/// The sections of a machine: outputs that share something inside their part are together.
pub fn sections(machine: &Machine) -> Vec<Section> {
    let gates = machine.network.gates();
    let entry: HashMap<NetId, usize> = machine
        .pins
        .iter()
        .enumerate()
        .filter(|(_, p)| !p.is_output)
        .map(|(at, p)| (gates[p.gate].output, at))
        .collect();
    let states: HashMap<NetId, usize> = machine
        .stores
        .iter()
        .enumerate()
        .map(|(i, s)| (s.state, i))
        .collect();
    let sheet: HashSet<NetId> = machine.sheet_nets.iter().copied().collect();
    let mut found: Vec<(Section, HashSet<NetId>)> = Vec::new();
    for (at, pin) in machine.pins.iter().enumerate().filter(|(_, p)| p.is_output) {
        let mut inside = HashSet::new();
        let mut inputs = Vec::new();
        let mut keeps_state = false;
        let mut waiting: Vec<NetId> = gates[pin.gate].inputs.clone();
        while let Some(net) = waiting.pop() {
            let is_constant = net == machine.constants.0 || net == machine.constants.1;
            if is_constant || sheet.contains(&net) || inside.contains(&net) {
                continue;
            }
            if let Some(input) = entry.get(&net) {
                if !inputs.contains(input) {
                    inputs.push(*input);
                }
                continue;
            }
            inside.insert(net);
            if let Some(store) = states.get(&net).map(|s| &machine.stores[*s]) {
                keeps_state = true;
                waiting.extend([store.data, store.clock, store.set, store.reset]);
            }
            if let Some(driver) = machine.network.driver(net) {
                waiting.extend(gates[driver].inputs.iter().copied());
            }
        }
        let mut section = Section {
            part: pin.part,
            inputs,
            outputs: vec![at],
            keeps_state,
        };
        // What was found apart and shares a net with this output joins it.
        while let Some(other) = found
            .iter()
            .position(|(s, nets)| s.part == section.part && !nets.is_disjoint(&inside))
        {
            let (joined, nets) = found.remove(other);
            inside.extend(nets);
            section.keeps_state |= joined.keeps_state;
            section.inputs.extend(
                joined
                    .inputs
                    .iter()
                    .filter(|i| !section.inputs.contains(i))
                    .copied()
                    .collect::<Vec<_>>(),
            );
            section.outputs.extend(joined.outputs);
        }
        found.push((section, inside));
    }
    let mut list: Vec<Section> = found.into_iter().map(|(s, _)| s).collect();
    for section in &mut list {
        section.inputs.sort_unstable();
        section.outputs.sort_unstable();
    }
    list.sort_by_key(|s| s.outputs[0]);
    list
}
