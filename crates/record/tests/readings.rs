//! Readings and pairs are read as the format says, written so that they can be read again, and the last one counts.

mod board;

use proptest::prelude::*;
use record::{
    At, Known, Placement, Reading, ReadingKind, ReadingValue, Shown, State, parse_pairs,
    parse_readings, print_readings, settle,
};
use sheet::Sheet;
use sheet::meter::Meter;
use units::Celsius;

/// What names are held against, without a machine file.
fn known(sheet: &Sheet) -> Known<'_> {
    Known {
        sheet,
        meters: Meter::shipped(),
        units: None,
    }
}

#[track_caller]
fn read(text: &str) -> Vec<Reading> {
    let sheet = board::sheet();
    let (readings, mistakes) = parse_readings(text, "r.csv", &known(&sheet));
    assert_eq!(mistakes, []);
    readings
}

#[test]
fn the_example_of_the_format_is_read() {
    let readings = read(
        "unit,state,kind,red,black,value,meter,note\n1,cold,ohms,REF,0V,1.84k,,\n1,cold,diode,Q1.b,-12V,OL,,\n",
    );
    assert_eq!(readings.len(), 2);
    let first = &readings[0];
    assert_eq!(
        (first.unit.as_str(), first.state, first.kind),
        ("1", State::Cold, ReadingKind::Ohms)
    );
    assert_eq!(first.value, ReadingValue::Steady(Shown::Number(1840.0)));
    assert_eq!((first.written.as_str(), first.line), ("1.84k", 2));
    assert_eq!((&first.meter, first.note.as_str()), (&None, ""));
    assert_eq!(
        (first.red.written.as_str(), first.black.written.as_str()),
        ("REF", "0V")
    );
    assert_eq!(readings[1].value, ReadingValue::Steady(Shown::OverRange));
    assert!(matches!(readings[1].red.at, At::Pin(..)));
}

#[test]
fn columns_stand_in_any_order_and_conditions_are_read() {
    let text = "time,cycle,minutes,celsius,unplugged,lifted,place,value,black,red,kind,state,unit,note,meter\n\
                10:15,3,12.5,21,J1,R1.1 Q1.b,board-out,1k8..OL,0V,TP3,ohms,cold,B,\"jumps, when tapped\",moving-coil\n";
    let sheet = board::sheet();
    let reading = read(text).remove(0);
    assert_eq!(
        reading.value,
        ReadingValue::Intermittent(Shown::Number(1800.0), Shown::OverRange)
    );
    let c = &reading.conditions;
    assert_eq!(
        (c.placement, c.celsius, c.minutes),
        (Some(Placement::BoardOut), Some(Celsius(21.0)), Some(12.5))
    );
    assert_eq!(c.cycle.as_deref(), Some("3"));
    let lifted: Vec<&str> = c.lifted.iter().map(|l| l.written.as_str()).collect();
    assert_eq!(lifted, ["R1.1", "Q1.b"]);
    assert_eq!(c.unplugged, [sheet.part("J1").expect("a part")]);
    assert_eq!(reading.time.as_deref(), Some("10:15"));
    assert_eq!(reading.note, "jumps, when tapped");
    assert_eq!(reading.meter.as_deref(), Some("moving-coil"));
}

#[test]
fn good_rows_are_given_though_others_are_bad() {
    let sheet = board::sheet();
    let text = "unit,state,kind,red,black,value\n1,cold,ohms,REF,0V,1k\n1,cold,ohms,NOWHERE,0V,1k\n\n,,,,,\n1,cold,ohms,SET,0V,2k\n";
    let (readings, mistakes) = parse_readings(text, "r.csv", &known(&sheet));
    assert_eq!(mistakes.len(), 1);
    assert_eq!(readings.iter().map(|r| r.line).collect::<Vec<_>>(), [2, 6]);
}

#[test]
fn a_spreadsheet_file_with_byte_order_mark_and_carriage_returns_is_read() {
    let readings = read(
        "\u{feff}unit,state,kind,red,black,value\r\n1,cold,diode,D1.anode,D1.cathode,612m\r\n",
    );
    assert_eq!(
        readings[0].value,
        ReadingValue::Steady(Shown::Number(0.612))
    );
}

#[test]
fn pairs_are_read_from_either_kind_of_file() {
    let sheet = board::sheet();
    let (pairs, mistakes) = parse_pairs(
        "kind,red,black,state\nohms,REF,0V,\nvolts,TP3,0V,powered\n",
        "p.csv",
        &sheet,
    );
    assert_eq!(mistakes, []);
    assert_eq!(
        pairs.iter().map(|p| p.state).collect::<Vec<_>>(),
        [None, Some(State::Powered)]
    );
    assert_eq!(pairs[1].red.written, "TP3");
    let (pairs, mistakes) = parse_pairs(
        "unit,state,kind,red,black,value,meter,note\nx,cold,diode,Q1.b,-12V,rubbish,none such,\n",
        "p.csv",
        &sheet,
    );
    assert_eq!(mistakes, []);
    assert_eq!(
        (pairs[0].kind, pairs[0].state, pairs[0].line),
        (ReadingKind::Diode, Some(State::Cold), 2)
    );
}

#[track_caller]
fn kept(rows: &str, expected: &[&str]) {
    let text = format!("unit,state,kind,red,black,value,meter,lifted,minutes,place\n{rows}");
    let values: Vec<String> = settle(read(&text)).into_iter().map(|r| r.written).collect();
    assert_eq!(values, expected);
}

#[test]
fn the_last_of_the_same_readings_counts() {
    kept(
        "1,cold,ohms,REF,0V,1k\n1,cold,ohms,SET,0V,2k\n1,cold,ohms,REF,0V,3k\n",
        &["2k", "3k"],
    );
    // A point and a pin on the net are the same place as the net.
    kept(
        "1,cold,ohms,REF,0V,1k\n1,cold,ohms,TP3,0V,2k\n1,cold,ohms,R1.2,J1.1,3k\n",
        &["3k"],
    );
}

#[test]
fn readings_of_other_things_all_count() {
    kept(
        "1,cold,ohms,REF,0V,1k\n2,cold,ohms,REF,0V,2k\n",
        &["1k", "2k"],
    );
    kept(
        "1,cold,ohms,REF,0V,1k\n1,cold,ohms,0V,REF,2k\n",
        &["1k", "2k"],
    );
    kept(
        "1,cold,diode,REF,0V,0.5\n1,cold,ohms,REF,0V,2k\n",
        &["0.5", "2k"],
    );
    kept(
        "1,cold,volts,REF,0V,1\n1,powered,volts,REF,0V,2\n",
        &["1", "2"],
    );
    kept(
        "1,cold,ohms,REF,0V,1k\n1,cold,ohms,REF,0V,2k,moving-coil\n",
        &["1k", "2k"],
    );
    kept(
        "1,cold,ohms,REF,0V,1k\n1,cold,ohms,REF,0V,2k,,R1.1\n",
        &["1k", "2k"],
    );
    kept(
        "1,powered,volts,REF,0V,1,,,5\n1,powered,volts,REF,0V,2,,,30\n",
        &["1", "2"],
    );
    kept(
        "1,cold,ohms,REF,0V,1k,,,,chassis\n1,cold,ohms,REF,0V,2k,,,,board-out\n",
        &["1k", "2k"],
    );
    // The lifted pin itself is no longer on its net.
    kept(
        "1,cold,ohms,R1.2,0V,1k,,R1.2\n1,cold,ohms,REF,0V,2k,,R1.2\n",
        &["1k", "2k"],
    );
    kept(
        "1,cold,ohms,R2.1,0V,1k,,R1.2 R1.1\n1,cold,ohms,DRV,0V,2k,,R1.1 R1.2\n",
        &["2k"],
    );
}

fn any_row() -> impl Strategy<Value = String> {
    let place = prop::sample::select(vec![
        "REF",
        "TP3",
        "Q1.b",
        "-12V",
        "0V",
        "T1.primary.1",
        "A2:SET",
    ]);
    let value = prop::sample::select(vec!["OL", "1k84", "2.2k", "0.6", "1k..OL", "47"]);
    let note = prop::sample::select(vec![
        "",
        "plain",
        "\"comma, and \"\"quotes\"\"\"",
        "\"two\nlines\"",
    ]);
    let lifted = prop::sample::select(vec!["", "R1.1", "R1.1 Q1.e"]);
    let minutes = prop::sample::select(vec!["", "7", "0.1"]);
    (place.clone(), place, value, note, lifted, minutes).prop_map(
        |(red, black, value, note, lifted, minutes)| {
            format!("1,cold,ohms,{red},{black},{value},{note},{lifted},{minutes},J1,20")
        },
    )
}

proptest! {
    #[test]
    fn what_is_written_is_read_again(rows in prop::collection::vec(any_row(), 0..8)) {
        let text = format!("unit,state,kind,red,black,value,note,lifted,minutes,unplugged,celsius\n{}\n", rows.join("\n"));
        let sheet = board::sheet();
        let mut readings = read(&text);
        let mut again = read(&print_readings(&readings, &sheet));
        for reading in readings.iter_mut().chain(&mut again) {
            reading.line = 0;
        }
        prop_assert_eq!(readings, again);
    }

    #[test]
    fn no_text_makes_it_panic(text in "\\PC{0,80}|[a-z,\"\\n\\r;0-9.]{0,120}") {
        let sheet = board::sheet();
        let with_header = format!("unit,state,kind,red,black,value,lifted,unplugged\n{text}");
        for text in [&text, &with_header] {
            let _ = parse_readings(text, "r.csv", &known(&sheet));
            let _ = parse_pairs(text, "p.csv", &sheet);
        }
    }

    #[test]
    fn no_mangled_file_makes_it_panic(cut in 0usize..300, insert in "[,\"\\n.:a-z0-9 é]{0,4}") {
        let good = "unit,state,kind,red,black,value,meter,note,lifted\n1,cold,ohms,REF,0V,1k8..OL,moving-coil,\"a, b\",R1.1\n\
                    1,cold,diode,Q1.b,T1.primary.2,OL,,,\n";
        let at = cut.min(good.len());
        let sheet = board::sheet();
        let (_, mistakes) = parse_readings(&format!("{}{insert}{}", &good[..at], &good[at..]), "r.csv", &known(&sheet));
        for m in mistakes {
            prop_assert!(m.message.ends_with('.') && !m.help.is_empty(), "{:?}", m);
        }
    }
}
