//! `board expect`: which pairs, how they are named, what is left out, and numbers by hand.

use serde_json::Value;

use crate::run::{json, keys, near, number, run, text};

fn rows(document: &Value) -> &Vec<Value> {
    document["expectations"].as_array().expect("a list")
}

/// (kind, red, black) of every row.
fn places(document: &Value) -> Vec<(&str, &str, &str)> {
    rows(document)
        .iter()
        .map(|r| (text(r, "kind"), text(r, "red"), text(r, "black")))
        .collect()
}

#[test]
fn without_pairs_every_net_is_read_against_ground_both_ways() {
    let cold = json(&["board", "expect", "divider.kdl"]);
    assert_eq!(
        keys(&cold),
        ["expectations", "meter", "sheet", "state"],
        "nothing was skipped"
    );
    assert_eq!(text(&cold, "sheet"), "A2");
    assert_eq!(text(&cold, "state"), "cold");
    assert_eq!(text(&cold, "meter"), "bench-digital");
    let mut wanted = Vec::new();
    let nets = ["MID", "TOP", "OUT", "E"];
    for net in nets {
        for kind in ["ohms", "diode"] {
            wanted.push((kind, net, "0V"));
            wanted.push((kind, "0V", net));
        }
    }
    let mut got = places(&cold);
    got.sort_unstable();
    wanted.sort_unstable();
    assert_eq!(got, wanted);

    let powered = json(&["board", "expect", "divider.kdl", "--state", "powered"]);
    assert_eq!(text(&powered, "state"), "powered");
    let mut got = places(&powered);
    let mut wanted: Vec<_> = nets
        .iter()
        .flat_map(|net| [("volts", *net, "0V"), ("volts", "0V", *net)])
        .collect();
    got.sort_unstable();
    wanted.sort_unstable();
    assert_eq!(got, wanted);
}

#[test]
fn every_row_has_the_members_of_the_contract() {
    for state in ["cold", "powered"] {
        let view = json(&["board", "expect", "divider.kdl", "--state", state]);
        for row in rows(&view) {
            for key in ["expected", "low", "high"] {
                assert!(row[key].is_null() || row[key].is_f64(), "{row}");
            }
            let unit = match text(row, "kind") {
                "ohms" => "ohm",
                _ => "V",
            };
            assert_eq!(text(row, "in"), unit);
            assert_eq!(row["over_range"], Value::Bool(row["expected"].is_null()));
            if let (Some(low), Some(high)) = (row["low"].as_f64(), row["high"].as_f64()) {
                assert!(low < high, "{row}");
            }
            assert_eq!(text(row, "state"), state);
        }
    }
}

#[test]
fn pairs_are_echoed_as_they_were_given_and_their_state_wins() {
    let words = ["board", "expect", "divider.kdl", "--pairs", "pairs.csv"];
    let view = json(&words);
    assert_eq!(
        places(&view),
        [
            ("ohms", "TP1", "0V"),
            ("ohms", "Q1.b", "E"),
            ("diode", "D1.anode", "OUT"),
            ("volts", "MID", "0V"),
        ]
    );
    let states = |view: &Value| -> Vec<String> {
        rows(view)
            .iter()
            .map(|r| text(r, "state").to_owned())
            .collect()
    };
    assert_eq!(states(&view), ["cold", "cold", "cold", "powered"]);
    let view = json(&[&words[..], &["--state", "powered"]].concat());
    assert_eq!(states(&view), ["powered", "cold", "powered", "powered"]);
}

#[test]
fn two_resistors_in_parallel_read_what_the_rule_of_error_propagation_says() {
    // 10k and 10k within 5 % each: 5k, each with a weight of one quarter; common practice. The
    // meter shows 5k on its 20k range within 0.3 % and 10R, two standard deviations.
    let view = json(&["board", "expect", "two-resistors.kdl"]);
    let row = &rows(&view)[0];
    near(number(row, "expected"), 5_000.0, 1e-9);
    let part = 0.25 * 10_000.0 * 0.025;
    let meter = 0.5 * (0.003 * 5_000.0 + 10.0);
    let sd = f64::hypot(part * 2.0_f64.sqrt(), meter);
    near(
        number(row, "high") - number(row, "low"),
        2.0 * 1.96 * sd,
        0.02,
    );
    assert_eq!(text(row, "because"), "R1 in parallel with R2");
}

#[test]
fn volts_are_loaded_by_the_meter_and_change_sign_with_the_leads() {
    let view = json(&["board", "expect", "fixed-supply.kdl", "--state", "powered"]);
    let of = |red: &str, black: &str| {
        let row = rows(&view)
            .iter()
            .find(|r| text(r, "red") == red && text(r, "black") == black)
            .expect("the pair is there");
        number(row, "expected")
    };
    // 12 V by 10k over 10k parallel 10M (Ohm's law).
    let lower = 1e4 * 1e7 / (1e4 + 1e7);
    near(of("MID", "0V"), 12.0 * lower / (1e4 + lower), 1e-6);
    near(of("0V", "MID"), -of("MID", "0V"), 1e-9);
    near(of("TOP", "0V"), 12.0, 1e-9);
}

#[test]
fn a_fault_is_assumed_when_asked_for() {
    let expected = |fault: &[&str]| {
        let words = [&["board", "expect", "two-resistors.kdl"], fault].concat();
        rows(&json(&words))[0]["expected"].as_f64()
    };
    near(
        expected(&["--with", "R2 open"]).expect("a number"),
        10_000.0,
        1e-9,
    );
    near(
        expected(&["--with", "R2 high=2"]).expect("a number"),
        6_666.7,
        1e-5,
    );
    let shorted = expected(&["--with", "R2 short"]).expect("a number");
    near(shorted, 1.0 / (2.0 / 1e4 + 1.0 / 0.1), 1e-6);
    assert_eq!(expected(&["--with", "R1 open", "--with", "R2 open"]), None);
    let bridged = expected(&["--with", "bridge A 0V=10k"]).expect("a number");
    near(bridged, 10_000.0 / 3.0, 1e-6);
}

#[test]
fn lenient_uses_the_good_lines_and_lists_the_rest() {
    let words = ["board", "expect", "five-mistakes.kdl", "--lenient"];
    let view = json(&words);
    let skipped = view["skipped"].as_array().expect("a list");
    let lines: Vec<u64> = skipped.iter().filter_map(|s| s["line"].as_u64()).collect();
    assert_eq!(lines, [3, 5, 6, 7]);
    assert_eq!(
        text(&skipped[0], "message"),
        "`ten` cannot be read as ohms."
    );
    // R1 of line 4 is what is left of the sheet.
    near(number(&rows(&view)[0], "expected"), 1_000.0, 1e-9);

    let ended = run(&words);
    assert_eq!(ended.code, 0);
    assert!(ended.out.contains("1.000 kΩ"), "{}", ended.out);
    let told: Vec<&str> = ended
        .err
        .lines()
        .filter(|l| l.starts_with("skipped: "))
        .collect();
    assert_eq!(told.len(), 4, "{}", ended.err);
    assert_eq!(
        told[0],
        "skipped: five-mistakes.kdl:3:17: `ten` cannot be read as ohms."
    );

    let view = json(&[
        "board",
        "expect",
        "divider.kdl",
        "--pairs",
        "bad-pairs.csv",
        "--lenient",
    ]);
    assert_eq!(rows(&view).len(), 0);
    assert_eq!(view["skipped"].as_array().map(Vec::len), Some(5));
}

#[test]
fn a_pair_that_is_not_predicted_says_why_beside_those_that_are() {
    let pairs = crate::run::file("mixed.csv", "kind,red,black\nripple,A,0V\nohms,A,0V\n");
    let pairs = pairs.to_str().expect("a plain path");
    let view = json(&["board", "expect", "two-resistors.kdl", "--pairs", pairs]);
    let [ripple, ohms] = &rows(&view)[..] else {
        panic!("two rows: {view}");
    };
    assert_eq!(
        text(ripple, "refused"),
        "No expectation is computed for ripple."
    );
    assert!(ripple["expected"].is_null() && ripple["over_range"] == Value::Bool(false));
    near(number(ohms, "expected"), 5_000.0, 1e-9);
}

#[test]
fn the_table_for_people_is_aligned_and_says_what_it_assumes() {
    let ended = run(&["board", "expect", "two-resistors.kdl"]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    let lines: Vec<&str> = ended.out.lines().collect();
    assert_eq!(lines[0], "Sheet A1, cold, meter bench-digital");
    assert_eq!(
        lines[1],
        "Assumed: junctions at 27 °C; no supply connected, capacitors discharged and settled"
    );
    assert_eq!(
        lines[3],
        "kind   red  black  expected  95 of 100 healthy boards read  because"
    );
    assert_eq!(
        lines[4],
        "ohms   A    0V      5.00 kΩ           4.824 kΩ to 5.176 kΩ  R1 in parallel with R2"
    );
    assert_eq!(
        lines[6],
        "diode  A    0V           OL                             OL"
    );
}
