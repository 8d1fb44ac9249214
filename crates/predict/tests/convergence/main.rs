//! Random circuits with random faults, cold and powered: each gives a certified solution or an honest refusal.
//!
//! 1 000 circuits of 10 to 300 parts; with KNOWNGOOD_FULL=1 ten thousand. The same ones every time.
//! KNOWNGOOD_FINDINGS=FILE writes the smallest circuits that were still refused.

mod blocks;
mod certificate;
mod circuits;
mod parts;
mod smallest;
mod trial;

use std::collections::BTreeMap;

use rand::Rng;

use trial::{Trial, Verdict};

/// Circuits of a default run.
const CIRCUITS: u64 = 1_000;

fn count() -> u64 {
    match std::env::var("KNOWNGOOD_FULL") {
        Ok(full) if full == "1" => 10 * CIRCUITS,
        _ => CIRCUITS,
    }
}

#[test]
fn random_circuits_are_solved_and_certified_or_honestly_refused() {
    let count = count();
    let mut refused: Vec<Trial> = Vec::new();
    let (mut solves, mut meaningless) = (0, 0);
    let mut ladders: BTreeMap<String, usize> = BTreeMap::new();
    for number in 0..count {
        let trial = Trial::draw(number);
        match trial.verdict() {
            Verdict::Solved(work) => {
                solves += work.solves;
                for rung in work.rungs {
                    *ladders.entry(rung).or_default() += 1;
                }
            }
            Verdict::Refused(_) => refused.push(trial),
            Verdict::Meaningless(_) => meaningless += 1,
            Verdict::Wrong(what) => panic!("{what}\n{}", trial.described()),
        }
    }
    println!(
        "{count} circuits, {solves} certified solves, {} refused, {meaningless} without meaning (junctions straight across an ideal source); rungs that settled the powered board: {ladders:?}",
        refused.len()
    );
    assert!(
        meaningless * 100 <= count,
        "{meaningless} of {count} circuits mean nothing; the generator should avoid them"
    );
    let shown = refused.len().min(40);
    let findings: String = refused[..shown]
        .iter()
        .map(|t| smallest::of(t).described())
        .collect();
    if let Some(file) = std::env::var_os("KNOWNGOOD_FINDINGS") {
        std::fs::write(file, &findings).expect("the findings can be written");
    }
    assert!(
        refused.len() as u64 * 1_000 <= count,
        "{} of {count} circuits were refused; more than one in a thousand. The smallest of them:\n{findings}",
        refused.len()
    );
}

#[test]
fn the_circuits_are_of_every_kind_that_was_promised() {
    let mut kinds: BTreeMap<String, usize> = BTreeMap::new();
    let mut sizes = Vec::new();
    let (mut feedback, mut faulty, mut limited) = (0, 0, 0);
    for number in 0..400 {
        let trial = Trial::draw(number);
        sizes.push(trial.circuit.lines.len());
        feedback += usize::from(trial.circuit.feedback);
        faulty += usize::from(!trial.faults.is_empty());
        for line in &trial.circuit.lines {
            let kind = line.split(' ').next().unwrap_or_default();
            *kinds.entry(kind.to_owned()).or_default() += 1;
            limited += usize::from(line.contains("limit="));
        }
    }
    for kind in [
        "resistor",
        "potentiometer",
        "diode",
        "zener",
        "npn",
        "pnp",
        "lamp",
        "supply",
        "load",
        "switch",
        "capacitor",
        "fuse",
        "inductor",
    ] {
        assert!(
            kinds.get(kind).is_some_and(|n| *n >= 50),
            "{kind}: {kinds:?}"
        );
    }
    assert!(sizes.iter().all(|n| (10..=300).contains(n)), "{sizes:?}");
    assert!(sizes.iter().any(|n| *n < 20) && sizes.iter().any(|n| *n > 250));
    assert!((150..=250).contains(&feedback), "{feedback} with feedback");
    assert!(
        faulty >= 200 && limited >= 50,
        "{faulty} faulty, {limited} limited"
    );
}

#[test]
fn what_is_not_a_solution_is_not_certified() {
    // The check of this test is checked: a potential moved by a millivolt must be seen.
    let mut seen = 0;
    for number in 0..40 {
        let trial = Trial::draw(number);
        let Some((network, values, mut potential)) = trial.powered_point() else {
            continue;
        };
        assert_eq!(certificate::fault(&network, &[], &values, &potential), None);
        let mut generator = predict::random::stream(number, 9);
        let node = generator.random_range(0..network.nets);
        let touched = network
            .branches
            .iter()
            .any(|b| b.used_nodes().contains(&(node as u32)));
        potential[node] += 1e-3;
        let caught = certificate::fault(&network, &[], &values, &potential).is_some();
        seen += usize::from(touched && caught);
    }
    assert!(seen >= 30, "only {seen} of 40 moved points were seen");
}
