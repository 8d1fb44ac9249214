//! The next net of a netlist to look at, when the smallest sets for one observation are known.

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
