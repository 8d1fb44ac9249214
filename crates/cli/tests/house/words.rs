//! `solve` and `cover` know no word of electronics, neither in code nor in comments.

use crate::Breach;
use crate::tree::Tree;

/// The crates that the rule is about.
const CRATES: [&str; 2] = ["solve", "cover"];

/// Whole words. `current` in the singular, `ground`, `source`, `port` and `gain` are left out:
/// numerical mathematics uses them, too (a grounded Laplacian has one potential held at zero);
/// `electronics` itself, so that a page may say that it knows none.
const WORDS: &[&str] = &[
    "admittance",
    "amp",
    "ampere",
    "amperes",
    "amps",
    "anode",
    "battery",
    "bipolar",
    "board",
    "boards",
    "capacitance",
    "capacitor",
    "capacitors",
    "cathode",
    "circuit",
    "circuits",
    "collector",
    "currents",
    "diode",
    "diodes",
    "electric",
    "electrical",
    "electricity",
    "electron",
    "electronic",
    "emitter",
    "farad",
    "farads",
    "fuse",
    "germanium",
    "gmin",
    "henry",
    "impedance",
    "inductance",
    "inductor",
    "inductors",
    "junction",
    "junctions",
    "kirchhoff",
    "lamp",
    "lamps",
    "meter",
    "meters",
    "multimeter",
    "netlist",
    "npn",
    "ohm",
    "ohms",
    "pnp",
    "potentiometer",
    "probe",
    "probes",
    "rail",
    "rails",
    "resistance",
    "resistances",
    "resistive",
    "resistor",
    "resistors",
    "schematic",
    "siemens",
    "silicon",
    "solder",
    "transformer",
    "transistor",
    "transistors",
    "volt",
    "voltage",
    "voltages",
    "volts",
    "wire",
    "wires",
    "zener",
    "zeners",
];

/// Words of electronics where there should be none.
pub fn breaches(tree: &Tree) -> Vec<Breach> {
    let mut found = Vec::new();
    for (file, text) in CRATES.iter().flat_map(|name| tree.rust(name, "src")) {
        for (number, line) in text.lines().enumerate() {
            for word in words(line) {
                if WORDS.binary_search(&word.as_str()).is_ok() {
                    let name = file.split('/').nth(1).unwrap_or_default();
                    found.push(Breach {
                        file: file.to_owned(),
                        line: number + 1,
                        what: format!("`{word}` is a word of electronics; {name} knows none"),
                    });
                }
            }
        }
    }
    found
}

/// The words of a line in lower case; names are parted at `_`, at digits and at humps.
fn words(line: &str) -> Vec<String> {
    let mut list = vec![String::new()];
    let mut small = false;
    for c in line.chars() {
        if !c.is_alphabetic() || (small && c.is_uppercase()) {
            list.push(String::new());
        }
        small = c.is_lowercase();
        if c.is_alphabetic() {
            list.last_mut()
                .expect("never empty")
                .extend(c.to_lowercase());
        }
    }
    list.retain(|w| !w.is_empty());
    list
}

#[test]
fn the_list_is_in_order_and_names_are_parted() {
    assert!(WORDS.is_sorted());
    assert_eq!(
        words("fn maxVolts(base_amps: u8, LEAK2)"),
        ["fn", "max", "volts", "base", "amps", "u", "leak"]
    );
}
