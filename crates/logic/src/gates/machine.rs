//! A gate sheet as built: gates between nets, elements that keep a state, and the parts that are replaced as one.

use super::block::StoreKind;
use super::levels::Levels;
use crate::network::{NetId, Network};

/// An element that keeps a state.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Store {
    /// Its name: part and element.
    pub name: String,
    /// How it keeps it.
    pub kind: StoreKind,
    /// What it takes at the clock.
    pub data: NetId,
    /// Its clock.
    pub clock: NetId,
    /// Makes it 1 at once; wins over `reset`.
    pub set: NetId,
    /// Makes it 0 at once.
    pub reset: NetId,
    /// The net of its state, which no gate drives.
    pub state: NetId,
}

/// What is replaced as one: a package, a module, a gate.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// Its name on the sheet.
    pub name: String,
    /// What it is.
    pub title: String,
    /// Positions of its pins in [`Machine::pins`].
    pub pins: Vec<usize>,
}

/// A pin of a part; a gate of the network stands for it, so that it can be stuck or open.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pin {
    /// Position of its part in [`Machine::parts`].
    pub part: usize,
    /// `U3.8`.
    pub name: String,
    /// The net of the sheet it is on.
    pub net: NetId,
    /// Its gate, a position in the network's gates.
    pub gate: usize,
    /// Whether it drives the net.
    pub is_output: bool,
    /// What its gate gives if the connection to it is open; inputs only.
    pub open: bool,
}

/// A gate sheet as built.
#[derive(Clone, Debug)]
pub struct Machine {
    /// Its name.
    pub name: String,
    /// Gates; the states of elements are nets that no gate drives.
    pub network: Network,
    /// Elements that keep a state.
    pub stores: Vec<Store>,
    /// What can be replaced.
    pub parts: Vec<Part>,
    /// All pins.
    pub pins: Vec<Pin>,
    /// Nets that come from outside, the clock not among them.
    pub inputs: Vec<NetId>,
    /// A net that gives one pulse at the end of each step.
    pub clock: Option<NetId>,
    /// Nets that go out.
    pub outputs: Vec<NetId>,
    /// Nets of the sheet, as against those inside of parts.
    pub sheet_nets: Vec<NetId>,
    /// States written as the start, by position in [`Machine::stores`].
    pub start: Vec<(usize, bool)>,
    /// Levels in volts.
    pub levels: Levels,
    /// The net that is always low, and the one that is always high.
    pub constants: (NetId, NetId),
}

impl Machine {
    /// A net's name.
    pub fn net_name(&self, net: NetId) -> &str {
        &self.network.nets()[net.index()].name
    }

    /// Whether a net of the sheet is tied to a fixed level.
    pub fn is_fixed(&self, net: NetId) -> bool {
        let Some(driver) = self.network.driver(net) else {
            return false;
        };
        let inputs = &self.network.gates()[driver].inputs;
        inputs.as_slice() == [self.constants.0] || inputs.as_slice() == [self.constants.1]
    }

    /// The part whose pin drives each gate, by the gate's position: output pins only.
    pub fn part_of_gate(&self) -> Vec<Option<usize>> {
        let mut of = vec![None; self.network.gates().len()];
        for pin in self.pins.iter().filter(|p| p.is_output) {
            of[pin.gate] = Some(pin.part);
        }
        of
    }
}
