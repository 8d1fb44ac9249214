//! Machines in time, against published sequential circuits with planted faults and against the same function made another way.

use logic::{
    Fault, Level, Machine, Row, Sequence, explain, possible, probes, read_gates, run, strong,
    strong_among,
};

fn sheet(text: &str) -> Machine {
    let (machine, mistakes) = read_gates(text);
    assert!(mistakes.is_empty(), "{mistakes:?}");
    machine.expect("the sheet can be built")
}

struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        // xorshift64 (Marsaglia, Journal of Statistical Software 8, 2003).
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }
}

fn stimulus(machine: &Machine, steps: usize, random: &mut Random) -> Sequence {
    let row = |line| Row {
        line,
        inputs: machine
            .inputs
            .iter()
            .map(|n| (*n, Some(random.next() & 1 == 1)))
            .collect(),
        seen: Vec::new(),
    };
    Sequence {
        id: String::new(),
        rows: (0..steps).map(row).collect(),
    }
}

/// What a machine with faults shows at its outputs.
fn recorded(machine: &Machine, stimulus: &Sequence, faults: &[Fault]) -> Sequence {
    let shown = run(machine, stimulus, faults);
    let mut sequence = stimulus.clone();
    for (row, levels) in sequence.rows.iter_mut().zip(&shown.rows) {
        for (net, level) in machine.sheet_nets.iter().zip(levels) {
            if let (true, Level::Known(level)) = (machine.outputs.contains(net), level) {
                row.seen.push((*net, *level));
            }
        }
    }
    sequence
}

const S27: &str = include_str!("sheets/s27.kdl");
const S27_SYNTHESISED: &str = include_str!("sheets/s27-synthesised.kdl");
const S13207: &str = include_str!("sheets/s13207.kdl");

#[test]
fn s27_does_what_the_synthesised_one_does() {
    let (a, b) = (sheet(S27), sheet(S27_SYNTHESISED));
    let order = |m: &Machine| -> Vec<String> {
        m.inputs.iter().map(|n| m.net_name(*n).to_owned()).collect()
    };
    assert_eq!(order(&a), order(&b));
    let mut seen = [0usize; 2];
    for seed in 1..=20 {
        let (x, y) = (
            stimulus(&a, 50, &mut Random(seed)),
            stimulus(&b, 50, &mut Random(seed)),
        );
        let (x, y) = (recorded(&a, &x, &[]), recorded(&b, &y, &[]));
        for (r, s) in x.rows.iter().zip(&y.rows) {
            assert_eq!(r.seen[0].1, s.seen[0].1, "seed {seed}, row {}", r.line);
            seen[usize::from(r.seen[0].1)] += 1;
        }
    }
    assert!(seen.iter().all(|n| *n > 100), "the output moves: {seen:?}");
}

/// Runs with one planted fault each; calls `check` for those that show.
fn planted(machine: &Machine, seeds: u64, check: &mut dyn FnMut(&Fault, &Sequence)) -> usize {
    let faults = possible(machine);
    let mut shown = 0;
    for seed in 1..=seeds {
        let mut random = Random(seed * 7919);
        let fault = faults[(random.next() % faults.len() as u64) as usize];
        let stimulus = stimulus(machine, 50, &mut random);
        let (good, bad) = (
            recorded(machine, &stimulus, &[]),
            recorded(machine, &stimulus, &[fault]),
        );
        if good.rows == bad.rows {
            continue;
        }
        shown += 1;
        check(&fault, &bad);
    }
    shown
}

#[test]
fn a_part_planted_in_s27_is_in_the_sets_of_both_models() {
    let machine = sheet(S27);
    let shown = planted(&machine, 80, &mut |fault, seen| {
        let runs = std::slice::from_ref(seen);
        let part = fault.part(&machine).expect("no bridge in discrete gates");
        let weak = explain(&machine, runs, &|| false);
        assert!(weak.complete && weak.refused == 0, "{weak:?}");
        assert_eq!(weak.size, Some(1));
        assert!(
            weak.sets.contains(&vec![part]),
            "{} {weak:?}",
            fault.named(&machine)
        );
        assert!(weak.first.is_some());
        let strong = strong(&machine, runs, &|| false);
        assert!(strong.sets.contains(&vec![*fault]) && strong.complete);
        // What the weak model excludes need not be run.
        let mut among = strong_among(&machine, runs, &weak, &|| false);
        assert!(among.complete && among.tried < strong.tried);
        among.sets.sort_by_key(|s| s[0].named(&machine).to_string());
        let mut all = strong.sets.clone();
        all.sort_by_key(|s| s[0].named(&machine).to_string());
        assert_eq!(among.sets, all);
        // What is stuck is one of the things that a part may do.
        for set in &strong.sets {
            assert!(
                weak.sets
                    .contains(&vec![set[0].part(&machine).expect("no bridge")])
            );
        }
    });
    println!("{shown} of 80 faults show within 50 clocks");
    assert!(shown >= 40);
}

#[test]
fn a_fault_planted_in_a_machine_of_200_flip_flops_is_found() {
    let machine = sheet(S13207);
    assert_eq!(machine.stores.len(), 199);
    let seeds = if std::env::var_os("KNOWNGOOD_FULL").is_some() {
        40
    } else {
        3
    };
    let mut sizes = Vec::new();
    let shown = planted(&machine, seeds * 4, &mut |fault, seen| {
        let strong = strong(&machine, std::slice::from_ref(seen), &|| false);
        assert!(
            strong.complete && strong.sets.contains(&vec![*fault]),
            "{}",
            fault.named(&machine)
        );
        sizes.push(strong.sets.len());
    });
    println!("{shown} faults show; sets reported for each: {sizes:?}");
    assert!(shown as u64 >= seeds / 2);
}

const SHIFT: &str = r#"logic "shift" {
    clock CK
    input A
    output Q R
    gate B buf D A
    package F edge pins="d=D clock=CK q=Q"
    gate C not R Q
    start F=0
}"#;

#[test]
fn a_slow_output_gives_what_was_due_in_the_row_before() {
    let machine = sheet(SHIFT);
    let stimulus = stimulus(&machine, 40, &mut Random(3));
    let pin = |name: &str| machine.pins.iter().position(|p| p.name == name);
    let slow = |name: &str| Fault::Slow {
        pin: pin(name).expect("a pin"),
    };
    let of = |shown: &logic::Run, net: &str| -> Vec<Level> {
        let is_it = |n: &logic::NetId| machine.net_name(*n) == net;
        let at = machine.sheet_nets.iter().position(is_it).expect("a net");
        shown.rows.iter().map(|r| r[at]).collect()
    };
    let good = run(&machine, &stimulus, &[]);
    let (a, q) = (of(&good, "A"), of(&good, "Q"));
    assert_eq!(
        q[1..],
        a[..39],
        "the healthy one shows the input a row later"
    );
    // Before the flip-flop: the net is a row late and the state two.
    let late = run(&machine, &stimulus, &[slow("B.y")]);
    assert_eq!(of(&late, "D")[1..], a[..39]);
    assert_eq!(of(&late, "Q")[2..], a[..38]);
    // Behind it: the state is in time, what the slow gate makes of it is not.
    let late = run(&machine, &stimulus, &[slow("C.y")]);
    assert_eq!(of(&late, "Q"), q);
    let turned = |l: &Level| match l {
        Level::Known(l) => Level::Known(!l),
        Level::Unknown => Level::Unknown,
    };
    let wanted: Vec<Level> = q[..39].iter().map(turned).collect();
    assert_eq!(of(&late, "R")[1..], wanted[..]);
    // And it is told by its name, though the weak model sees only that the part errs.
    let seen = recorded(&machine, &stimulus, &[slow("C.y")]);
    let named = strong(&machine, &[seen], &|| false).sets;
    assert_eq!(named, [[slow("C.y")]]);
}

#[test]
fn the_next_net_tells_the_sets_apart() {
    let machine = sheet(S27);
    let mut shrunk = 0;
    planted(&machine, 60, &mut |fault, seen| {
        let mut run_seen = seen.clone();
        let truth = run(&machine, seen, &[*fault]);
        let mut sets = strong(&machine, std::slice::from_ref(seen), &|| false).sets;
        let at_first = sets.len();
        while let Some(probe) = probes(&machine, std::slice::from_ref(&run_seen), &sets, 1).pop() {
            let place = machine
                .sheet_nets
                .iter()
                .position(|n| *n == probe.net)
                .expect("a net of the sheet");
            let Level::Known(level) = truth.rows[probe.row][place] else {
                panic!("unknown with a known start")
            };
            run_seen.rows[probe.row].seen.push((probe.net, level));
            let next = strong(&machine, std::slice::from_ref(&run_seen), &|| false).sets;
            assert!(next.len() < sets.len() && next.len() <= probe.left[usize::from(level)]);
            assert!(next.contains(&vec![*fault]));
            sets = next;
        }
        shrunk += usize::from(sets.len() < at_first);
    });
    assert!(shrunk > 10);
}
