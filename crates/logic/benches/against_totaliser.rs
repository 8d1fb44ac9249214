//! Time to all smallest sets against the plain way: every gate as a variable, one totaliser over all, the bound raised from zero, each
//! set blocked as it is found; the same solver for both.
//!
//! `cargo bench -p logic --bench against_totaliser`; the public cases are looked for in `../shared/data` or `KNOWNGOOD_DATA`.

use std::io::Read;

use cover::{Answer, Formula, Literal, Totaliser};
use cpu_time::ProcessTime;
use logic::{Function, Network, Observation, diagnose, parse_netlist, parse_observations};

/// Seconds after which the plain way is given up; the case then counts with this time, in its favour.
const PATIENCE: f64 = 10.0;

fn main() {
    let beside = format!("{}/../../../shared/data", env!("CARGO_MANIFEST_DIR"));
    let root = std::env::var("KNOWNGOOD_DATA").unwrap_or(beside);
    let every = if std::env::var("KNOWNGOOD_FULL").is_ok_and(|v| v == "1") {
        1
    } else {
        8
    };
    let mut ratios = Vec::new();
    for name in [
        "74181", "74182", "74283", "74L85", "c432", "c499", "c880", "c1355", "c1908", "c2670",
        "c3540", "c5315", "c7552",
    ] {
        let Ok(netlist) = std::fs::read_to_string(format!("{root}/dxc/netlists/{name}.csv")) else {
            eprintln!("*** no public cases at {root}: nothing was measured ***");
            return;
        };
        let (network, _) = parse_netlist(&netlist);
        let mut lines = String::new();
        let file = std::fs::File::open(format!("{root}/dxc/{name}.jsonl.gz"))
            .expect("the cases are there");
        flate2::read::GzDecoder::new(file)
            .read_to_string(&mut lines)
            .expect("the cases unpack");
        let listed: Vec<&str> = lines
            .lines()
            .filter(|l| l.contains("\"diagnoses\""))
            .step_by(every)
            .collect();
        let observed = parse_observations(&listed.join("\n"), &network);
        let mut here = Vec::new();
        for observation in &observed.observations {
            let start = ProcessTime::now();
            let ours = diagnose(&network, observation, &|| false, &|| false)
                .sets
                .len();
            let quick = start.elapsed().as_secs_f64();
            let start = ProcessTime::now();
            let plain = plain_way(&network, observation, &|| {
                start.elapsed().as_secs_f64() > PATIENCE
            });
            let slow = start.elapsed().as_secs_f64();
            if let Some(plain) = plain {
                assert_eq!(plain, ours, "{}", observation.id);
            }
            here.push(slow / quick);
        }
        println!(
            "{name:8} {:4} cases, plain way / this program: median {:8.1}",
            here.len(),
            median(&mut here)
        );
        ratios.extend(here);
    }
    println!(
        "all      {:4} cases, plain way / this program: median {:8.1}",
        ratios.len(),
        median(&mut ratios)
    );
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Number of smallest sets, or none when the time was up.
fn plain_way(
    network: &Network,
    observation: &Observation,
    stop: &dyn Fn() -> bool,
) -> Option<usize> {
    let mut formula = Formula::new(stop);
    let mut levels: Vec<Literal> = network.nets().iter().map(|_| formula.variable()).collect();
    for (net, level) in &observation.levels {
        let truth = formula.truth();
        let seen = if *level { truth } else { !truth };
        if network.driver(*net).is_none() {
            levels[net.index()] = seen;
        } else {
            formula.clause(&[if *level {
                levels[net.index()]
            } else {
                !levels[net.index()]
            }]);
        }
    }
    let mut faulty = Vec::new();
    for gate in network.gates() {
        let inputs: Vec<Literal> = gate.inputs.iter().map(|n| levels[n.index()]).collect();
        let none = !formula.truth();
        let follows = match gate.function {
            Function::And => formula.all(&inputs),
            Function::Nand => !formula.all(&inputs),
            Function::Or => formula.any(&inputs),
            Function::Nor => !formula.any(&inputs),
            Function::Xor | Function::Buf => inputs.iter().fold(none, |a, b| formula.differ(a, *b)),
            Function::Xnor | Function::Not => {
                !inputs.iter().fold(none, |a, b| formula.differ(a, *b))
            }
            Function::Low => none,
            Function::High => !none,
        };
        let ab = formula.variable();
        let output = levels[gate.output.index()];
        formula.clause(&[ab, !output, follows]);
        formula.clause(&[ab, output, !follows]);
        faulty.push(ab);
    }
    let mut totaliser = Totaliser::new(&faulty);
    for size in 0..faulty.len() {
        let bound = !totaliser.at_least(&mut formula, size + 1);
        let mut count = 0;
        loop {
            match formula.solve(&[bound]) {
                Answer::Stopped => return None,
                Answer::Unsatisfiable => break,
                Answer::Satisfiable => {
                    let set: Vec<Literal> = faulty
                        .iter()
                        .copied()
                        .filter(|l| formula.is_true(*l))
                        .map(|l| !l)
                        .collect();
                    count += 1;
                    if set.is_empty() {
                        break;
                    }
                    formula.clause(&set);
                }
            }
        }
        if count > 0 {
            return Some(count);
        }
    }
    Some(0)
}
