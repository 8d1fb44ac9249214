//! The worked examples of the field: the polybox and the full adder.

use logic::{Unit, minimal_units, parse_netlist, parse_observations, single_stuck};

fn never() -> bool {
    false
}

/// Gates of a 2-bit by 2-bit multiplier: four products and two half adders.
fn multiplier(name: &str, a: &str, b: &str, out: &str) -> String {
    let gate = |gate: &str, function: &str, output: &str, inputs: &str| {
        format!("{name}.{gate},{function},{output},{inputs}\n")
    };
    let inner = |net: &str| format!("{name}.{net}");
    let mut text = String::new();
    text += &gate("p00", "and", &format!("{out}0"), &format!("{a}0 {b}0"));
    text += &gate("p10", "and", &inner("p10"), &format!("{a}1 {b}0"));
    text += &gate("p01", "and", &inner("p01"), &format!("{a}0 {b}1"));
    text += &gate("p11", "and", &inner("p11"), &format!("{a}1 {b}1"));
    text += &gate(
        "s1",
        "xor",
        &format!("{out}1"),
        &format!("{} {}", inner("p10"), inner("p01")),
    );
    text += &gate(
        "c1",
        "and",
        &inner("c1"),
        &format!("{} {}", inner("p10"), inner("p01")),
    );
    text += &gate(
        "s2",
        "xor",
        &format!("{out}2"),
        &format!("{} {}", inner("p11"), inner("c1")),
    );
    text + &gate(
        "c2",
        "and",
        &format!("{out}3"),
        &format!("{} {}", inner("p11"), inner("c1")),
    )
}

/// Gates of a 4-bit ripple adder with a carry out as fifth bit.
fn adder(name: &str, a: &str, b: &str, out: &str) -> String {
    let mut text = String::new();
    for bit in 0..4 {
        let carry = if bit == 0 {
            String::new()
        } else {
            format!(" {name}.c{bit}")
        };
        text += &format!("{name}.s{bit},xor,{out}{bit},{a}{bit} {b}{bit}{carry}\n");
        text += &format!("{name}.g{bit},and,{name}.g{bit},{a}{bit} {b}{bit}\n");
        let next = if bit == 3 {
            format!("{out}4")
        } else {
            format!("{name}.c{}", bit + 1)
        };
        if bit == 0 {
            text += &format!("{name}.k0,buf,{next},{name}.g0\n");
        } else {
            text += &format!("{name}.x{bit},or,{name}.x{bit},{a}{bit} {b}{bit}\n");
            text += &format!("{name}.h{bit},and,{name}.h{bit},{name}.x{bit} {name}.c{bit}\n");
            text += &format!("{name}.k{bit},or,{next},{name}.g{bit} {name}.h{bit}\n");
        }
    }
    text
}

/// The polybox of de Kleer and Williams (Artificial Intelligence 32, 1987; from memory, recomputed): X=A*C, Y=B*D, Z=C*E, F=X+Y,
/// G=Y+Z with A=3 B=2 C=2 D=3 E=3; seen F=10, G=12. Minimal diagnoses {M1}, {A1}, {M2,M3}, {M2,A2}.
#[test]
fn polybox() {
    let boxes = [
        multiplier("M1", "A", "C", "X"),
        multiplier("M2", "B", "D", "Y"),
        multiplier("M3", "C", "E", "Z"),
        adder("A1", "X", "Y", "F"),
        adder("A2", "Y", "Z", "G"),
    ];
    let text = format!("gate,function,output,inputs\n{}", boxes.concat());
    let (network, mistakes) = parse_netlist(&text);
    assert_eq!(mistakes, []);
    let names = ["M1", "M2", "M3", "A1", "A2"];
    let units: Vec<Unit> = names
        .iter()
        .map(|name| Unit {
            gates: (0..network.gates().len())
                .filter(|g| network.gates()[*g].name.starts_with(name))
                .collect(),
        })
        .collect();
    let seen = [
        ("A", 3, 2),
        ("B", 2, 2),
        ("C", 2, 2),
        ("D", 3, 2),
        ("E", 3, 2),
        ("F", 10, 5),
        ("G", 12, 5),
    ];
    let (mut header, mut row) = (Vec::new(), Vec::new());
    for (net, value, width) in seen {
        for bit in 0..width {
            header.push(format!("{net}{bit}"));
            row.push((value >> bit & 1).to_string());
        }
    }
    let observed = parse_observations(
        &format!("{}\n{}\n", header.join(","), row.join(",")),
        &network,
    );
    assert_eq!(observed.mistakes, []);
    let found = minimal_units(&network, &observed.observations, &units, 3, &never);
    assert!(found.complete && found.refused == 0);
    let mut sets: Vec<Vec<&str>> = found
        .sets
        .iter()
        .map(|s| s.iter().map(|u| names[u.index()]).collect())
        .collect();
    sets.sort_by_key(|s| (s.len(), s.clone()));
    assert_eq!(
        sets,
        [vec!["A1"], vec!["M1"], vec!["M2", "A2"], vec!["M2", "M3"]]
    );
}

/// Full adder (CSPLib problem 042), inputs 000, seen S=1 C=0, stuck-at model: exactly the first XOR stuck high and the second.
#[test]
fn full_adder() {
    let text = "gate,function,output,inputs\nX1,xor,p,a b\nX2,xor,S,p cin\nA1,and,q,a b\nA2,and,r,p cin\nO1,or,C,q r\n";
    let (network, mistakes) = parse_netlist(text);
    assert_eq!(mistakes, []);
    let observed = parse_observations("a,b,cin,S,C\n0,0,0,1,0\n", &network);
    let stuck = single_stuck(&network, &observed.observations).expect("all inputs were seen");
    let named: Vec<(&str, bool)> = stuck
        .iter()
        .map(|s| (network.gates()[s.gate.index()].name.as_str(), s.high))
        .collect();
    assert_eq!(named, [("X1", true), ("X2", true)]);
    let unknown = parse_observations("a,b,S,C\n0,0,1,0\n", &network);
    assert_eq!(single_stuck(&network, &unknown.observations), None);
}
