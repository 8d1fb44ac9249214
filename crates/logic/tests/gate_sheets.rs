//! Gate sheets: packages against function tables and against netlists made elsewhere, and what is said of mistakes.

use logic::{Level, Machine, Row, Sequence, packages, read_gates, run};

fn sheet(text: &str) -> Machine {
    let (machine, mistakes) = read_gates(text);
    assert!(mistakes.is_empty(), "{mistakes:?}\n{text}");
    machine.expect("the sheet can be built")
}

/// A sheet with one package, each pin on a net `pN`.
fn alone(number: &str) -> Machine {
    let listed = packages()
        .into_iter()
        .find(|p| p.number == number)
        .expect("is known");
    let all: Vec<String> = listed
        .inputs
        .iter()
        .chain(&listed.outputs)
        .map(|p| format!("{p}=p{p}"))
        .collect();
    let inputs: Vec<String> = listed.inputs.iter().map(|p| format!("p{p}")).collect();
    sheet(&format!(
        "logic \"one\" {{\n input {}\n package U1 \"{number}\" pins=\"{}\"\n}}",
        inputs.join(" "),
        all.join(" ")
    ))
}

/// Levels of outputs for each row of levels at inputs; a row is `pin=level` words.
fn outputs(machine: &Machine, rows: &[&str], of: &[&str]) -> Vec<String> {
    let net = |pin: &str| machine.network.net(&format!("p{pin}")).expect("a pin");
    let rows = rows
        .iter()
        .map(|row| Row {
            line: 1,
            inputs: row
                .split_whitespace()
                .map(|w| w.split_once('=').expect("pin=level"))
                .map(|(pin, level)| (net(pin), Some(level == "1")))
                .collect(),
            seen: Vec::new(),
        })
        .collect();
    let shown = run(
        machine,
        &Sequence {
            id: String::new(),
            rows,
        },
        &[],
    );
    let place = |pin: &str| {
        machine
            .sheet_nets
            .iter()
            .position(|n| *n == net(pin))
            .expect("on the sheet")
    };
    let mark = |level: Level| match level {
        Level::Known(true) => '1',
        Level::Known(false) => '0',
        Level::Unknown => 'x',
    };
    shown
        .rows
        .iter()
        .map(|r| of.iter().map(|p| mark(r[place(p)])).collect())
        .collect()
}

#[test]
fn packages_have_the_pins_of_their_cases() {
    let list = packages();
    let numbered: Vec<_> = list.iter().filter(|p| p.number.starts_with("74")).collect();
    assert!(numbered.len() >= 60, "{}", numbered.len());
    for package in numbered {
        let mut pins: Vec<u32> = package
            .inputs
            .iter()
            .chain(&package.outputs)
            .chain(&package.power)
            .map(|p| {
                p.parse()
                    .unwrap_or_else(|_| panic!("{}: pin {p}", package.number))
            })
            .collect();
        pins.sort_unstable();
        assert!(
            pins.windows(2).all(|w| w[0] < w[1]),
            "{}: a pin has two roles: {pins:?}",
            package.number
        );
        let last = if pins.contains(&24) {
            24
        } else if pins.contains(&16) {
            16
        } else {
            14
        };
        assert!(
            pins.iter().all(|p| (1..=last).contains(p)),
            "{}: {pins:?}",
            package.number
        );
        let power = &package.power;
        assert!(power.len() >= 2, "{} has no supply", package.number);
    }
}

/// Sums, comparisons and arithmetic from their definition, over all or many inputs.
#[test]
fn adders_and_comparators_compute() {
    let level = |n: u32, bit: usize| u8::from(n >> bit & 1 == 1);
    for (number, a, b, c0, s, c4) in [
        (
            "7483",
            ["10", "8", "3", "1"],
            ["11", "7", "4", "16"],
            "13",
            ["9", "6", "2", "15"],
            "14",
        ),
        (
            "74283",
            ["5", "3", "14", "12"],
            ["6", "2", "15", "11"],
            "7",
            ["4", "1", "13", "10"],
            "9",
        ),
    ] {
        let machine = alone(number);
        let (mut rows, mut wanted) = (Vec::new(), Vec::new());
        for n in 0..512u32 {
            let (x, y, c) = (n & 15, n >> 4 & 15, n >> 8);
            let mut row = format!("{c0}={c}");
            for i in 0..4 {
                row += &format!(" {}={} {}={}", a[i], level(x, i), b[i], level(y, i));
            }
            rows.push(row);
            let sum = x + y + c;
            wanted.push(
                (0..5)
                    .map(|i| char::from(b'0' + level(sum, i)))
                    .collect::<String>(),
            );
        }
        let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
        let of: Vec<&str> = s.into_iter().chain([c4]).collect();
        assert_eq!(outputs(&machine, &rows, &of), wanted, "{number}");
    }
    let machine = alone("7485");
    let (a, b) = (["10", "12", "13", "15"], ["9", "11", "14", "1"]);
    for n in 0..256u32 {
        let (x, y) = (n & 15, n >> 4);
        let mut row = "2=0 3=1 4=0".to_owned();
        for i in 0..4 {
            row += &format!(" {}={} {}={}", a[i], level(x, i), b[i], level(y, i));
        }
        let wanted: String = [x < y, x == y, x > y]
            .map(|t| if t { '1' } else { '0' })
            .iter()
            .collect();
        assert_eq!(
            outputs(&machine, &[&row], &["7", "6", "5"]),
            [wanted],
            "{x} {y}"
        );
    }
}

/// The 74181 as its function table says, active-high data: the sixteen functions of logic, and A plus B, A minus B.
#[test]
fn the_arithmetic_package_follows_its_function_table() {
    let machine = alone("74181");
    let (a, b) = (["2", "23", "21", "19"], ["1", "22", "20", "18"]);
    let f = ["9", "10", "11", "13"];
    let logic: [fn(u32, u32) -> u32; 16] = [
        |a, _| !a,
        |a, b| !(a | b),
        |a, b| !a & b,
        |_, _| 0,
        |a, b| !(a & b),
        |_, b| !b,
        |a, b| a ^ b,
        |a, b| a & !b,
        |a, b| !a | b,
        |a, b| !(a ^ b),
        |_, b| b,
        |a, b| a & b,
        |_, _| 15,
        |a, b| a | !b,
        |a, b| a | b,
        |a, _| a,
    ];
    let ask = |s: u32, m: u32, carry: u32, x: u32, y: u32| {
        let mut row = format!(
            "8={m} 7={carry} 6={} 5={} 4={} 3={}",
            s & 1,
            s >> 1 & 1,
            s >> 2 & 1,
            s >> 3
        );
        for i in 0..4 {
            row += &format!(" {}={} {}={}", a[i], x >> i & 1, b[i], y >> i & 1);
        }
        let text = outputs(&machine, &[&row], &f).remove(0);
        text.bytes()
            .enumerate()
            .map(|(i, c)| u32::from(c == b'1') << i)
            .sum::<u32>()
    };
    for (s, function) in logic.iter().enumerate() {
        for n in 0..256 {
            let (x, y) = (n & 15, n >> 4);
            assert_eq!(
                ask(s as u32, 1, 1, x, y),
                function(x, y) & 15,
                "S={s} A={x} B={y}"
            );
        }
    }
    for n in 0..256 {
        let (x, y) = (n & 15, n >> 4);
        // A high carry pin is no carry.
        assert_eq!(ask(9, 0, 1, x, y), (x + y) & 15);
        assert_eq!(ask(9, 0, 0, x, y), (x + y + 1) & 15);
        assert_eq!(ask(6, 0, 0, x, y), x.wrapping_sub(y) & 15);
    }
}

/// Counting, from each counter's definition: the codes that its outputs run through.
#[test]
fn counters_run_through_their_codes() {
    let pulses = |pin: &str, first: &str, n: usize| -> Vec<String> {
        let mut rows = vec![first.to_owned()];
        for _ in 0..n {
            rows.extend([format!("{pin}=1"), format!("{pin}=0")]);
        }
        rows
    };
    let codes = |number: &str,
                 pin: &str,
                 first: &[&str],
                 of: [&str; 4],
                 n: usize,
                 joined: bool|
     -> Vec<u32> {
        // The clock of the second part hangs on the first output.
        let machine = if joined {
            ripple(number)
        } else {
            alone(number)
        };
        let mut rows: Vec<String> = first.iter().map(|r| (*r).to_owned()).collect();
        rows.extend(pulses(pin, &format!("{pin}=0"), n).into_iter().skip(1));
        let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
        let shown = outputs(&machine, &rows, &of);
        shown[first.len() - 1..]
            .iter()
            .step_by(2)
            .map(|t| t.bytes().rev().fold(0, |n, c| n * 2 + u32::from(c == b'1')))
            .collect()
    };
    let ten: Vec<u32> = (0..=20).map(|n| n % 10).collect();
    let sixteen: Vec<u32> = (0..=20).map(|n| n % 16).collect();
    let reset = ["14=0 2=1 3=1 6=0 7=0", "2=0"];
    assert_eq!(
        codes("7490", "14", &reset, ["12", "9", "8", "11"], 20, true),
        ten
    );
    assert_eq!(
        codes(
            "7493",
            "14",
            &["14=0 2=1 3=1", "2=0"],
            ["12", "9", "8", "11"],
            20,
            true
        ),
        sixteen
    );
    // 7492: 0 to 5, then 8 to 13, as the outputs A B C D stand in its table.
    let twelve: Vec<u32> = (0..=24)
        .map(|n| [0, 1, 2, 3, 4, 5, 8, 9, 10, 11, 12, 13][n % 12])
        .collect();
    assert_eq!(
        codes(
            "7492",
            "14",
            &["14=0 6=1 7=1", "6=0"],
            ["12", "11", "9", "8"],
            24,
            true
        ),
        twelve
    );
    let on = "1=1 2=0 3=0 4=0 5=0 6=0 7=1 9=1 10=1";
    for (number, wanted) in [("74160", &ten), ("74161", &sixteen)] {
        let clear = on.replace("1=1 2", "1=0 2");
        assert_eq!(
            &codes(
                number,
                "2",
                &[&clear, "1=1"],
                ["14", "13", "12", "11"],
                20,
                false
            ),
            wanted,
            "{number}"
        );
    }
    for (number, wanted) in [("74162", &ten), ("74163", &sixteen)] {
        let clear = on.replace("1=1 2", "1=0 2");
        assert_eq!(
            &codes(
                number,
                "2",
                &[&clear, "2=1", "2=0", "1=1"],
                ["14", "13", "12", "11"],
                20,
                false
            ),
            wanted,
            "{number}"
        );
    }
    let up = ["14=1 5=1 4=1 11=1 15=0 1=0 10=0 9=0", "14=0"];
    let rows: Vec<&str> = up
        .into_iter()
        .chain([
            "5=0", "5=1", "5=0", "5=1", "4=0", "4=1", "4=0", "4=1", "4=0", "4=1",
        ])
        .collect();
    let shown = outputs(&alone("74193"), &rows, &["7", "6", "2", "3"]);
    let kept: Vec<&str> = [1, 3, 5, 7, 9, 11].map(|i| shown[i].as_str()).to_vec();
    assert_eq!(kept, ["0000", "0001", "0010", "0001", "0000", "1111"]);
}

fn ripple(number: &str) -> Machine {
    let listed = packages()
        .into_iter()
        .find(|p| p.number == number)
        .expect("is known");
    let net = |p: &str| {
        if p == "1" {
            "p12".to_owned()
        } else {
            format!("p{p}")
        }
    };
    let all: Vec<String> = listed
        .inputs
        .iter()
        .chain(&listed.outputs)
        .map(|p| format!("{p}={}", net(p)))
        .collect();
    let inputs: Vec<String> = listed
        .inputs
        .iter()
        .filter(|p| **p != "1")
        .map(|p| format!("p{p}"))
        .collect();
    sheet(&format!(
        "logic \"one\" {{\n input {}\n package U1 \"{number}\" pins=\"{}\"\n}}",
        inputs.join(" "),
        all.join(" ")
    ))
}

/// What sets flip-flops of one name apart: a master catches a J that came and went while the clock was high, an edge does not.
#[test]
fn a_master_catches_what_an_edge_does_not_see() {
    let rows = [
        "1=0 2=1 3=0 4=0 6=0 7=1 8=1 9=0 12=0 16=0",
        "3=0",
        "3=1",
        "1=1",
        "4=1",
        "4=0",
        "1=0",
    ];
    let master = outputs(&alone("7476"), &rows, &["15"]);
    assert_eq!(master.last().map(String::as_str), Some("1"), "{master:?}");
    // The same movements at a flip-flop that samples at the rising clock, K inverted.
    let rows = [
        "4=0 5=1 1=0 2=0 3=1 14=0 13=1 12=0 11=1 15=1",
        "1=1",
        "4=1",
        "2=1",
        "2=0",
        "4=0",
    ];
    let edge = outputs(&alone("74109"), &rows, &["6"]);
    assert_eq!(edge.last().map(String::as_str), Some("0"), "{edge:?}");
    // 7474: both outputs are high while preset and clear are both low (its function table).
    let rows = [
        "1=0 4=0 2=0 3=0 10=1 11=0 12=0 13=1",
        "4=1",
        "1=1",
        "2=1",
        "3=1",
        "2=0",
        "3=0",
    ];
    assert_eq!(
        outputs(&alone("7474"), &rows, &["5", "6"]),
        ["11", "01", "01", "01", "10", "10", "10"]
    );
}

/// The carry package against the netlist of the public cases: outputs are matched by function, over all inputs.
#[test]
fn negative_logic_turns_a_package_and_not_a_gate() {
    let text = |levels: &str| {
        format!(
            "logic \"n\" {{\n {levels}\n input p1 p2\n package U1 \"7400\" pins=\"1=p1 2=p2 3=p3\"\n gate G1 nand p4 p1 p2\n}}"
        )
    };
    let rows = ["1=0 2=0", "1=1 2=0", "1=1 2=1"];
    assert_eq!(
        outputs(&sheet(&text("")), &rows, &["3", "4"]),
        ["11", "11", "00"]
    );
    // NAND of the higher voltages is NOR of the lower ones (De Morgan).
    let negative = text("levels one=\"0 to 0.4 V\" zero=\"2.4 to 5 V\"");
    assert_eq!(
        outputs(&sheet(&negative), &rows, &["3", "4"]),
        ["11", "01", "00"]
    );
}

#[test]
fn latches_of_gates_wired_nets_and_tables() {
    let machine = sheet(
        "logic \"l\" {\n input p1 p2 p5 p6\n gate A nand p3 p1 p4\n gate B nand p4 p2 p3\n wired p7 or\n gate C buf p7 p5\n gate D buf p7 p6\n\
         block vote { table \"a b c -> y\" { row \"11- -> 1\"; row \"1-1 -> 1\"; row \"-11 -> 1\"; row \"00- -> 0\"; row \"0-0 -> 0\"; row \"-00 -> 0\" } }\n\
         package V vote pins=\"a=p1 b=p2 c=p5 y=p8\"\n}",
    );
    let rows = ["1=0 2=1 5=0 6=0", "1=1", "2=0 5=1", "2=1 6=1"];
    assert_eq!(
        outputs(&machine, &rows, &["3", "4", "7", "8"]),
        ["1000", "1001", "0111", "0111"]
    );
}

#[test]
fn a_mistake_is_told_at_its_place() {
    let cases = [
        ("gate G1 nand x a", "", ""),
        (
            "gate G1 nadn x a b",
            "2:1",
            "`nadn` is no function of a gate.",
        ),
        (
            "package U1 \"7499\" pins=\"1=a\"",
            "2:1",
            "No package or block `7499` is known.",
        ),
        (
            "package U1 \"7400\" pins=\"1=a 2=b 3=x 15=a\"",
            "2:37",
            "A 7400 has no pin `15` that carries a level.",
        ),
        (
            "package U1 \"7400\" pins=\"1=a 2 3=x\"",
            "2:29",
            "`2` is no pin with a net.",
        ),
        (
            "gate G1 not x a\ngate G2 not x b",
            "3:1",
            "Net x is driven by G1.y and G2.y.",
        ),
        ("gate G1 not x zz", "2:1", "Nothing drives net zz."),
        (
            "gate G1 not a b",
            "2:1",
            "Net a comes from outside and G1.y drives it.",
        ),
        (
            "gate G1 not x a\nstart Q=1",
            "3:7",
            "Nothing named `Q` keeps a state.",
        ),
        (
            "block z { out \"y = (a | b\" }\ngate G not x a",
            "2:26",
            "In `(a | b` a `)` is missing.",
        ),
        (
            "block z { table \"a b -> y\" { row \"0- -> 1\" } }\ngate G not x a",
            "2:11",
            "The table does not say what comes of a b = 10.",
        ),
        (
            "clock K\nclock L\ngate G not x a",
            "3:1",
            "A second clock is named.",
        ),
        (
            "levels one=\"0 to 3 V\" zero=\"2 to 5 V\"\ngate G not x a",
            "2:1",
            "The two levels overlap.",
        ),
        (
            "gait G1 not x a",
            "2:1",
            "`gait` is not known on a gate sheet.",
        ),
    ];
    let mut wrong = Vec::new();
    for (lines, place, message) in cases {
        let (_, mistakes) = read_gates(&format!("logic t {{ input a b\n{lines}\n}}"));
        let first = mistakes.first();
        let found = first.map_or((String::new(), ""), |m| {
            (format!("{}:{}", m.line, m.column), m.message.as_str())
        });
        if (found.0.as_str(), found.1) != (place, message) {
            wrong.push((lines, format!("{found:?}")));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    for text in [
        "",
        "logic",
        "sheet {}",
        "logic {{{",
        "logic a { package }",
        "\u{feff}",
        "logic a { gate G1 not \"\u{e4}\" }",
    ] {
        let (_, mistakes) = read_gates(text);
        assert!(!mistakes.is_empty(), "{text:?}");
    }
}
