//! What drives each net of a gate sheet, alone or together, and rings of gates, which keep a state.

use std::collections::{HashMap, HashSet};

use super::{Builder, Driver};
use crate::gates::block::{Sharing, StoreKind};
use crate::gates::machine::Store;
use crate::gates::place::Places;
use crate::network::{Function, NetId, Network, NetworkError};

impl Builder {
    pub(super) fn join(&mut self, places: &mut Places<'_>) {
        let mut drivers: Vec<(NetId, Vec<Driver>)> = self.drivers.drain().collect();
        drivers.sort_by_key(|(net, _)| *net);
        let all_driven: HashSet<NetId> = drivers.iter().map(|(net, _)| *net).collect();
        for (net, list) in drivers {
            let name = self.names[net.index()].clone();
            if self.inputs.contains(&net) || self.clock == Some(net) {
                places.wrong_at(
                    list[0].offset,
                    format!(
                        "Net {name} comes from outside and {} drives it.",
                        list[0].who
                    ),
                    "Take it off `input` or `clock`, or give one of the two another name.",
                );
                continue;
            }
            // Open collectors pull to the lower voltage, whichever way round the sheet reads it; expanders to the higher one.
            let sharing = list[0].sharing;
            let is_alike = list.iter().all(|d| d.sharing == sharing);
            let shared = match (sharing, is_alike) {
                (Sharing::Alone, _) | (_, false) => None,
                _ if (sharing == Sharing::LowWins) == self.levels.is_positive() => {
                    Some(Function::And)
                }
                _ => Some(Function::Or),
            };
            let from: Vec<NetId> = list.iter().map(|d| d.from).collect();
            let function = match (from.len(), self.wired.get(&net).copied().or(shared)) {
                (1, _) => Function::Buf,
                (_, Some(function)) => function,
                (_, None) => {
                    let who: Vec<&str> = list.iter().map(|d| d.who.as_str()).collect();
                    places.wrong_at(list[1].offset, format!("Net {name} is driven by {}.", who.join(" and ")), format!("If they are meant to share it, write `wired {name} and` or `wired {name} or`."));
                    continue;
                }
            };
            self.gate(format!("net {name}"), function, from, net);
        }
        // What was refused above is driven, too: it is not told twice.
        let mut driven: HashSet<NetId> = self.gates.iter().map(|g| g.output).collect();
        driven.extend(all_driven);
        let mut floating: HashMap<NetId, usize> = HashMap::new();
        for (net, offset) in &self.used {
            let known =
                self.inputs.contains(net) || self.clock == Some(*net) || driven.contains(net);
            if !known && !floating.contains_key(net) {
                floating.insert(*net, *offset);
            }
        }
        for (net, offset) in floating {
            let name = &self.names[net.index()];
            places.wrong_at(
                offset,
                format!("Nothing drives net {name}."),
                format!("If it comes from outside, write `input {name}`."),
            );
        }
    }

    /// Rings of gates keep a state: one of each ring's nets becomes an element that follows a moment later.
    pub(super) fn open_rings(&mut self) -> Network {
        loop {
            match Network::new(self.gates.clone(), self.names.clone()) {
                Ok(network) => return network,
                Err(NetworkError::Ring { gates }) => {
                    let cut = gates[0];
                    let net = self.gates[cut].output;
                    let before = self.inner(format!("{}~", self.names[net.index()]));
                    self.gates[cut].output = before;
                    self.stores.push(Store {
                        name: self.names[net.index()].clone(),
                        kind: StoreKind::Latch,
                        data: before,
                        clock: self.constants.1,
                        set: self.constants.0,
                        reset: self.constants.0,
                        state: net,
                    });
                }
                // Two equations of one name in a block: said where they stand; the later one is dropped here.
                Err(NetworkError::TwoDrivers { second, .. }) => {
                    self.gates.remove(second);
                }
            }
        }
    }
}
