//! `board judge`: one unit, two units, each way in which the two can stand to each other.

use serde_json::Value;

use crate::run::{file, json, keys, near, number, run, text};

/// Judges rows of `unit,state,kind,red,black,value` on a sheet of the samples.
fn judge(sheet: &str, name: &str, rows: &str) -> Vec<Value> {
    judge_columns(sheet, name, "unit,state,kind,red,black,value", rows)
}

fn judge_columns(sheet: &str, name: &str, header: &str, rows: &str) -> Vec<Value> {
    let readings = file(name, &format!("{header}\n{rows}"));
    let readings = readings.to_str().expect("a plain path");
    let view = json(&["board", "judge", sheet, readings]);
    assert_eq!(keys(&view), ["verdicts"], "nothing was skipped");
    view["verdicts"].as_array().expect("a list").clone()
}

#[test]
fn one_unit_has_a_verdict_a_side_and_a_score_and_no_twin() {
    // 5k with a standard deviation of 89R, most of it by two 10k of 5 %; see the test of `expect`.
    let sd = f64::hypot(0.25 * 10_000.0 * 0.025 * 2.0_f64.sqrt(), 12.5);
    for (value, verdict, side) in [
        ("5k", "agrees", None),
        ("5.15k", "agrees", None),
        ("4.85k", "agrees", None),
        ("5.25k", "edge", Some("high")),
        ("4.75k", "edge", Some("low")),
        ("5.4k", "disagrees", Some("high")),
        ("4.6k", "disagrees", Some("low")),
        ("OL", "disagrees", Some("high")),
        ("0", "disagrees", Some("low")),
    ] {
        let rows = judge(
            "two-resistors.kdl",
            "one.csv",
            &format!("7,cold,ohms,A,0V,{value}\n"),
        );
        let [row] = &rows[..] else {
            panic!("one reading: {rows:?}");
        };
        assert_eq!(text(row, "verdict"), verdict, "{value}: {row}");
        assert_eq!(
            row.get("side").and_then(Value::as_str),
            side,
            "{value}: {row}"
        );
        assert_eq!(row.get("twin"), None);
        assert_eq!((text(row, "unit"), text(row, "kind")), ("7", "ohms"));
        assert_eq!((text(row, "red"), text(row, "black")), ("A", "0V"));
        near(number(row, "expected"), 5_000.0, 1e-9);
        assert!(number(row, "low") < 5_000.0 && number(row, "high") > 5_000.0);
        match row["value"].as_f64() {
            Some(ohms) if (4_500.0..5_500.0).contains(&ohms) => {
                let linear = (ohms - 5_000.0) / sd;
                let z = number(row, "z");
                assert!(
                    (z - linear).abs() < 0.05 + 0.03 * linear.abs(),
                    "{value}: {z}"
                );
            }
            Some(_) => assert!(number(row, "z") < -5.0),
            None => assert_eq!(value, "OL"),
        }
    }
}

#[test]
fn a_verdict_has_the_members_of_the_contract() {
    let rows = judge("two-resistors.kdl", "members.csv", "1,cold,ohms,A,0V,6k\n");
    let members = keys(&rows[0]);
    for key in [
        "unit", "kind", "red", "black", "value", "expected", "low", "high", "verdict", "side", "z",
    ] {
        assert!(members.contains(&key), "{key} in {members:?}");
    }
}

#[test]
fn each_way_in_which_two_units_stand_to_each_other() {
    for (one, other, seen_from_one, seen_from_other) in [
        ("5k", "5.02k", "both-agree", "both-agree"),
        // Both agree, even at opposite ends of the band.
        ("4.85k", "5.15k", "both-agree", "both-agree"),
        ("10k", "5k", "this-odd", "other-odd"),
        ("OL", "5k", "this-odd", "other-odd"),
        ("5k", "OL", "other-odd", "this-odd"),
        ("10k", "10.05k", "alike-but-off", "alike-but-off"),
        ("OL", "OL", "alike-but-off", "alike-but-off"),
        ("10k", "2k", "all-differ", "all-differ"),
        ("10k", "OL", "all-differ", "all-differ"),
    ] {
        let text_of = format!("1,cold,ohms,A,0V,{one}\n2,cold,ohms,A,0V,{other}\n");
        let rows = judge("two-resistors.kdl", "twin.csv", &text_of);
        let [first, second] = &rows[..] else {
            panic!("two readings: {rows:?}");
        };
        assert_eq!(text(&first["twin"], "case"), seen_from_one, "{one} {other}");
        assert_eq!(
            text(&second["twin"], "case"),
            seen_from_other,
            "{one} {other}"
        );
        assert_eq!(text(&first["twin"], "other_unit"), "2");
        assert_eq!(text(&second["twin"], "other_unit"), "1");
        assert_eq!(first["twin"]["other_value"], second["value"]);
        assert_eq!(second["twin"]["other_value"], first["value"]);
    }
}

#[test]
fn without_an_expectation_two_units_are_alike_within_a_tenth_or_differ() {
    for (one, other, case) in [
        ("100m", "105m", "alike"),
        ("100m", "200m", "differ"),
        ("OL", "OL", "alike"),
        ("OL", "100m", "differ"),
    ] {
        let text_of = format!("1,powered,ripple,A,0V,{one}\n2,powered,ripple,A,0V,{other}\n");
        let rows = judge("two-resistors.kdl", "blind.csv", &text_of);
        for row in &rows {
            assert_eq!(text(row, "verdict"), "no-expectation");
            assert_eq!(text(&row["twin"], "case"), case, "{one} {other}");
            assert_eq!(row.get("z"), None);
            assert!(row["expected"].is_null() && row["low"].is_null() && row["high"].is_null());
        }
    }
}

#[test]
fn an_open_pair_is_expected_over_range() {
    let rows = judge(
        "two-resistors.kdl",
        "open.csv",
        "1,cold,ohms,A,B,OL\n1,cold,ohms,A,C,1k\n",
    );
    for (row, verdict) in rows.iter().zip(["agrees", "disagrees"]) {
        assert!(row["expected"].is_null() && row["low"].is_null() && row["high"].is_null());
        assert_eq!(text(row, "verdict"), verdict);
    }
    assert!(rows[0]["value"].is_null());
    assert_eq!(text(&rows[1], "side"), "low");
}

#[test]
fn of_a_pair_read_twice_the_last_counts_and_other_conditions_are_another_reading() {
    let rows = judge_columns(
        "two-resistors.kdl",
        "again.csv",
        "unit,state,kind,red,black,value,lifted",
        "1,cold,ohms,A,0V,9k,\n1,cold,ohms,A,0V,5k,\n1,cold,ohms,A,0V,10k,R2.1\n",
    );
    let got: Vec<_> = rows
        .iter()
        .map(|r| {
            (
                number(r, "value"),
                number(r, "expected"),
                text(r, "verdict"),
            )
        })
        .collect();
    assert_eq!(got.len(), 2, "{rows:?}");
    assert_eq!((got[0].0, got[0].2), (5_000.0, "agrees"));
    // With R2 lifted, R1 is alone.
    assert_eq!((got[1].0, got[1].2), (10_000.0, "agrees"));
    near(got[1].1, 10_000.0, 1e-9);
}

#[test]
fn an_intermittent_reading_is_as_bad_as_its_worse_end() {
    let rows = judge(
        "two-resistors.kdl",
        "loose.csv",
        "1,cold,ohms,A,0V,5k..OL\n",
    );
    assert_eq!(text(&rows[0], "verdict"), "disagrees");
    let rows = judge(
        "two-resistors.kdl",
        "loose.csv",
        "1,cold,ohms,A,0V,4.95k..5.05k\n",
    );
    assert_eq!(text(&rows[0], "verdict"), "agrees");
}

#[test]
fn the_meter_of_the_row_goes_before_the_one_of_the_command() {
    // A moving coil sends 1.5 V behind 15R to 15k into a silicon junction, a diode test 1 mA: what
    // they read is not the same, and each is judged by its own.
    let readings = file(
        "meters.csv",
        "unit,state,kind,red,black,value,meter\n1,cold,ohms,MID,0V,2k2,moving-coil\n1,cold,ohms,MID,0V,2k2,\n",
    );
    let readings = readings.to_str().expect("a plain path");
    let view = json(&[
        "board",
        "judge",
        "divider.kdl",
        readings,
        "--meter",
        "handheld-digital",
    ]);
    let alone = |meter: &str| {
        let pairs = file("meters-pair.csv", "kind,red,black\nohms,MID,0V\n");
        let pairs = pairs.to_str().expect("a plain path");
        let view = json(&[
            "board",
            "expect",
            "divider.kdl",
            "--pairs",
            pairs,
            "--meter",
            meter,
        ]);
        number(&view["expectations"][0], "high")
    };
    let high = |k: usize| number(&view["verdicts"][k], "high");
    near(high(0), alone("moving-coil"), 1e-9);
    near(high(1), alone("handheld-digital"), 1e-9);
    assert!(high(0) > 1.02 * high(1), "two meters, two bands: {view}");
}

#[test]
fn a_unit_is_judged_as_it_is_built() {
    let readings = file(
        "built.csv",
        "unit,state,kind,red,black,value\n1,cold,ohms,0V,MID,1k9\n2,cold,ohms,0V,MID,4k4\n",
    );
    let readings = readings.to_str().expect("a plain path");
    let view = json(&["board", "judge", "project/divider.kdl", readings]);
    let rows = view["verdicts"].as_array().expect("a list");
    let got: Vec<_> = rows.iter().map(|r| text(r, "verdict")).collect();
    assert_eq!(got, ["agrees", "agrees"], "{view}");
    assert!(number(&rows[1], "expected") > 1.5 * number(&rows[0], "expected"));
}

#[test]
fn disagreement_is_an_answer_and_lenient_lists_what_it_left_out() {
    let readings = file(
        "half.csv",
        "unit,state,kind,red,black,value\n1,cold,ohms,A,0V,lots\n1,cold,ohms,A,0V,50k\n",
    );
    let readings = readings.to_str().expect("a plain path");
    let ended = run(&["board", "judge", "two-resistors.kdl", readings, "--lenient"]);
    assert_eq!(ended.code, 0);
    assert!(ended.err.starts_with("skipped: "), "{}", ended.err);
    assert!(ended.out.contains("disagrees high"), "{}", ended.out);
    assert!(
        ended
            .out
            .contains("above: evidence, since parallel paths only lower a resistance"),
        "{}",
        ended.out
    );
    let view = json(&["board", "judge", "two-resistors.kdl", readings, "--lenient"]);
    assert_eq!(view["skipped"][0]["line"].as_u64(), Some(2));
    assert_eq!(view["verdicts"].as_array().map(Vec::len), Some(1));
}
