//! The page of first power: which readings of a unit count for the cold card, and how they stand to its lines.

use bench::Text;
use bench::entered::Written;
use bench::pages::power::{Held, power, rows};
use bench::project::{Project, ProjectText};

const MACHINE: &str = r#"machine "Invented 3" {
    assembly "All" {
        board A1 sheet="sheets/a1.kdl" slot=1
        board A2 sheet="./sheets/a2.kdl" slot=2
    }
    join A1.J1.1 A2.J1.1
    join A1.J1.2 A2.J1.2
}
"#;

const SUPPLY: &str = r#"sheet A1 {
    net "0V" role=ground
    net "+24V" role=rail volts=24
    supply V1 volts=24 plus="+24V" minus="0V" ohms=1
    connector J1 { pin 1 "+24V"; pin 2 "0V" }
}
"#;

// With R1 short the whole supply stands across D1.
const CLAMP: &str = r#"sheet A2 {
    net "0V" role=ground
    net "+24V" role=rail volts=24
    connector J1 { pin 1 "+24V"; pin 2 "0V" }
    resistor R1 "1k" "+24V" MID style=film
    diode D1 silicon-signal anode=MID cathode="0V"
}
"#;

fn text(file: &str, text: &str) -> Text {
    Text {
        file: file.to_owned(),
        text: text.to_owned(),
    }
}

fn project(machine: bool, readings: &str) -> Project {
    Project::of(ProjectText {
        name: "invented".to_owned(),
        machine: machine.then(|| text("machine.kdl", MACHINE)),
        sheets: vec![text("sheets/a1.kdl", SUPPLY), text("sheets/a2.kdl", CLAMP)],
        readings: vec![text("readings/A2.csv", readings)],
        ..ProjectText::default()
    })
    .with(&Written::default())
}

#[test]
fn a_reading_counts_only_if_it_is_noted_as_the_card_wants_it() {
    let bare = project(true, "unit,state,kind,red,black,value\n");
    let view = power(&bare, &|_, _| {}, &|| false).expect("worked out");
    let plain = rows(&bare, &view.card);
    let index = plain
        .iter()
        .position(|r| r.rules_out.iter().any(|f| f == "A2:R1 short"))
        .expect("the card rules R1 short out");
    let wanted = &plain[index];
    let place = wanted.place.clone().expect("a place on one board");
    assert_eq!(place.board, "A2");
    assert_eq!(format!("A2:{}", place.red), wanted.red);
    assert_eq!(wanted.unplugged, ["A2:J1"]);
    let low = view.card.card[index].low.expect("a lower line");
    let line = |unit: usize, kind: &str, value: &str, place_column: &str, plugs: &str| {
        format!(
            "{unit},cold,{kind},{},{},{value},{place_column},{plugs}\n",
            place.red, place.black
        )
    };
    let (good, bad) = (format!("{:.0}", low * 1.2), format!("{:.0}", low * 0.8));
    let readings = [
        "unit,state,kind,red,black,value,place,unplugged\n".to_owned(),
        line(1, wanted.kind, &good, "board-out", ""),
        line(2, wanted.kind, &bad, "board-out", ""),
        line(3, wanted.kind, &good, "", "J1"),
        line(4, wanted.kind, &good, "", ""),
        line(5, wanted.kind, &good, "chassis", ""),
        line(6, "diode", "0.6", "board-out", ""),
        line(7, wanted.kind, "OL", "board-out", ""),
    ]
    .concat();
    let read = project(true, &readings);
    let cells = rows(&read, &view.card).swap_remove(index).cells;
    let found: Vec<(Held, bool)> = cells.iter().map(|c| (c.held, c.note.is_empty())).collect();
    let wanted = [
        (Held::Within, true),
        (Held::Below, true),
        (Held::Within, true),
        // Taken, and passed over with a word why.
        (Held::NotTaken, false),
        (Held::NotTaken, false),
        (Held::NotTaken, true),
        (Held::Within, true),
    ];
    assert_eq!(found, wanted);
}

#[test]
fn sheets_that_nothing_joins_are_not_guessed_together() {
    let loose = project(false, "unit,state,kind,red,black,value\n");
    let refused = power(&loose, &|_, _| {}, &|| false).expect_err("two sheets, no machine");
    let said = &refused.complaints()[0].message;
    assert!(said.contains("no machine.kdl"), "{said}");
}
