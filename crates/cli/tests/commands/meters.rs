//! `meter list` and `meter show`, and which profile is in force.

use crate::run::{file, json, number, run, text};

#[test]
fn a_profile_is_shown_with_all_its_ranges_and_can_be_used_as_it_was_shown() {
    let ended = run(&["meter", "show", "bench-digital"]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    let words: Vec<&str> = ended
        .out
        .lines()
        .filter_map(|l| l.strip_prefix("// "))
        .collect();
    assert_eq!(
        words,
        [
            "ohms to 200 Ω: 1.00 mA until 3.00 V, within 0.3 % + 0.100 Ω",
            "ohms to 2.00 kΩ: 1.00 mA until 3.00 V, within 0.3 % + 1.00 Ω",
            "ohms to 20.0 kΩ: 100 µA until 3.00 V, within 0.3 % + 10.0 Ω",
            "ohms to 200 kΩ: 10.0 µA until 3.00 V, within 0.3 % + 100 Ω",
            "ohms to 2.00 MΩ: 1.00 µA until 3.00 V, within 0.3 % + 1.00 kΩ",
            "ohms to 20.0 MΩ: 100 nA until 3.00 V, within 1 % + 10.0 kΩ",
            "diode: 1.00 mA until 2.50 V, within 0.5 % + 1.00 mV",
            "volts: 10.0 MΩ between the leads, within 0.3 % + 1.00 mV",
            "never above 600 V",
        ]
    );
    assert_eq!(ended.out.matches("range ").count(), 6, "{}", ended.out);
    // What was printed is a meter file, and gives the same expectations.
    for name in ["bench-digital", "moving-coil"] {
        let shown = file("shown.kdl", &run(&["meter", "show", name]).out);
        let shown = shown.to_str().expect("a plain path");
        let by_name = json(&["board", "expect", "divider.kdl", "--meter", name]);
        let by_file = json(&["board", "expect", "divider.kdl", "--meter", shown]);
        assert_eq!(by_name, by_file);
    }
}

#[test]
fn every_listed_profile_can_be_shown() {
    let listed = run(&["meter", "list"]);
    let names: Vec<&str> = listed.out.lines().collect();
    for wanted in ["bench-digital", "handheld-digital", "moving-coil"] {
        assert!(names.contains(&wanted), "{names:?}");
    }
    for name in names {
        let view = json(&["meter", "show", name]);
        assert_eq!(text(&view, "meter"), name);
        assert!(number(&view, "max_volts") > 0.0);
        assert!(!view["ranges"].as_array().expect("a list").is_empty());
    }
}

#[test]
fn the_profile_of_the_command_goes_before_the_one_beside_the_sheet() {
    let meter = |words: &[&str]| {
        let view = json(&[&["board", "expect"], words].concat());
        text(&view, "meter").to_owned()
    };
    assert_eq!(meter(&["divider.kdl"]), "bench-digital");
    assert_eq!(meter(&["own-meter/divider.kdl"]), "of-this-bench");
    assert_eq!(
        meter(&["own-meter/divider.kdl", "--meter", "moving-coil"]),
        "moving-coil"
    );
    assert_eq!(
        meter(&[
            "own-meter/divider.kdl",
            "--meter",
            "volts-only.kdl",
            "--state",
            "powered"
        ]),
        "volts-only"
    );
}
