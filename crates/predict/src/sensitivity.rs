//! How a reading follows each of the independent variables behind the parts, by one adjoint solve.

use circuit::Element;
use circuit::network::Concrete;
use circuit::{ParameterId, Variation};
use solve::{Factors, GROUND};

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

/// A solution, ready to say where its neighbours lie: those with slightly other parts.
#[derive(Clone, Debug)]
pub(crate) struct Neighbourhood {
    factors: Factors,
    terms: Vec<Term>,
    values: Vec<f64>,
    x: Vec<f64>,
}

/// What a parameter's change does to the current through one port.
#[derive(Clone, Copy, Debug)]
struct Term {
    parameter: ParameterId,
    from: u32,
    to: u32,
    amps: f64,
}

impl Neighbourhood {
    /// Linearises the connected circuit at a solution `x` for `values`; `None` if it is singular.
    pub fn new(probe: &mut Probe<'_>, values: &[f64], x: &[f64]) -> Option<Self> {
        probe.workspace.linearise(&probe.assembly.system, x).ok()?;
        let potential = probe.assembly.potentials(x);
        let unknown = |n: u32| probe.assembly.unknowns[n as usize].index;
        let mut terms = Vec::new();
        for branch in &probe.board.network.branches {
            let [p, q, s] = branch.nodes.map(unknown);
            let u = branch.differences(&potential);
            let transistor = branch.is_transistor();
            branch.for_each_parameter(values, u, |parameter, by| {
                let mut add = |from, to, amps| {
                    if amps != 0.0 && from != to {
                        terms.push(Term {
                            parameter,
                            from,
                            to,
                            amps,
                        });
                    }
                };
                if transistor {
                    add(p, s, by[0]);
                    add(q, s, by[1]);
                } else {
                    add(p, q, by[0]);
                }
            });
        }
        Some(Self {
            factors: probe.workspace.factors().clone(),
            terms,
            values: values.to_vec(),
            x: x.to_vec(),
        })
    }

    /// About where the solution for other values lies, to first order.
    ///
    /// Saturation currents and gains count by their logarithm, in which junction voltages are
    /// linear.
    pub fn predict(&self, probe: &Probe<'_>, values: &[f64]) -> Vec<f64> {
        let parameters = &probe.board.network.population.parameters;
        let mut step = vec![0.0; self.x.len()];
        for term in &self.terms {
            let i = term.parameter.index();
            let (before, after) = (self.values[i], values[i]);
            if before == after {
                continue;
            }
            let change = match parameters[i].variation {
                Variation::Lognormal { .. } => before * (after / before).ln(),
                _ => after - before,
            };
            let amps = term.amps * change;
            step[term.from as usize] += amps;
            step[term.to as usize] -= amps;
        }
        self.factors
            .solve(probe.workspace.pattern(), &mut step, &mut Vec::new());
        for (step, x) in step.iter_mut().zip(&self.x) {
            *step = x - *step;
        }
        step
    }
}
