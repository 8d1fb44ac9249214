//! The next net of a netlist to look at, or the next inputs to put on, when the smallest sets for one observation are known.

use std::collections::{HashMap, HashSet};

use crate::diagnose::GateId;
use crate::network::{NetId, Network};
use crate::observation::Observation;
use crate::simulate::{LANES, Simulator};

/// A net that tells sets apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// The net.
    pub net: NetId,
    /// What its level tells, in bits, every set being as likely as any other.
    pub bits: f64,
    /// What it and the best net after it tell.
    pub bits_of_two: f64,
    /// Sets left if it shows 0, and if it shows 1.
    pub left: [usize; 2],
}

/// Nets within so many bits of the best are weighed two steps ahead; chosen because a net further behind never made up for it on the
/// four 74-series functions.
const CLOSE: f64 = 0.2;
/// Nets that are weighed two steps ahead.
const WEIGHED: usize = 24;

/// Nets that tell the sets apart, best first: by what two looks tell where the first is close, by the first alone otherwise.
///
/// In a smallest set each gate gives the opposite of what it should, or a smaller set would do; so each set says the level of every net.
/// All inputs must be in the observation; one that is not is taken as low.
pub fn choices(network: &Network, observation: &Observation, sets: &[Vec<GateId>]) -> Vec<Choice> {
    let table = Table::new(network, observation, sets);
    let all: Vec<usize> = (0..sets.len()).collect();
    let mut list: Vec<(Choice, &Vec<bool>)> = table
        .nets
        .iter()
        .map(|(net, levels)| {
            let ones = levels.iter().filter(|l| **l).count();
            let left = [sets.len() - ones, ones];
            let bits = entropy(left);
            (
                Choice {
                    net: *net,
                    bits,
                    bits_of_two: bits,
                    left,
                },
                levels,
            )
        })
        .collect();
    list.sort_by(|a, b| b.0.bits.total_cmp(&a.0.bits).then(a.0.net.cmp(&b.0.net)));
    let best = list.first().map_or(0.0, |c| c.0.bits);
    for (choice, levels) in list.iter_mut().take(WEIGHED) {
        if choice.bits + CLOSE >= best {
            let (one, zero): (Vec<usize>, Vec<usize>) = all.iter().partition(|i| levels[**i]);
            let after = |part: &[usize]| part.len() as f64 / sets.len() as f64 * table.best(part);
            choice.bits_of_two += after(&one) + after(&zero);
        }
    }
    list.sort_by(|a, b| {
        b.0.bits_of_two
            .total_cmp(&a.0.bits_of_two)
            .then(b.0.bits.total_cmp(&a.0.bits))
    });
    list.into_iter().map(|(choice, _)| choice).collect()
}

/// Other inputs after which the outputs tell sets apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Vector {
    /// Inputs that differ from those of the observation, with their new levels.
    pub changes: Vec<(NetId, bool)>,
    /// What all outputs together tell, in bits, every set being as likely as any other.
    pub bits: f64,
    /// Outputs that the sets disagree on.
    pub watch: Vec<NetId>,
    /// Sets left at most.
    pub most_left: usize,
}

/// Changes of one and of two inputs that are tried.
const CHANGES: usize = 4096;

/// Changes of one or two inputs after which the outputs that were seen tell the sets apart, best first: at most `most`.
///
/// Nothing says what a gate at fault gives for other inputs. They are weighed as if each gate of a set went on giving the level that it
/// gives now, as a gate does that is stuck; so they help to choose, and prove nothing.
pub fn vectors(
    network: &Network,
    observation: &Observation,
    sets: &[Vec<GateId>],
    most: usize,
    stop: &dyn Fn() -> bool,
) -> Vec<Vector> {
    let given: Vec<(NetId, bool)> = observation
        .levels
        .iter()
        .filter(|(n, _)| network.driver(*n).is_none())
        .copied()
        .collect();
    let outputs: Vec<NetId> = observation
        .levels
        .iter()
        .map(|(n, _)| *n)
        .filter(|n| network.driver(*n).is_some())
        .collect();
    let stuck = stuck_levels(network, &given, sets);
    let singles = given.iter().map(|(n, l)| vec![(*n, !l)]);
    let pairs = given.iter().enumerate().flat_map(|(i, a)| {
        given[i + 1..]
            .iter()
            .map(move |b| vec![(a.0, !a.1), (b.0, !b.1)])
    });
    let mut found = Vec::new();
    let mut simulator = Simulator::new(network);
    for changes in singles.chain(pairs).take(CHANGES) {
        for (net, level) in given.iter().chain(&changes) {
            simulator.set(*net, *level);
        }
        let endings = endings(&mut simulator, &stuck, &outputs);
        found.extend(vector(changes, &outputs, &endings));
        if stop() {
            break;
        }
    }
    found.sort_by(|a, b| {
        b.bits
            .total_cmp(&a.bits)
            .then(a.changes.len().cmp(&b.changes.len()))
    });
    found.truncate(most);
    found
}

/// For each set its gates with the level that each gives under the observation.
fn stuck_levels(
    network: &Network,
    given: &[(NetId, bool)],
    sets: &[Vec<GateId>],
) -> Vec<Vec<(usize, bool)>> {
    let mut simulator = Simulator::new(network);
    given
        .iter()
        .for_each(|(net, level)| simulator.set(*net, *level));
    let mut stuck = Vec::with_capacity(sets.len());
    for chunk in sets.chunks(LANES) {
        for (case, set) in chunk.iter().enumerate() {
            set.iter().for_each(|g| simulator.turn(g.index(), case));
        }
        simulator.run();
        simulator.mend();
        stuck.extend(chunk.iter().enumerate().map(|(case, set)| {
            set.iter()
                .map(|g| {
                    let output = network.gates()[g.index()].output;
                    (g.index(), simulator.level(output, case))
                })
                .collect::<Vec<_>>()
        }));
    }
    stuck
}

/// What the outputs show under each set, with its gates held at their levels.
fn endings(
    simulator: &mut Simulator<'_>,
    stuck: &[Vec<(usize, bool)>],
    outputs: &[NetId],
) -> Vec<Vec<bool>> {
    let mut endings = Vec::with_capacity(stuck.len());
    for chunk in stuck.chunks(LANES) {
        let mut held: HashMap<usize, Vec<(usize, bool)>> = HashMap::new();
        for (case, set) in chunk.iter().enumerate() {
            for (gate, level) in set {
                held.entry(*gate).or_default().push((case, *level));
            }
        }
        simulator.run_held(&held);
        endings.extend(
            (0..chunk.len())
                .map(|case| outputs.iter().map(|o| simulator.level(*o, case)).collect()),
        );
    }
    endings
}

/// None if all sets end alike.
fn vector(changes: Vec<(NetId, bool)>, outputs: &[NetId], endings: &[Vec<bool>]) -> Option<Vector> {
    let mut counts: HashMap<&[bool], usize> = HashMap::new();
    endings
        .iter()
        .for_each(|e| *counts.entry(e).or_default() += 1);
    let all = endings.len() as f64;
    let bits: f64 = counts
        .values()
        .map(|n| *n as f64 / all)
        .map(|p| -p * p.log2())
        .sum();
    let differs = |at: &usize| endings.iter().any(|e| e[*at] != endings[0][*at]);
    (counts.len() > 1).then(|| Vector {
        changes,
        bits,
        watch: (0..outputs.len())
            .filter(differs)
            .map(|at| outputs[at])
            .collect(),
        most_left: counts.values().max().copied().unwrap_or_default(),
    })
}

/// The mean number of looks that the best plan of all needs until no net tells the sets apart any more; `None` for more than 20 sets.
pub fn fewest_probes(
    network: &Network,
    observation: &Observation,
    sets: &[Vec<GateId>],
) -> Option<f64> {
    if sets.len() > 20 {
        return None;
    }
    let table = Table::new(network, observation, sets);
    let mut ways: Vec<u32> = Vec::new();
    for (_, levels) in &table.nets {
        let mask = levels
            .iter()
            .enumerate()
            .fold(0, |m, (i, l)| m | u32::from(*l) << i);
        // The same split the other way round is no other split.
        let mask = if mask & 1 == 1 {
            !mask & ((1 << sets.len()) - 1)
        } else {
            mask
        };
        if !ways.contains(&mask) {
            ways.push(mask);
        }
    }
    let mut known = HashMap::new();
    Some(optimum((1u32 << sets.len()) - 1, &ways, &mut known) / sets.len() as f64)
}

/// Looks summed over the sets of `left`.
fn optimum(left: u32, ways: &[u32], known: &mut HashMap<u32, f64>) -> f64 {
    if left.count_ones() < 2 {
        return 0.0;
    }
    if let Some(value) = known.get(&left) {
        return *value;
    }
    let tried: HashSet<u32> = ways
        .iter()
        .map(|w| w & left)
        .filter(|w| *w != 0 && *w != left)
        .collect();
    let mut best = f64::INFINITY;
    for way in tried {
        let value = f64::from(left.count_ones())
            + optimum(way, ways, known)
            + optimum(left & !way, ways, known);
        best = best.min(value);
    }
    let value = if best.is_finite() { best } else { 0.0 };
    known.insert(left, value);
    value
}

/// What each set says of each net that was not seen and that not all sets agree on.
struct Table {
    nets: Vec<(NetId, Vec<bool>)>,
}

impl Table {
    fn new(network: &Network, observation: &Observation, sets: &[Vec<GateId>]) -> Self {
        let mut nets: Vec<(NetId, Vec<bool>)> = (0..network.nets().len() as u32)
            .map(NetId)
            .filter(|n| network.driver(*n).is_some() && observation.level(*n).is_none())
            .map(|n| (n, Vec::with_capacity(sets.len())))
            .collect();
        let mut simulator = Simulator::new(network);
        for (net, level) in observation
            .levels
            .iter()
            .filter(|(n, _)| network.driver(*n).is_none())
        {
            simulator.set(*net, *level);
        }
        for chunk in sets.chunks(LANES) {
            for (case, set) in chunk.iter().enumerate() {
                set.iter().for_each(|g| simulator.turn(g.index(), case));
            }
            simulator.run();
            simulator.mend();
            for (net, levels) in &mut nets {
                levels.extend((0..chunk.len()).map(|case| simulator.level(*net, case)));
            }
        }
        nets.retain(|(_, levels)| levels.windows(2).any(|w| w[0] != w[1]));
        Self { nets }
    }

    /// What the best net tells of some of the sets, in bits.
    fn best(&self, of: &[usize]) -> f64 {
        let bits = |levels: &Vec<bool>| {
            let ones = of.iter().filter(|i| levels[**i]).count();
            entropy([of.len() - ones, ones])
        };
        self.nets
            .iter()
            .map(|(_, levels)| bits(levels))
            .fold(0.0, f64::max)
    }
}

fn entropy(counts: [usize; 2]) -> f64 {
    let all = (counts[0] + counts[1]) as f64;
    let part = |n: usize| match n {
        0 => 0.0,
        n => -(n as f64 / all) * (n as f64 / all).log2(),
    };
    part(counts[0]) + part(counts[1])
}
