//! What exchanged leads would read, which is the commonest slip (common practice).

use super::*;
use crate::meters::{MeterChoice, Meters, question};

#[test]
fn a_place_knows_what_exchanged_leads_would_read() {
    let text = r#"sheet X {
        net "0V" role=ground
        resistor R1 "4k7" A "0V" style=film
        diode D1 silicon-signal anode=A cathode="0V"
        resistor R2 "10k" B "0V" style=film
    }"#;
    let (sheet, complaints) = sheet::parse(text, "x.kdl");
    assert!(complaints.is_empty(), "{complaints:?}");
    let meters = Meters::settle(&MeterChoice::default()).expect("the default meter ships");
    let place = |kind: ReadingKind, red: &str, black: &str| Place {
        kind,
        condition: 0,
        question: question(meters.current(), kind).expect("the meter measures it"),
        red: record::resolve(red, &sheet).expect("the lead is on the sheet"),
        black: record::resolve(black, &sheet).expect("the lead is on the sheet"),
        rough: false,
    };
    let places = vec![
        place(ReadingKind::Diode, "A", "0V"),
        place(ReadingKind::Diode, "0V", "A"),
        place(ReadingKind::Ohms, "B", "0V"),
    ];
    let cold = Condition {
        state: State::Cold,
        lifted: Vec::new(),
    };
    let predictor = Predictor::new(sheet.clone(), vec![cold], places, Vec::new());
    let healthy = |place| predictor.healthy(place).expect("it can be computed");
    // Forward a junction, backward over range: 1 mA through 4.7 kilohm would want 4.7 V.
    let backward = healthy(0)
        .reversed
        .as_ref()
        .expect("it blocks the other way");
    assert!(backward.over_range() > 0.99, "{backward:?}");
    let forward = healthy(1)
        .reversed
        .as_ref()
        .expect("it conducts the other way");
    let record::Shown::Number(nominal) = healthy(0).nominal else {
        panic!("a junction shows volts");
    };
    let (score, _) = forward.score(nominal).expect("it is a number");
    assert!(score.abs() < 0.1, "{score}");
    assert_eq!(healthy(2).reversed, None);
}
