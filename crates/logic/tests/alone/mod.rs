//! A gate sheet of one package and nothing else.

use logic::{Machine, read_gates};

/// A sheet with one package whose pins are on nets `pN`.
pub fn alone(number: &str, inputs: &[u32], outputs: &[u32]) -> Machine {
    let nets: Vec<String> = inputs.iter().map(|p| format!("p{p}")).collect();
    let pins: Vec<String> = inputs
        .iter()
        .chain(outputs)
        .map(|p| format!("{p}=p{p}"))
        .collect();
    let text = format!(
        "logic one {{\n input {}\n package U1 \"{number}\" pins=\"{}\"\n}}",
        nets.join(" "),
        pins.join(" ")
    );
    let (machine, mistakes) = read_gates(&text);
    assert!(mistakes.is_empty(), "{mistakes:?}");
    machine.expect("can be built")
}
