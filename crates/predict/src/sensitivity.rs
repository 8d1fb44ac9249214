//! How a reading follows each of the independent variables behind the parts, by one adjoint solve.

use circuit::Element;
use circuit::network::Concrete;
use solve::GROUND;

use crate::probe::Probe;

/// Derivative of the volts between the leads by each standard normal variable, in volts.
///
/// `z` are the variables at which `values` were made, `x` the solution. One transposed solve gives
/// all derivatives (Director and Rohrer, IEEE Trans. Circuit Theory 16, 1969). `None` if the
/// linearisation at `x` is singular.
pub fn slopes(probe: &mut Probe<'_>, z: &[f64], values: &[f64], x: &[f64]) -> Option<Vec<f64>> {
    let system = &probe.assembly.system;
    probe.workspace.linearise(system, x).ok()?;
    let (red, black) = probe.leads();
    let unknown = |n: u32| probe.assembly.unknowns[n as usize].index;
    let mut y = vec![0.0; system.unknowns];
    y[unknown(red) as usize] += 1.0;
    y[unknown(black) as usize] -= 1.0;
    probe.workspace.solve_transposed(&mut y);
    let potential = probe.assembly.potentials(x);
    let network = &probe.board.network;
    let at = |n: u32| {
        let i = unknown(n);
        if i == GROUND { 0.0 } else { y[i as usize] }
    };
    let mut result = vec![0.0; network.population.variables];
    for branch in &network.branches {
        if matches!(branch.element, Element::Absent | Element::Fixed(_)) {
            continue;
        }
        let [p, q, s] = branch.nodes;
        // Weight of a current through each port: what it would do to the reading.
        let weights = match branch.concrete(values) {
            Concrete::Transistor(..) => [at(s) - at(p), at(s) - at(q)],
            _ => [at(q) - at(p), 0.0],
        };
        if weights == [0.0; 2] {
            continue;
        }
        let u = branch.differences(&potential);
        branch.for_each_parameter(values, u, |parameter, by| {
            let effect = weights[0] * by[0] + weights[1] * by[1];
            if effect != 0.0 {
                network.population.parameters[parameter.index()]
                    .for_each_slope(z, |variable, slope| result[variable] += effect * slope);
            }
        });
    }
    Some(result)
}
