//! A board in one state, ready to be probed.

use circuit::{Balance, Network, Node};
use solve::{Ladder, Settings, Workspace};

use crate::assembly::{Assembly, MeterTerms};

/// A board whose network has been laid out once; probes share its elimination order.
#[derive(Clone, Debug)]
pub struct Board {
    /// The network.
    pub network: Network,
    /// Potentials without a meter: the start of every probe. Zero when cold.
    pub rest: Vec<f64>,
    pub(crate) order: Vec<u32>,
}

/// The solver found no point at which the currents balance, or the balance did not confirm it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// No rung of the ladder converged.
    #[error("no operating point was found; the worst node is {node}")]
    NotSolved {
        /// Node with the worst imbalance.
        node: Node,
        /// Its imbalance in amperes, if it is a number.
        amps: Option<f64>,
        /// What was tried.
        ladder: Ladder,
    },
    /// A solution was found whose currents do not balance.
    #[error("the currents of the operating point do not balance at node {node} ({amps:e} A)")]
    NotCertified {
        /// The node.
        node: Node,
        /// Current left over in amperes.
        amps: f64,
    },
}

/// A certified operating point.
#[derive(Clone, Debug, PartialEq)]
pub struct Solved {
    /// Potential of every node in volts.
    pub potential: Vec<f64>,
    /// How it was reached.
    pub ladder: Ladder,
}

impl Board {
    /// Lays the network out and solves it without a meter, with nominal parts.
    pub fn new(network: Network) -> Result<Self, Refusal> {
        Self::near(network, &[])
    }

    /// The same, sought from these potentials of its first nodes, in volts; all others begin at zero.
    pub(crate) fn near(network: Network, potential: &[f64]) -> Result<Self, Refusal> {
        let values = network.population.nominal();
        let assembly = Assembly::new(&network, &values, 0, 0);
        let mut workspace = Workspace::new(&assembly.system);
        let order = workspace.pattern().order().to_vec();
        let mut start = vec![0.0; assembly.system.unknowns];
        for (unknown, volts) in assembly.unknowns.iter().zip(potential) {
            start[unknown.index as usize] = volts - unknown.offset;
        }
        let solved = settle(&network, &assembly, &mut workspace, &values, &start, &[])?;
        Ok(Self {
            rest: solved.0,
            order,
            network,
        })
    }

    /// The start for probes of the unit with parameter `values`, to be handed to them.
    ///
    /// # Errors
    /// If no certified solution is found.
    pub fn rest_with(&self, values: &[f64]) -> Result<Vec<f64>, Refusal> {
        let assembly = Assembly::new(&self.network, values, 0, 0);
        let mut workspace = Workspace::with_order(&assembly.system, &self.order);
        settle(
            &self.network,
            &assembly,
            &mut workspace,
            values,
            &self.rest,
            &[],
        )
        .map(|s| s.0)
    }

    /// The operating point without a meter, with parameter `values`, found from nothing.
    pub fn operating_point(&self, values: &[f64]) -> Result<Solved, Refusal> {
        let mut assembly = Assembly::new(&self.network, values, 0, 0);
        assembly.set_meter(MeterTerms::NONE, false);
        let mut workspace = Workspace::with_order(&assembly.system, &self.order);
        let start = vec![0.0; assembly.system.unknowns];
        let (x, ladder) = settle(
            &self.network,
            &assembly,
            &mut workspace,
            values,
            &start,
            &[],
        )?;
        Ok(Solved {
            potential: assembly.potentials(&x),
            ladder,
        })
    }
}

/// Solves and certifies; returns the unknowns and how they were found.
pub(crate) fn settle(
    network: &Network,
    assembly: &Assembly,
    workspace: &mut Workspace,
    values: &[f64],
    start: &[f64],
    meter: &[circuit::Branch],
) -> Result<(Vec<f64>, Ladder), Refusal> {
    let node_of = |unknown: u32| {
        assembly
            .unknowns
            .iter()
            .position(|u| u.index == unknown)
            .unwrap_or(0) as Node
    };
    let (solution, ladder) = solve::solve(&assembly.system, workspace, start, &Settings::default())
        .map_err(|f| Refusal::NotSolved {
            node: node_of(f.unknown),
            amps: f.imbalance,
            ladder: f.ladder,
        })?;
    let potential = assembly.potentials(&solution.x);
    let sources = source_currents(network, meter, values, &potential);
    match circuit::balance(network, meter, values, &potential, &sources) {
        Balance::Certified { .. } => Ok((solution.x, ladder)),
        Balance::Broken { node, amps } => Err(Refusal::NotCertified { node, amps }),
    }
}

/// Currents through the ideal sources: whatever the other branches leave over, found by peeling
/// the forest that the sources form from its leaves.
pub(crate) fn source_currents(
    network: &Network,
    meter: &[circuit::Branch],
    values: &[f64],
    potential: &[f64],
) -> Vec<f64> {
    let sources: Vec<(usize, [Node; 2])> = network
        .branches
        .iter()
        .enumerate()
        .filter(|(_, b)| matches!(b.element, circuit::Element::Voltage(_)))
        .map(|(i, b)| (i, [b.nodes[0], b.nodes[1]]))
        .collect();
    if sources.is_empty() {
        return Vec::new();
    }
    let mut leaving = vec![0.0; network.nodes];
    let mut meeting = vec![0.0; network.nodes];
    for branch in network.branches.iter().chain(meter) {
        if let Some(currents) = branch.currents(values, potential) {
            for (node, current) in branch.used_nodes().iter().zip(currents) {
                leaving[*node as usize] += current;
                meeting[*node as usize] += current.abs();
            }
        }
    }
    let mut degree = vec![0; network.nodes];
    for (_, ends) in &sources {
        ends.iter().for_each(|n| degree[*n as usize] += 1);
    }
    let mut found: Vec<Option<f64>> = vec![None; sources.len()];
    // A forest of k edges is peeled in at most k rounds.
    for _ in 0..sources.len() {
        for (k, (_, [a, b])) in sources.iter().enumerate() {
            if found[k].is_some() {
                continue;
            }
            let (a, b) = (*a as usize, *b as usize);
            // Where both ends tell, the one at which less flows has less to round.
            let through = match (degree[a] == 1, degree[b] == 1) {
                (true, true) if meeting[b] < meeting[a] => leaving[b],
                (true, _) => -leaving[a],
                (false, true) => leaving[b],
                (false, false) => continue,
            };
            found[k] = Some(through);
            leaving[a] += through;
            leaving[b] -= through;
            degree[a] -= 1;
            degree[b] -= 1;
        }
    }
    found.into_iter().map(|i| i.unwrap_or(f64::NAN)).collect()
}
