//! How long the capacitors of a board make a reading wait.

use circuit::Node;

use crate::probe::{Probe, Shown};

/// A capacitor between two nodes, in farads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Storage {
    /// Its nodes.
    pub nodes: [Node; 2],
    /// Its capacitance.
    pub farads: f64,
}

/// Seconds until the reading `shown` stands still within a percent, when the capacitors start
/// empty.
///
/// The sum of each capacitor's time constant, with the others empty, bounds the slowest one from
/// above (the first-order coefficient of the characteristic polynomial; Elmore, J. Appl. Phys. 19,
/// 1948). Capacitors that hold no voltage that the probe can see are left out. `None` if the
/// linearisation is singular.
pub fn settling(
    probe: &mut Probe<'_>,
    setup: &circuit::meter::Setup,
    shown: &Shown,
    storages: &[Storage],
) -> Option<f64> {
    probe.connect(setup);
    probe
        .workspace
        .linearise(&probe.assembly.system, &shown.x)
        .ok()?;
    let (red, black) = probe.leads();
    let unknown = |n: Node| probe.assembly.unknowns[n as usize].index as usize;
    let mut seen = vec![0.0; probe.assembly.system.unknowns];
    seen[unknown(red)] += 1.0;
    seen[unknown(black)] -= 1.0;
    probe.workspace.solve_transposed(&mut seen);
    let mut total = 0.0;
    for storage in storages {
        let [a, b] = storage.nodes.map(unknown);
        // What a current into the capacitor would do at the leads, in ohms.
        if a == b || (seen[a] - seen[b]).abs() < 1e-3 {
            continue;
        }
        let mut response = vec![0.0; seen.len()];
        response[a] += 1.0;
        response[b] -= 1.0;
        probe.workspace.solve(&mut response);
        total += (response[a] - response[b]).abs() * storage.farads;
    }
    // ln 100 time constants leave a hundredth.
    Some(total * 100_f64.ln())
}
