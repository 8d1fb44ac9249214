//! The cold card on invented units: it finds what it claims to find, and leaves healthy units alone.
//!
//! Reduced by default; KNOWNGOOD_FULL=1 draws a thousand units with a hidden hazard and as many without.

use bench::risk::{Input, Options, View, risk};
use bench::{MeterChoice, State, Text, simulated};

fn text(file: &str, text: &str) -> Text {
    Text {
        file: file.to_owned(),
        text: text.to_owned(),
    }
}

/// A card and the sheet that it is for.
fn card(sheet: &Text) -> View {
    let options = Options {
        meter: MeterChoice::default(),
        lenient: false,
    };
    let input = Input::Board(sheet.clone());
    risk(&input, &options, &|_, _| {}, &|| false).expect("the board can be worked out")
}

/// Takes the readings of the card on an invented unit; whether one lies beyond its line.
fn alarmed(sheet: &Text, view: &View, seed: u64, with: Option<&str>) -> bool {
    let mut pairs = "kind,red,black\n".to_owned();
    for c in &view.card {
        pairs += &format!("{},{},{}\n", c.kind, c.red, c.black);
    }
    let options = simulated::Options {
        seed,
        pairs: text("card.csv", &pairs),
        state: State::Cold,
        with: with.map(str::to_owned).into_iter().collect(),
        unit: "1".to_owned(),
        meter: MeterChoice::default(),
        lenient: false,
    };
    let csv = simulated::simulate(sheet, &options).expect("the unit can be read");
    let rows: Vec<&str> = csv.lines().skip(1).collect();
    assert_eq!(rows.len(), view.card.len(), "{csv}");
    rows.iter().zip(&view.card).any(|(row, c)| {
        let value = row.split(',').nth(5).expect("a value");
        let reading = match value {
            "OL" => f64::INFINITY,
            v => units::read(v, units::Unit::One).expect(v).number,
        };
        c.low.is_some_and(|l| reading < l) || c.high.is_some_and(|h| reading > h)
    })
}

fn boards() -> Vec<Text> {
    let demo = |name: &str| {
        let path = format!("{}/demo/sheets/{name}.kdl", env!("CARGO_MANIFEST_DIR"));
        text(&path, &std::fs::read_to_string(&path).unwrap())
    };
    ["a1", "a2", "a3", "a4"].map(demo).to_vec()
}

fn units_each() -> u64 {
    if std::env::var("KNOWNGOOD_FULL").is_ok_and(|v| v == "1") {
        250
    } else {
        60
    }
}

#[test]
fn the_card_finds_hidden_hazards_and_leaves_healthy_units_alone() {
    let (mut hidden, mut found, mut healthy, mut alarms) = (0, 0, 0, 0);
    for sheet in boards() {
        let view = card(&sheet);
        assert!(view.proven && !view.card.is_empty(), "{}", view.sheet);
        let claimed: Vec<&str> = view
            .hazards
            .iter()
            .filter(|h| !h.detected_by.is_empty())
            .map(|h| h.with.as_str())
            .collect();
        for seed in 0..units_each() {
            let hazard = claimed[seed as usize % claimed.len()];
            hidden += 1;
            let here = alarmed(&sheet, &view, 7_000 + seed, Some(hazard));
            found += u32::from(here);
            if !here {
                println!("{}: {hazard} not seen in unit {seed}", view.sheet);
            }
            healthy += 1;
            let false_alarm = alarmed(&sheet, &view, 90_000 + seed, None);
            alarms += u32::from(false_alarm);
        }
        println!(
            "{}: foretold {:.4} false alarms a unit",
            view.sheet, view.false_alarms
        );
    }
    println!(
        "found {found} of {hidden} hidden hazards; {alarms} of {healthy} healthy units alarmed"
    );
    assert!(
        f64::from(found) >= 0.99 * f64::from(hidden),
        "{found} of {hidden}"
    );
    assert!(
        f64::from(alarms) <= 0.02 * f64::from(healthy),
        "{alarms} of {healthy}"
    );
}

#[test]
fn every_hazard_is_on_the_card_or_among_the_uncovered_and_never_both() {
    for sheet in boards() {
        let view = card(&sheet);
        for (k, hazard) in view.hazards.iter().enumerate() {
            let uncovered = view.uncovered.iter().any(|u| u.hazard == k);
            assert_eq!(hazard.detected_by.is_empty(), uncovered, "{}", hazard.with);
            for c in &hazard.detected_by {
                assert!(view.card[*c].rules_out.contains(&k));
            }
            let weights: f64 = hazard.victims.iter().map(|v| v.weight).sum();
            assert!((weights - hazard.severity).abs() < 1e-9);
            assert!(hazard.victims.iter().all(|v| v.times_rating > 1.0));
        }
        for c in &view.card {
            assert!(!c.rules_out.is_empty());
            let above = |l: f64| c.expected.is_none_or(|e| e > l);
            assert!(c.low.is_none_or(above) && c.high.is_none_or(|h| !above(h)));
        }
    }
}

/// The demo machine with all its sheets.
fn demo_machine() -> Input {
    let folder = format!("{}/demo", env!("CARGO_MANIFEST_DIR"));
    let read = |name: &str| {
        let path = format!("{folder}/{name}");
        text(&path, &std::fs::read_to_string(&path).unwrap())
    };
    let machine = read("machine.kdl");
    let sheets = bench::risk::machine_sheets(&machine);
    assert!(sheets.len() >= 5);
    Input::Machine {
        sheets: sheets.into_iter().map(|s| (s.clone(), read(&s))).collect(),
        machine,
        unit: None,
    }
}

#[test]
fn boards_of_a_machine_share_their_rails_and_what_a_fault_does_to_them() {
    let options = Options {
        meter: MeterChoice::default(),
        lenient: false,
    };
    let view = risk(&demo_machine(), &options, &|_, _| {}, &|| false).unwrap();
    // The -12 V of board A2 feeds A3, A4 and A5, whose own supplies only stand in for it; the plates' 120 V and the kilovolts
    // of A4 come from A6.
    for name in ["A3:V1", "A4:V1", "A4:V2", "A4:V3", "A5:V1", "A3:V2"] {
        assert!(
            view.left_out.iter().any(|l| l == name),
            "{name}: {:?}",
            view.left_out
        );
    }
    assert!(
        !view
            .left_out
            .iter()
            .any(|l| l.starts_with("A2:") || l.starts_with("A6:"))
    );
    // A fault on one board that destroys a part of another.
    let board = |name: &str| name.split(':').next().unwrap().to_owned();
    let abroad = view.hazards.iter().find(|h| {
        let home = board(&h.part);
        h.victims.iter().any(|v| board(&v.part) != home)
    });
    assert!(abroad.is_some());
    // Readings with a board out name the connectors that are unplugged, and only that board's places.
    for c in &view.card {
        if let Some(first) = c.unplugged.first() {
            assert_eq!(
                (board(first), board(first)),
                (board(&c.red), board(&c.black))
            );
        }
    }
    // What is planted in the units (see the demo's README) is dangerous, and the card shows it.
    for (with, victim) in [
        ("A6:R1 short", "A6:D1"),
        ("A6:R10 short", "CRT:H1"),
        ("bridge CRT:CATH CRT:HTR", "A6:RV1"),
    ] {
        let hazard = view
            .hazards
            .iter()
            .find(|h| h.with == with)
            .unwrap_or_else(|| panic!("{with}"));
        assert!(
            hazard.victims.iter().any(|v| v.part == victim),
            "{hazard:?}"
        );
        assert!(!hazard.detected_by.is_empty(), "{with}");
    }
    // They are taken board by board.
    let changes = view
        .card
        .windows(2)
        .filter(|w| w[0].unplugged != w[1].unplugged)
        .count();
    let states: std::collections::BTreeSet<_> = view.card.iter().map(|c| &c.unplugged).collect();
    assert_eq!(changes + 1, states.len());
}

#[test]
fn what_no_reading_shows_is_contained_by_a_limit_or_not_powered() {
    // The clamp D2 in backwards loads the supply until it burns, and 10 ohm of lamp hide it from an ohmmeter.
    let sheet = text(
        "s.kdl",
        r#"sheet S {
            net G role=ground
            net P role=rail volts=12
            supply V1 volts=12 plus=P minus=G ohms=0.5
            resistor R1 "10R" P G watts=20 tolerance="10%"
            diode D2 silicon-rectifier anode=G cathode=P amps=1
        }"#,
    );
    let view = card(&sheet);
    let of = |with: &str| view.hazards.iter().position(|h| h.with == with).unwrap();
    let turned = of("D2 turned");
    // (12 - 0.9) / 0.5 ohm is far beyond 1 A.
    assert!(view.hazards[turned].victims[0].times_rating > 15.0);
    let uncovered = view
        .uncovered
        .iter()
        .find(|u| u.hazard == turned)
        .expect("ohms do not show it");
    let limit = uncovered.limit.as_ref().expect("a limit contains it");
    assert_eq!(
        (limit.what.as_str(), limit.at.as_deref()),
        ("current limit", Some("V1"))
    );
    // A healthy circuit takes 12 / 10.5 = 1.14 A; a fifth more is 1.37, of the usual steps 1.5 A: within D2's margin.
    assert_eq!(limit.value, bench::risk::LimitValue::Number(1.5));
    assert!(uncovered.says.contains("1.5 A"));
    assert!(!view.to_text().to_lowercase().contains("safe"));
}

#[test]
fn planted_hazards_read_beyond_their_lines() {
    // Board, unit, planted; every reading of the demo that disagrees is at the planted part.
    let folder = format!("{}/demo", env!("CARGO_MANIFEST_DIR"));
    let read = |name: String| {
        let path = format!("{folder}/{name}");
        text(&path, &std::fs::read_to_string(&path).unwrap())
    };
    for (board, odd) in [
        ("a6", vec![("1", "RAW", "+120V"), ("2", "HRAW", "HTR")]),
        ("crt", vec![("2", "CATH", "HTR")]),
    ] {
        let options = bench::judged::Options {
            readings: read(format!("readings/{board}.csv")),
            machine: Some(read("machine.kdl".to_owned())),
            meter: MeterChoice::default(),
            lenient: false,
        };
        let sheet = read(format!("sheets/{board}.kdl"));
        let view = bench::judged::judge_file(&sheet, &options, &|_, _| {}, &|| false).unwrap();
        for (unit, red, black) in odd {
            let there =
                |v: &&bench::judged::Row| v.unit == unit && v.red == red && v.black == black;
            let row = view.verdicts.iter().find(there).unwrap();
            assert_eq!(row.verdict, "disagrees", "{board} {red} {black}");
        }
    }
}

#[test]
fn progress_moves_through_every_part_and_ends() {
    use std::sync::Mutex;
    let heard = Mutex::new(Vec::new());
    let listen = |done, all| heard.lock().unwrap().push((done, all));
    let options = bench::power::plan::Options {
        meter: MeterChoice::default(),
        units: 20,
        hertz: 50.0,
        lenient: false,
    };
    let a2 = boards().swap_remove(1);
    bench::power::plan::plan(&Input::Board(a2), &options, &listen, &|| false).expect("planned");
    let mut heard = heard.into_inner().unwrap();
    assert!(heard.iter().all(|h| h.1 == 100));
    heard.sort_unstable();
    heard.dedup();
    assert_eq!(heard.last(), Some(&(100, 100)));
    // Faults, readings, drawn units, faults at stages: none of them passes in one step.
    for part in [0..15, 15..60, 60..75, 75..90] {
        let within = heard.iter().filter(|h| part.contains(&h.0)).count();
        assert!(within >= 5, "{part:?}: {heard:?}");
    }
}
