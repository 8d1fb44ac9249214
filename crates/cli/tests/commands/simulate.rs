//! `board simulate`: a unit is one unit, whatever is asked of it.

use crate::run::{file, run};

/// Values read on the unit of that seed, in the order of the pairs (kind, red, black, state).
fn values(seed: u64, pairs: &str) -> Vec<f64> {
    simulated(seed, pairs, &[])
}

fn simulated(seed: u64, pairs: &str, more: &[&str]) -> Vec<f64> {
    let name = format!("simulate-{seed}-{}.csv", pairs.len());
    let pairs = file(&name, &format!("kind,red,black,state\n{pairs}"));
    let seed = seed.to_string();
    let words = [
        "board",
        "simulate",
        "fixed-supply.kdl",
        "--seed",
        &seed,
        "--pairs",
        pairs.to_str().expect("a plain path"),
    ];
    let ended = run(&[&words[..], more].concat());
    assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{}", ended.out);
    let column = |line: &str, k: usize| line.split(',').nth(k).unwrap_or_default().to_owned();
    let header = ended.out.lines().next().expect("a header");
    let at = header
        .split(',')
        .position(|h| h == "value")
        .expect("values");
    ended
        .out
        .lines()
        .skip(1)
        .map(|line| {
            let value = column(line, at);
            value.parse().unwrap_or_else(|e| panic!("{e}: {value}"))
        })
        .collect()
}

#[test]
fn a_part_is_the_same_cold_and_powered_and_whatever_else_is_read() {
    for seed in 1..=20 {
        // Red and black stand so that D1 blocks: each pair reads one resistor alone.
        let cold = values(
            seed,
            "ohms,MID,TOP,cold\nohms,0V,MID,cold\nohms,TOP,K,cold\n",
        );
        let [r1, r2, r3] = cold[..] else {
            panic!("three readings: {cold:?}");
        };
        let powered = values(seed, "volts,MID,0V,powered\n");
        let loaded = 1.0 / (1.0 / r2 + 1e-7);
        let divided = 12.0 * loaded / (r1 + loaded);
        // The meter's own errors: 0.3 % of each reading is two standard deviations.
        assert!(
            (powered[0] / divided - 1.0).abs() < 0.015,
            "seed {seed}: {powered:?}, {divided}"
        );
        assert!((r1 - 1e4).abs() < 5_000.0 && (r3 - 4_700.0).abs() < 2_400.0);
        // Another question, the same part: within the meter's error only.
        let again = values(seed, "ohms,TOP,K,cold\n");
        assert!(
            (again[0] / r3 - 1.0).abs() < 0.015,
            "seed {seed}: {again:?}, {r3}"
        );
    }
}

#[test]
fn units_differ_as_their_tolerances_say() {
    // R1 within 20 %: a standard deviation of 10 %. Of 40 units the spread lies within a third of
    // that with a probability above 99.9 % (chi-squared distribution with 39 degrees of freedom).
    let read: Vec<f64> = (1..=40)
        .map(|seed| values(seed, "ohms,MID,TOP,cold\n")[0])
        .collect();
    let mean = read.iter().sum::<f64>() / 40.0;
    let variance = read.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / 39.0;
    let sd = variance.sqrt() / 1e4;
    assert!((0.06..0.14).contains(&sd), "standard deviation {sd}");
    assert!((mean / 1e4 - 1.0).abs() < 0.06, "mean {mean}");
}

#[test]
fn the_same_seed_gives_the_same_file_and_a_fault_moves_only_its_part() {
    let pairs = "ohms,MID,TOP,cold\nohms,0V,MID,cold\n";
    assert_eq!(values(3, pairs), values(3, pairs));
    assert_ne!(values(3, pairs), values(4, pairs));
    let healthy = values(3, pairs);
    let faulty = simulated(3, pairs, &["--with", "R1 high=2"]);
    assert!((faulty[0] / healthy[0] / 2.0 - 1.0).abs() < 1e-3);
    assert!((faulty[1] / healthy[1] - 1.0).abs() < 1e-9);
}

#[test]
fn what_is_simulated_can_be_judged() {
    let ended = run(&[
        "board",
        "simulate",
        "divider.kdl",
        "--seed",
        "5",
        "--unit",
        "B",
        "--pairs",
        "pairs.csv",
    ]);
    let readings = file("round.csv", &ended.out);
    let readings = readings.to_str().expect("a plain path");
    let judged = run(&["board", "judge", "divider.kdl", readings]);
    assert_eq!(judged.code, 0, "{}", judged.err);
    assert!(judged.out.contains("4 readings: "), "{}", judged.out);
    assert!(judged.out.contains("0 disagree"), "{}", judged.out);
}
