//! The choice of readings against rules and searches that have other authors: a published ordering rule, and the best
//! policy there is, found by trying everything.

mod network;

use std::collections::HashMap;

use diagnose::{
    Blame, Candidate, Change, Class, Effect, Healthy, Marginal, Predictions, Scale, Stop, Taken,
    Unit, next, rank,
};
use network::{Fault, Known, Network};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use record::Shown;

/// One test for each part, which is over range if that part is bad and healthy otherwise.
struct OneTestEach {
    changes: Vec<Change>,
    healthy: Healthy,
}

impl OneTestEach {
    fn new(weights: &[f64]) -> Self {
        Self {
            changes: weights
                .iter()
                .enumerate()
                .map(|(k, weight)| Change {
                    blame: Blame::Unit,
                    part: format!("R{k}"),
                    name: "open".to_owned(),
                    weight: *weight,
                    magnitudes: Vec::new(),
                })
                .collect(),
            healthy: Healthy {
                scale: Scale::Ohms,
                nominal: Shown::Number(100.0),
                marginal: Marginal::normal(100.0, 2.0),
                slopes: Vec::new(),
                reversed: None,
                line: None,
            },
        }
    }
}

impl Predictions for OneTestEach {
    fn changes(&self) -> &[Change] {
        &self.changes
    }
    fn healthy(&self, _: usize) -> Option<&Healthy> {
        Some(&self.healthy)
    }
    fn effect(&self, change: usize, _: usize, place: usize) -> &Effect {
        if change == place {
            &Effect::OverRange
        } else {
            &Effect::Unmoved
        }
    }
    fn together(&self, first: (usize, usize), second: (usize, usize), place: usize) -> Effect {
        if first.0 == place || second.0 == place {
            Effect::OverRange
        } else {
            Effect::Unmoved
        }
    }
}

/// Takes the readings that are advised, all of them healthy; what the shares leave is that no part
/// is bad, so that the last one is not known by exclusion.
fn order_of_tests(shares: &[f64], minutes: &[f64]) -> Vec<usize> {
    let none = 1.0 - shares.iter().sum::<f64>();
    let weights: Vec<f64> = shares.iter().map(|s| s / none).collect();
    let bench = OneTestEach::new(&weights);
    let mut taken: Vec<Taken> = Vec::new();
    let mut order = Vec::new();
    while order.len() < shares.len() {
        let unit = Unit::new(&bench, taken.clone());
        let ranked = rank(std::slice::from_ref(&unit), 0.0).units.remove(0);
        let candidates: Vec<Candidate> = (0..shares.len())
            .filter(|k| !order.contains(k))
            .map(|k| Candidate {
                place: k,
                minutes: minutes[k],
            })
            .collect();
        let advice = next(&unit, &ranked, &[], &candidates);
        let place = candidates[advice.offers[0].candidate].place;
        order.push(place);
        taken.push(Taken {
            place,
            shown: Shown::Number(100.0),
        });
    }
    order
}

#[test]
fn single_fault_independent_tests_go_by_probability_over_cost() {
    // Kalagnanam and Henrion (1990): with a single fault and a test for each part, doing the tests
    // in order of probability over cost is optimal. Information over cost alone would order these
    // differently: a coin's throw tells most.
    let cases: [([f64; 4], [f64; 4]); 3] = [
        ([0.35, 0.20, 0.15, 0.12], [1.0, 0.7, 0.3, 0.6]),
        ([0.40, 0.18, 0.15, 0.10], [1.0, 0.65, 0.25, 0.4]),
        ([0.10, 0.30, 0.25, 0.20], [0.2, 1.0, 1.2, 0.5]),
    ];
    for (shares, minutes) in cases {
        let mut want: Vec<usize> = (0..4).collect();
        want.sort_by(|a, b| (shares[*b] / minutes[*b]).total_cmp(&(shares[*a] / minutes[*a])));
        let got = order_of_tests(&shares, &minutes);
        assert_eq!(got, want, "{shares:?} over {minutes:?}");
    }
}

const NODES: usize = 6;

/// A random network of nine resistors on six nodes, every node held by two or more.
fn drawn_network(seed: u64) -> Network {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let values = [220.0, 470.0, 1000.0, 2200.0, 4700.0, 10e3];
    let mut list: Vec<(usize, usize, f64)> =
        (0..NODES).map(|k| (k, (k + 1) % NODES, 0.0)).collect();
    while list.len() < 9 {
        let (a, b) = (random.random_range(0..NODES), random.random_range(0..NODES));
        if a != b
            && !list
                .iter()
                .any(|r| (r.0, r.1) == (a, b) || (r.1, r.0) == (a, b))
        {
            list.push((a, b, 0.0));
        }
    }
    for r in &mut list {
        r.2 = values[random.random_range(0..values.len())];
    }
    network::network(&list)
}

/// Every resistor open, and three of them short: twelve faults.
fn drawn_board(seed: u64) -> Known {
    let network = drawn_network(seed);
    let places = network::every_pair(&network);
    let mut changes = Vec::new();
    let mut faults = Vec::new();
    for k in 0..12 {
        let (part, fault, name) = if k < 9 {
            (k, Fault::Open, "open")
        } else {
            (2 * (k - 9), Fault::Short, "short")
        };
        changes.push(Change {
            blame: Blame::Unit,
            part: format!("R{part}"),
            name: name.to_owned(),
            weight: 1.0,
            magnitudes: Vec::new(),
        });
        faults.push(vec![(part, fault)]);
    }
    network::with(network, &places, changes, faults)
}

/// For each place, the bin of each fault (the last is healthy): predictions nearer than two standard
/// deviations share one.
fn bins(board: &Known) -> Vec<Vec<usize>> {
    let count = board.changes.len();
    (0..board.places.len())
        .map(|place| {
            let of = |k: usize| match (k < count).then(|| board.effect(k, 0, place)) {
                Some(Effect::Moved(m)) => {
                    let parts: f64 = m.slopes.iter().map(|s| s.1 * s.1).sum();
                    let mean = Scale::Ohms.reading(m.middle);
                    Some((mean, (parts + m.own).sqrt() / Scale::Ohms.at(mean).1))
                }
                Some(Effect::OverRange) => None,
                _ => {
                    let m = &board.healthy(place).expect("all is predicted").marginal;
                    let (Shown::Number(a), Shown::Number(b)) = (m.value(0.0), m.value(1.0)) else {
                        return None;
                    };
                    Some((a, b - a))
                }
            };
            let all: Vec<Option<(f64, f64)>> = (0..=count).map(of).collect();
            let mut order: Vec<usize> = (0..=count).collect();
            order.sort_by(|a, b| {
                let key = |k: usize| all[k].map_or(f64::INFINITY, |v| v.0);
                key(*a).total_cmp(&key(*b))
            });
            let mut found = vec![0; count + 1];
            let mut bin = 0;
            for pair in order.windows(2) {
                let apart = match (all[pair[0]], all[pair[1]]) {
                    (Some(a), Some(b)) => b.0 - a.0 > 2.0 * a.1.max(b.1),
                    (None, None) => false,
                    _ => true,
                };
                bin += usize::from(apart);
                found[pair[1]] = bin;
            }
            found
        })
        .collect()
}

/// Least total number of readings over a set of equally likely faults: every policy is tried.
fn best(set: u32, bins: &[Vec<usize>], known: &mut HashMap<u32, u32>) -> u32 {
    if let Some(found) = known.get(&set) {
        return *found;
    }
    let mut least = u32::MAX;
    for place in bins {
        let mut split: HashMap<usize, u32> = HashMap::new();
        for k in (0..32).filter(|k| set & (1 << k) != 0) {
            *split.entry(place[k]).or_insert(0) |= 1 << k;
        }
        if split.len() > 1 {
            let total =
                set.count_ones() + split.values().map(|s| best(*s, bins, known)).sum::<u32>();
            least = least.min(total);
        }
    }
    // What no reading splits is as far as one comes.
    let least = if least == u32::MAX { 0 } else { least };
    known.insert(set, least);
    least
}

/// Readings in the order of the nets until a fault stands alone or with what nothing splits from it.
fn in_order(fault: usize, bins: &[Vec<usize>]) -> usize {
    let twins = |upto: usize| -> Vec<usize> {
        (0..bins[0].len())
            .filter(|k| bins[..upto].iter().all(|b| b[*k] == b[fault]))
            .collect()
    };
    let last = twins(bins.len());
    (0..=bins.len())
        .find(|n| twins(*n) == last)
        .expect("all readings together are enough")
}

/// Readings that the program's own advice takes on a unit with this fault, and whether it was found.
fn advised(board: &Known, fault: usize, seed: u64) -> (usize, bool) {
    let planted: Vec<(usize, Fault)> = board.faults.get(fault).map_or(vec![], Clone::clone);
    let all: Vec<usize> = (0..board.places.len()).collect();
    let every = board.taken(seed, &planted, &all);
    let mut taken: Vec<Taken> = Vec::new();
    loop {
        let unit = Unit::new(board, taken.clone());
        let ranked = rank(std::slice::from_ref(&unit), 0.0).units.remove(0);
        let candidates: Vec<Candidate> = (0..board.places.len())
            .filter(|p| taken.iter().all(|t| t.place != *p))
            .map(|place| Candidate {
                place,
                minutes: 1.0,
            })
            .collect();
        let advice = next(&unit, &ranked, &[], &candidates);
        if let Some(stop) = advice.stop {
            let right = match stop {
                Stop::Convinced(Class::Fault(c), _) => c == fault,
                Stop::Convinced(..) => fault == board.changes.len(),
                Stop::NothingTells => true,
            };
            return (taken.len(), right);
        }
        taken.push(every[candidates[advice.offers[0].candidate].place]);
    }
}

#[test]
fn advice_is_nearly_as_short_as_the_best_policy_and_far_shorter_than_nets_in_order() {
    let (mut ours, mut least, mut plain, mut wrong, mut cases) = (0, 0, 0, 0, 0);
    for seed in 0..10 {
        let board = drawn_board(seed);
        let bins = bins(&board);
        assert!(board.changes.len() >= 8 && board.places.len() >= 10);
        let everything = (1 << (board.changes.len() + 1)) - 1;
        least += best(everything, &bins, &mut HashMap::new()) as usize;
        for fault in 0..=board.changes.len() {
            let (count, right) = advised(&board, fault, 1000 * seed + fault as u64);
            ours += count;
            wrong += usize::from(!right);
            cases += 1;
            plain += in_order(fault, &bins);
        }
    }
    println!("{cases} cases: advised {ours}, best {least}, in order {plain}, wrong {wrong}");
    assert!(cases >= 100);
    assert!(ours as f64 <= 1.3 * least as f64, "{ours} against {least}");
    assert!(2 * ours <= plain, "{ours} against {plain} in order");
    assert!(wrong * 20 <= cases, "{wrong} of {cases} wrong");
}

/// The least number of places that tell one fault from all others that can be told, by trying sets.
fn fewest_that_prove(board: &Known, fault: usize) -> usize {
    let middle = |k: Option<usize>, place: usize| -> Option<(f64, f64)> {
        let scale = Scale::Ohms;
        match k.map(|k| board.effect(k, 0, place)) {
            Some(Effect::Moved(m)) => {
                let parts: f64 = m.slopes.iter().map(|s| s.1 * s.1).sum();
                Some((m.middle, (parts + m.own).sqrt()))
            }
            Some(Effect::OverRange) => None,
            _ => {
                let m = &board.healthy(place).expect("all is predicted").marginal;
                let at = |t: f64| match m.value(t) {
                    Shown::Number(y) => Some(scale.at(y).0),
                    Shown::OverRange => None,
                };
                Some((at(0.0)?, 0.5 * (at(1.0)? - at(-1.0)?)))
            }
        }
    };
    let others: Vec<Option<usize>> = (0..board.changes.len())
        .filter(|k| *k != fault)
        .map(Some)
        .chain(std::iter::once(None))
        .collect();
    let tells = |place: usize, other: Option<usize>| match (
        middle(Some(fault), place),
        middle(other, place),
    ) {
        (Some(a), Some(b)) => (a.0 - b.0).abs() >= 4.0 * 0.5 * (a.1 + b.1),
        (None, None) => false,
        _ => true,
    };
    let table: Vec<Vec<bool>> = (0..board.places.len())
        .map(|p| others.iter().map(|o| tells(p, *o)).collect())
        .collect();
    let possible: Vec<usize> = (0..others.len())
        .filter(|k| table.iter().any(|row| row[*k]))
        .collect();
    (0u32..1 << board.places.len())
        .filter(|set| {
            possible
                .iter()
                .all(|k| (0..board.places.len()).any(|p| set & (1 << p) != 0 && table[p][*k]))
        })
        .map(u32::count_ones)
        .min()
        .expect("all places together are enough") as usize
}

#[test]
fn the_readings_that_prove_a_fault_are_the_fewest_there_are() {
    for seed in [0, 3] {
        let board = drawn_board(seed);
        let candidates: Vec<Candidate> = (0..board.places.len())
            .map(|place| Candidate {
                place,
                minutes: 1.0,
            })
            .collect();
        for fault in 0..board.changes.len() {
            let proof = diagnose::proves(&board, (fault, 0), &candidates, &|| false);
            assert!(proof.proven);
            let want = fewest_that_prove(&board, fault);
            if !proof.readings.is_empty() {
                assert_eq!(proof.readings.len(), want, "board {seed}, fault {fault}");
            }
        }
    }
}
