//! Pins of packages against a tester of such packages that runs on real ones (public repository jakubfi/ictester: which pin takes a level,
//! which gives one, and some of its rows).

mod alone;

use std::collections::BTreeSet;

use alone::alone;
use logic::{Level, Row, Sequence, packages, run};

/// Numbers with the same pins; pins that take a level, pins that give one.
const PINS: &[(&str, &str, &str)] = &[
    (
        "7400 7403 7408 7432 7437 7438 7486 74125 74126 74132 74136",
        "1 2 4 5 9 10 12 13",
        "3 6 8 11",
    ),
    ("7402", "2 3 5 6 8 9 11 12", "1 4 10 13"),
    ("7404 7405 7406 7407", "1 3 5 9 11 13", "2 4 6 8 10 12"),
    ("7410 7411 7412", "1 2 3 4 5 9 10 11 13", "6 8 12"),
    ("7413 7420 7440", "1 2 4 5 9 10 12 13", "6 8"),
    ("7430", "1 2 3 4 5 6 11 12", "8"),
    ("7445 74145", "12 13 14 15", "1 2 3 4 5 6 7 9 10 11"),
    // The tester leaves the expander's pins open; here pin 11 takes what an expander gives.
    ("7450", "1 2 3 4 5 9 10 11 13", "6 8"),
    ("7453", "1 2 3 4 5 9 10 11 13", "8"),
    // Of the two wires of each expander one stands for both.
    ("7460", "1 2 3 4 5 6 8 13", "10 11"),
    ("7472", "2 3 4 5 9 10 11 12 13", "6 8"),
    ("7473", "1 2 3 5 6 7 10 14", "8 9 12 13"),
    ("7474", "1 2 3 4 10 11 12 13", "5 6 8 9"),
    ("7475", "2 3 4 6 7 13", "1 8 9 10 11 14 15 16"),
    ("7483", "1 3 4 7 8 10 11 13 16", "2 6 9 14 15"),
    ("7490", "1 2 3 6 7 14", "8 9 11 12"),
    ("7493", "1 2 3 14", "8 9 11 12"),
    ("7495", "1 2 3 4 5 6 8 9", "10 11 12 13"),
    ("74107", "1 4 8 9 10 11 12 13", "2 3 5 6"),
    ("74148", "1 2 3 4 5 10 11 12 13", "6 7 9 14 15"),
    (
        "74150",
        "1 2 3 4 5 6 7 8 9 11 13 14 15 16 17 18 19 20 21 22 23",
        "10",
    ),
    ("74151", "1 2 3 4 7 9 10 11 12 13 14 15", "5 6"),
    ("74153", "1 2 3 4 5 6 10 11 12 13 14 15", "7 9"),
    (
        "74154",
        "18 19 20 21 22 23",
        "1 2 3 4 5 6 7 8 9 10 11 13 14 15 16 17",
    ),
    ("74155 74156", "1 2 3 13 14 15", "4 5 6 7 9 10 11 12"),
    ("74157", "1 2 3 5 6 10 11 13 14 15", "4 7 9 12"),
    ("74161", "1 2 3 4 5 6 7 9 10", "11 12 13 14 15"),
    ("74164", "1 2 8 9", "3 4 5 6 10 11 12 13"),
    ("74174", "1 3 4 6 9 11 13 14", "2 5 7 10 12 15"),
    ("74175", "1 4 5 9 12 13", "2 3 6 7 10 11 14 15"),
    ("74180", "1 2 3 4 8 9 10 11 12 13", "5 6"),
    (
        "74181",
        "1 2 3 4 5 6 7 8 18 19 20 21 22 23",
        "9 10 11 13 14 15 16 17",
    ),
    ("74182", "1 2 3 4 5 6 13 14 15", "7 9 10 11 12"),
];

#[test]
fn each_pin_takes_or_gives_a_level_as_on_the_tester() {
    let list = packages();
    let mut compared = 0;
    for (numbers, inputs, outputs) in PINS {
        for number in numbers.split(' ') {
            let ours = list.iter().find(|p| p.number == number).expect(number);
            let set = |pins: &[&'static str]| pins.iter().copied().collect::<BTreeSet<&str>>();
            let theirs = |pins: &'static str| pins.split(' ').collect::<BTreeSet<&str>>();
            assert_eq!(set(&ours.inputs), theirs(inputs), "{number}, inputs");
            assert_eq!(set(&ours.outputs), theirs(outputs), "{number}, outputs");
            compared += 1;
        }
    }
    println!("{compared} packages, all pins alike");
    assert!(compared >= 45);
}

/// Rows of a package: levels of pins that take one, and of those that give one, in these orders.
fn rows(number: &str, inputs: &[u32], outputs: &[u32], rows: &[(&str, &str)]) {
    let machine = alone(number, inputs, outputs);
    let net = |p: &u32| machine.network.net(&format!("p{p}")).expect("a pin");
    for (put, wanted) in rows {
        let levels = inputs
            .iter()
            .zip(put.chars())
            .map(|(p, c)| (net(p), Some(c == '1')));
        let row = Row {
            line: 1,
            inputs: levels.collect(),
            seen: Vec::new(),
        };
        let id = String::new();
        let shown = run(
            &machine,
            &Sequence {
                id,
                rows: vec![row],
            },
            &[],
        );
        let given: String = outputs
            .iter()
            .map(|p| machine.sheet_nets.iter().position(|n| *n == net(p)))
            .map(|at| match shown.rows[0][at.expect("on the sheet")] {
                Level::Known(true) => '1',
                Level::Known(false) => '0',
                Level::Unknown => 'x',
            })
            .collect();
        assert_eq!(given, *wanted, "{number} with {put}");
    }
}

#[test]
fn encoder_selector_and_decoder_give_the_testers_rows() {
    rows(
        "74148",
        &[5, 10, 11, 12, 13, 1, 2, 3, 4],
        &[6, 7, 9, 14, 15],
        &[
            ("100000000", "11111"),
            ("111111111", "11111"),
            ("011111111", "11110"),
            ("000000000", "00001"),
            ("000000001", "00101"),
            ("000000011", "01001"),
            ("000000111", "01101"),
            ("000001111", "10001"),
            ("000011111", "10101"),
            ("000111111", "11001"),
            ("001111111", "11101"),
            ("011111110", "00001"),
            ("011111011", "01001"),
            ("011101111", "10001"),
            ("010111111", "11001"),
        ],
    );
    rows(
        "74153",
        &[2, 14, 1, 3, 4, 5, 6, 15, 13, 12, 11, 10],
        &[7, 9],
        &[
            ("001111111111", "00"),
            ("000111001110", "00"),
            ("010110101101", "00"),
            ("100101101011", "00"),
            ("110011100111", "00"),
            ("000000100001", "11"),
            ("010001000010", "11"),
            ("100010000100", "11"),
            ("110100001000", "11"),
        ],
    );
    rows(
        "74155",
        &[3, 13, 2, 1, 14, 15],
        &[7, 6, 5, 4, 9, 10, 11, 12],
        &[
            ("001010", "11111111"),
            ("110001", "11111111"),
            ("000100", "01110111"),
            ("010100", "10111011"),
            ("100100", "11011101"),
            ("110100", "11101110"),
        ],
    );
    // With both of its last inputs alike the parity package gives the same at both outputs.
    rows(
        "74180",
        &[8, 9, 10, 11, 12, 13, 1, 2, 3, 4],
        &[5, 6],
        &[
            ("1000000000", "11"),
            ("1000000011", "00"),
            ("1000000010", "01"),
            ("1100000010", "10"),
            ("1100000001", "01"),
        ],
    );
}
