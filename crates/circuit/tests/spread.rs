//! How healthy parts differ: what the sheet says wins over what the style implies.

use circuit::Variation;

fn sd(text: &str) -> Vec<f64> {
    let (sheet, diagnostics) = sheet::parse(text, "spread.kdl");
    assert!(diagnostics.is_empty(), "{diagnostics:?}");
    let network = circuit::build(
        &sheet,
        sheet::device::Devices::shipped(),
        circuit::State::Cold,
    );
    network
        .population
        .parameters
        .iter()
        .map(|p| match p.variation {
            Variation::Normal { sd, .. } => sd,
            _ => 0.0,
        })
        .collect()
}

// Two independent normals, each with a standard deviation of half its figure.
#[test]
fn a_winding_may_have_a_spread_of_its_own() {
    let found = sd(r#"sheet T {
        net G role=ground
        transformer T1 tolerance="4%" drift="0%" {
            winding one A G volts=6 ohms=2
            winding two B G volts=6 ohms=2 tolerance="30%" drift="40%"
        }
        transformer T2 { winding three A B ohms=5 }
    }"#);
    let implied = 0.5 * 0.10_f64.hypot(0.02);
    for (have, want) in found.iter().zip([0.02, 0.25, implied]) {
        assert!((have - want).abs() < 1e-12, "{found:?}");
    }
}
