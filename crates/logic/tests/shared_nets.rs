//! Outputs that share a net: three-state drivers, one at a time or at odds, and expanders.

use logic::{Level, Machine, explain, read_gates, read_sequences, run, strong};

fn sheet(text: &str) -> Machine {
    let (machine, mistakes) = read_gates(text);
    assert!(mistakes.is_empty(), "{mistakes:?}\n{text}");
    machine.expect("the sheet can be built")
}

/// What a net shows, row by row.
fn shown(machine: &Machine, rows: &str, net: &str) -> String {
    let found = read_sequences(rows, machine);
    assert!(
        found.mistakes.is_empty() && found.warnings.is_empty(),
        "{found:?}"
    );
    let at = machine
        .sheet_nets
        .iter()
        .position(|n| machine.net_name(*n) == net);
    let of = |run_: &logic::Sequence| match run(machine, run_, &[]).rows[0][at.expect("a net")] {
        Level::Known(true) => '1',
        Level::Known(false) => '0',
        Level::Unknown => 'x',
    };
    found.runs.iter().map(of).collect()
}

const BUS: &str = r#"logic "bus" {
    input A B GA GB
    output BUS
    package U1 "74125" pins="1=GA 2=A 3=BUS"
    package U2 "74126" pins="1=GB 2=B 3=BUS"
    gate N not Y BUS
}"#;

/// A three-state driver lets go of its net; an open net of this family reads high, and of two that drive the lower voltage wins.
#[test]
fn one_driver_at_a_time_none_and_both() {
    let machine = sheet(BUS);
    // The 74125 drives while its enable is low, the 74126 while it is high.
    let rows = "A,B,GA,GB\n0,1,0,0\n1,0,0,0\n1,0,1,1\n0,1,1,1\n0,0,1,0\n1,0,0,1\n1,1,0,1\n";
    assert_eq!(shown(&machine, rows, "BUS"), "0101101");
    assert_eq!(shown(&machine, rows, "Y"), "1010010");
}

/// An enable that is stuck shows as a low where the other driver should be high, and is among what is named.
#[test]
fn a_driver_that_does_not_let_go_is_found() {
    let machine = sheet(BUS);
    let seen = "A,B,GA,GB,BUS\n0,1,1,1,0\n1,1,1,1,1\n0,0,1,1,0\n";
    let runs = read_sequences(seen, &machine).runs;
    let weak = explain(&machine, &runs, &|| false);
    let names: Vec<&str> = weak
        .sets
        .iter()
        .map(|s| machine.parts[s[0]].name.as_str())
        .collect();
    assert_eq!((weak.size, names), (Some(1), vec!["U1", "U2"]));
    let named: Vec<String> = strong(&machine, &runs, &|| false)
        .sets
        .iter()
        .map(|s| s[0].named(&machine).to_string())
        .collect();
    assert!(
        named.contains(&"U1.1 stuck at 0".to_owned()),
        "1 is the enable that stays low: {named:?}"
    );
    assert!(
        !named.contains(&"U1.1 open".to_owned()),
        "an open enable lets go"
    );
}

/// In negative logic the same package on the same board: a bus that nobody drives is at the higher voltage, which is 0 there.
#[test]
fn negative_logic_lets_go_to_the_same_voltage() {
    let negative = BUS.replace(
        "input",
        "levels one=\"-0.5 to 0.4 V\" zero=\"2.4 to 5.5 V\"\n    input",
    );
    let machine = sheet(&negative);
    let rows = "A,B,GA,GB\nL,H,L,L\nH,L,L,L\nL,L,H,L\nH,L,L,H\n";
    // Low, high, nobody, and low against high: 1 is low here.
    assert_eq!(shown(&machine, rows, "BUS"), "1001");
}

/// Expanders on one gate: as many more inputs to its OR (function tables of 7450 and 7460, from memory; pins as a public tester of such
/// packages, repository jakubfi/ictester, has them).
#[test]
fn expanders_widen_the_or_of_the_gate_that_they_are_on() {
    let machine = sheet(
        r#"logic "wide" {
    input A B C D E F G H
    low Z
    package U1 "7450" pins="1=A 13=B 9=Z 10=Z 11=X 12=XN 8=Y"
    package U2 "7460" pins="1=C 2=D 3=D 13=D 11=X 12=XN 4=E 5=F 6=F 8=F 10=X 9=XN"
    package U3 "7453" pins="1=A 13=B 2=Z 3=Z 4=Z 5=Z 9=Z 10=Z 8=W"
    gate O nor V G H
}"#,
    );
    let mut rows = "A,B,C,D,E,F,G,H\n".to_owned();
    let (mut wide, mut narrow) = (String::new(), String::new());
    for n in 0..64u32 {
        let bit = |i: u32| n >> i & 1;
        rows += &format!(
            "{},{},{},{},{},{},0,0\n",
            bit(0),
            bit(1),
            bit(2),
            bit(3),
            bit(4),
            bit(5)
        );
        let mark = |on: u32| if on == 0 { '1' } else { '0' };
        wide.push(mark(bit(0) & bit(1) | bit(2) & bit(3) | bit(4) & bit(5)));
        narrow.push(mark(bit(0) & bit(1)));
    }
    assert_eq!(shown(&machine, &rows, "Y"), wide);
    // Without an expander the 7453's own pin reads low, not as an open input.
    assert_eq!(shown(&machine, &rows, "W"), narrow);
}

#[test]
fn outputs_that_do_not_let_go_may_not_share() {
    let text = BUS.replace(
        "gate N not Y BUS",
        "gate N not Y BUS\n    package U3 \"7408\" pins=\"1=A 2=B 3=BUS\"",
    );
    let (_, mistakes) = read_gates(&text);
    assert_eq!(mistakes.len(), 1, "{mistakes:?}");
    assert!(mistakes[0].message.starts_with("Net BUS is driven by "));
}
