//! `logic` on gate sheets from outside, on the demo's two.

use crate::run::{json, run};

macro_rules! demo {
    ($name:literal) => {
        concat!(env!("CARGO_MANIFEST_DIR"), "/../bench/demo/logic/", $name)
    };
}

fn sets(view: &serde_json::Value, key: &str) -> Vec<String> {
    let list = view["results"][0][key].as_array().expect("a list");
    list.iter()
        .map(|s| s[0].as_str().unwrap_or_default().to_owned())
        .collect()
}

#[test]
fn the_fault_in_the_gate_that_looks_unused_is_named() {
    let (sheet, rows) = (demo!("control.kdl"), demo!("control/2-run.csv"));
    let view = json(&["logic", "diagnose", sheet, rows]);
    let result = &view["results"][0];
    assert_eq!(
        (&result["min_cardinality"], &result["complete"]),
        (&1.into(), &true.into())
    );
    assert!(
        sets(&view, "diagnoses").contains(&"U4".to_owned()),
        "{view}"
    );
    assert!(
        sets(&view, "named").contains(&"U4.11 stuck at 1".to_owned()),
        "{view}"
    );
    assert_eq!(
        (&result["first"]["row"], &result["first"]["nets"][0]),
        (&5.into(), &"BUSY = 0".into())
    );
    let next = json(&["logic", "next", sheet, rows]);
    let best = &next["candidates"][0];
    assert!(best["bits"].as_f64().is_some_and(|b| b > 0.9), "{next}");
    let well = run(&["logic", "diagnose", sheet, demo!("control/1-run.csv")]);
    assert_eq!(
        (well.code, well.out.as_str()),
        (0, "all rows: every level is as it should be.\n")
    );
}

#[test]
fn sums_by_line_and_together_name_the_open_input() {
    let (sheet, rows) = (demo!("arithmetic.kdl"), demo!("arithmetic/1-sums.csv"));
    let view = json(&["logic", "diagnose", sheet, rows, "--together"]);
    assert!(
        sets(&view, "named").contains(&"U2.5 open".to_owned()),
        "{view}"
    );
    assert!(
        sets(&view, "diagnoses").contains(&"U2".to_owned()),
        "{view}"
    );
    let each = json(&["logic", "diagnose", sheet, rows]);
    assert_eq!(each["results"].as_array().map(Vec::len), Some(12));
    assert_eq!(each["results"][0]["min_cardinality"], 0);
}

#[test]
fn what_is_simulated_with_the_planted_fault_is_what_was_seen() {
    let simulate = |sheet, rows, more: &[&str]| {
        let words: Vec<&str> = ["logic", "simulate", sheet, rows]
            .into_iter()
            .chain(more.iter().copied())
            .collect();
        let view = json(&words);
        let runs = view["runs"].as_array().expect("runs").clone();
        runs.iter()
            .flat_map(|r| r["rows"].as_array().expect("rows").clone())
            .any(|r| r["differs"] != serde_json::json!([]))
    };
    let (control, arithmetic) = (demo!("control.kdl"), demo!("arithmetic.kdl"));
    let (run_2, sums_1) = (demo!("control/2-run.csv"), demo!("arithmetic/1-sums.csv"));
    assert!(
        simulate(control, run_2, &[]) && !simulate(control, run_2, &["--with", "U4.11 stuck at 1"])
    );
    assert!(
        simulate(arithmetic, sums_1, &[])
            && !simulate(arithmetic, sums_1, &["--with", "U2.5 open"])
    );
    let none = run(&["logic", "simulate", control, run_2, "--with", "U9.1 open"]);
    assert_eq!(none.code, 2);
    assert!(
        none.err
            .starts_with("`U9.1 open` is no fault of this sheet."),
        "{}",
        none.err
    );
    let bad = run(&["logic", "diagnose", run_2, control]);
    assert_eq!(bad.code, 2);
}

#[test]
fn a_keyboard_names_the_diode_and_the_contact() {
    let (sheet, codes) = (demo!("digits.keys"), demo!("digits/codes.csv"));
    let view = json(&["logic", "keys", sheet, codes]);
    let second = &view["units"][1];
    assert_eq!(view["units"][0]["wrong"], serde_json::json!([]));
    assert_eq!(
        second["explanations"],
        serde_json::json!([["diode of key 7 to FOUR open", "contact of key 9 open"]])
    );
    assert_eq!(view["keys"][7]["broken"][2]["like"], "3");
    let told = run(&["logic", "keys", sheet, codes]);
    assert!(
        told.out.contains("unit 2: key 7 gives 11001, not 11101."),
        "{}",
        told.out
    );
    let bad = crate::run::file("bad.csv", "key,code\n5,2\nz,11111\n");
    let refused = run(&["logic", "keys", sheet, &bad.to_string_lossy()]);
    assert_eq!(refused.code, 2);
    assert!(
        refused.err.contains("`2` is no code.")
            && refused.err.contains("`z` is no key of this keyboard."),
        "{}",
        refused.err
    );
}

#[test]
fn other_inputs_are_proposed_where_they_tell_more_for_their_time() {
    let sheet = crate::run::file(
        "adder.kdl",
        "logic adder {\n input A B C\n output S R\n gate G1 xor P A B\n gate G2 xor S P C\n gate G3 and Q A B\n gate G4 and T P C\n gate G5 or R Q T\n}\n",
    );
    let rows = crate::run::file("adder.csv", "A,B,C,S,R,P,Q,T\n0,0,0,1,0,0,0,0\n");
    let (sheet, rows) = (sheet.to_string_lossy(), rows.to_string_lossy());
    // Every net of the row was seen: only other inputs can tell the four faults of G2 apart.
    let view = json(&["logic", "next", &sheet, &rows]);
    assert_eq!(view["candidates"], serde_json::json!([]), "{view}");
    let best = &view["inputs"][0];
    assert!(best["bits"].as_f64().is_some_and(|b| b > 0.5), "{view}");
    assert_eq!(best["watch"], serde_json::json!(["S"]));
    let told = run(&["logic", "next", &sheet, &rows]);
    assert!(
        told.out.starts_with("next  put on line 2 with "),
        "{}",
        told.out
    );
    // A netlist in columns, of which nothing but inputs and outputs was seen: nets first, then inputs.
    let netlist = crate::run::file(
        "adder-gates.csv",
        "gate,function,output,inputs\nx1,xor,p,a b\nx2,xor,s,p c\na1,and,q,a b\na2,and,t,p c\no1,or,r,q t\n",
    );
    let seen = crate::run::file("adder-seen.csv", "a,b,c,s,r\n0,0,0,1,0\n");
    let view = json(&[
        "logic",
        "next",
        &netlist.to_string_lossy(),
        &seen.to_string_lossy(),
    ]);
    assert_eq!(view["candidates"][0]["net"], "p", "{view}");
    assert!(
        view["inputs"][0]["changes"]
            .as_array()
            .is_some_and(|c| !c.is_empty()),
        "{view}"
    );
    let basis = json(&[
        "logic",
        "diagnose",
        &netlist.to_string_lossy(),
        &seen.to_string_lossy(),
    ]);
    assert_eq!(basis["results"][0]["basis"], "counted");
}

#[test]
fn bounce_of_both_units_names_the_worn_contact_and_the_one_that_speaks() {
    let (first, second) = (demo!("digits/1-bounce.vcd"), demo!("digits/2-bounce.vcd"));
    let view = json(&["logic", "bounce", first, second]);
    let of = |key: &str| {
        let list = view["contacts"].as_array().expect("contacts").clone();
        let found = list.into_iter().find(|c| c["name"] == key);
        found.expect("the key's contact")
    };
    // As the recordings were made: key 4 of unit 2 takes some 9 ms, key 9 is dead, key 2 speaks while another is struck.
    let worn = &of("4")["units"][1];
    assert!(
        worn["longest"]
            .as_f64()
            .is_some_and(|t| (0.005..0.0095).contains(&t)),
        "{worn}"
    );
    assert!(
        worn["most_changes"]
            .as_u64()
            .is_some_and(|n| (9..=13).contains(&n)),
        "{worn}"
    );
    assert_eq!(of("4")["told"], "the second is worse");
    assert_eq!(
        (
            &of("9")["units"][0]["strokes"],
            &of("9")["units"][1]["strokes"]
        ),
        (&2.into(), &0.into())
    );
    assert_eq!(of("2")["units"][1]["spoke"], 1);
    let told = run(&["logic", "bounce", first, second, "--channel", "2"]);
    assert!(
        told.out.contains("spoke 1 times and came back"),
        "{}",
        told.out
    );
    // A quiet that is longer than the pause between making and breaking takes both for one stroke that came back.
    let long = json(&[
        "logic",
        "bounce",
        first,
        "--channel",
        "5",
        "--quiet",
        "0.15",
    ]);
    assert_eq!(long["contacts"][0]["units"][0]["spoke"], 1);
    let none = run(&["logic", "bounce", first, "--channel", "77"]);
    assert_eq!(none.code, 2);
}
