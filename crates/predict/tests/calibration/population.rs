//! A part is one part: its numbers and their spread are the same cold and powered.

use circuit::{Parameter, Quantity, Variation};

use crate::boards;

/// The variation without the numbering of the variables, which each state does for itself.
fn sizes(variation: Variation) -> Vec<f64> {
    match variation {
        Variation::Fixed => vec![],
        Variation::Normal { mean, sd, .. } => vec![1.0, mean, sd],
        Variation::Lognormal { lot, own } => {
            vec![2.0, lot.map_or(0.0, |l| l.1), own.map_or(0.0, |o| o.1)]
        }
        Variation::Uniform { .. } => vec![3.0],
    }
}

/// (part, what, nominal, spread) of every parameter.
fn numbers(parameters: &[Parameter]) -> Vec<(usize, Quantity, f64, Vec<f64>)> {
    parameters
        .iter()
        .map(|p| (p.part.index(), p.quantity, p.nominal, sizes(p.variation)))
        .collect()
}

#[test]
fn a_part_has_the_same_numbers_cold_and_powered() {
    let mut compared = 0;
    for bench in boards::all() {
        let cold = numbers(&bench.cold.network.population.parameters);
        let powered = numbers(&bench.powered.network.population.parameters);
        for number in &cold {
            let part = &bench.sheet.parts[number.0];
            // A lamp is a resistance when cold and a filament when lit; a supply may leave one behind.
            if matches!(
                part.kind,
                sheet::Kind::Lamp { .. } | sheet::Kind::Supply { .. }
            ) {
                continue;
            }
            assert!(
                powered.contains(number),
                "{} {}: {number:?}",
                bench.sheet.name,
                part.name
            );
            compared += 1;
        }
        for number in &powered {
            let part = &bench.sheet.parts[number.0];
            let only_powered = matches!(
                part.kind,
                sheet::Kind::Lamp { .. } | sheet::Kind::Supply { .. } | sheet::Kind::Load { .. }
            );
            assert!(
                only_powered || cold.contains(number),
                "{} {}: {number:?}",
                bench.sheet.name,
                part.name
            );
        }
    }
    assert!(compared > 300, "{compared}");
}

#[test]
fn parts_of_one_lot_share_it_in_both_states() {
    for bench in boards::all() {
        let lots = |parameters: &[Parameter]| -> Vec<Vec<(usize, Quantity)>> {
            let mut by_variable: std::collections::BTreeMap<u32, Vec<(usize, Quantity)>> =
                Default::default();
            for p in parameters {
                if let Variation::Lognormal {
                    lot: Some((variable, _)),
                    ..
                } = p.variation
                {
                    let member = (p.part.index(), p.quantity);
                    by_variable.entry(variable).or_default().push(member);
                }
            }
            let mut lots: Vec<_> = by_variable.into_values().collect();
            lots.sort_by_key(|l| (l[0].0, format!("{:?}", l[0].1)));
            lots
        };
        let cold = lots(&bench.cold.network.population.parameters);
        let powered = lots(&bench.powered.network.population.parameters);
        assert_eq!(cold, powered, "{}", bench.sheet.name);
    }
}
