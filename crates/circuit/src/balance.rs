//! The certificate: do the currents of a claimed solution really balance at every node?
//!
//! This never calls the solver: it evaluates the device laws at the claimed potentials and
//! adds up what flows into every node (Kirchhoff's current law).

use crate::network::{Branch, Concrete, Network, Node};

/// Imbalance that is always accepted, in amperes.
pub const ABSOLUTE: f64 = 1e-12;
/// Imbalance accepted as a fraction of the branch currents that meet at the node.
pub const RELATIVE: f64 = 1e-6;

/// The result of the check.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Balance {
    /// Every node balances; the worst used this fraction of what is allowed.
    Certified {
        /// Largest imbalance over what is allowed at its node.
        worst: f64,
    },
    /// A node does not balance.
    Broken {
        /// The node.
        node: Node,
        /// Current left over, in amperes.
        amps: f64,
    },
}

impl Balance {
    /// True if every node balances.
    pub fn holds(self) -> bool {
        matches!(self, Balance::Certified { .. })
    }
}

/// Checks `potential` (volts, one a node) with `source_currents` (amperes from first node to
/// second through each ideal source, in the order of the branches). `meter` is what hangs on
/// the circuit besides its own branches.
pub fn balance(
    network: &Network,
    meter: &[Branch],
    values: &[f64],
    potential: &[f64],
    source_currents: &[f64],
) -> Balance {
    let mut sum = vec![0.0; network.nodes];
    let mut meeting = vec![0.0; network.nodes];
    let mut rounding = vec![0.0; network.nodes];
    let mut sources = source_currents.iter();
    for branch in network.branches.iter().chain(meter) {
        let currents = match branch.concrete(values) {
            Concrete::Voltage(volts) => {
                let [a, b, _] = branch.nodes;
                let apart = potential[a as usize] - potential[b as usize] - volts;
                if apart.is_nan() || apart.abs() > 1e-9 * (1.0 + volts.abs()) {
                    return Balance::Broken {
                        node: a,
                        amps: f64::INFINITY,
                    };
                }
                let i = sources.next().copied().unwrap_or(f64::NAN);
                [i, -i, 0.0]
            }
            _ => branch
                .currents(values, potential)
                .expect("only ideal sources have no law"),
        };
        let stiffness = match branch.concrete(values) {
            Concrete::Conductance(g) | Concrete::Battery(g, _) => g,
            Concrete::OnePort(law) => law.response(branch.differences(potential)).slope[0][0],
            Concrete::Transistor(law, _) => {
                let s = law.response(branch.differences(potential)).slope;
                s.iter().flatten().map(|g| g.abs()).sum()
            }
            Concrete::Current(_) | Concrete::Voltage(_) => 0.0,
        };
        let largest = branch
            .used_nodes()
            .iter()
            .fold(0.0_f64, |m, n| m.max(potential[*n as usize].abs()));
        for (node, current) in branch.used_nodes().iter().zip(currents) {
            let n = *node as usize;
            sum[n] += current;
            meeting[n] += current.abs();
            // A potential is stored to one part in 2^53; a stiff branch turns that into current.
            rounding[n] += 4.0 * f64::EPSILON * stiffness * largest;
        }
    }
    let mut worst = 0.0_f64;
    for node in 0..network.nodes {
        let allowed = ABSOLUTE + RELATIVE * meeting[node] + rounding[node];
        let used = sum[node].abs() / allowed;
        if used.is_nan() || used > 1.0 {
            return Balance::Broken {
                node: node as Node,
                amps: sum[node],
            };
        }
        worst = worst.max(used);
    }
    Balance::Certified { worst }
}
