//! Where the probe is sent: what is found in a few readings, and what must never be offered.

use bench::next::{CandidateView, View, next};
use bench::proves::{self, proves};
use bench::simulated::{self, simulate};
use bench::suspects::{Opinion, Options};
use bench::{MeterChoice, State, Text, meters::Chosen};

/// A regulator's worth of parts, few enough to search by hand.
const BOARD: &str = r#"
sheet X {
    net "0V" role=ground
    net HV
    resistor R1 "4k7" IN B tolerance="5%" style=film
    resistor R2 "1k" B "0V" tolerance="5%" style=film
    resistor R3 "2k2" IN C tolerance="5%" style=film
    resistor R4 "470R" E "0V" tolerance="5%" style=film
    resistor R5 "10k" C OUT tolerance="5%" style=film
    resistor R6 "3k3" OUT "0V" tolerance="5%" style=film
    npn Q1 silicon-signal c=C b=B e=E
    diode D1 silicon-signal anode="0V" cathode=OUT
    resistor R7 "100k" HV OUT tolerance="5%" style=film
    point TP1 net="0V" access=easy
    point TP2 net=IN access=easy
    point TP3 net=OUT access=board
    never HV probe="kilovolts when powered"
}
"#;

fn text(file: &str, text: &str) -> Text {
    Text {
        file: file.to_owned(),
        text: text.to_owned(),
    }
}

const HEADER: &str = "unit,state,kind,red,black,value\n";

fn ask(sheet: &str, readings: &str, meter: MeterChoice, powered: bool) -> View {
    let options = Options {
        readings: text("readings.csv", readings),
        machine: None,
        meter,
        unit: Some("1".to_owned()),
        priors: Opinion::Flat,
        lenient: false,
    };
    next(
        &text("x.kdl", sheet),
        &options,
        powered,
        &bench::Kept::default(),
        &|_, _| {},
        &|| false,
    )
    .expect("the board is well formed")
}

fn cold(readings: &str) -> View {
    ask(BOARD, readings, MeterChoice::default(), false)
}

/// The reading that a unit with a fault shows at a candidate, as a line of a readings file.
fn taken(candidate: &CandidateView, fault: &str, seed: u64) -> String {
    let pairs = format!(
        "kind,red,black,state\n{},{},{},{}\n",
        candidate.kind, candidate.red, candidate.black, candidate.state
    );
    let options = simulated::Options {
        seed,
        pairs: text("pairs.csv", &pairs),
        state: State::Cold,
        with: vec![fault.to_owned()],
        unit: "1".to_owned(),
        meter: MeterChoice::default(),
        lenient: false,
    };
    let csv = simulate(&text("x.kdl", BOARD), &options).expect("a reading");
    let mut lines = csv.lines();
    let head: Vec<&str> = lines.next().expect("a header").split(',').collect();
    let row: Vec<&str> = lines.next().expect("a row").split(',').collect();
    let value = row[head.iter().position(|h| *h == "value").expect("a value")];
    format!(
        "1,{},{},{},{},{value}\n",
        candidate.state, candidate.kind, candidate.red, candidate.black
    )
}

#[test]
fn an_unknown_fault_is_cornered_in_a_few_readings() {
    for (seed, fault) in [
        (1, "R4 open"),
        (2, "Q1 bc-short"),
        (3, "R6 high=3"),
        (4, "D1 short"),
    ] {
        let mut readings = HEADER.to_owned();
        let mut count = 0;
        let stop = loop {
            let view = cold(&readings);
            if let Some(stop) = view.stop {
                break stop;
            }
            let invasive = |c: &&CandidateView| c.needs.iter().any(|n| n.contains("lift"));
            let Some(best) = view.candidates.iter().find(|c| !invasive(c)) else {
                break "nothing is left".to_owned();
            };
            readings += &taken(best, fault, seed);
            count += 1;
            assert!(count <= 12, "{fault}: {readings}");
        };
        // What is across the same nets is told apart by lifting the part alone.
        let part = fault.split(' ').next().expect("a fault has a part");
        assert!(
            stop.contains(part),
            "{fault} after {count} readings: {stop}\n{readings}"
        );
        assert!(count <= 8, "{fault} took {count} readings\n{readings}");
    }
}

#[test]
fn the_best_come_first_and_say_what_each_outcome_means() {
    let view = cold(HEADER);
    assert!(view.stop.is_none());
    assert!(view.candidates.len() >= 3);
    let best = &view.candidates[0];
    assert!(best.bits > 0.5, "{best:?}");
    assert!(best.outcomes.len() >= 2);
    let shares: f64 = best.outcomes.iter().map(|o| o.probability).sum();
    assert!(shares > 0.5 && shares < 1.0 + 1e-9);
    assert!(best.outcomes.iter().all(|o| !o.means.is_empty()));
}

#[test]
fn a_place_that_was_never_touched_needs_volts_first() {
    let fresh = cold(HEADER);
    for c in &fresh.candidates {
        assert!(
            c.needs.iter().any(|n| n == "volts first, discharged"),
            "{c:?}"
        );
    }
    let seen = cold(&format!("{HEADER}1,cold,ohms,OUT,0V,2.9k\n"));
    for c in &seen.candidates {
        let known = |l: &str| ["OUT", "TP3", "0V", "TP1"].contains(&l);
        let needs = c.needs.iter().any(|n| n == "volts first, discharged");
        assert_eq!(needs, !(known(&c.red) && known(&c.black)), "{c:?}");
    }
}

#[test]
fn the_same_places_with_the_leads_exchanged_are_nearly_free() {
    let view = cold(&format!("{HEADER}1,cold,ohms,OUT,0V,2.9k\n"));
    let exchanged = view
        .candidates
        .iter()
        .find(|c| c.red == "TP1" && c.black == "TP3")
        .expect("the other polarity is offered");
    let dearest = view
        .candidates
        .iter()
        .map(|c| c.minutes)
        .fold(0.0, f64::max);
    assert!(exchanged.minutes < 0.3 * dearest, "{exchanged:?}");
}

#[test]
fn no_probe_goes_where_the_sheet_says_never() {
    let view = ask(BOARD, HEADER, MeterChoice::default(), true);
    for c in &view.candidates {
        assert!(c.red != "HV" && c.black != "HV", "{c:?}");
        assert!(
            !c.red.starts_with("R7.1") && !c.black.starts_with("R7.1"),
            "{c:?}"
        );
    }
}

fn meter(profile: &str) -> MeterChoice {
    MeterChoice {
        chosen: Some(Chosen::File(text("m.kdl", profile))),
        beside: None,
    }
}

#[test]
fn an_ohmmeter_that_junctions_do_not_bear_is_not_offered() {
    // 15 V open on a board with transistors, and 150 mA through 10 ohm: TM 11-6130-381-14.
    let high =
        "meter old { ohms { range x1000 source=\"150k\" open=15 full=\"15M\" accuracy=\"5%\" } }";
    assert!(ask(BOARD, HEADER, meter(high), false).candidates.is_empty());
    let low = "meter old { ohms { range x1 source=\"10R\" open=1.5 full=\"1k\" accuracy=\"5%\" } }";
    assert!(ask(BOARD, HEADER, meter(low), false).candidates.is_empty());
    let mild =
        "meter old { ohms { range x100 source=\"1k5\" open=1.5 full=\"150k\" accuracy=\"5%\" } }";
    assert!(!ask(BOARD, HEADER, meter(mild), false).candidates.is_empty());
}

const POWERED: &str = r#"
sheet P {
    net "0V" role=ground
    net HT role=rail volts=250
    supply V1 volts=250 plus=HT minus="0V" ohms=100
    resistor R1 "100k" HT MID style=film
    resistor R2 "20k" MID LOW style=film
    resistor R3 "2k" LOW "0V" style=film
    capacitor C1 "10n" MID "0V" style=paper
}
"#;

#[test]
fn powered_readings_are_offered_only_when_asked_and_never_by_hand_above_sixty_volts() {
    let without = ask(POWERED, HEADER, MeterChoice::default(), false);
    assert!(without.candidates.iter().all(|c| c.state == "cold"));
    // R3 open lifts LOW to the full 250 V, so it is never read by hand though healthy it has 4 V.
    let profile = "meter m { volts ohms=\"10M\" accuracy=\"0.3%\" floor=\"1m\" max=600 }";
    let with = ask(POWERED, HEADER, meter(profile), true);
    let volts: Vec<&CandidateView> = with
        .candidates
        .iter()
        .filter(|c| c.kind == "volts")
        .collect();
    assert!(!volts.is_empty());
    for c in &volts {
        assert_eq!(c.state, "powered");
        assert!(c.needs.iter().any(|n| n.contains("hands out")), "{c:?}");
        assert!(c.needs.iter().any(|n| n.contains("power cycle")), "{c:?}");
    }
    // A meter that bears only 200 V is not sent where 250 V could stand.
    let weak = "meter m { volts ohms=\"10M\" accuracy=\"0.3%\" floor=\"1m\" max=200 }";
    assert!(
        ask(POWERED, HEADER, meter(weak), true)
            .candidates
            .is_empty()
    );
}

#[test]
fn what_only_a_lifted_lead_decides_says_so() {
    // Two resistors in parallel between the same nets: no reading tells which one is open.
    let twins = r#"
sheet T {
    net "0V" role=ground
    resistor R1 "1k" A "0V" tolerance="5%" style=film
    resistor R2 "1k" A "0V" tolerance="5%" style=film
}
"#;
    let view = ask(
        twins,
        &format!(
            "{HEADER}1,cold,ohms,A,0V,1.003k\n1,cold,ohms,0V,A,1.003k\n1,cold,diode,A,0V,1.003\n1,cold,diode,0V,A,1.003\n"
        ),
        MeterChoice::default(),
        false,
    );
    let best = &view.candidates[0];
    assert!(
        best.needs.iter().any(|n| n.starts_with("lift R")),
        "{best:?}"
    );
    assert!(best.minutes > 10.0);
    let stop = view.stop.expect("nothing else decides");
    assert!(stop.contains("lifting R"), "{stop}");
}

#[test]
fn the_readings_that_prove_a_fault_are_shown_by_it() {
    let options = proves::Options {
        fault: "R4 open".to_owned(),
        meter: MeterChoice::default(),
        lenient: false,
    };
    let view = proves(&text("x.kdl", BOARD), &options, &|_, _| {}, &|| false).expect("a board");
    assert!(view.shortest && !view.readings.is_empty());
    // At least one of them reads otherwise with the fault; all of them together are few.
    assert!(view.readings.iter().any(|r| r.faulty != r.healthy));
    assert!(view.readings.len() <= 4);
    let bad = proves::Options {
        fault: "R99 open".to_owned(),
        ..options
    };
    assert!(proves(&text("x.kdl", BOARD), &bad, &|_, _| {}, &|| false).is_err());
}
