//! The balance of currents once more, in code of the test's own.

use circuit::network::Concrete;
use circuit::{Branch, Network};

/// Why the potentials are no solution: the node and what is left over there; `None` if they are one.
///
/// Nodes that ideal sources hold apart are one, since no law tells the current between them.
pub fn fault(
    network: &Network,
    meter: &[Branch],
    values: &[f64],
    potential: &[f64],
) -> Option<String> {
    if let Some(node) = potential.iter().position(|v| !v.is_finite()) {
        return Some(format!("node {node} is at {}", potential[node]));
    }
    let mut group: Vec<usize> = (0..network.nodes).collect();
    for branch in &network.branches {
        if let Concrete::Voltage(volts) = branch.concrete(values) {
            let [a, b] = [branch.nodes[0], branch.nodes[1]].map(|n| n as usize);
            if (potential[a] - potential[b] - volts).abs() > 1e-9 * (1.0 + volts.abs()) {
                return Some(format!("a source of {volts} V shows another voltage"));
            }
            let (from, to) = (group[a], group[b]);
            group
                .iter_mut()
                .filter(|g| **g == from)
                .for_each(|g| *g = to);
        }
    }
    let mut left = vec![0.0; network.nodes];
    let mut meeting = vec![0.0; network.nodes];
    let mut rounding = vec![0.0; network.nodes];
    for branch in network.branches.iter().chain(meter) {
        let Some(currents) = branch.currents(values, potential) else {
            continue;
        };
        let steep = steepness(branch, values, potential);
        for (node, amps) in branch.used_nodes().iter().zip(currents) {
            let n = group[*node as usize];
            left[n] += amps;
            meeting[n] += amps.abs();
            let volts = branch
                .used_nodes()
                .iter()
                .fold(0.0_f64, |m, k| m.max(potential[*k as usize].abs()));
            rounding[n] += 8.0 * f64::EPSILON * volts * steep;
        }
    }
    (0..network.nodes).find_map(|n| {
        let allowed = 1e-12 + 1e-6 * meeting[n] + rounding[n];
        (left[n].is_nan() || left[n].abs() > allowed)
            .then(|| format!("{:.3e} A are left over at node {n}", left[n]))
    })
}

/// Siemens by which rounding of a potential becomes current.
fn steepness(branch: &Branch, values: &[f64], potential: &[f64]) -> f64 {
    let u = branch.differences(potential);
    match branch.concrete(values) {
        Concrete::Conductance(g) | Concrete::Battery(g, _) => g,
        Concrete::OnePort(law) | Concrete::Transistor(law, _) => law
            .response(u)
            .slope
            .iter()
            .flatten()
            .map(|g| g.abs())
            .sum(),
        Concrete::Current(_) | Concrete::Voltage(_) => 0.0,
    }
}
