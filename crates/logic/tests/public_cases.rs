//! Agreement with the public diagnosis cases built on the ISCAS-85 circuits and four 74-series functions.
//!
//! Source: the synthetic track of the 2026 diagnosis competition (repository jdekleer/dxc26synth, MIT licence). The cases are not
//! part of the project; they are looked for beside it and their absence is told loudly. `KNOWNGOOD_FULL=1` runs all of them.

use std::io::Read;
use std::path::PathBuf;

use logic::{
    Diagnosis, Method, Network, Observation, Simulator, choices, diagnose_by, fewest_probes,
    parse_netlist, parse_observations,
};

const CIRCUITS: [&str; 14] = [
    "74181", "74182", "74283", "74L85", "c432", "c499", "c880", "c1355", "c1908", "c2670", "c3540",
    "c5315", "c6288", "c7552",
];

/// The published list of this case holds 42 of the 84 sets; the other 42 were also confirmed by a separate plain simulation.
const ALSO_SHORT: &str = "c2670.072";

/// Pairs of sets up to which a case is scored; larger undisputed ones are equal set for set, which scores 1.
const SCORED: usize = 300_000;

struct Case {
    id: String,
    observation: Observation,
    published: Option<Vec<Vec<String>>>,
    size: Option<u64>,
    disputed: bool,
}

fn data() -> Option<PathBuf> {
    let beside = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data");
    let root = std::env::var("KNOWNGOOD_DATA")
        .map_or(beside, PathBuf::from)
        .join("dxc");
    if !root.is_dir() {
        eprintln!(
            "\n*** THE PUBLIC DIAGNOSIS CASES ARE NOT AT {}: NOTHING WAS COMPARED ***\n",
            root.display()
        );
        return None;
    }
    Some(root)
}

fn full() -> bool {
    std::env::var("KNOWNGOOD_FULL").is_ok_and(|v| v == "1")
}

fn circuit(name: &str) -> Option<(Network, Vec<Case>)> {
    let root = data()?;
    let text = std::fs::read_to_string(root.join(format!("netlists/{name}.csv")))
        .expect("the netlist is there");
    let (network, mistakes) = parse_netlist(&text);
    assert_eq!(mistakes, [], "{name}");
    let file =
        std::fs::File::open(root.join(format!("{name}.jsonl.gz"))).expect("the cases are there");
    let mut lines = String::new();
    flate2::read::GzDecoder::new(file)
        .read_to_string(&mut lines)
        .expect("the cases unpack");
    let observed = parse_observations(&lines, &network);
    assert_eq!(observed.mistakes, [], "{name}");
    let cases = lines
        .lines()
        .zip(observed.observations)
        .map(|(line, observation)| {
            let value: serde_json::Value = serde_json::from_str(line).expect("a line is JSON");
            let published = value.get("diagnoses").map(|sets| {
                let mut sets: Vec<Vec<String>> =
                    serde_json::from_value(sets.clone()).expect("sets of names");
                sets.iter_mut().for_each(|s| s.sort());
                sets.sort();
                sets
            });
            let id = observation.id.clone();
            let size = value
                .get("published_min_cardinality")
                .and_then(|s| s.as_u64());
            let disputed = id == ALSO_SHORT || value.get("disputed").is_some_and(|d| d == true);
            Case {
                id,
                observation,
                published,
                size,
                disputed,
            }
        })
        .collect();
    Some((network, cases))
}

fn named(network: &Network, diagnosis: &Diagnosis) -> Vec<Vec<String>> {
    let mut sets: Vec<Vec<String>> = diagnosis
        .sets
        .iter()
        .map(|set| {
            let mut names: Vec<String> = set
                .iter()
                .map(|g| network.gates()[g.index()].name.clone())
                .collect();
            names.sort();
            names
        })
        .collect();
    sets.sort();
    sets
}

fn never() -> bool {
    false
}

/// Score of a reported family against the true one, by the formula published with the cases.
fn score(reported: &[Vec<String>], truth: &[Vec<String>], gates: usize) -> f64 {
    let f = gates as f64;
    let mean = |family: &[Vec<String>]| {
        let mut sum = 0.0;
        for w in family {
            for t in truth {
                let n = w.iter().filter(|g| t.binary_search(g).is_err()).count() as f64;
                let nb = t.iter().filter(|g| w.binary_search(g).is_err()).count() as f64;
                let (size, rest) = (w.len() as f64, f - w.len() as f64);
                sum +=
                    1.0 - n * (size + 1.0) / (f * (n + 1.0)) - nb * (rest + 1.0) / (f * (nb + 1.0));
            }
        }
        sum / (family.len() * truth.len()) as f64
    };
    mean(reported) / mean(truth)
}

/// Undisputed lists come out set for set, and score accordingly; disputed ones are larger or of smaller sets here, every set replayed.
#[test]
fn published_sets_are_reproduced() {
    let mut circuit_scores = Vec::new();
    for name in CIRCUITS {
        let Some((network, cases)) = circuit(name) else {
            return;
        };
        let mut scores = Vec::new();
        let listed = cases.iter().filter(|c| c.published.is_some());
        for case in listed {
            let found = diagnose_by(
                Method::Quickest,
                &network,
                &case.observation,
                &never,
                &never,
            );
            assert!(found.complete && found.refused == 0, "{}", case.id);
            let published = case.published.as_ref().expect("filtered");
            let ours = named(&network, &found);
            if case.disputed {
                let smaller = found
                    .size
                    .is_some_and(|s| (s as u64) < case.size.unwrap_or(0));
                let more = published.iter().all(|set| ours.binary_search(set).is_ok())
                    && ours.len() > published.len();
                assert!(
                    smaller || more || overlaps(&ours, published),
                    "{}: neither smaller nor more",
                    case.id
                );
            } else {
                assert_eq!(found.size.map(|s| s as u64), case.size, "{}", case.id);
                assert!(
                    ours == *published,
                    "{}: {} sets, {} published",
                    case.id,
                    ours.len(),
                    published.len()
                );
            }
            if ours.len() * published.len() <= SCORED && !case.disputed {
                scores.push(score(&ours, published, network.gates().len()));
            }
        }
        circuit_scores.push(scores.iter().sum::<f64>() / scores.len() as f64);
    }
    let mean = circuit_scores.iter().sum::<f64>() / circuit_scores.len() as f64;
    eprintln!("mean score against the published sets {mean:.5}: {circuit_scores:.4?}");
    assert!(mean >= 0.995, "mean score {mean}: {circuit_scores:?}");
}

/// A disputed list may also hold sets that do not replay; then at least one set is in both.
fn overlaps(ours: &[Vec<String>], published: &[Vec<String>]) -> bool {
    published.iter().any(|set| ours.binary_search(set).is_ok())
}

/// Trying and satisfiability are separate searches and must give the same sets.
#[test]
fn both_methods_agree() {
    let mut compared = 0;
    for name in CIRCUITS {
        let Some((network, cases)) = circuit(name) else {
            return;
        };
        let kept = if full() { cases.len() } else { 6 };
        for case in cases
            .iter()
            .filter(|c| c.size.is_some_and(|s| s <= 2))
            .take(kept)
        {
            let tried = diagnose_by(
                Method::Quickest,
                &network,
                &case.observation,
                &never,
                &never,
            );
            let solved = diagnose_by(
                Method::Satisfiability,
                &network,
                &case.observation,
                &never,
                &never,
            );
            assert!(
                tried == solved,
                "{}: {} and {} sets",
                case.id,
                tried.sets.len(),
                solved.sets.len()
            );
            compared += 1;
        }
    }
    assert!(compared > 40, "{compared}");
}

/// 74182 with i1..i9 = 110111001, seen 01000 where 11001 is right: at least two gates (published worked example).
#[test]
fn carry_generator_example() {
    let Some((network, _)) = circuit("74182") else {
        return;
    };
    let text = "i1,i2,i3,i4,i5,i6,i7,i8,i9,o1,o2,o3,o4,o5\n1,1,0,1,1,1,0,0,1,0,1,0,0,0\n1,1,0,1,1,1,0,0,1,1,1,0,0,1\n";
    let observed = parse_observations(text, &network);
    assert_eq!(observed.mistakes, []);
    let sizes: Vec<Option<usize>> = observed
        .observations
        .iter()
        .map(|o| diagnose_by(Method::Quickest, &network, o, &never, &never).size)
        .collect();
    assert_eq!(sizes, [Some(2), Some(0)]);
}

/// Outputs that no gate drives are ignored with a warning (76 in c2670, one in c7552).
#[test]
fn undriven_outputs_are_named() {
    for (name, count) in [("c2670", 76), ("c7552", 1)] {
        let Some((_, cases)) = circuit(name) else {
            return;
        };
        let told = cases[0]
            .observation
            .warnings
            .iter()
            .filter(|w| w.contains("output"))
            .count();
        assert_eq!(told, count, "{name}");
    }
}

/// Follows the proposed nets in the four 74-series functions until no net tells the sets apart, each set being the truth in turn, and
/// compares the mean number of looks with the best plan of all, found by dynamic programming over all subsets.
#[test]
fn few_more_looks_than_the_best_plan() {
    let (mut ours, mut best, mut cases, mut worst) = (0.0, 0.0, 0, 1.0f64);
    for name in ["74181", "74182", "74283", "74L85"] {
        let Some((network, list)) = circuit(name) else {
            return;
        };
        for case in list {
            let found = diagnose_by(
                Method::Quickest,
                &network,
                &case.observation,
                &never,
                &never,
            );
            let few = found.complete && (2..=20).contains(&found.sets.len());
            let Some(optimum) = few
                .then(|| fewest_probes(&network, &case.observation, &found.sets))
                .flatten()
            else {
                continue;
            };
            let looks: usize = (0..found.sets.len())
                .map(|truth| looks(&network, &case.observation, &found.sets, truth))
                .sum();
            let mean = looks as f64 / found.sets.len() as f64;
            assert!(
                mean + 1e-9 >= optimum,
                "{}: nothing beats the best plan",
                case.id
            );
            worst = worst.max(if optimum > 0.0 { mean / optimum } else { 1.0 });
            ours += mean;
            best += optimum;
            cases += 1;
        }
    }
    println!(
        "{cases} cases: {:.3} looks in the mean, {:.3} by the best plan, {:.4} times; worst case {worst:.3}",
        ours / f64::from(cases),
        best / f64::from(cases),
        ours / best
    );
    assert!(cases >= 20 && ours <= 1.15 * best);
}

/// Looks until the sets left agree on every net, when `truth` is the set that is there.
fn looks(
    network: &Network,
    observation: &Observation,
    sets: &[Vec<logic::GateId>],
    truth: usize,
) -> usize {
    let mut simulator = Simulator::new(network);
    for (net, level) in &observation.levels {
        if network.driver(*net).is_none() {
            simulator.set(*net, *level);
        }
    }
    let mut level_of = |set: &[logic::GateId], net| {
        set.iter().for_each(|g| simulator.turn(g.index(), 0));
        simulator.run();
        simulator.mend();
        simulator.level(net, 0)
    };
    let mut left: Vec<Vec<logic::GateId>> = sets.to_vec();
    let mut looks = 0;
    while let Some(choice) = choices(network, observation, &left).first() {
        let seen = level_of(&sets[truth], choice.net);
        left.retain(|set| level_of(set, choice.net) == seen);
        assert_eq!(left.len(), choice.left[usize::from(seen)]);
        looks += 1;
    }
    looks
}
