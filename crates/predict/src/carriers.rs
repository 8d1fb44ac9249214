//! Which parts carry a reading, for words beside the number.

use circuit::network::Concrete;
use circuit::{Branch, Network};
use sheet::PartId;

/// Which piece of a part carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// The whole part.
    Whole,
    /// A transistor's base-emitter junction.
    BaseEmitter,
    /// A transistor's base-collector junction.
    BaseCollector,
    /// A transistor's path from collector to emitter.
    CollectorEmitter,
}

/// A part's share in a reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Carrier {
    /// The part.
    pub part: PartId,
    /// The piece of it.
    pub place: Place,
    /// Share of the power that the meter puts in, between 0 and 1.
    pub share: f64,
    /// Current through it over the meter's current.
    pub current: f64,
    /// Voltage across it over the meter's voltage.
    pub voltage: f64,
}

/// The parts that take the meter's power, largest first; shares below 2 % are left out.
///
/// By Tellegen's theorem the powers in the branches of a cold circuit sum to what the meter
/// delivers, so they are shares of the reading. Empty when nothing flows.
pub fn carriers(network: &Network, values: &[f64], potential: &[f64], volts: f64) -> Vec<Carrier> {
    let mut found: Vec<(PartId, Place, f64, f64, f64)> = Vec::new();
    for branch in &network.branches {
        let Some(part) = branch.part else { continue };
        for (place, u, i) in pieces(branch, values, potential) {
            found.push((part, place, u * i, i.abs(), u.abs()));
        }
    }
    let total: f64 = found.iter().map(|f| f.2).sum();
    if total <= 0.0 || volts == 0.0 {
        return Vec::new();
    }
    let amps = total / volts.abs();
    let mut list: Vec<Carrier> = found
        .into_iter()
        .filter(|f| f.2 >= 0.02 * total)
        .map(|(part, place, power, i, u)| Carrier {
            part,
            place,
            share: power / total,
            current: i / amps,
            voltage: u / volts.abs(),
        })
        .collect();
    list.sort_by(|a, b| b.share.total_cmp(&a.share));
    list
}

/// (piece, volts, amperes) of a branch.
fn pieces(branch: &Branch, values: &[f64], potential: &[f64]) -> Vec<(Place, f64, f64)> {
    let u = branch.differences(potential);
    match branch.concrete(values) {
        Concrete::Conductance(g) => vec![(Place::Whole, u[0], g * u[0])],
        Concrete::OnePort(law) => vec![(Place::Whole, u[0], law.response(u).current[0])],
        Concrete::Transistor(law, _) => {
            let circuit::Law::Transistor(t) = law else {
                return Vec::new();
            };
            // The base current splits into its two junctions' shares, and the transport current
            // crosses from collector to emitter.
            let at = |v: [f64; 2]| t.response(v).current;
            let base_emitter = if t.whole { at([u[0], 0.0])[1] } else { 0.0 };
            let base_collector = at([0.0, u[1]])[1];
            let transport = at(u)[0] + base_collector;
            vec![
                (Place::BaseEmitter, u[0], base_emitter),
                (Place::BaseCollector, u[1], base_collector),
                (Place::CollectorEmitter, u[0] - u[1], transport),
            ]
        }
        Concrete::Battery(..) | Concrete::Current(_) | Concrete::Voltage(_) => Vec::new(),
    }
}
