//! A network as currents that each depend on one voltage, ready for small changes.

use circuit::laws::Transistor;
use circuit::network::Concrete;
use circuit::{Law, Network, Node};

use super::curve::Curve;
use crate::assembly::{Assembly, Unknown};

/// Where one ampere leaves the unknowns: up to three of them, with the share of each.
pub(super) type Stencil = [(u32, f64); 3];

/// A current that depends on one voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Flow {
    /// The voltage is that of this unknown
    pub from: u32,
    /// above this one
    pub to: u32,
    /// plus this.
    pub bias: f64,
    /// Index of the stencil along which the current flows.
    pub stencil: usize,
    /// Index of the stencil from one end of its voltage to the other.
    pub port: usize,
    /// The current.
    pub curve: Curve,
}

/// What stands for a branch of the network.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Stands {
    /// Nothing, or an ideal source, which has become an offset.
    Nowhere,
    /// A linear link or a fixed flow: known by the branch itself.
    Linear,
    /// One flow, by its index.
    One(usize),
    /// Two flows, by the index of the first: a transistor's forward and backward current.
    Two(usize),
}

/// The flows of a network; flow 0 and stencil 0 are the meter's and filled in for each place.
#[derive(Clone, Debug)]
pub(super) struct Layout {
    /// Where each node's potential comes from.
    pub unknowns: Vec<Unknown>,
    /// All stencils in use.
    pub stencils: Vec<Stencil>,
    /// The flows that are not linear.
    pub flows: Vec<Flow>,
    /// One a branch of the network.
    pub stands: Vec<Stands>,
    /// False if a device cannot be written as such flows (Early effect).
    pub whole: bool,
}

impl Layout {
    /// Lays out `network` with parameter `values`.
    pub fn new(network: &Network, values: &[f64]) -> Self {
        let unknowns = Assembly::new(network, values, 0, 0).unknowns;
        let mut layout = Self {
            unknowns,
            stencils: vec![[(0, 0.0); 3]],
            flows: vec![Flow {
                from: 0,
                to: 0,
                bias: 0.0,
                stencil: 0,
                port: 0,
                curve: Curve::Nothing,
            }],
            stands: Vec::with_capacity(network.branches.len()),
            whole: true,
        };
        for branch in &network.branches {
            let first = layout.flows.len();
            let stands = match branch.concrete(values) {
                Concrete::Voltage(_) => Stands::Nowhere,
                Concrete::Conductance(_) | Concrete::Battery(..) | Concrete::Current(_) => {
                    Stands::Linear
                }
                Concrete::OnePort(law) => {
                    let [a, b, _] = branch.nodes;
                    let flow = layout.across(a, b, one_port(law));
                    layout.flows.push(flow);
                    Stands::One(first)
                }
                Concrete::Transistor(law, sign) => {
                    let Law::Transistor(t) = law else {
                        unreachable!("a transistor has its own law");
                    };
                    layout.whole &= t.early == 0.0 && t.whole;
                    let flows = layout.transistor(&t, sign, branch.nodes);
                    layout.flows.extend(flows);
                    Stands::Two(first)
                }
            };
            layout.stands.push(stands);
        }
        layout
    }

    /// Index of a stencil, which is added if it is new.
    pub fn stencil(&mut self, stencil: Stencil) -> usize {
        // The newest ones are the likeliest to be asked for again; the meter's is nobody else's.
        let known = self.stencils.iter().skip(1).rposition(|s| *s == stencil);
        known.map_or_else(
            || {
                self.stencils.push(stencil);
                self.stencils.len() - 1
            },
            |i| i + 1,
        )
    }

    /// A flow from node `a` to node `b` under the voltage between them.
    pub fn across(&mut self, a: Node, b: Node, curve: Curve) -> Flow {
        let [p, q] = [a, b].map(|n| self.unknowns[n as usize]);
        let stencil = self.stencil([(p.index, 1.0), (q.index, -1.0), (q.index, 0.0)]);
        Flow {
            from: p.index,
            to: q.index,
            bias: p.offset - q.offset,
            stencil,
            port: stencil,
            curve,
        }
    }

    /// Forward and backward current of a transistor on collector, base, emitter.
    ///
    /// The forward current is is (exp(vbe / width) - 1): it enters at the collector, its `bf`th
    /// part at the base, and both leave at the emitter; the backward one likewise with `br`.
    pub fn transistor(&mut self, t: &Transistor, sign: f64, nodes: [Node; 3]) -> [Flow; 2] {
        let [c, b, e] = nodes;
        [(c, e, t.bf), (e, c, t.br)].map(|(into, out, gain)| {
            let curve = Curve::Exponential {
                is: t.is,
                width: t.width,
            };
            // A mirrored transistor has its voltage and its current the other way round.
            let ends = if sign > 0.0 { (b, out) } else { (out, b) };
            let control = self.across(ends.0, ends.1, curve);
            let at = |n: Node| self.unknowns[n as usize].index;
            let stencil = [
                (at(into), sign),
                (at(b), sign / gain),
                (at(out), -sign * (1.0 + 1.0 / gain)),
            ];
            Flow {
                stencil: self.stencil(stencil),
                ..control
            }
        })
    }
}

/// The curve of a device with one port.
pub(super) fn one_port(law: Law) -> Curve {
    match law {
        Law::Junction(d) if d.rs == 0.0 => Curve::Exponential {
            is: d.is,
            width: d.width,
        },
        law => Curve::OnePort(law),
    }
}
