//! A network as a system of equations: nodes become unknowns, ideal sources become offsets.

use circuit::laws::Lead;
use circuit::network::Concrete;
use circuit::{Law, Network, Node};
use solve::{Element, Flow, GROUND, Link, System};

use crate::adapter::Adapter;

/// Where a node's potential comes from: an unknown plus an offset.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Unknown {
    pub index: u32,
    pub offset: f64,
}

/// The equations of a network with a meter on two of its nodes.
#[derive(Clone, Debug)]
pub(crate) struct Assembly {
    pub system: System<Adapter>,
    /// One a node.
    pub unknowns: Vec<Unknown>,
}

/// What the meter does in the equations; the same places serve every function and range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct MeterTerms {
    pub conductance: f64,
    pub volts: f64,
    pub lead: Lead,
}

impl MeterTerms {
    /// No meter at all.
    pub const NONE: MeterTerms = MeterTerms {
        conductance: 0.0,
        volts: 0.0,
        lead: Lead {
            amps: 0.0,
            limit: f64::INFINITY,
        },
    };
}

/// Conductance in siemens that ties one node of each separate part of the circuit to zero.
///
/// A part that is joined to nothing else can send no current through it, so it never shows in
/// a reading; its size only has to be near the other conductances.
const TIE: f64 = 1.0;

impl Assembly {
    /// Lays out `network` with parameter `values` and a meter from `red` to `black`.
    pub fn new(network: &Network, values: &[f64], red: Node, black: Node) -> Self {
        let unknowns = unknowns(network, values);
        let count = unknowns.iter().map(|u| u.index + 1).max().unwrap_or(0);
        let mut system = System {
            unknowns: count as usize,
            links: Vec::with_capacity(network.branches.len() + 8),
            flows: Vec::new(),
            elements: Vec::with_capacity(network.branches.len()),
        };
        let at = |n: Node| unknowns[n as usize];
        let (r, b) = (at(red), at(black));
        // The meter comes first in both lists, so that it can be found again.
        system.links.push(Link {
            from: r.index,
            to: b.index,
            g: 0.0,
            bias: r.offset - b.offset,
        });
        system.elements.push(Element {
            law: Adapter {
                law: Law::Lead(MeterTerms::NONE.lead),
                sign: 1.0,
            },
            ports: [(r.index, b.index), (GROUND, GROUND)],
            bias: [r.offset - b.offset, 0.0],
            port_count: 1,
            revision: 0,
        });
        for branch in &network.branches {
            let [p, q, s] = branch.nodes.map(at);
            match branch.concrete(values) {
                Concrete::Conductance(g) => system.links.push(Link {
                    from: p.index,
                    to: q.index,
                    g,
                    bias: p.offset - q.offset,
                }),
                Concrete::Battery(g, volts) => system.links.push(Link {
                    from: p.index,
                    to: q.index,
                    g,
                    bias: p.offset - q.offset - volts,
                }),
                Concrete::Current(amount) => system.flows.push(Flow {
                    from: p.index,
                    to: q.index,
                    amount,
                }),
                Concrete::Voltage(_) => {}
                Concrete::OnePort(law) => system.elements.push(Element {
                    law: Adapter { law, sign: 1.0 },
                    ports: [(p.index, q.index), (GROUND, GROUND)],
                    bias: [p.offset - q.offset, 0.0],
                    port_count: 1,
                    revision: 0,
                }),
                Concrete::Transistor(law, sign) => system.elements.push(Element {
                    law: Adapter { law, sign },
                    ports: [(q.index, s.index), (q.index, p.index)],
                    bias: [q.offset - s.offset, q.offset - p.offset],
                    port_count: 2,
                    revision: 0,
                }),
            }
        }
        for node in anchors(network, red, black) {
            let u = at(node);
            system.links.push(Link {
                from: u.index,
                to: GROUND,
                g: TIE,
                bias: u.offset,
            });
        }
        Self { system, unknowns }
    }

    /// Replaces the numbers of the network's branches, keeping the layout.
    ///
    /// Ideal sources keep the voltage they were laid out with: their parameters never vary.
    pub fn set_values(&mut self, network: &Network, values: &[f64]) {
        let (mut link, mut flow, mut element) = (1, 0, 1);
        for branch in &network.branches {
            match branch.concrete(values) {
                Concrete::Conductance(g) => {
                    self.system.links[link].g = g;
                    link += 1;
                }
                Concrete::Battery(g, volts) => {
                    let [p, q, _] = branch.nodes.map(|n| self.unknowns[n as usize].offset);
                    self.system.links[link].g = g;
                    self.system.links[link].bias = p - q - volts;
                    link += 1;
                }
                Concrete::Current(amount) => {
                    self.system.flows[flow].amount = amount;
                    flow += 1;
                }
                Concrete::Voltage(_) => {}
                Concrete::OnePort(law) | Concrete::Transistor(law, _) => {
                    renew(&mut self.system.elements[element], law);
                    element += 1;
                }
            }
        }
    }

    /// Connects the meter; `flipped` exchanges its leads.
    pub fn set_meter(&mut self, terms: MeterTerms, flipped: bool) {
        let sign = if flipped { -1.0 } else { 1.0 };
        let [from, to] = {
            let link = &self.system.links[0];
            [link.from, link.to]
        };
        let element = &mut self.system.elements[0];
        let forward = element.ports[0] == (from, to);
        let bias = if forward {
            element.bias[0]
        } else {
            -element.bias[0]
        };
        renew(element, Law::Lead(terms.lead));
        // The law is one-sided, so exchanged leads are an exchanged port.
        element.ports[0] = if flipped { (to, from) } else { (from, to) };
        element.bias[0] = sign * bias;
        let link = &mut self.system.links[0];
        link.g = terms.conductance;
        link.bias = bias - sign * terms.volts;
    }

    /// The potential of every node, in volts.
    pub fn potentials(&self, x: &[f64]) -> Vec<f64> {
        self.unknowns
            .iter()
            .map(|u| x[u.index as usize] + u.offset)
            .collect()
    }
}

/// Puts a law in the place of another; one that is the same changes nothing.
fn renew(element: &mut solve::Element<Adapter>, law: Law) {
    if element.law.law != law {
        element.law.law = law;
        element.revision += 1;
    }
}

/// Nodes held apart by ideal sources share an unknown.
fn unknowns(network: &Network, values: &[f64]) -> Vec<Unknown> {
    let n = network.nodes;
    let mut joined: Vec<Vec<(u32, f64)>> = Vec::new();
    for branch in &network.branches {
        if let Concrete::Voltage(volts) = branch.concrete(values) {
            joined.resize(n, Vec::new());
            let [a, b, _] = branch.nodes;
            joined[a as usize].push((b, -volts));
            joined[b as usize].push((a, volts));
        }
    }
    let mut found: Vec<Option<Unknown>> = vec![None; n];
    let mut next = 0;
    for node in 0..n {
        if found[node].is_some() {
            continue;
        }
        let index = next;
        next += 1;
        found[node] = Some(Unknown { index, offset: 0.0 });
        let mut open = vec![node];
        while let Some(here) = open.pop() {
            let offset = found[here].map_or(0.0, |u| u.offset);
            for &(other, volts) in joined.get(here).map_or(&[][..], |l| l) {
                if found[other as usize].is_none() {
                    found[other as usize] = Some(Unknown {
                        index,
                        offset: offset + volts,
                    });
                    open.push(other as usize);
                }
            }
        }
    }
    found
        .into_iter()
        .map(|u| u.expect("every node was visited"))
        .collect()
}

/// One node of every separate part of the circuit: the ground net where there is one.
fn anchors(network: &Network, red: Node, black: Node) -> Vec<Node> {
    let component = network.components(Some((red, black)));
    let ground = network.ground.map(|g| component[g as usize]);
    (0..network.nodes as Node)
        .filter(|&n| component[n as usize] == n)
        .map(|n| match (network.ground, ground) {
            (Some(node), Some(c)) if c == n => node,
            _ => n,
        })
        .collect()
}
