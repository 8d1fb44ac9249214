//! Four functions of the 74 series against the public netlists made of their published function tables, output for output; c17 against
//! every set of its gates.

mod alone;

use alone::alone;
use logic::{
    Level, Network, Observation, Row, Sequence, Simulator, diagnose, explain, packages,
    parse_netlist, parse_observations, read_gates, run,
};

/// The netlists of the 2026 diagnosis competition (repository jdekleer/dxc26synth, MIT licence); loudly none if they are not there.
fn public(name: &str) -> Option<Network> {
    let folder = std::env::var("KNOWNGOOD_DATA").unwrap_or_else(|_| {
        concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared/data").to_owned()
    });
    let path = format!("{folder}/dxc/netlists/{name}.csv");
    let Ok(text) = std::fs::read_to_string(&path) else {
        println!("NOT CHECKED: {path} is not there");
        return None;
    };
    let (network, mistakes) = parse_netlist(&text);
    assert!(mistakes.is_empty(), "{mistakes:?}");
    Some(network)
}

/// Every row of inputs that `is_asked` of the package and of the netlist; pins in the order of the netlist's `i1...` and `o1...`.
fn compare(
    number: &str,
    name: &str,
    inputs: &[u32],
    outputs: &[u32],
    is_asked: impl Fn(u32) -> bool,
) {
    let Some(network) = public(name) else { return };
    let listed = packages().into_iter().find(|p| p.number == number);
    let known = listed.expect("a known package");
    let counts = (known.inputs.len(), known.outputs.len());
    assert_eq!(counts, (inputs.len(), outputs.len()));
    let machine = alone(number, inputs, outputs);
    let net = |p: &u32| machine.network.net(&format!("p{p}")).expect("a pin");
    let asked: Vec<u32> = (0..1u32 << inputs.len()).filter(|n| is_asked(*n)).collect();
    let row = |n: &u32| Row {
        line: 1,
        inputs: inputs
            .iter()
            .enumerate()
            .map(|(i, p)| (net(p), Some(n >> i & 1 == 1)))
            .collect(),
        seen: Vec::new(),
    };
    let rows = asked.iter().map(row).collect();
    let id = String::new();
    let ours = run(&machine, &Sequence { id, rows }, &[]);
    let place = |p: &u32| machine.sheet_nets.iter().position(|n| *n == net(p));
    let places: Vec<usize> = outputs
        .iter()
        .map(|p| place(p).expect("on the sheet"))
        .collect();
    let theirs = |kind: char, i: usize| network.net(&format!("{kind}{}", i + 1)).expect("a net");
    let mut simulator = Simulator::new(&network);
    for (n, shown) in asked.iter().zip(&ours.rows) {
        (0..inputs.len()).for_each(|i| simulator.set(theirs('i', i), n >> i & 1 == 1));
        simulator.run();
        for (o, at) in places.iter().enumerate() {
            let wanted = Level::Known(simulator.level(theirs('o', o), 0));
            assert_eq!(
                shown[*at], wanted,
                "{number} pin {} for inputs {n:b}",
                outputs[o]
            );
        }
    }
    println!(
        "{number}: {} rows, {} outputs alike",
        asked.len(),
        outputs.len()
    );
}

#[test]
fn carry_in_advance() {
    compare(
        "74182",
        "74182",
        &[6, 5, 15, 14, 2, 1, 4, 3, 13],
        &[7, 10, 9, 11, 12],
        |_| true,
    );
}

#[test]
fn adder() {
    compare(
        "74283",
        "74283",
        &[12, 11, 14, 15, 3, 2, 5, 6, 7],
        &[9, 10, 13, 1, 4],
        |_| true,
    );
}

/// The low-power part takes its cascade inputs as they come and the plain one does not; their tables share the rows in which exactly
/// one of the three is high.
#[test]
fn comparator() {
    compare(
        "7485",
        "74L85",
        &[15, 1, 13, 14, 12, 11, 10, 9, 4, 2, 3],
        &[6, 5, 7],
        |n| (n >> 8).count_ones() == 1,
    );
}

#[test]
fn arithmetic() {
    compare(
        "74181",
        "74181",
        &[6, 5, 4, 3, 18, 19, 20, 21, 22, 23, 1, 2, 8, 7],
        &[15, 17, 16, 13, 11, 10, 9, 14],
        |_| true,
    );
}

/// ISCAS-85 c17 (Bryan 1988): gates 10 = NAND(1,3) and so on.
const C17: [(&str, [&str; 2]); 6] = [
    ("10", ["1", "3"]),
    ("11", ["3", "6"]),
    ("16", ["2", "11"]),
    ("19", ["11", "7"]),
    ("22", ["10", "16"]),
    ("23", ["16", "19"]),
];

fn c17(inputs: u32, turned: u32) -> [bool; 2] {
    let mut level = [false; 24];
    for (i, name) in [1, 2, 3, 6, 7].into_iter().enumerate() {
        level[name] = inputs >> i & 1 == 1;
    }
    let number = |n: &str| n.parse::<usize>().expect("a number");
    for (at, (gate, [a, b])) in C17.into_iter().enumerate() {
        level[number(gate)] = !(level[number(a)] && level[number(b)]) ^ (turned >> at & 1 == 1);
    }
    [level[22], level[23]]
}

#[test]
fn c17_and_every_set_of_its_gates() {
    let mut netlist = "gate,function,output,inputs\n".to_owned();
    let mut sheet = "logic c17 {\n input \"1\" \"2\" \"3\" \"6\" \"7\"\n".to_owned();
    for (gate, [a, b]) in C17 {
        netlist += &format!("g{gate},nand,{gate},{a} {b}\n");
        sheet += &format!(" gate g{gate} nand \"{gate}\" \"{a}\" \"{b}\"\n");
    }
    let (network, mistakes) = parse_netlist(&netlist);
    assert!(mistakes.is_empty(), "{mistakes:?}");
    let machine = read_gates(&(sheet + "}")).0.expect("can be built");
    for inputs in 0..32u32 {
        for seen in 0..4u32 {
            let seen = [seen & 1 == 1, seen & 2 == 2];
            // Every subset of the six gates, turned; the smallest that show what was seen.
            let shows: Vec<u32> = (0..64).filter(|set| c17(inputs, *set) == seen).collect();
            let size = shows.iter().map(|s| s.count_ones()).min().expect("any");
            let mut wanted: Vec<Vec<usize>> = shows
                .iter()
                .filter(|s| s.count_ones() == size)
                .map(|s| (0..6).filter(|g| s >> g & 1 == 1).collect())
                .collect();
            wanted.sort();
            let level = |i: usize| u8::from(inputs >> i & 1 == 1);
            let line = format!(
                "1,2,3,6,7,22,23\n{},{},{},{},{},{},{}\n",
                level(0),
                level(1),
                level(2),
                level(3),
                level(4),
                u8::from(seen[0]),
                u8::from(seen[1])
            );
            let observation: Observation =
                parse_observations(&line, &network).observations.remove(0);
            let found = diagnose(&network, &observation, &|| false, &|| false);
            let number = |name: &str| C17.iter().position(|(g, _)| format!("g{g}") == name);
            let named = |sets: Vec<Vec<String>>| {
                let mut sets: Vec<Vec<usize>> = sets
                    .iter()
                    .map(|s| {
                        let mut set: Vec<usize> = s.iter().filter_map(|n| number(n)).collect();
                        set.sort_unstable();
                        set
                    })
                    .collect();
                sets.sort();
                sets
            };
            let gates = found
                .sets
                .iter()
                .map(|s| {
                    s.iter()
                        .map(|g| network.gates()[g.index()].name.clone())
                        .collect()
                })
                .collect();
            assert!(found.complete);
            assert_eq!(named(gates), wanted, "inputs {inputs:05b} seen {seen:?}");
            // The same as a gate sheet.
            let rows = logic::read_sequences(&line, &machine);
            let weak = explain(&machine, &rows.runs, &|| false);
            let parts = weak
                .sets
                .iter()
                .map(|s| s.iter().map(|p| machine.parts[*p].name.clone()).collect())
                .collect();
            assert_eq!(named(parts), wanted, "sheet, inputs {inputs:05b}");
        }
    }
}
