//! `board risk`: the shape of its JSON, its words, and what it refuses.

use crate::run::{file, json, keys, number, run, text};

/// A zener that may be shorted, a divider that may open, and a clamp that no cold reading shows.
const SHEET: &str = r#"sheet S {
    net G role=ground
    supply V1 volts=12 plus=P minus=G ohms=1
    resistor R1 "220R" P Z watts=0.25
    zener D1 "6.2V" anode=G cathode=Z watts=0.4
    resistor R2 "4k7" Z G watts=0.25
}"#;

#[test]
fn the_document_has_the_shape_that_is_promised() {
    let sheet = file("risk.kdl", SHEET);
    let view = json(&["board", "risk", sheet.to_str().unwrap()]);
    let hazards = view["hazards"].as_array().unwrap();
    let short = hazards
        .iter()
        .position(|h| h["part"] == "D1" && h["fault"] == "short")
        .expect("a shorted zener is a hazard");
    let hazard = &hazards[short];
    for key in ["part", "fault", "victims", "severity", "detected_by"] {
        assert!(keys(hazard).contains(&key), "{key} of {hazard}");
    }
    let victim = &hazard["victims"][0];
    assert_eq!(text(victim, "part"), "R1");
    assert!(text(victim, "why").contains("250 mW"), "{victim}");
    // (12 / 221.1)^2 x 220 / 0.25 W.
    assert!((number(victim, "times_rating") - 2.592).abs() < 0.01);
    assert_eq!(number(hazard, "severity"), 1.0);
    let card = view["card"].as_array().unwrap();
    let index = hazard["detected_by"][0].as_u64().unwrap() as usize;
    for key in ["kind", "red", "black", "low", "high", "rules_out"] {
        assert!(
            keys(&card[index]).contains(&key),
            "{key} of {}",
            card[index]
        );
    }
    let ruled: Vec<u64> = card[index]["rules_out"]
        .as_array()
        .unwrap()
        .iter()
        .map(|h| h.as_u64().unwrap())
        .collect();
    assert!(ruled.contains(&(short as u64)));
    assert!(view["uncovered"].is_array());
}

#[test]
fn the_words_put_cautions_before_the_card() {
    let sheet = file("risk-words.kdl", SHEET);
    let ended = run(&["board", "risk", sheet.to_str().unwrap()]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    let caution = ended.out.find("  ! ").expect("a caution");
    let card = ended.out.find("Cold card").expect("a card");
    assert!(caution < card);
    assert!(!ended.out.to_lowercase().contains("safe"), "{}", ended.out);
}

#[test]
fn a_project_is_all_its_boards() {
    let demo = concat!(env!("CARGO_MANIFEST_DIR"), "/../bench/demo");
    let view = json(&["board", "risk", demo, "--unit", "1"]);
    assert_eq!(text(&view, "sheet"), "Tamarisk 40");
    let named = |h: &serde_json::Value| text(h, "part").contains(':') || h["part"] == "bridge";
    assert!(view["hazards"].as_array().unwrap().iter().all(named));
    // Unit 1 has no pilot lamp B1 on A2, so that its resistor has nothing to fear.
    assert!(!view.to_string().contains("A2:B1 short"));
}

#[test]
fn what_cannot_be_asked_is_said() {
    let folder = env!("CARGO_TARGET_TMPDIR");
    for (words, says) in [
        (vec!["board", "risk", folder], "machine.kdl"),
        (
            vec!["board", "risk", "divider.kdl", "--unit", "1"],
            "no units",
        ),
        (
            vec![
                "board",
                "risk",
                concat!(env!("CARGO_MANIFEST_DIR"), "/../bench/demo"),
                "--unit",
                "9",
            ],
            "no unit `9`",
        ),
    ] {
        let ended = run(&words);
        assert_eq!(ended.code, 2, "{}", ended.err);
        assert!(ended.err.contains(says), "{}", ended.err);
    }
}
