//! `power`: plan, reform, discharge and lamp from outside.

use crate::run::{file, json, number, run};

#[test]
fn a_lamp_for_a_load() {
    let view = json(&["power", "lamp", "--watts", "25"]);
    // 25 W on 230 V are 2116 ohm; 100 W of lamp leave it over nine tenths.
    assert!((number(&view, "ohms") - 2116.0).abs() < 1e-6);
    assert_eq!(number(&view, "choice"), 100.0);
    let ended = run(&["power", "lamp", "--watts", "25", "--mains", "120"]);
    assert_eq!(ended.code, 0);
    assert!(ended.out.starts_with("! Mains"), "{}", ended.out);
    assert_eq!(run(&["power", "lamp"]).code, 2);
    assert_eq!(run(&["power", "lamp", "--watts", "many"]).code, 2);
}

#[test]
fn a_charge_and_how_long_it_stays() {
    let view = json(&[
        "power",
        "discharge",
        "--farads",
        "100u",
        "--ohms",
        "100k",
        "--volts",
        "400",
    ]);
    // ln(400 / 60) = 1.897 time constants of 10 s.
    let first = view["capacitors"][0]["seconds"][0].as_f64().unwrap();
    assert!((first - 18.971).abs() < 0.01, "{first}");
    let sheet = concat!(env!("CARGO_MANIFEST_DIR"), "/../bench/demo/sheets/a4.kdl");
    let view = json(&["power", "discharge", sheet]);
    assert_eq!(view["capacitors"][0]["part"], "C1");
    assert_eq!(run(&["power", "discharge"]).code, 2);
    assert_eq!(run(&["power", "discharge", sheet, "--volts", "3"]).code, 2);
}

#[test]
fn a_capacitor_reformed() {
    let log = file(
        "reform.csv",
        "minutes,volts,amps\n5,300,6m\n40,440,900u\n50,445,800u\n",
    );
    let words = [
        "power",
        "reform",
        "--farads",
        "20u",
        "--volts",
        "450",
        "--log",
        log.to_str().unwrap(),
    ];
    let view = json(&words);
    assert_eq!(view["verdict"]["word"], "holds");
    assert!((view["limits"][0]["amps"].as_f64().unwrap() - 1.1e-3).abs() < 1e-9);
    assert!(view["schools"].as_array().unwrap().len() >= 4);
    assert_eq!(run(&["power", "reform", "--farads", "20u"]).code, 2);
}

/// Rectifier and reservoir with no supply that stands in.
const RECTIFIED: &str = r#"sheet S {
    net G role=ground
    net "+15V" role=rail volts=15 tolerance="5%"
    transformer T1 { winding primary L N volts=230 ohms=12; winding low A B volts=17 ohms=0.6 }
    diode D1 silicon-rectifier anode=A cathode=P amps=1
    diode D2 silicon-rectifier anode=B cathode=P amps=1
    diode D3 silicon-rectifier anode=G cathode=A amps=1
    diode D4 silicon-rectifier anode=G cathode=B amps=1
    capacitor C1 "2200u" plus=P minus=G volts=35 style=electrolytic
    resistor R1 "470R" P Z watts=1
    zener D5 "15.6V" anode=G cathode=Z watts=1
    npn Q1 "2N3054" c=P b=Z e="+15V"
    load L1 "+15V" G ohms=100
}"#;

#[test]
fn a_plan_solves_in_time_what_steady_current_cannot() {
    let sheet = file("rectified.kdl", RECTIFIED);
    let path = sheet.to_str().unwrap();
    // Without a supply that stands in, expectations refuse and point to the plan.
    let refused = run(&["board", "expect", path, "--state", "powered"]);
    assert_eq!(refused.code, 1);
    assert!(refused.err.contains("power plan"), "{}", refused.err);
    let plan = json(&["power", "plan", path, "--units", "40"]);
    let stages = plan["stages"].as_array().unwrap();
    assert_eq!(stages.len(), 5);
    let last = &stages[4];
    let mains = &last["mains"];
    // 24.0 V peak less two diodes, the windings and a part of the ripple.
    let reservoir = mains["reservoirs"][0]["volts"].as_f64().unwrap();
    assert!((20.0..23.0).contains(&reservoir), "{mains}");
    assert!(number(mains, "inrush") > number(mains, "peak"));
    let rail = last["readings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|r| r["at"] == "+15V")
        .unwrap();
    let expected = number(rail, "expected");
    assert!((14.0..16.0).contains(&expected), "{rail}");
    assert!(number(rail, "low") < expected && expected < number(rail, "high"));
    // A pass transistor shorted shows before the load is lost: at half the volts the rail is no longer held.
    let hazards = plan["hazards"].as_array().unwrap();
    assert!(!hazards.is_empty());
    for h in hazards {
        let late = !h["in_time"].as_bool().unwrap();
        let (shown, destroys) = (h["shown_at"].as_u64(), h["destroys_at"].as_u64());
        assert!(
            late || shown.is_some_and(|s| destroys.is_none_or(|d| s < d)),
            "{h}"
        );
    }
    assert!(hazards.iter().any(|h| h["in_time"] == true));
}

#[test]
fn the_plan_s_words_begin_with_cautions_and_never_promise() {
    let sheet = file("plan-words.kdl", RECTIFIED);
    let ended = run(&["power", "plan", sheet.to_str().unwrap(), "--units", "30"]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    let caution = ended.out.find("! Mains").expect("a caution");
    assert!(caution < ended.out.find("Stage 1").unwrap());
    assert!(ended.out.contains("never defeat a trip"));
    assert!(ended.out.contains("The oscilloscope") || ended.out.contains("oscilloscope"));
    assert!(!ended.out.to_lowercase().contains("safe"), "{}", ended.out);
}
