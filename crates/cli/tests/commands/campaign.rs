//! `board campaign`: what is counted, and that time ends it.

use crate::run::{json, keys, number, run};

#[test]
fn every_fault_meets_every_reading() {
    let view = json(&["board", "campaign", "divider.kdl"]);
    assert_eq!(
        keys(&view),
        [
            "anew",
            "changed",
            "cpu_seconds",
            "failed",
            "faults",
            "nets",
            "parts",
            "readings",
            "screened",
            "seconds",
            "sheet",
            "solves",
            "threads"
        ]
    );
    assert_eq!(view["sheet"], "A2");
    let count = |key: &str| number(&view, key) as usize;
    // V1 2, four resistors 16, C1 5, D1 2, Q1 11, two pins 2; four nets against ground, both ways.
    assert_eq!((count("parts"), count("nets")), (9, 5));
    assert_eq!((count("faults"), count("readings")), (38, 8));
    assert_eq!((count("solves"), count("failed")), (304, 0));
    // Cold, the supply is not connected and a capacitor passes nothing: opening them, or changing the
    // capacitor's value, moves nothing. That is one fault of V1, three of C1 and both pins.
    assert!(count("screened") >= 6 * 8, "{view}");
    assert!(count("screened") < 304, "{view}");
    // R2 short pulls TP1 to ground, from about 0.6 V and more.
    assert!(
        count("changed") > 40 && count("changed") + count("screened") <= 304,
        "{view}"
    );
    assert!(number(&view, "cpu_seconds") > 0.0 && number(&view, "seconds") > 0.0);
}

#[test]
fn when_time_is_up_what_was_done_is_told() {
    let view = json(&["board", "campaign", "divider.kdl", "--seconds", "1e-9"]);
    let readings = number(&view, "readings");
    assert!((1.0..8.0).contains(&readings), "{view}");
    assert_eq!(number(&view, "solves"), 38.0 * readings);
}

#[test]
fn no_time_at_all_is_a_mistake() {
    for seconds in ["0", "-3", "nan"] {
        let ended = run(&["board", "campaign", "divider.kdl", "--seconds", seconds]);
        assert_eq!(ended.code, 2, "{seconds}: {}", ended.err);
    }
}
