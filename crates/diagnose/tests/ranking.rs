//! Suspects of small resistor networks, against Monte Carlo over their tolerances and against rules that must hold.

mod network;

use diagnose::{Blame, Change, Ranked, Speaks, Taken, Unit, WRONG, rank};
use network::{Fault, Known, error, every_pair, known, ladder};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use record::Shown;

fn ranked(known: &Known, taken: &[Taken], together: f64) -> Ranked {
    let unit = Unit::new(known, taken.to_vec());
    rank(&[unit], together).units.remove(0)
}

fn of(known: &Known, ranked: &Ranked, part: &str, name: &str) -> f64 {
    let change = known.change(part, name);
    let list = ranked.suspects.iter();
    list.filter(|s| s.change == change)
        .map(|s| s.probability)
        .sum()
}

fn total(r: &Ranked) -> f64 {
    let suspects: f64 = r.suspects.iter().map(|s| s.probability).sum();
    r.healthy + r.multiple + r.reading_error + r.sheet + suspects
}

fn board() -> Known {
    let network = ladder();
    let places = every_pair(&network);
    known(network, &places, 0.01)
}

#[test]
fn probabilities_sum_to_one_and_groups_hold_each_suspect_once() {
    let board = board();
    for (seed, faults) in [
        (1, vec![]),
        (2, vec![(1, Fault::Open)]),
        (3, vec![(0, Fault::Times(2.4)), (5, Fault::Short)]),
    ] {
        for together in [0.0, 1.0] {
            for count in [0, 1, 4, 10] {
                let places: Vec<usize> = (0..count).collect();
                let r = ranked(&board, &board.taken(seed, &faults, &places), together);
                assert!((total(&r) - 1.0).abs() < 1e-9, "{}", total(&r));
                let mut members: Vec<usize> = r.groups.iter().flatten().copied().collect();
                members.sort_unstable();
                assert_eq!(members, (0..r.suspects.len()).collect::<Vec<_>>());
            }
        }
    }
}

#[test]
fn without_readings_the_prior_stands() {
    let board = board();
    let r = ranked(&board, &[], 0.0);
    let all = 1.0 + 0.01 * board.changes.len() as f64;
    assert!((r.healthy - 1.0 / all).abs() < 1e-9);
    assert!((of(&board, &r, "R3", "open") - 0.01 / all).abs() < 1e-9);
    assert_eq!(r.groups.len(), 1);
}

/// Likelihood of readings by drawing units, which knows nothing of slopes or covariances.
fn drawn(board: &Known, taken: &[Taken], faults: &[(usize, Fault)]) -> f64 {
    const UNITS: usize = 20_000;
    let mut random = ChaCha8Rng::seed_from_u64(11);
    let mut sum = 0.0;
    for _ in 0..UNITS {
        let z: Vec<f64> = board
            .network
            .resistors
            .iter()
            .map(|_| StandardNormal.sample(&mut random))
            .collect();
        let mut p = 1.0;
        for t in taken {
            let read = board.network.read(&z, faults, board.places[t.place]);
            p *= match (t.shown, read) {
                (Shown::Number(y), Some(x)) => {
                    let s = (y - x) / error(x);
                    (1.0 - WRONG) * (-0.5 * s * s).exp() / error(x)
                }
                (Shown::OverRange, None) => 1.0 - WRONG,
                _ => 0.0,
            };
            if p == 0.0 {
                break;
            }
        }
        sum += p;
    }
    sum / UNITS as f64
}

#[test]
fn odds_of_suspects_agree_with_monte_carlo() {
    // One reading leaves several suspects alive. The program mixes in wider spreads and wrong
    // readings, which the draws do not know, so odds may differ by a fifth where both fit.
    let board = board();
    let places = [5];
    let truth = [(2usize, Fault::Times(2.0))];
    let taken = board.taken(5, &truth, &places);
    let r = ranked(&board, &taken, 0.0);
    let mut alive = 0;
    let leader = r.suspects[0].probability;
    let reference = r.suspects[0].change;
    let reference_drawn = mean_drawn(&board, &taken, reference);
    for s in r
        .suspects
        .iter()
        .filter(|s| s.probability > 0.1 * leader)
        .skip(1)
    {
        let want = mean_drawn(&board, &taken, s.change) / reference_drawn;
        let got = s.probability / r.suspects[0].probability;
        let c = &board.changes[s.change];
        assert!(
            (got / want).ln().abs() < 0.2,
            "{} {}: odds {got} against the leader, drawn {want}",
            c.part,
            c.name
        );
        alive += 1;
    }
    assert!(alive >= 3, "the case must leave something to compare");
}

/// Mean over the magnitudes, refined so that no likelihood falls between them.
fn mean_drawn(board: &Known, taken: &[Taken], change: usize) -> f64 {
    let list = &board.faults[change];
    if list.len() == 1 {
        return drawn(board, taken, &[list[0]]);
    }
    // The grid's ends lie half a step inside the limits of the magnitude.
    let (part, step) = (list[0].0, 1.35f64);
    let (from, to) = (1.7 / step.sqrt(), 1.7 * step.powf(3.5));
    let mut random = ChaCha8Rng::seed_from_u64(3);
    let mut sum = 0.0;
    const MAGNITUDES: usize = 12;
    for k in 0..MAGNITUDES {
        use rand::Rng;
        let share = (k as f64 + random.random::<f64>()) / MAGNITUDES as f64;
        let factor = from * (to / from).powf(share);
        sum += drawn(board, taken, &[(part, Fault::Times(factor))]);
    }
    sum / MAGNITUDES as f64
}

#[test]
fn the_fault_leads_and_says_why() {
    let board = board();
    for (k, fault, name) in [
        (1, Fault::Open, "open"),
        (4, Fault::Short, "short"),
        (6, Fault::Times(2.5), "high"),
    ] {
        let taken = board.taken(40 + k as u64, &[(k, fault)], &[0, 1, 3, 6, 9]);
        let r = ranked(&board, &taken, 0.1);
        let leader = &r.suspects[0];
        let change = &board.changes[leader.change];
        assert_eq!(
            (change.part.clone(), change.name.as_str()),
            (format!("R{}", k + 1), name)
        );
        assert!(leader.probability > 0.5, "{}", leader.probability);
        assert!(leader.reasons.iter().any(|x| x.speaks == Speaks::For));
        assert!(leader.reasons.iter().all(|x| x.speaks != Speaks::Against));
        if let Some(m) = leader.magnitude {
            assert!((m / 2.5).ln().abs() < 0.15, "fitted {m}");
        }
    }
}

#[test]
fn one_bad_reading_never_convicts() {
    let board = board();
    let places: Vec<usize> = (0..10).collect();
    for seed in 0..5 {
        let good = board.taken(100 + seed, &[], &places);
        for bad in 0..places.len() {
            for spoil in [
                |_: f64| Shown::OverRange,
                |x: f64| Shown::Number(10.0 * x),
                |x: f64| Shown::Number(0.1 * x),
                |x: f64| Shown::Number(1.7 * x),
                |_: f64| Shown::Number(0.4),
            ] {
                let mut taken = good.clone();
                let Shown::Number(x) = taken[bad].shown else {
                    continue;
                };
                taken[bad].shown = spoil(x);
                let r = ranked(&board, &taken, 1.0);
                let leader = &r.suspects[0];
                assert!(
                    leader.probability < 0.5,
                    "unit {seed}, reading {bad} spoilt to {:?}: {} {} at {}",
                    taken[bad].shown,
                    board.changes[leader.change].part,
                    board.changes[leader.change].name,
                    leader.probability
                );
                assert!(r.wrong[bad] > 0.3, "{:?}", r.wrong);
            }
        }
    }
}

#[test]
fn two_faults_are_told_as_two() {
    let board = board();
    let places: Vec<usize> = (0..10).collect();
    let truth = [(0, Fault::Open), (6, Fault::Open)];
    let r = ranked(&board, &board.taken(7, &truth, &places), 1.0);
    assert!(r.multiple > 0.5, "{}", r.multiple);
    let (a, b, _) = r.pairs[0];
    let mut names = [&board.changes[a].part, &board.changes[b].part];
    names.sort();
    assert_eq!(names, ["R1", "R7"]);
}

#[test]
fn resistors_in_series_are_one_group() {
    // Nothing between two series resistors was read, so either may be open.
    let network = network::network(&[(1, 0, 1000.0), (1, 2, 470.0), (2, 3, 470.0), (3, 0, 2200.0)]);
    let board = known(network, &[(1, 0), (3, 0), (3, 1)], 0.01);
    let taken = board.taken(1, &[(1, Fault::Open)], &[0, 1, 2]);
    let r = ranked(&board, &taken, 0.0);
    let mut names: Vec<&str> = r.groups[0]
        .iter()
        .map(|k| &board.changes[r.suspects[*k].change])
        .filter(|c| c.name == "open")
        .map(|c| c.part.as_str())
        .collect();
    names.sort_unstable();
    assert_eq!(names, ["R2", "R3"]);
    let each = of(&board, &r, "R2", "open") / of(&board, &r, "R3", "open");
    assert!((each - 1.0).abs() < 1e-6, "{each}");
}

/// The board with a doubt that R3 has twice its drawn value.
fn doubted() -> Known {
    let network = ladder();
    let places = every_pair(&network);
    let plain = known(network.clone(), &places, 0.01);
    let (mut changes, mut faults) = (plain.changes.clone(), plain.faults.clone());
    changes.push(Change {
        blame: Blame::Sheet,
        part: "R3".to_owned(),
        name: "value".to_owned(),
        weight: 1e-3,
        magnitudes: Vec::new(),
    });
    faults.push(vec![(2, Fault::Times(2.0))]);
    network::with(network, &places, changes, faults)
}

#[test]
fn both_units_off_alike_doubts_the_drawing_and_one_alone_the_part() {
    let board = doubted();
    let places: Vec<usize> = (0..10).collect();
    let bad = board.taken(21, &[(2, Fault::Times(2.0))], &places);
    let also_bad = board.taken(22, &[(2, Fault::Times(2.0))], &places);
    let good = board.taken(23, &[], &places);
    let ask = |list: [&Vec<Taken>; 2]| {
        let units: Vec<Unit<'_>> = list
            .iter()
            .map(|taken| Unit::new(&board, (*taken).clone()))
            .collect();
        rank(&units, 0.0)
    };
    let alike = ask([&bad, &also_bad]);
    assert!(alike.doubts[0].probability > 0.8, "{:?}", alike.doubts);
    assert!((alike.units[0].sheet - alike.units[1].sheet).abs() < 1e-12);
    let one = ask([&bad, &good]);
    assert!(one.doubts[0].probability < 0.01, "{:?}", one.doubts);
    assert!(of(&board, &one.units[0], "R3", "high") > 0.8);
}
