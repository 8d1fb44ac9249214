//! The independent variables of a unit by what they belong to, so that a part is the same part in every state.

use circuit::{Network, Variation};
use sheet::{Kind, Part, Sheet};

/// A key for each variable of the network's population, in their order.
pub fn keys(sheet: &Sheet, network: &Network) -> Vec<String> {
    let mut keys = vec![String::new(); network.population.variables];
    for parameter in &network.population.parameters {
        let part = &sheet.parts[parameter.part.index()];
        let quantity = format!("{:?}", parameter.quantity);
        let mut name = |variable: u32, key: String| {
            let known = &mut keys[variable as usize];
            if known.is_empty() {
                *known = key;
            }
        };
        match parameter.variation {
            Variation::Fixed => {}
            Variation::Normal { variable, .. } => {
                // Windings of one transformer are told apart by their value.
                name(
                    variable,
                    format!("part {} {quantity} {}", part.name, parameter.nominal),
                );
            }
            Variation::Uniform { variable } => {
                name(variable, format!("part {} {quantity}", part.name));
            }
            Variation::Lognormal { lot, own } => {
                if let Some((variable, _)) = lot {
                    name(variable, format!("lot {} {quantity}", device_name(part)));
                }
                if let Some((variable, _)) = own {
                    name(variable, format!("part {} {quantity}", part.name));
                }
            }
        }
    }
    keys
}

fn device_name(part: &Part) -> String {
    match &part.kind {
        Kind::Diode { device, .. } => format!("diode {}", device.name),
        Kind::Zener { device, .. } => format!("zener {}", device.name),
        Kind::Transistor { device, .. } => format!("transistor {}", device.name),
        _ => part.name.clone(),
    }
}
