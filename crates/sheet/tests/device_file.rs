//! Mistakes in a device file are reported where they stand, with what would mend them, and cost their entry alone.

use sheet::device::{Devices, Sort};

/// Reads `text` and compares every diagnostic, written as `line:column message | mend`.
#[track_caller]
fn check(text: &str, expected: &[&str]) {
    let (_, mistakes) = Devices::parse(text);
    let found: Vec<String> = mistakes
        .iter()
        .map(|m| format!("{}:{} {} | {}", m.line, m.column, m.message, m.help))
        .collect();
    assert_eq!(found, expected);
}

#[test]
fn a_bad_entry_costs_itself_alone() {
    let text = "diode A material=silicon is=1e-9 n=2 source=\"here\"\ndiode B material=silicon n=2 source=\"here\"\n\
                npn C material=germanium is=1e-6 bf=50 br=5 source=\"there\"\n";
    let (devices, mistakes) = Devices::parse(text);
    assert_eq!(mistakes.len(), 1);
    assert_eq!(devices.names(Sort::Diode), ["A"]);
    assert_eq!(devices.names(Sort::Transistor), ["C"]);
    check(
        text,
        &["2:1 `is` of the diode B is not given. | Add is= with its value, such as is=1e-3."],
    );
}

#[test]
fn every_mistake_has_its_sentence_and_its_mend() {
    check(
        "triode A",
        &[
            "1:1 A device file has no `triode`. | What may stand here: spread, diode, transistor, npn, pnp.",
        ],
    );
    check(
        "diode D1 material=wood is=1e-9 n=2 source=\"x y\"",
        &[
            "1:10 The diode does not say what it is made of. | Write silicon, germanium or selenium.",
        ],
    );
    check(
        "diode D1 material=silicon is=\"one\" n=2 source=\"x y\"",
        &[
            "1:27 `is` of the diode D1 cannot be read as a quantity: `one`. | Write a value such as is=1e-3.",
        ],
    );
    check(
        "diode D1 material=silicon is=-1e-9 n=2 source=\"x y\"",
        &[
            "1:27 `is` of the diode D1 must be above zero, and is `-1e-9`. | Write a value such as is=1e-3.",
        ],
    );
    check(
        "diode D1 material=silicon is=1e-9 n=2 bf=3 source=\"x y\"",
        &[
            "1:39 `bf` is not a property of the diode D1. | What may stand here: material= is= n= rs= volts= amps= watts= \
           is-lot= is-own= source=.",
        ],
    );
    check(
        "diode D1 material=silicon is=1e-9 n=2",
        &[
            "1:1 The entry does not say where its figures come from. | Add source= with the book or the measurement, or \
           \"from memory\".",
        ],
    );
    check(
        "diode D1 material=silicon is=1e-9 n=2 is-lot=0.5 source=\"x y\"",
        &[
            "1:1 `is-lot` is a factor of one standard deviation and cannot be below 1: `0.5`. | Write 1 for no spread, 1.5 \
           for half as much again.",
        ],
    );
    check(
        "spread wood is-lot=2 source=\"x y\"",
        &["1:8 `wood` is no material known here. | Write silicon, germanium or selenium."],
    );
    check(
        "diode D1 material=silicon is=1 n=2 source=\"x y\"\ndiode D1 material=silicon is=2 n=2 source=\"x y\"",
        &["2:1 A name stands in the file twice; this one counts. | Remove one of the two."],
    );
}

#[test]
fn broken_syntax_is_reported_where_it_breaks_and_gives_nothing() {
    let (devices, mistakes) =
        Devices::parse("diode A material=silicon is=1e-9 n=2 source=\"x\"\ndiode B 4k7x=}\n");
    assert_eq!(devices.names(Sort::Diode), [""; 0]);
    assert!(mistakes.iter().all(|m| m.line == 2), "{mistakes:?}");
    assert!(!mistakes.is_empty());
}
