//! The circuit as nodes and branches: what flows where, before anything is solved.

use sheet::PartId;

use crate::laws::{Law, Varying};
use crate::parameter::{ParameterId, Population};

/// Index of a node; the nets of the sheet come first, in their order.
pub type Node = u32;

/// A terminal of a branch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Terminal {
    /// Index of the branch.
    pub branch: usize,
    /// Index into [`Branch::nodes`].
    pub index: usize,
}

/// What a branch does with the voltages on its nodes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Element {
    /// Nothing: the branch was taken out.
    Absent,
    /// A resistance in ohms, fixed.
    Fixed(f64),
    /// A resistance that is a parameter.
    Resistance(ParameterId),
    /// The part of a track from `a` to the wiper (`low`) or from the wiper to `b`.
    Track {
        /// The whole track.
        ohms: ParameterId,
        /// The setting.
        setting: ParameterId,
        /// True for the part from `a` to the wiper.
        low: bool,
    },
    /// A fixed voltage behind a fixed resistance; positive on the first node.
    Battery {
        /// Open-circuit volts.
        volts: f64,
        /// Ohms.
        ohms: f64,
    },
    /// A current from the first node to the second, whatever the voltage.
    Current(ParameterId),
    /// An ideal source: the first node is above the second by this parameter.
    Voltage(ParameterId),
    /// A device; its law holds nominal numbers, and up to three of them are parameters.
    Device {
        /// The law with nominal numbers.
        law: Law,
        /// Which of its numbers are parameters.
        varying: [Option<(Varying, ParameterId)>; 3],
        /// +1, or -1 where all voltages and currents are mirrored (pnp).
        sign: f64,
    },
}

/// A piece of a part.
#[derive(Clone, Debug, PartialEq)]
pub struct Branch {
    /// The part it belongs to; `None` for the meter.
    pub part: Option<PartId>,
    /// First and second node; for a transistor collector, base, emitter.
    pub nodes: [Node; 3],
    /// What it does.
    pub element: Element,
}

/// A part's pin and all branch terminals on it.
#[derive(Clone, Debug, PartialEq)]
pub struct PinTerminals {
    /// The part.
    pub part: PartId,
    /// The pin's name.
    pub pin: String,
    /// The node the pin is on.
    pub node: Node,
    /// The terminals.
    pub terminals: Vec<Terminal>,
}

/// The whole circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct Network {
    /// Number of nodes.
    pub nodes: usize,
    /// Number of nodes that are nets of the sheet.
    pub nets: usize,
    /// The node that potentials are counted from.
    pub ground: Option<Node>,
    /// The branches.
    pub branches: Vec<Branch>,
    /// The parameters and their spread.
    pub population: Population,
    /// All pins.
    pub pins: Vec<PinTerminals>,
}

/// Below this a resistance is taken as this, in ohms; chosen because it is under every meter's floor.
pub const LEAST_OHMS: f64 = 1e-3;

/// The branch as numbers: what it does once the parameters have values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Concrete {
    /// Conductance in siemens between the first two nodes.
    Conductance(f64),
    /// Conductance in siemens in series with these volts, positive on the first node.
    Battery(f64, f64),
    /// Amperes from the first node to the second.
    Current(f64),
    /// Volts of the first node above the second.
    Voltage(f64),
    /// A one-port device between the first two nodes.
    OnePort(Law),
    /// A transistor on collector, base, emitter; -1 mirrors it.
    Transistor(Law, f64),
}

impl Branch {
    /// The branch with the parameter values filled in.
    pub fn concrete(&self, values: &[f64]) -> Concrete {
        let at = |p: ParameterId| values[p.index()];
        match self.element {
            Element::Absent => Concrete::Conductance(0.0),
            Element::Fixed(ohms) => Concrete::Conductance(1.0 / ohms.max(LEAST_OHMS)),
            Element::Resistance(p) => Concrete::Conductance(1.0 / at(p).max(LEAST_OHMS)),
            Element::Track { ohms, setting, low } => {
                let fraction = if low { at(setting) } else { 1.0 - at(setting) };
                Concrete::Conductance(1.0 / (at(ohms) * fraction).max(LEAST_OHMS))
            }
            Element::Battery { volts, ohms } => {
                Concrete::Battery(1.0 / ohms.max(LEAST_OHMS), volts)
            }
            Element::Current(p) => Concrete::Current(at(p)),
            Element::Voltage(p) => Concrete::Voltage(at(p)),
            Element::Device { law, varying, sign } => {
                let mut law = law;
                for (what, p) in varying.iter().flatten() {
                    law.set(*what, at(*p));
                }
                match law {
                    Law::Transistor(_) => Concrete::Transistor(law, sign),
                    // Without a limit a source is linear, and the solver may know it.
                    Law::Source(s) if s.limit.is_infinite() => {
                        Concrete::Battery(1.0 / s.ohms, s.volts)
                    }
                    _ => Concrete::OnePort(law),
                }
            }
        }
    }

    /// True for transistors, which use all three nodes.
    pub fn is_transistor(&self) -> bool {
        matches!(
            self.element,
            Element::Device {
                law: Law::Transistor(_),
                ..
            }
        )
    }

    /// The nodes that the branch uses.
    pub fn used_nodes(&self) -> &[Node] {
        if self.is_transistor() {
            &self.nodes
        } else if self.element == Element::Absent {
            &[]
        } else {
            &self.nodes[..2]
        }
    }

    /// The differences that the branch's law sees, for given potentials.
    pub fn differences(&self, potential: &[f64]) -> [f64; 2] {
        let v = |k: usize| potential[self.nodes[k] as usize];
        match self.element {
            Element::Device {
                law: Law::Transistor(_),
                sign,
                ..
            } => [sign * (v(1) - v(2)), sign * (v(1) - v(0))],
            _ => [v(0) - v(1), 0.0],
        }
    }

    /// Currents into the branch at each of its nodes; `None` for an ideal source, whose current
    /// no law tells.
    pub fn currents(&self, values: &[f64], potential: &[f64]) -> Option<[f64; 3]> {
        let u = self.differences(potential);
        Some(match self.concrete(values) {
            Concrete::Conductance(g) => [g * u[0], -g * u[0], 0.0],
            Concrete::Battery(g, volts) => {
                let i = g * (u[0] - volts);
                [i, -i, 0.0]
            }
            Concrete::Current(i) => [i, -i, 0.0],
            Concrete::Voltage(_) => return None,
            Concrete::OnePort(law) => {
                let i = law.response(u).current[0];
                [i, -i, 0.0]
            }
            Concrete::Transistor(law, sign) => {
                let [ic, ib] = law.response(u).current;
                [sign * ic, sign * ib, -sign * (ic + ib)]
            }
        })
    }

    /// Calls `each` with (parameter, derivative of the port currents at fixed voltages).
    ///
    /// Port currents are those of [`Law::response`], times the branch's sign.
    pub fn for_each_parameter(
        &self,
        values: &[f64],
        u: [f64; 2],
        mut each: impl FnMut(ParameterId, [f64; 2]),
    ) {
        match self.element {
            Element::Resistance(p) => {
                let ohms = values[p.index()];
                if ohms > LEAST_OHMS {
                    each(p, [-u[0] / (ohms * ohms), 0.0]);
                }
            }
            Element::Track { ohms, setting, low } => {
                let (track, s) = (values[ohms.index()], values[setting.index()]);
                let fraction = if low { s } else { 1.0 - s };
                let r = track * fraction;
                if r > LEAST_OHMS {
                    let by_r = -u[0] / (r * r);
                    each(ohms, [by_r * fraction, 0.0]);
                    each(
                        setting,
                        [if low { by_r * track } else { -by_r * track }, 0.0],
                    );
                }
            }
            Element::Current(p) => each(p, [1.0, 0.0]),
            Element::Device { varying, sign, .. } => {
                let law = match self.concrete(values) {
                    Concrete::OnePort(law) | Concrete::Transistor(law, _) => law,
                    Concrete::Battery(g, _) => {
                        for (_, p) in varying.iter().flatten() {
                            each(*p, [-g, 0.0]);
                        }
                        return;
                    }
                    _ => return,
                };
                for (what, p) in varying.iter().flatten() {
                    each(*p, law.by(*what, u).map(|i| sign * i));
                }
            }
            Element::Absent | Element::Fixed(_) | Element::Battery { .. } | Element::Voltage(_) => {
            }
        }
    }
}

impl Network {
    /// Adds a node that is not a net.
    pub fn add_node(&mut self) -> Node {
        self.nodes += 1;
        (self.nodes - 1) as Node
    }

    /// The pin of that name on `part`.
    pub fn pin(&self, part: PartId, pin: &str) -> Option<&PinTerminals> {
        self.pins.iter().find(|p| p.part == part && p.pin == pin)
    }

    /// Component number of every node: two nodes share one if branches join them.
    ///
    /// A branch joins its nodes if any current could pass, however small; a current source too,
    /// and the meter between its leads.
    pub fn components(&self, meter: Option<(Node, Node)>) -> Vec<u32> {
        let mut parent: Vec<u32> = (0..self.nodes as u32).collect();
        fn find(parent: &mut [u32], mut i: u32) -> u32 {
            while parent[i as usize] != i {
                parent[i as usize] = parent[parent[i as usize] as usize];
                i = parent[i as usize];
            }
            i
        }
        let mut join = |a: Node, b: Node| {
            let (a, b) = (find(&mut parent, a), find(&mut parent, b));
            parent[a.max(b) as usize] = a.min(b);
        };
        for branch in &self.branches {
            for pair in branch.used_nodes().windows(2) {
                join(pair[0], pair[1]);
            }
        }
        if let Some((red, black)) = meter {
            join(red, black);
        }
        (0..self.nodes as u32)
            .map(|i| find(&mut parent, i))
            .collect()
    }
}

impl Law {
    /// Sets one of the law's numbers.
    fn set(&mut self, what: Varying, value: f64) {
        match (self, what) {
            (Law::Junction(d), Varying::Is) => d.is = value,
            (Law::Zener(d), Varying::Is) => d.forward.is = value,
            (Law::Zener(d), Varying::Volts) => d.volts = value,
            (Law::Transistor(d), Varying::Is) => d.is = value,
            (Law::Transistor(d), Varying::Bf) => d.bf = value,
            (Law::Transistor(d), Varying::Br) => d.br = value,
            (Law::Source(d), Varying::Volts) => d.volts = value,
            (law, what) => unreachable!("{law:?} has no {what:?}"),
        }
    }
}
