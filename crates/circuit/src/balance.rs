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
        let u = branch.differences(potential);
        let along = |i: f64| [i, -i, 0.0];
        // Currents into the branch at its nodes, and the largest slope that a rounded potential meets.
        let (currents, stiffness) = match branch.concrete(values) {
            Concrete::Conductance(g) => (along(g * u[0]), g),
            Concrete::Battery(g, volts) => (along(g * (u[0] - volts)), g),
            Concrete::Current(i) => (along(i), 0.0),
            Concrete::OnePort(law) => {
                let r = law.response(u);
                (along(r.current[0]), r.slope[0][0])
            }
            Concrete::Transistor(law, sign) => {
                let r = law.response(u);
                let [ic, ib] = r.current;
                let slope = r.slope.iter().flatten().map(|g| g.abs()).sum();
                ([sign * ic, sign * ib, -sign * (ic + ib)], slope)
            }
            Concrete::Voltage(volts) => {
                let apart = u[0] - volts;
                if apart.is_nan() || apart.abs() > 1e-9 * (1.0 + volts.abs()) {
                    return Balance::Broken {
                        node: branch.nodes[0],
                        amps: f64::INFINITY,
                    };
                }
                (along(sources.next().copied().unwrap_or(f64::NAN)), 0.0)
            }
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
