//! Mistakes in a device file are reported where they stand, with what would mend them, and cost their entry alone.

use sheet::device::{Devices, Sort};

/// Reads `text` and compares every diagnostic, written as `line:column message | mend`.
#[track_caller]
fn check(text: &str, expected: &[&str]) {
    let (_, mistakes) = Devices::parse(text, "devices.kdl");
    let found: Vec<String> = mistakes
        .iter()
        .map(|m| {
            let place = m.place.as_ref().expect("a place");
            format!("{}:{} {} | {}", place.line, place.column, m.message, m.help)
        })
        .collect();
    assert_eq!(found, expected);
}

#[test]
fn a_bad_entry_costs_itself_alone() {
    let text = "diode A material=silicon is=1e-9 n=2 source=\"here\"\n\
                diode B material=silicon n=2 source=\"here\"\n\
                diode 1N4148 material=silicon is=1e-9 n=2 source=\"here\"\n\
                npn C material=germanium is=1e-6 bf=50 br=5 source=\"there\"\n";
    let (devices, mistakes) = Devices::parse(text, "devices.kdl");
    assert_eq!(mistakes.len(), 2, "{mistakes:?}");
    assert_eq!(devices.names(Sort::Diode), ["A"]);
    assert_eq!(devices.names(Sort::Transistor), ["C"]);
}

#[test]
fn every_mistake_has_its_sentence_and_its_mend() {
    check(
        "triode A",
        &["1:1 A device file has no `triode`. | Did you mean `diode`?"],
    );
    check(
        "diode D1 material=wood is=1e-9 n=2 source=\"x y\"",
        &[
            "1:10 `wood` is no `material` that diode D1 can have. | Write one of: silicon, germanium, selenium.",
        ],
    );
    check(
        "diode D1 is=1e-9 n=2 source=\"x y\"",
        &[
            "1:1 What diode D1 is made of is not said. | Add material=silicon, germanium or selenium.",
        ],
    );
    check(
        "diode material=silicon is=1e-9 n=2 source=\"x y\"",
        &[
            "1:1 Diode has no name. | Write it so: diode NAME material=silicon is=4e-9 n=1.9 source=\"where from\"",
        ],
    );
    check(
        "diode D1 material=silicon n=2 source=\"x y\"",
        &[
            "1:1 Diode D1 has no `is=`. | Write it so: diode NAME material=silicon is=4e-9 n=1.9 source=\"where from\"",
        ],
    );
    check(
        "diode D1 material=silicon is=1e-9 source=\"x y\"",
        &[
            "1:1 Diode D1 has no `n=`. | Write it so: diode NAME material=silicon is=4e-9 n=1.9 source=\"where from\"",
        ],
    );
    check(
        "diode D1 material=silicon is=\"one\" n=2 source=\"x y\"",
        &["1:27 `one` cannot be read as amperes. | Write a value such as \"0.6A\"."],
    );
    check(
        "diode D1 material=silicon is=-1e-9 n=2 source=\"x y\"",
        &[
            "1:27 `is` of diode D1 must be above zero, and `-1e-9` is not. | Write a value such as \"0.6A\".",
        ],
    );
    check(
        "diode D1 material=silicon is=1e-9 n=2 bf=3 source=\"x y\"",
        &[
            "1:39 Diode D1 has no property `bf`. | It may have: amps, is, is-lot, is-own, material, n, rs, source, volts, watts.",
        ],
    );
    check(
        "diode D1 material=silicon is=1e-9 n=2",
        &[
            "1:1 The figures of diode D1 have no source. | Add source= with the book or the measurement, or \"from memory\".",
        ],
    );
    check(
        "diode D1 material=silicon is=1e-9 n=2 is-lot=0.5 source=\"x y\"",
        &[
            "1:39 `is-lot` of diode D1 must be 1 or more, and `0.5` is not. | Write a value such as 1.5.",
        ],
    );
    check(
        "spread wood is-lot=2 source=\"x y\"",
        &["1:8 `wood` is no material known here. | Write one of: silicon, germanium, selenium."],
    );
    check(
        "diode 2x4 material=silicon is=1e-9 n=2 source=\"x y\"",
        &[
            "1:7 `2x4` starts with a digit and is not a plain number, so it must be quoted. | Quote it: \"2x4\".",
        ],
    );
    check(
        "diode D1 material=silicon is=1 n=2 source=\"x y\"\ndiode D1 material=silicon is=2 n=2 source=\"x y\"",
        &["2:1 This name stands in the file twice; the last one counts. | Remove one of the two."],
    );
}
