//! Which inputs to put on next: held against trying every change one fault at a time, and followed until nothing is left to tell.

use std::collections::HashMap;

use logic::{
    Fault, Function, Gate, Level, Machine, Network, Observation, Row, Sequence, Simulator,
    diagnose, parse_netlist, possible, probes, read_gates, read_sequences, run, stimuli, strong,
    vectors,
};

fn sheet(text: &str) -> Machine {
    let (machine, mistakes) = read_gates(text);
    assert!(mistakes.is_empty(), "{mistakes:?}");
    machine.expect("the sheet can be built")
}

/// The run as recorded at the outputs of a machine with one fault.
fn recorded(machine: &Machine, inputs: &Sequence, fault: Fault) -> Sequence {
    let shown = run(machine, inputs, &[fault]);
    let mut sequence = inputs.clone();
    for (row, levels) in sequence.rows.iter_mut().zip(&shown.rows) {
        row.seen = machine
            .sheet_nets
            .iter()
            .zip(levels)
            .filter(|(n, _)| machine.outputs.contains(n))
            .filter_map(|(n, l)| match l {
                Level::Known(l) => Some((*n, *l)),
                Level::Unknown => None,
            })
            .collect();
    }
    sequence
}

/// The run with the changes of one row, each input as recorded again in the next.
fn changed(inputs: &Sequence, row: usize, changes: &[(logic::NetId, bool)]) -> Sequence {
    let mut now: HashMap<logic::NetId, Option<bool>> = HashMap::new();
    let whole = |(at, r): (usize, &Row)| {
        now.extend(r.inputs.iter().copied());
        let mut put = now.clone();
        if at == row {
            put.extend(changes.iter().map(|(n, l)| (*n, Some(*l))));
        }
        Row {
            line: r.line,
            inputs: put.into_iter().collect(),
            seen: Vec::new(),
        }
    };
    Sequence {
        id: String::new(),
        rows: inputs.rows.iter().enumerate().map(whole).collect(),
    }
}

fn entropy(counts: impl Iterator<Item = usize>, all: usize) -> f64 {
    counts
        .map(|n| n as f64 / all as f64)
        .map(|p| -p * p.log2())
        .sum()
}

const ADDER: &str = r#"logic "adder" {
    input A B C
    output S R
    gate G1 xor P A B
    gate G2 xor S P C
    gate G3 and Q A B
    gate G4 and T P C
    gate G5 or R Q T
}"#;

/// Until no inputs tell the faults apart: those left must be alike at the outputs for all eight rows.
#[test]
fn inputs_alone_lead_to_faults_that_no_inputs_tell_apart() {
    let machine = sheet(ADDER);
    let all = |fault: Fault| -> Vec<String> {
        let rows: Vec<String> = (0..8)
            .map(|n| format!("{},{},{}\n", n & 1, n >> 1 & 1, n >> 2))
            .collect();
        let runs = read_sequences(&format!("A,B,C\n{}", rows.concat()), &machine).runs;
        runs.iter()
            .map(|r| format!("{:?}", recorded(&machine, r, fault).rows[0].seen))
            .collect()
    };
    let mut led = 0;
    for fault in possible(&machine) {
        let first = &read_sequences("A,B,C\n0,0,0\n", &machine).runs[0];
        let mut runs = vec![recorded(&machine, first, fault)];
        let mut sets = strong(&machine, &runs, &|| false).sets;
        if sets == [vec![]] {
            continue;
        }
        let mut looks = 0;
        while let Some(best) = stimuli(&machine, &runs, &sets, 1, &|| false).pop() {
            assert_eq!(best.changes.len().min(2), best.changes.len());
            let next = changed(&runs[best.run], best.row, &best.changes);
            runs.push(recorded(&machine, &next, fault));
            let left = strong(&machine, &runs, &|| false).sets;
            assert!(left.contains(&vec![fault]) && left.len() <= best.most_left);
            assert!(left.len() < sets.len());
            sets = left;
            looks += 1;
            assert!(looks <= 7);
        }
        for set in &sets {
            assert_eq!(all(set[0]), all(fault), "{}", fault.named(&machine));
        }
        led += 1;
    }
    assert!(led >= 10, "{led}");
}

/// So many rows of inputs; `is_high` is asked for a row and an input.
fn driven(machine: &Machine, rows: usize, is_high: impl Fn(usize, usize) -> bool) -> Sequence {
    let row = |r: usize| {
        let inputs = machine.inputs.iter().enumerate();
        Row {
            line: r,
            inputs: inputs.map(|(i, n)| (*n, Some(is_high(r, i)))).collect(),
            seen: Vec::new(),
        }
    };
    Sequence {
        id: String::new(),
        rows: (0..rows).map(row).collect(),
    }
}

const S27: &str = include_str!("sheets/s27.kdl");

/// In ISCAS-89 s27: what the best change tells, against running each fault by itself under every change.
#[test]
fn a_changed_run_tells_what_running_each_fault_tells() {
    let machine = sheet(S27);
    let mut weighed = 0;
    for seed in 1..=60u32 {
        let faults = possible(&machine);
        let fault = faults[(seed as usize * 31) % faults.len()];
        let inputs = driven(&machine, 8, |r, i| {
            (seed as usize * 7 + r * 3 + i * 5) % 11 < 5
        });
        let runs = [recorded(&machine, &inputs, fault)];
        let sets = strong(&machine, &runs, &|| false).sets;
        if sets.len() < 2 || sets[0].is_empty() {
            continue;
        }
        let mut best = 0.0f64;
        for row in 0..8 {
            for (net, level) in inputs.rows[row].inputs.clone() {
                let level = !level.expect("known");
                let run = changed(&inputs, row, &[(net, level)]);
                let mut counts: HashMap<String, usize> = HashMap::new();
                for set in &sets {
                    let ending = recorded(&machine, &run, set[0]).rows;
                    let seen: Vec<_> = ending.iter().map(|r| r.seen.clone()).collect();
                    *counts.entry(format!("{seen:?}")).or_default() += 1;
                }
                best = best.max(entropy(counts.into_values(), sets.len()));
            }
        }
        let found = stimuli(&machine, &runs, &sets, 1, &|| false);
        let ours = found.first().map_or(0.0, |s| s.bits);
        assert!((ours - best).abs() < 1e-9, "{ours} {best}");
        weighed += usize::from(best > 0.0);
    }
    assert!(weighed >= 10, "{weighed}");
}

/// A net with gates held: each held gate becomes a gate that gives its level.
fn held(network: &Network, gates: &[(usize, bool)]) -> Network {
    let list: Vec<Gate> = network
        .gates()
        .iter()
        .enumerate()
        .map(|(at, gate)| match gates.iter().find(|(g, _)| *g == at) {
            None => gate.clone(),
            Some((_, level)) => Gate {
                function: if *level {
                    Function::High
                } else {
                    Function::Low
                },
                inputs: Vec::new(),
                ..gate.clone()
            },
        })
        .collect();
    let names = network.nets().iter().map(|n| n.name.clone()).collect();
    Network::new(list, names).expect("a network")
}

/// The same of a netlist, whose gates go on giving what they give: against a netlist in which they are replaced by levels.
#[test]
fn changed_inputs_of_a_netlist_tell_what_held_gates_give() {
    let text = "gate,function,output,inputs\nx1,xor,p,a b\nx2,xor,s,p c\na1,and,q,a b\na2,and,t,p c\no1,or,r,q t\n";
    let (network, _) = parse_netlist(text);
    let net = |n: &str| network.net(n).expect("a net");
    let names = ["a", "b", "c"];
    let mut telling = 0;
    for seen in ["10", "01", "11"] {
        let mut levels: Vec<_> = names.iter().map(|n| (net(n), false)).collect();
        levels.extend(
            ["s", "r"]
                .iter()
                .zip(seen.chars())
                .map(|(n, c)| (net(n), c == '1')),
        );
        levels.sort_unstable();
        let observation = Observation {
            id: String::new(),
            levels,
            warnings: Vec::new(),
        };
        let sets = diagnose(&network, &observation, &|| false, &|| false).sets;
        let given = |inputs: u32, set: &[(usize, bool)]| -> Vec<bool> {
            let network = held(&network, set);
            let mut simulator = Simulator::new(&network);
            for (i, n) in names.iter().enumerate() {
                simulator.set(network.net(n).expect("a net"), inputs >> i & 1 == 1);
            }
            simulator.run();
            ["s", "r"]
                .iter()
                .map(|n| simulator.level(network.net(n).expect("a net"), 0))
                .collect()
        };
        // What each gate of a set gives with the inputs at 0: the opposite of what its inputs ask for.
        let mut simulator = Simulator::new(&network);
        let stuck: Vec<Vec<(usize, bool)>> = sets
            .iter()
            .map(|set| {
                names.iter().for_each(|n| simulator.set(net(n), false));
                set.iter().for_each(|g| simulator.turn(g.index(), 0));
                simulator.run();
                simulator.mend();
                let level = |g: usize| simulator.level(network.gates()[g].output, 0);
                set.iter().map(|g| (g.index(), level(g.index()))).collect()
            })
            .collect();
        let mut best = 0.0f64;
        for inputs in 1..7u32 {
            let mut counts: HashMap<Vec<bool>, usize> = HashMap::new();
            for set in &stuck {
                *counts.entry(given(inputs, set)).or_default() += 1;
            }
            best = best.max(entropy(counts.into_values(), sets.len()));
        }
        let found = vectors(&network, &observation, &sets, 20, &|| false);
        assert!(found.len() <= 6);
        let ours = found.first().map_or(0.0, |v| v.bits);
        assert!((ours - best).abs() < 1e-9, "seen {seen}: {ours} {best}");
        telling += usize::from(best > 0.0);
    }
    assert!(telling >= 2, "{telling}");
}

/// Two looks are weighed where nets are close: with four sets a net that halves them beats none, and of two that do, the one that
/// leaves a net that halves again comes first.
#[test]
fn of_nets_that_tell_alike_the_one_with_a_better_second_look_comes_first() {
    let machine = sheet(S27);
    let mut weighed = 0;
    for fault in possible(&machine) {
        let inputs = driven(&machine, 10, |r, i| (r * 3 + i * 5) % 7 < 3);
        let runs = [recorded(&machine, &inputs, fault)];
        let sets = strong(&machine, &runs, &|| false).sets;
        if sets.len() < 3 || sets[0].is_empty() {
            continue;
        }
        let list = probes(&machine, &runs, &sets, 100);
        let two: Vec<f64> = list
            .iter()
            .map(|p| p.bits_of_two)
            .take_while(|b| *b > list.last().map_or(0.0, |l| l.bits))
            .collect();
        assert!(
            two.windows(2).take(5).all(|w| w[0] + 1e-9 >= w[1]),
            "{two:?}"
        );
        // No plan of two looks tells more than four outcomes do, nor more than there is to tell.
        let most = (sets.len() as f64).log2().min(2.0);
        for probe in &list {
            assert!(probe.bits_of_two + 1e-9 >= probe.bits && probe.bits_of_two <= most + 1e-9);
        }
        weighed += usize::from(list.first().is_some_and(|p| p.bits_of_two > p.bits + 0.1));
    }
    assert!(weighed >= 5, "{weighed}");
}
