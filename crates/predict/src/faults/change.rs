//! A fault as a few currents that come, go, or follow another law.

use circuit::laws::Transistor;
use circuit::network::Concrete;
use circuit::{Edit, Law, Network, Node};

use super::curve::Curve;
use super::layout::{Flow, Layout, Stands, one_port};

/// One current that the fault brings in, in place of another where `instead_of` says so.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Piece {
    /// Where it flows, and how it depends on its voltage.
    pub flow: Flow,
    /// The flow of the healthy layout that it replaces.
    pub instead_of: Option<usize>,
}

/// What a fault changes.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Pieces {
    /// Nothing at all.
    None,
    /// These currents.
    Some(Vec<Piece>),
    /// More than this form can say: the circuit has to be laid out anew.
    Anew,
}

/// Two sides of a circuit that one branch alone connects.
///
/// What flows into a side through its only connection must flow out again (Kirchhoff's current
/// law), so nothing flows there, unless a meter makes a second connection.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Sides {
    of: Vec<u32>,
    ends: [u32; 2],
}

impl Sides {
    /// Whether a meter on these nodes connects the two.
    pub fn joined_by(&self, red: Node, black: Node) -> bool {
        let pair = [self.of[red as usize], self.of[black as usize]];
        pair == self.ends || pair == [self.ends[1], self.ends[0]]
    }
}

/// A fault as a change of one board.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// What it does to the network.
    pub edits: Vec<Edit>,
    pub(super) pieces: Pieces,
    /// Where it takes out the only connection between two sides.
    pub(super) sides: Option<Sides>,
}

impl Change {
    /// Works out what `edits` change in `layout`, which was made of `network` with `values`.
    pub(super) fn new(
        layout: &mut Layout,
        network: &Network,
        values: &[f64],
        edits: Vec<Edit>,
    ) -> Self {
        let pieces = match pieces(layout, network, values, &edits) {
            None => Pieces::Anew,
            Some(list) if list.is_empty() => Pieces::None,
            Some(list) => Pieces::Some(list),
        };
        Self {
            sides: sides(network, &edits),
            edits,
            pieces,
        }
    }
}

/// `None` if the change cannot be written as currents.
fn pieces(
    layout: &mut Layout,
    network: &Network,
    values: &[f64],
    edits: &[Edit],
) -> Option<Vec<Piece>> {
    let mut list = Vec::new();
    for edit in edits {
        match edit {
            Edit::Scale(p, factor) => {
                let mut changed = values.to_vec();
                changed[p.index()] *= factor;
                for (index, branch) in network.branches.iter().enumerate() {
                    let (before, after) = (branch.concrete(values), branch.concrete(&changed));
                    if before != after {
                        rewritten(layout, index, branch.nodes, before, after, &mut list)?;
                    }
                }
            }
            Edit::Remove(index) => removed(layout, network, values, *index, &mut list)?,
            Edit::Shunt(a, b, ohms) => {
                let g = 1.0 / ohms.max(circuit::network::LEAST_OHMS);
                list.push(new(layout.across(*a, *b, Curve::Conductance(g))));
            }
            Edit::Lift(terminals) => match terminals[..] {
                [] => {}
                [t] => match network.branches[t.branch].concrete(values) {
                    Concrete::Transistor(Law::Transistor(device), sign) => {
                        as_flows(&device)?;
                        gone(layout, t.branch, &mut list);
                        let nodes = network.branches[t.branch].nodes;
                        list.push(new(lead_off(layout, &device, sign, nodes, t.index)));
                    }
                    // With one of its two leads in the air nothing flows through it.
                    _ => removed(layout, network, values, t.branch, &mut list)?,
                },
                _ => return None,
            },
            Edit::Turn(index) => {
                let branch = &network.branches[*index];
                match branch.concrete(values) {
                    Concrete::OnePort(law) => {
                        let Stands::One(flow) = layout.stands[*index] else {
                            return None;
                        };
                        list.push(instead(layout, flow, Curve::Reversed(law)));
                    }
                    Concrete::Transistor(Law::Transistor(device), sign) => {
                        as_flows(&device)?;
                        gone(layout, *index, &mut list);
                        let [c, b, e] = branch.nodes;
                        let flows = layout.transistor(&device, sign, [e, b, c]);
                        list.extend(flows.map(new));
                    }
                    _ => return None,
                }
            }
            Edit::OnlyBaseCollector(index) => {
                let branch = &network.branches[*index];
                let Concrete::Transistor(Law::Transistor(t), sign) = branch.concrete(values) else {
                    return None;
                };
                as_flows(&t)?;
                gone(layout, *index, &mut list);
                let [c, b, _] = branch.nodes;
                let junction = junction(t.is / t.br, t.width);
                list.push(new(mirrored(layout, b, c, sign, junction)));
            }
        }
    }
    // Two edits of one flow would each start from the healthy one.
    let mut replaced: Vec<usize> = list.iter().filter_map(|p| p.instead_of).collect();
    replaced.sort_unstable();
    let once = replaced.windows(2).all(|w| w[0] != w[1]);
    (once && edits.iter().filter(|e| matches!(e, Edit::Turn(_))).count() <= 1).then_some(list)
}

fn new(flow: Flow) -> Piece {
    Piece {
        flow,
        instead_of: None,
    }
}

fn instead(layout: &Layout, flow: usize, curve: Curve) -> Piece {
    Piece {
        flow: Flow {
            curve,
            ..layout.flows[flow]
        },
        instead_of: Some(flow),
    }
}

fn junction(is: f64, width: f64) -> Curve {
    Curve::Exponential { is, width }
}

/// A flow from `a` to `b`, or from `b` to `a` in a mirrored device.
fn mirrored(layout: &mut Layout, a: Node, b: Node, sign: f64, curve: Curve) -> Flow {
    if sign > 0.0 {
        layout.across(a, b, curve)
    } else {
        layout.across(b, a, curve)
    }
}

/// None if a transistor cannot be written as two flows of one voltage each (Early effect).
fn as_flows(t: &Transistor) -> Option<()> {
    (t.early == 0.0 && t.whole).then_some(())
}

/// The flows of a branch stop.
fn gone(layout: &Layout, branch: usize, list: &mut Vec<Piece>) {
    let flows = match layout.stands[branch] {
        Stands::One(first) => first..first + 1,
        Stands::Two(first) => first..first + 2,
        Stands::Nowhere | Stands::Linear => 0..0,
    };
    list.extend(flows.map(|f| instead(layout, f, Curve::Nothing)));
}

fn removed(
    layout: &mut Layout,
    network: &Network,
    values: &[f64],
    index: usize,
    list: &mut Vec<Piece>,
) -> Option<()> {
    let branch = &network.branches[index];
    match branch.concrete(values) {
        Concrete::OnePort(_) => {
            gone(layout, index, list);
            Some(())
        }
        Concrete::Transistor(Law::Transistor(t), _) => {
            as_flows(&t)?;
            gone(layout, index, list);
            Some(())
        }
        before => rewritten(
            layout,
            index,
            branch.nodes,
            before,
            Concrete::Conductance(0.0),
            list,
        ),
    }
}

/// A branch follows another law of the same kind.
fn rewritten(
    layout: &mut Layout,
    index: usize,
    [a, b, e]: [Node; 3],
    before: Concrete,
    after: Concrete,
    list: &mut Vec<Piece>,
) -> Option<()> {
    match (before, after) {
        (Concrete::Transistor(Law::Transistor(t), sign), Concrete::Transistor(to, _)) => {
            let Law::Transistor(to) = to else {
                return None;
            };
            as_flows(&t)?;
            if t.is != to.is || t.br != to.br {
                return None;
            }
            // Of the forward current another share enters at the base.
            let more = junction(t.is * (1.0 / to.bf - 1.0 / t.bf), t.width);
            list.push(new(mirrored(layout, b, e, sign, more)));
        }
        (Concrete::OnePort(_), Concrete::OnePort(to)) => {
            let Stands::One(flow) = layout.stands[index] else {
                return None;
            };
            list.push(instead(layout, flow, one_port(to)));
        }
        _ => {
            let ((g0, i0), (g1, i1)) = (linear(before)?, linear(after)?);
            if g0 != g1 {
                list.push(new(layout.across(a, b, Curve::Conductance(g1 - g0))));
            }
            if i0 != i1 {
                list.push(new(layout.across(a, b, Curve::Constant(i1 - i0))));
            }
        }
    }
    Some(())
}

/// Conductance, and current at zero volts, of a linear branch.
fn linear(concrete: Concrete) -> Option<(f64, f64)> {
    match concrete {
        Concrete::Conductance(g) => Some((g, 0.0)),
        Concrete::Battery(g, volts) => Some((g, -g * volts)),
        Concrete::Current(amps) => Some((0.0, amps)),
        _ => None,
    }
}

/// What is left of a transistor on collector, base, emitter when lead `which` of these is off.
fn lead_off(
    layout: &mut Layout,
    t: &Transistor,
    sign: f64,
    [c, b, e]: [Node; 3],
    which: usize,
) -> Flow {
    match which {
        // No collector current: the backward part is 1 / (1 + 1/br) of the forward one.
        0 => {
            let is = t.is * (1.0 / t.bf + 1.0 / (t.br + 1.0));
            mirrored(layout, b, e, sign, junction(is, t.width))
        }
        1 => mirrored(layout, c, e, sign, Curve::OpenBase(*t)),
        _ => {
            let is = t.is * (1.0 / t.br + 1.0 / (t.bf + 1.0));
            mirrored(layout, b, c, sign, junction(is, t.width))
        }
    }
}

/// The two sides, if the change takes out one branch of two leads and this was the only
/// connection between two parts of the circuit.
fn sides(network: &Network, edits: &[Edit]) -> Option<Sides> {
    let index = match edits {
        [Edit::Remove(index)] => *index,
        [Edit::Lift(terminals)] => match terminals[..] {
            [t] => t.branch,
            _ => return None,
        },
        _ => return None,
    };
    let branch = &network.branches[index];
    let [a, b, _] = branch.nodes;
    if branch.is_transistor() || matches!(branch.element, circuit::Element::Voltage(_)) {
        return None;
    }
    let mut without = network.clone();
    without.apply(&[Edit::Remove(index)]);
    let of = without.components(None);
    let ends = [of[a as usize], of[b as usize]];
    (ends[0] != ends[1]).then_some(Sides { of, ends })
}
