//! The machine file, a board as one unit has it, and boards joined at their connectors.

use proptest::prelude::*;
use sheet::machine::{
    Check, Machine, PinPlace, Step, Unit, as_built, join, parse, print, split_name,
};
use sheet::{Contact, Kind, Role, Sheet};
use units::{Ohms, Volts};

const MACHINE: &str = include_str!("samples/machine.kdl");
const BOARD: &str = include_str!("samples/every-kind.kdl");

fn machine() -> Machine {
    let (machine, found) = parse(MACHINE, "machine.kdl");
    assert_eq!(found, vec![]);
    machine
}

fn board(text: &str) -> Sheet {
    let (sheet, found) = sheet::parse(text, "a2.kdl");
    assert_eq!(found, vec![]);
    sheet
}

fn part<'s>(sheet: &'s Sheet, name: &str) -> &'s sheet::Part {
    &sheet.parts[sheet
        .part(name)
        .unwrap_or_else(|| panic!("no part {name}"))
        .index()]
}

#[test]
fn every_word_of_a_machine_file_is_understood() {
    let machine = machine();
    assert_eq!(machine.name, "Tamarisk 40");
    let names: Vec<&str> = machine.boards().map(|b| b.name.as_str()).collect();
    assert_eq!(names, ["A1", "A2", "B1"]);
    let a1 = machine.board("A1").expect("A1");
    assert_eq!(
        (a1.sheet.as_deref(), a1.slot.as_deref()),
        (Some("sheets/a1.kdl"), Some("1"))
    );
    let pin = |board: &str, pin: &str| PinPlace {
        board: board.into(),
        connector: "J1".into(),
        pin: pin.into(),
    };
    assert_eq!(machine.joins[0].pins, [pin("A1", "2"), pin("A2", "1")]);
    let unit = machine.unit("1").expect("unit 1");
    assert_eq!(
        (unit.serial.as_deref(), unit.boards[0].changes.len()),
        (Some("0217"), 6)
    );
    assert!(matches!(&machine.bring_up[0], Step::Assembly(a) if a == "Supplies"));
    let Step::Hold(hold) = &machine.bring_up[1] else {
        panic!("a hold point is second");
    };
    assert_eq!(hold.needs[0].check, Some(Check::ColdCard));
    assert_eq!(
        (hold.needs[1].check, hold.needs[1].board.as_deref()),
        (Some(Check::Rails), Some("A2"))
    );
    assert_eq!(hold.needs[2].check, None);
}

#[test]
fn without_a_bring_up_the_assemblies_are_brought_up_as_written() {
    let (machine, _) = parse(
        "machine M { assembly X { board A }; assembly Y { board B } }",
        "machine.kdl",
    );
    assert_eq!(
        machine.bring_up,
        [Step::Assembly("X".into()), Step::Assembly("Y".into())]
    );
}

#[test]
fn the_canonical_form_reads_back_as_the_same_machine() {
    let text = print(&machine());
    let (back, found) = parse(&text, "machine.kdl");
    assert_eq!(found, vec![]);
    assert_eq!(print(&back), text);
    assert_eq!(back.units[0].boards[0].changes.len(), 6);
    assert_eq!(back.bring_up.len(), 3);
}

#[test]
fn a_unit_has_its_replacements_and_its_bridges_and_lacks_what_is_absent() {
    let sheet = board(BOARD);
    let (built, found) = as_built(&sheet, "A2", &machine().units[0]);
    assert_eq!(found, vec![]);

    let r1 = part(&built, "R1");
    assert!(matches!(r1.kind, Kind::Resistor { ohms: Ohms(o), .. } if o == 2400.0));
    assert_eq!(
        (r1.style.as_deref(), r1.spread.tolerance),
        (Some("film"), Some(0.01))
    );
    assert_eq!(r1.ratings, part(&sheet, "R1").ratings);

    let Kind::Transistor { device, c, .. } = &part(&built, "Q2").kind else {
        panic!("Q2 is a transistor");
    };
    assert_eq!(device.name, "germanium-signal");
    assert_eq!(
        (device.given.is, device.given.bf),
        (None, None),
        "they were the old device's"
    );
    assert_eq!(part(&built, "Q2").spread.is, None);
    assert_eq!(built.net_name(*c), "DRV");

    assert!(matches!(
        part(&built, "S1").kind,
        Kind::Switch {
            state: Contact::Open,
            ..
        }
    ));
    assert_eq!(built.part("C2"), None);
    assert_eq!(built.nets, sheet.nets);
    let first = part(&built, "bridge1");
    assert!(
        matches!(first.kind, Kind::Resistor { ohms: Ohms(o), ends } if o == 0.1 && ends == sheet.adjacent.first().map(|(a, b)| [*a, *b]).expect("a pair"))
    );
    assert_eq!(
        (
            first.spread.tolerance,
            first.spread.drift.map(|d| d.fraction)
        ),
        (Some(0.0), Some(0.0))
    );
    assert!(
        matches!(part(&built, "bridge2").kind, Kind::Resistor { ohms: Ohms(o), .. } if o == 100.0)
    );
    // What is said of a part follows it to its new number.
    assert_eq!(built.parts[built.irreplaceable[0].index()].name, "Q1");
    assert_eq!(built.parts[built.alters[0].part.index()].name, "Q1");
}

#[test]
fn another_board_of_the_unit_is_as_drawn() {
    let sheet = board(BOARD);
    assert_eq!(as_built(&sheet, "A1", &machine().units[0]), (sheet, vec![]));
}

fn unit(changes: &str) -> (Unit, String) {
    let text = format!(
        "machine M {{ assembly S {{ board A2 }}; unit \"1\" serial=\"0217\" {{ on A2 {{\n{changes}\n}} }} }}"
    );
    let (machine, found) = parse(&text, "machine.kdl");
    assert_eq!(found, vec![]);
    (machine.units[0].clone(), text)
}

#[test]
fn what_cannot_be_applied_is_reported_and_the_rest_is_applied() {
    let cases = [
        ("replace R9 \"2k4\"", "There is no part `R9` on sheet A2."),
        ("replace R1 \"2x4\"", "`2x4` cannot be read as ohms."),
        (
            "replace Q2 silicon-sgnal",
            "No transistor type `silicon-sgnal` is known.",
        ),
        (
            "replace S1 \"closed\"",
            "A switch such as S1 has no value that could be replaced.",
        ),
        (
            "replace R1 \"2k4\" bf=100",
            "Resistor R1 has no property `bf`.",
        ),
        (
            "replace C1 \"470u\" plus=RAWW",
            "There is no net `RAWW` on sheet A2.",
        ),
        ("absent C99", "There is no part `C99` on sheet A2."),
        ("bridge REF SETT", "There is no net `SETT` on sheet A2."),
    ];
    let sheet = board(BOARD);
    for (change, message) in cases {
        let (unit, text) = unit(&format!("{change}\nabsent C2"));
        let (built, found) = as_built(&sheet, "A2", &unit);
        let messages: Vec<&str> = found.iter().map(|d| d.message.as_str()).collect();
        assert_eq!(messages, [message], "{change}");
        let place = found[0]
            .clone()
            .placed("machine.kdl", &text)
            .place
            .expect("a place");
        assert_eq!((place.line, place.column), (2, 1), "{change}");
        assert_eq!(built.part("C2"), None, "{change}");
        assert_eq!(built.parts.len(), sheet.parts.len() - 1, "{change}");
    }
}

#[test]
fn a_capacitor_put_in_backwards_can_be_said() {
    let (unit, _) = unit("replace C1 plus=RAW minus=\"0V\"");
    let sheet = board(BOARD);
    let (built, found) = as_built(&sheet, "A2", &unit);
    assert_eq!(found, vec![]);
    assert!(
        matches!(part(&built, "C1").kind, Kind::Capacitor { ends: [plus, _], .. } if built.net_name(plus) == "RAW")
    );
}

#[test]
fn a_sheet_that_does_not_say_that_it_fits_is_doubtful() {
    let (_, found) = as_built(&board(BOARD), "A2", &machine().units[1]);
    assert_eq!(
        found[0].message,
        "Sheet A2 does not say that it fits unit 2, serial 0301."
    );
    assert!(!found[0].is_error());
}

const FIRST: &str = "sheet A1 {
    net \"0V\" role=ground
    net OUT role=rail volts=12
    supply V1 volts=12 plus=OUT minus=\"0V\" ohms=1
    resistor R1 \"1k\" OUT \"0V\"
    connector J1 { pin 1 \"0V\"; pin 2 OUT }
    point TP1 net=OUT
    irreplaceable R1
}";
const SECOND: &str = "sheet A2 {
    net COM role=ground
    connector J1 { pin 1 COM; pin 2 IN }
    resistor R1 \"2k2\" IN MID
    transformer T1 { winding primary IN MID }
    npn Q1 silicon-signal c=MID b=IN e=COM
    adjacent IN MID
    never MID probe=\"hot\"
    alter Q1 prior=3
}";

#[test]
fn boards_are_joined_by_contacts_and_keep_their_names() {
    let (first, second) = (board(FIRST), board(SECOND));
    let text = "machine M { assembly S { board A1; board A2; board A3 }; join A1.J1.1 A2.J1.1; join A1.J1.2 A2.J1.2; join A1.J1.2 A3.J1.2 }";
    let (machine, found) = parse(text, "machine.kdl");
    assert_eq!(found, vec![]);
    let (whole, found) = join(&[("A1", &first), ("A2", &second)], &machine.joins);
    assert_eq!(found, vec![], "a join to a board that is not given is none");

    let net = |name: &str| whole.net(name).unwrap_or_else(|| panic!("no net {name}"));
    assert_eq!(whole.nets.len(), 5);
    assert_eq!(whole.ground(), Some(net("A1:0V")));
    assert_eq!(whole.nets[net("A2:COM").index()].role, Some(Role::Ground));
    assert_eq!(whole.nets[net("A1:OUT").index()].volts, Some(Volts(12.0)));
    assert_eq!(whole.points[0].name, "A1:TP1");
    assert!(
        matches!(part(&whole, "A2:R1").kind, Kind::Resistor { ends, .. } if ends == [net("A2:IN"), net("A2:MID")])
    );
    assert_eq!(whole.pin_net("A2:Q1.c"), Some(net("A2:MID")));
    assert_eq!(whole.pin_net("A2:T1.primary.2"), Some(net("A2:MID")));
    assert_eq!(whole.pin_net("A2:J1.2"), Some(net("A2:IN")));
    let contact = part(&whole, "A1:J1.2-A2:J1.2");
    assert!(
        matches!(contact.kind, Kind::Switch { ends, state: Contact::Closed, .. } if ends == [net("A1:OUT"), net("A2:IN")])
    );
    assert_eq!(whole.adjacent, [(net("A2:IN"), net("A2:MID"))]);
    assert_eq!(whole.nevers[0].net, net("A2:MID"));
    assert_eq!(whole.parts[whole.alters[0].part.index()].name, "A2:Q1");
    assert_eq!(whole.parts[whole.irreplaceable[0].index()].name, "A1:R1");
    assert_eq!(split_name("A2:R1"), Some(("A2", "R1")));
    assert_eq!(split_name("R1"), None);

    // The joined sheet is a sheet like any other.
    let (again, found) = sheet::parse(&sheet::print(&whole), "whole.kdl");
    assert_eq!(found, vec![]);
    assert_eq!(
        (again.nets.len(), again.parts.len()),
        (whole.nets.len(), whole.parts.len())
    );
}

#[test]
fn a_join_to_a_pin_that_is_not_there_is_an_error() {
    let (first, second) = (board(FIRST), board(SECOND));
    let text = "machine M { assembly S { board A1; board A2 }; join A1.J1.9 A2.J1.1; join A1.J2.1 A2.J1.1 }";
    let (machine, _) = parse(text, "machine.kdl");
    let (whole, found) = join(&[("A1", &first), ("A2", &second)], &machine.joins);
    let messages: Vec<&str> = found.iter().map(|d| d.message.as_str()).collect();
    assert_eq!(
        messages,
        [
            "Connector J1 of board A1 has no pin `9`.",
            "Board A1 has no connector `J2`."
        ]
    );
    assert_eq!(whole.parts.len(), first.parts.len() + second.parts.len());
}

mod generate;

proptest! {
    #![proptest_config(generate::cases(60))]

    /// Each board is found again in the whole, pin by pin.
    #[test]
    fn joining_moves_every_pin_to_the_net_of_its_own_board(a in generate::sheet(), b in generate::sheet()) {
        let (whole, _) = join(&[("A", &a), ("B", &b)], &[]);
        let mut parts = whole.parts.iter();
        for (board, sheet) in [("A", &a), ("B", &b)] {
            for part in &sheet.parts {
                let moved = parts.next().expect("as many parts");
                prop_assert_eq!(&moved.name, &format!("{board}:{}", part.name));
                for ((pin, net), (same, to)) in part.pins().into_iter().zip(moved.pins()) {
                    prop_assert_eq!(pin, same);
                    prop_assert_eq!(whole.net_name(to), format!("{board}:{}", sheet.net_name(net)));
                }
            }
        }
    }
}
