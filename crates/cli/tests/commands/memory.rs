//! `memory` from outside, on the demo's stores.

use crate::run::{json, number, run};

macro_rules! store {
    ($name:literal) => {
        concat!(env!("CARGO_MANIFEST_DIR"), "/../bench/demo/stores/", $name)
    };
}

#[test]
fn a_dump_has_the_fixed_shape_and_names_what_was_planted() {
    let first = format!("1={}", store!("control/1-read-*.hex"));
    let second = format!("2={}", store!("control/2-read-*.hex"));
    let shape = store!("control.kdl");
    let view = json(&["memory", "dump", &first, &second, "--shape", shape]);
    assert_eq!(
        (number(&view, "words"), number(&view, "bits")),
        (96.0, 20.0)
    );
    let best = &view["explanations"][0];
    assert_eq!(best["elements"][0], "address line 4 stuck at 0");
    assert_eq!(best["elements"][1], "word wire 43 open");
    assert_eq!(best["explains"], view["wrong"]);
    assert_eq!(
        (best["leaves"].as_u64(), best["blames"].as_str()),
        (Some(0), Some("unit 2"))
    );
    // Five reads of unit 1 and three of unit 2 were found behind the stars.
    assert_eq!(view["map"][0]["votes"][0]["reads"], 5);
    let none = run(&["memory", "dump", "1=nowhere-*.hex", "--shape", shape]);
    assert_eq!(none.code, 2);
    assert!(
        none.err.starts_with("No file is called `nowhere-*.hex`."),
        "{}",
        none.err
    );
}

#[test]
fn writing_needs_a_kept_first_read() {
    let shape = store!("registers.kdl");
    let march = ["memory", "march", "--shape", shape, "--test", "March C-"];
    let blocked = run(&march);
    assert_eq!(blocked.code, 1);
    assert!(
        blocked.err.starts_with("Writing is blocked:"),
        "{}",
        blocked.err
    );
    let kept = run(&[&march[..], &["--saved", store!("registers/1-first.hex")]].concat());
    assert_eq!((kept.code, kept.out.lines().count()), (0, 1 + 240 * 10 * 4));
    let log = store!("registers/2-march.csv");
    let view = json(&["memory", "plane", log, "--shape", shape]);
    assert_eq!(
        view["explanations"][0]["elements"][0],
        "X selection diode 7 shorted"
    );
}

#[test]
fn runs_are_followed_and_maps_held_against_earlier_ones() {
    let reads = [1, 2].map(|u| format!("{u}={}/{u}-read-*.hex", store!("control")));
    let runs = [1, 2].map(|u| format!("{u}={}/{u}-sequence.txt", store!("control")));
    let words = [
        "memory",
        "follow",
        &reads[0],
        &reads[1],
        "--sequence",
        &runs[0],
        "--sequence",
        &runs[1],
    ];
    let view = json(&[&words[..], &["--shape", store!("control.kdl")]].concat());
    assert_eq!(
        (number(&view, "step"), number(&view, "after")),
        (7.0, f64::from(0x39))
    );
    let map = run(&[
        "memory",
        "map",
        store!("registers/1-map-2.csv"),
        "--earlier",
        store!("registers/1-map-1.csv"),
    ]);
    assert_eq!(map.code, 0, "{}", map.err);
    assert!(
        map.out
            .contains("the middle moved by 20 drive mA and 10 strobe ns"),
        "{}",
        map.out
    );
    assert_eq!(
        map.out.matches('@').count(),
        2,
        "in the key and on the map: {}",
        map.out
    );
}
