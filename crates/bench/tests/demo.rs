//! The invented demo machine: every board works as drawn, and its readings show what was planted in them.

use std::path::{Path, PathBuf};

use bench::judged::{Options, Row, judge_file};
use bench::{MeterChoice, Text};
use circuit::{State, build};
use predict::{Board, random};
use sheet::device::Devices;
use sheet::{Contact, Draw, Kind, NetId, Role, Severity, Sheet};
use units::{Ohms, Volts};

const BOARDS: [&str; 5] = ["a1", "a2", "a3", "a4", "a5"];

fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo")
}

fn text_of(board: &str) -> String {
    let file = demo().join(format!("sheets/{board}.kdl"));
    std::fs::read_to_string(&file).unwrap_or_else(|e| panic!("{}: {e}", file.display()))
}

fn parsed(text: &str) -> Sheet {
    let (sheet, remarks) = sheet::parse(text, "demo");
    let is_error = |r: &sheet::Diagnostic| r.severity == Severity::Error;
    assert!(!remarks.iter().any(is_error), "{remarks:?}");
    sheet
}

fn drawn(board: &str) -> Sheet {
    parsed(&text_of(board))
}

/// A drawing with one more line at its end.
fn with(board: &str, line: &str) -> Sheet {
    let text = text_of(board);
    let end = text.rfind('}').unwrap();
    parsed(&format!("{}{line}\n}}\n", &text[..end]))
}

fn part<'a>(sheet: &'a mut Sheet, name: &str) -> &'a mut Kind {
    let id = sheet.part(name).unwrap_or_else(|| panic!("no {name}"));
    &mut sheet.parts[id.index()].kind
}

fn set_contact(sheet: &mut Sheet, name: &str, wanted: Contact) {
    match part(sheet, name) {
        Kind::Switch { state, .. } => *state = wanted,
        other => panic!("{other:?}"),
    }
}

fn set_volts(sheet: &mut Sheet, name: &str, wanted: f64) {
    match part(sheet, name) {
        Kind::Supply { volts, .. } => *volts = Volts(wanted),
        other => panic!("{other:?}"),
    }
}

fn set_load(sheet: &mut Sheet, name: &str, ohms: f64) {
    match part(sheet, name) {
        Kind::Load { draw, .. } => *draw = Draw::Ohms(Ohms(ohms)),
        other => panic!("{other:?}"),
    }
}

fn set_trimmer(sheet: &mut Sheet, name: &str, wanted: f64) {
    match part(sheet, name) {
        Kind::Potentiometer { setting, .. } => *setting = Some(wanted),
        other => panic!("{other:?}"),
    }
}

/// A powered board, solved.
struct Powered<'a> {
    sheet: &'a Sheet,
    board: Board,
    values: Vec<f64>,
    potential: Vec<f64>,
}

impl<'a> Powered<'a> {
    fn nominal(sheet: &'a Sheet) -> Self {
        Self::of(sheet, None)
    }

    /// A unit drawn from the healthy ones.
    fn drawn(sheet: &'a Sheet, seed: u64) -> Self {
        Self::of(sheet, Some(seed))
    }

    fn of(sheet: &'a Sheet, seed: Option<u64>) -> Self {
        let board = Board::new(build(sheet, Devices::shipped(), State::Powered)).expect("solved");
        let population = &board.network.population;
        let values = match seed {
            None => population.nominal(),
            Some(seed) => {
                let z = random::normals(&mut random::stream(seed, 0), population.variables);
                population.values(&z)
            }
        };
        let potential = board.operating_point(&values).expect("solved").potential;
        Self {
            sheet,
            board,
            values,
            potential,
        }
    }

    /// Volts of a net against ground.
    fn volts(&self, net: &str) -> f64 {
        let at = |n: NetId| self.potential[n.index()];
        let net = self
            .sheet
            .net(net)
            .unwrap_or_else(|| panic!("no net {net}"));
        at(net) - at(self.sheet.ground().unwrap())
    }

    /// Collector current and collector-emitter volts of a transistor, as magnitudes.
    fn transistor(&self, name: &str) -> (f64, f64) {
        let id = self.sheet.part(name);
        let mut branches = self.board.network.branches.iter();
        let branch = branches
            .find(|b| b.part == id && b.is_transistor())
            .unwrap();
        let current = branch.currents(&self.values, &self.potential).unwrap()[0];
        let at = |k: usize| self.potential[branch.nodes[k] as usize];
        (current.abs(), (at(0) - at(2)).abs())
    }

    /// Part, the watts that go into it, its rating.
    fn powers(&self) -> impl Iterator<Item = (&'a str, f64, f64)> {
        self.sheet.parts.iter().enumerate().filter_map(|(i, part)| {
            let rating = part.ratings.watts?.0;
            let branches = self.board.network.branches.iter();
            let own = branches.filter(|b| b.part.is_some_and(|p| p.index() == i));
            let watts = own.flat_map(|b| {
                let currents = b.currents(&self.values, &self.potential).unwrap();
                let at = |n: &u32| self.potential[*n as usize];
                b.used_nodes().iter().map(at).zip(currents)
            });
            Some((part.name.as_str(), watts.map(|(v, i)| v * i).sum(), rating))
        })
    }
}

fn near(what: &str, got: f64, wanted: f64, within: f64) {
    assert!((got - wanted).abs() <= within, "{what}: {got} V");
}

#[test]
fn the_drawings_are_whole() {
    let mut parts = 0;
    for board in BOARDS {
        // No errors, and no doubtful places either.
        let (sheet, remarks) = sheet::check(&text_of(board), board);
        assert_eq!(remarks, [], "{board}");
        assert_eq!(sheet.name.to_lowercase(), board);
        assert!((40..=60).contains(&sheet.parts.len()), "{board}");
        assert!(!sheet.points.is_empty() && !sheet.adjacent.is_empty());
        assert!(!sheet.irreplaceable.is_empty(), "{board}");
        assert!(sheet.nets.iter().any(|n| n.source.is_some()), "{board}");
        assert!(text_of(board).contains("invented"), "{board}");
        parts += sheet.parts.len();
    }
    assert!((200..=250).contains(&parts), "{parts}");
}

#[test]
fn every_rail_stands_within_its_tolerance_and_nothing_is_overloaded() {
    for board in BOARDS {
        let sheet = drawn(board);
        let powered = Powered::nominal(&sheet);
        for net in sheet.nets.iter().filter(|n| n.role == Some(Role::Rail)) {
            let volts = net.volts.expect("a rail says its volts").0;
            let within = volts.abs() * net.tolerance.expect("and its tolerance");
            near(&net.name, powered.volts(&net.name), volts, within);
        }
        for (name, watts, rating) in powered.powers() {
            assert!(
                watts <= 0.7 * rating,
                "{board} {name}: {watts} W of {rating} W"
            );
        }
    }
}

/// Both regulators: board, rail, ohms of the load. Both raw supplies are 20 V.
const REGULATORS: [(&str, &str, f64); 2] = [("a1", "+12V", 30.0), ("a2", "-12V", 20.0)];

#[test]
fn regulators_hold_the_rail_when_line_and_load_change() {
    for (board, rail, ohms) in REGULATORS {
        let mut sheet = drawn(board);
        let rest = Powered::nominal(&sheet).volts(rail);
        for (line, load) in [(0.9, 1.0), (1.1, 1.0), (1.0, 0.9), (1.0, 5.0)] {
            set_volts(&mut sheet, "V1", 20.0 * line);
            set_load(&mut sheet, "L1", ohms * load);
            near(rail, Powered::nominal(&sheet).volts(rail), rest, 0.15);
        }
    }
}

#[test]
fn regulators_limit_their_current() {
    for (board, rail, _) in REGULATORS {
        let mut sheet = drawn(board);
        set_load(&mut sheet, "L1", 1.0);
        let amps = Powered::nominal(&sheet).volts(rail).abs();
        assert!((0.5..1.3).contains(&amps), "{board}: {amps} A into 1 ohm");
    }
}

#[test]
fn the_trimmer_of_a_healthy_unit_reaches_the_nominal_rail() {
    for (board, rail, _) in REGULATORS {
        let mut sheet = drawn(board);
        for seed in 0..10 {
            let mut reach = [0.0, 1.0].map(|setting| {
                set_trimmer(&mut sheet, "RV1", setting);
                Powered::drawn(&sheet, seed).volts(rail).abs()
            });
            reach.sort_by(f64::total_cmp);
            assert!(reach[0] < 12.0 && reach[1] > 12.0, "{board}: {reach:?}");
        }
    }
}

#[test]
fn the_over_voltage_clamp_sleeps_until_the_pass_transistor_shorts() {
    let healthy = drawn("a1");
    assert!(Powered::nominal(&healthy).transistor("Q6").0 < 1e-6);
    let shorted = with("a1", "resistor RX \"0R1\" RAW SENS");
    let clamped = Powered::nominal(&shorted);
    assert!(clamped.transistor("Q6").0 > 0.3);
    near("+12V", clamped.volts("+12V"), 16.0, 1.0);
}

#[test]
fn power_good_waits_for_the_negative_rail() {
    let mut sheet = drawn("a2");
    near("PG", Powered::nominal(&sheet).volts("PG"), 0.0, 0.1);
    set_volts(&mut sheet, "V1", 9.0);
    let low = Powered::nominal(&sheet);
    assert!(low.volts("-12V") > -9.0 && low.volts("PG") < -5.0);
}

#[test]
fn flip_flops_have_one_side_on_and_the_other_off() {
    let sheet = drawn("a3");
    for seed in 0..10 {
        let powered = Powered::drawn(&sheet, seed);
        for (on, off, zero, one) in [("Q1", "Q2", "A", "AN"), ("Q3", "Q4", "B", "BN")] {
            let (amps, volts) = powered.transistor(on);
            assert!(amps > 5e-3 && volts < 0.1, "{on}: {amps} A, {volts} V");
            assert!(powered.transistor(off).0 < 1e-4, "{off}");
            assert!(powered.volts(zero) > -0.2 && powered.volts(one) < -8.0);
        }
        // The lamp is lit while A is 0.
        assert!(powered.transistor("Q5").0 > 0.03);
    }
}

#[test]
fn a_flip_flop_can_be_set_as_well_as_reset() {
    let text = text_of("a3");
    let turned = text.replace("anode=B1 cathode=RA", "anode=B2 cathode=RA");
    assert_ne!(text, turned);
    let sheet = parsed(&turned);
    let powered = Powered::nominal(&sheet);
    assert!(powered.volts("A") < -8.0 && powered.volts("AN") > -0.2);
    assert!(powered.volts("B") > -0.2 && powered.volts("BN") < -8.0);
    assert!(powered.transistor("Q5").0 < 1e-3);
}

#[test]
fn the_plates_balance_within_the_trimmers_reach() {
    let mut sheet = drawn("a4");
    let rest = Powered::nominal(&sheet);
    near("XP", rest.volts("XP"), 62.0, 6.0);
    near("XP to XM", rest.volts("XP") - rest.volts("XM"), 0.0, 1.0);
    for name in ["Q1", "Q2", "Q3", "Q4", "Q5", "Q6", "Q7", "Q8"] {
        let (amps, volts) = rest.transistor(name);
        assert!((0.5e-3..5e-3).contains(&amps) && volts > 2.0, "{name}");
    }
    // The knob on the front stands in the middle while the trimmer is set.
    set_trimmer(&mut sheet, "RV1", 0.5);
    for seed in 0..10 {
        let apart = [0.0, 1.0].map(|setting| {
            set_trimmer(&mut sheet, "RV3", setting);
            let powered = Powered::drawn(&sheet, seed);
            powered.volts("XP") - powered.volts("XM")
        });
        assert!(apart[0] * apart[1] < 0.0, "unit {seed}: {apart:?}");
    }
}

#[test]
fn the_input_and_the_position_knob_move_the_plates_apart() {
    let apart = |sheet: &Sheet| {
        let powered = Powered::nominal(sheet);
        powered.volts("XP") - powered.volts("XM")
    };
    let driven = [-0.3, 0.3].map(|volts| {
        let line = format!("supply VX volts={volts} plus=XIN minus=\"0V\"");
        apart(&with("a4", &line))
    });
    assert!(driven[0] > 20.0 && driven[1] < -20.0, "{driven:?}");
    let mut sheet = drawn("a4");
    let turned = [0.0, 1.0].map(|setting| {
        set_trimmer(&mut sheet, "RV1", setting);
        apart(&sheet)
    });
    assert!(turned[0] > 10.0 && turned[1] < -10.0, "{turned:?}");
}

#[test]
fn each_key_gives_its_code_and_the_strobe() {
    const LINES: [&str; 4] = ["OUT1", "OUT2", "OUT4", "OUT8"];
    let mut sheet = drawn("a5");
    for key in 0..10 {
        let rest = Powered::nominal(&sheet);
        assert!(LINES.iter().all(|line| rest.volts(line).abs() < 0.1));
        assert!(rest.volts("STROBE") < -11.0);
        let name = format!("S{key}");
        set_contact(&mut sheet, &name, Contact::Closed);
        let pressed = Powered::nominal(&sheet);
        for (bit, line) in LINES.iter().enumerate() {
            let wanted = if key >> bit & 1 == 1 { -10.8 } else { 0.0 };
            near(
                &format!("key {key}, {line}"),
                pressed.volts(line),
                wanted,
                1.0,
            );
        }
        assert!(pressed.volts("STROBE") > -0.2, "key {key}");
        set_contact(&mut sheet, &name, Contact::Open);
    }
}

fn file(name: &str) -> Text {
    let path = demo().join(name);
    Text {
        text: std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display())),
        file: name.to_owned(),
    }
}

/// The verdicts on a board's readings, with the machine file or without it.
fn judged(board: &str, with_machine: bool) -> Vec<Row> {
    let options = Options {
        readings: file(&format!("readings/{board}.csv")),
        meter: MeterChoice::default(),
        machine: with_machine.then(|| file("machine.kdl")),
        lenient: false,
    };
    let sheet = file(&format!("sheets/{board}.kdl"));
    let view = judge_file(&sheet, &options, &|_, _| {}, &|| false).expect("judged");
    view.verdicts
}

/// Unit, red and black of the readings that disagree, sorted.
fn disagreeing(rows: &[Row]) -> Vec<String> {
    let odd = rows.iter().filter(|r| r.verdict == "disagrees");
    let mut places: Vec<String> = odd
        .map(|r| format!("{} {} {}", r.unit, r.red, r.black))
        .collect();
    places.sort();
    places
}

fn cases<'r>(rows: &'r [Row], unit: &str, red: &str, black: &str) -> Vec<&'r str> {
    let at = |r: &&Row| r.unit == unit && r.red == red && r.black == black;
    let twins = rows.iter().filter(at).filter_map(|r| r.twin.as_ref());
    twins.map(|t| t.case).collect()
}

#[test]
fn the_machine_file_fits_its_sheets() {
    let text = file("machine.kdl");
    let (machine, remarks) = sheet::machine::parse(&text.text, &text.file);
    assert_eq!(remarks, []);
    assert!(!machine.bring_up.is_empty());
    let mut sheets = Vec::new();
    for board in machine.boards() {
        let sheet = drawn(&board.name.to_lowercase());
        let named = format!("sheets/{}.kdl", sheet.name.to_lowercase());
        assert_eq!(board.sheet.as_deref(), Some(named.as_str()));
        assert_eq!(board.title, sheet.title);
        for unit in &machine.units {
            let (_, remarks) = sheet::machine::as_built(&sheet, &board.name, unit);
            assert_eq!(remarks, [], "{} of unit {}", board.name, unit.name);
        }
        sheets.push((board.name.as_str(), sheet));
    }
    // Besides these boards the kilovolt supply and the tube, which `risk.rs` looks at.
    assert_eq!((sheets.len(), machine.units.len()), (BOARDS.len() + 2, 2));
    let boards: Vec<(&str, &Sheet)> = sheets.iter().map(|(n, s)| (*n, s)).collect();
    let (_, remarks) = sheet::machine::join(&boards, &machine.joins);
    assert_eq!(remarks, []);
    let altered = sheet::machine::as_built(boards[0].1, "A2", &machine.units[0]).0;
    assert!(altered.part("B1").is_none());
    let id = altered.part("R4").unwrap();
    assert!(
        matches!(&altered.parts[id.index()].kind, Kind::Resistor { ohms, .. } if ohms.0 == 2400.0)
    );
}

/// Board, planted fault as README.md tells it, unit of which it is, what disagrees there.
const PLANTED: [(&str, &str, &[&str], &[&str]); 4] = [
    (
        "a1",
        "C6 leaky=330",
        &["1", "2"],
        &["+12V 0V", "+6V 0V", "0V +6V", "FB 0V", "ZB 0V"],
    ),
    ("a3", "Q4 bc-short", &["1"], &["0V B4", "0V BN", "BN B4"]),
    ("a4", "R16 open", &["2"], &["HT PD", "XM 0V"]),
    ("a5", "R6 is drawn 4k7", &["1", "2"], &["0V ST", "ST SB"]),
];

#[test]
fn what_was_planted_disagrees_and_nothing_else_does() {
    let told = file("README.md").text;
    for (board, planted, units, places) in PLANTED {
        assert!(told.contains(planted), "{planted}");
        let rows = judged(board, true);
        let wanted = units
            .iter()
            .flat_map(|u| places.iter().map(move |p| format!("{u} {p}")));
        assert_eq!(disagreeing(&rows), wanted.collect::<Vec<_>>(), "{board}");
    }
    assert_eq!(disagreeing(&judged("a2", true)), [""; 0]);
}

#[test]
fn twins_show_whose_fault_it_is() {
    let rows = judged("a1", true);
    assert_eq!(cases(&rows, "1", "+6V", "0V"), ["alike-but-off"]);
    let rows = judged("a3", true);
    assert_eq!(cases(&rows, "1", "BN", "B4"), ["this-odd"]);
    assert_eq!(cases(&rows, "2", "BN", "B4"), ["other-odd"]);
    let rows = judged("a4", true);
    assert_eq!(cases(&rows, "2", "HT", "PD"), ["this-odd"]);
    let rows = judged("a5", true);
    assert_eq!(cases(&rows, "1", "0V", "ST"), ["alike-but-off"]);
}

#[test]
fn an_earlier_owners_alteration_is_a_fault_only_without_the_machine_file() {
    let places = ["1 -12V 0V", "1 0V -12V", "1 FB 0V", "1 RAW 0V"];
    assert_eq!(disagreeing(&judged("a2", false)), places);
}

#[test]
fn most_readings_agree() {
    let rows: Vec<Row> = BOARDS.iter().flat_map(|b| judged(b, true)).collect();
    for unit in ["1", "2"] {
        let own: Vec<&Row> = rows.iter().filter(|r| r.unit == unit).collect();
        let agree = own.iter().filter(|r| r.verdict == "agrees").count();
        assert!((25..=45).contains(&own.len()), "{} readings", own.len());
        assert!(3 * agree >= 2 * own.len(), "{agree} of {}", own.len());
        assert!(own.iter().all(|r| r.verdict != "no-expectation"));
    }
}
