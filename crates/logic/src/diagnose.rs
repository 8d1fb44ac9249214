//! The fewest gates whose misbehaviour, of whatever kind, explains one observation: all such sets, each replayed before it is told.

use std::collections::HashMap;

use crate::cone::Cones;
use crate::core::Core;
use crate::difference::Difference;
use crate::expand::{Choices, Expander};
use crate::joint::{Unit, diagnose_units};
use crate::network::{NetId, Network};
use crate::observation::Observation;
use crate::search::{TopSets, by_satisfiability, by_trying};
use crate::simulate::{LANES, Simulator, Word};

/// Position of a gate in [`Network::gates`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct GateId(pub u32);

impl GateId {
    /// The position in [`Network::gates`].
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

/// Smallest sets of gates that explain what was seen.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Diagnosis {
    /// The size of the smallest sets, if it was proved that none is smaller.
    pub size: Option<usize>,
    /// Every set of that size is in `sets`; else `sets` is a sample.
    pub complete: bool,
    /// The sets, all of one size, each ascending; in lexicographic order if there are at most 100 000.
    pub sets: Vec<Vec<GateId>>,
    /// Sets that the search proposed and the simulator refused; anything but zero is a fault of this program.
    pub refused: usize,
    /// For each gate in some set the share of the smallest sets that hold it, largest first; counted over the whole family where the
    /// search was finished, even if it was too large to be written out, else by what `basis` says.
    pub shares: Vec<(GateId, f64)>,
    /// What the shares rest on.
    pub basis: Basis,
    /// How many smallest sets there are, if the search was finished.
    pub family: Option<f64>,
}

/// What the share of a gate rests on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Basis {
    /// Every smallest set was counted.
    Counted,
    /// All smallest sets are known by what they may be chosen from; an even sample of those choices was counted.
    Sampled,
    /// The sets that were found until the time was up, in whatever order the search came upon them: no fair sample.
    #[default]
    Found,
}

impl Basis {
    /// In a word: counted, sampled, found.
    pub fn word(self) -> &'static str {
        match self {
            Self::Counted => "counted",
            Self::Sampled => "sampled",
            Self::Found => "found",
        }
    }
}

/// How sets are looked for; for comparisons, as every way must give the same answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// Up to two gates by trying, more by satisfiability.
    Quickest,
    /// Satisfiability for every size.
    Satisfiability,
}

/// Sorting millions of sets would take longer than finding them.
const SORTED_UP_TO: usize = 100_000;

/// Finds all smallest sets of gates whose misbehaviour explains the observation.
///
/// `search` and `listing` are asked whether to stop looking for sets and stop writing them out; answer true to end early with what
/// was found. Nets that were not seen are unknown; inputs too, though an unknown input makes the work slower.
pub fn diagnose(
    network: &Network,
    observation: &Observation,
    search: &dyn Fn() -> bool,
    listing: &dyn Fn() -> bool,
) -> Diagnosis {
    diagnose_by(Method::Quickest, network, observation, search, listing)
}

/// As [`diagnose`], by a chosen method.
pub fn diagnose_by(
    method: Method,
    network: &Network,
    observation: &Observation,
    search: &dyn Fn() -> bool,
    listing: &dyn Fn() -> bool,
) -> Diagnosis {
    let Some(difference) = Difference::of(network, observation) else {
        let units: Vec<Unit> = (0..network.gates().len())
            .map(|g| Unit { gates: vec![g] })
            .collect();
        return diagnose_units(network, std::slice::from_ref(observation), &units, search);
    };
    let cones = Cones::of(&difference);
    let core = Core::of(&difference, &cones);
    let tops = match method {
        Method::Quickest => by_trying(&core).unwrap_or_else(|| by_satisfiability(&core, search)),
        Method::Satisfiability => by_satisfiability(&core, search),
    };
    let mut expander = Expander::new(&difference, &cones, &core);
    let (families, all_unfolded) = unfold(&tops, &mut expander, listing);
    let searched = tops.complete && all_unfolded;
    let mut writer = Writer {
        replay: Replay::new(network, observation),
        waiting: Vec::new(),
        sets: Vec::new(),
        refused: 0,
    };
    let whole = searched && writer.write_all(&families, listing);
    if !whole {
        writer.sets.clear();
        writer.write_sample(&families);
    }
    let Writer {
        mut sets, refused, ..
    } = writer;
    if sets.len() <= SORTED_UP_TO {
        sets.sort_unstable();
    }
    Diagnosis {
        size: tops.smallest.then(|| tops.sets.first().map_or(0, Vec::len)),
        complete: whole && refused == 0,
        sets,
        refused,
        shares: shares(&families),
        basis: match (searched, tops.complete) {
            (true, _) => Basis::Counted,
            (_, true) => Basis::Sampled,
            _ => Basis::Found,
        },
        family: searched.then(|| families.iter().map(size_of).sum()),
    }
}

/// Tops unfolded when the search was cut short: a fair sample of more would say no more.
const TOPS_SAMPLED: usize = 4096;

/// Sets written when they cannot all be: enough for shares to a few per cent, and still readable.
const SETS_SAMPLED: usize = 1000;

/// The choices for each set of tops; false if not all were unfolded.
fn unfold(
    tops: &TopSets,
    expander: &mut Expander<'_>,
    stop: &dyn Fn() -> bool,
) -> (Vec<Choices>, bool) {
    let count = tops.sets.len();
    let order: Vec<usize> = if !tops.complete && count > TOPS_SAMPLED {
        evenly(count, TOPS_SAMPLED).collect()
    } else {
        spread(count)
    };
    let mut families = Vec::with_capacity(order.len());
    for chunk in order.chunks(LANES) {
        let chunk: Vec<Vec<u32>> = chunk.iter().map(|i| tops.sets[*i].clone()).collect();
        families.extend(expander.expand(&chunk));
        if families.len() > TOPS_SAMPLED && stop() {
            return (families, false);
        }
    }
    (families, true)
}

/// Up to `wanted` positions below `count`, evenly spread.
fn evenly(count: usize, wanted: usize) -> impl Iterator<Item = usize> {
    let taken = wanted.min(count);
    (0..taken).map(move |i| (i as u128 * count as u128 / taken as u128) as usize)
}

/// All positions below `count` in the order of their bits reversed, so that wherever one stops those seen are spread evenly (van der
/// Corput, Proceedings Amsterdam 38, 1935). In their own order if they are few.
fn spread(count: usize) -> Vec<usize> {
    if count <= TOPS_SAMPLED {
        return (0..count).collect();
    }
    let bits = usize::BITS - (count - 1).leading_zeros();
    (0..1usize << bits)
        .map(|i| i.reverse_bits() >> (usize::BITS - bits))
        .filter(|i| *i < count)
        .collect()
}

/// Number of sets that the choices stand for; a float, because it may pass any integer.
fn size_of(choices: &Choices) -> f64 {
    choices.iter().map(|c| c.len() as f64).product()
}

/// For each gate in some set, the share of all sets that hold it, by counting without writing them out.
fn shares(families: &[Choices]) -> Vec<(GateId, f64)> {
    let mut held: HashMap<u32, f64> = HashMap::new();
    let mut total = 0.0;
    for choices in families {
        let size = size_of(choices);
        total += size;
        for choice in choices {
            let each = size / choice.len() as f64;
            choice
                .iter()
                .for_each(|gate| *held.entry(*gate).or_insert(0.0) += each);
        }
    }
    let mut shares: Vec<(GateId, f64)> = held
        .into_iter()
        .map(|(gate, n)| (GateId(gate), n / total))
        .collect();
    shares.sort_unstable_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    shares
}

/// Sets written out and replayed, a simulator's width at a time.
struct Writer<'n> {
    replay: Replay<'n>,
    waiting: Vec<Vec<GateId>>,
    sets: Vec<Vec<GateId>>,
    refused: usize,
}

impl Writer<'_> {
    /// Writes out every choice of gates; false if `stop` ended it.
    fn write_all(&mut self, families: &[Choices], stop: &dyn Fn() -> bool) -> bool {
        for choices in families {
            let mut at = vec![0; choices.len()];
            loop {
                if self.write(choices, &at) && stop() {
                    self.waiting.clear();
                    return false;
                }
                if !advance(&mut at, choices) {
                    break;
                }
            }
        }
        self.keep();
        true
    }

    /// Writes sets evenly spread over all of them in their order, so that each is as likely as any other.
    fn write_sample(&mut self, families: &[Choices]) {
        let total: f64 = families.iter().map(size_of).sum();
        let step = (total / SETS_SAMPLED as f64).max(1.0);
        let (mut next, mut before) = (0.0, 0.0);
        for choices in families {
            let size = size_of(choices);
            while next < before + size {
                let mut left = next - before;
                let mut at = vec![0; choices.len()];
                for (place, choice) in at.iter_mut().zip(choices) {
                    *place = (left % choice.len() as f64) as usize;
                    left = (left / choice.len() as f64).floor();
                }
                self.write(choices, &at);
                next += step;
            }
            before += size;
        }
        self.keep();
    }

    /// True if a simulator's width was just replayed.
    fn write(&mut self, choices: &Choices, at: &[usize]) -> bool {
        let mut set: Vec<GateId> = choices.iter().zip(at).map(|(c, i)| GateId(c[*i])).collect();
        set.sort_unstable();
        self.waiting.push(set);
        let full = self.waiting.len() == LANES;
        if full {
            self.keep();
        }
        full
    }

    fn keep(&mut self) {
        let wrong = self.replay.wrong(&self.waiting);
        for (case, set) in self.waiting.drain(..).enumerate() {
            if wrong[case / 64] >> (case % 64) & 1 == 0 {
                self.sets.push(set);
            } else {
                self.refused += 1;
            }
        }
    }
}

/// Steps to the next choice, the first place fastest; false after the last.
fn advance(at: &mut [usize], choices: &Choices) -> bool {
    for (place, choice) in at.iter_mut().zip(choices) {
        *place += 1;
        if *place < choice.len() {
            return true;
        }
        *place = 0;
    }
    false
}

/// Plain simulation of one observation under proposed sets.
struct Replay<'n> {
    simulator: Simulator<'n>,
    seen: Vec<(NetId, bool)>,
}

impl<'n> Replay<'n> {
    fn new(network: &'n Network, observation: &Observation) -> Self {
        let mut simulator = Simulator::new(network);
        let (seen, given): (Vec<_>, Vec<_>) = observation
            .levels
            .iter()
            .copied()
            .partition(|(net, _)| network.driver(*net).is_some());
        given
            .into_iter()
            .for_each(|(net, level)| simulator.set(net, level));
        Self { simulator, seen }
    }

    /// A bit for each set under which some net does not show the level seen.
    fn wrong(&mut self, sets: &[Vec<GateId>]) -> Word {
        for (case, set) in sets.iter().enumerate() {
            set.iter()
                .for_each(|gate| self.simulator.turn(gate.index(), case));
        }
        self.simulator.run();
        self.simulator.mend();
        let mut wrong = [0; LANES / 64];
        for (net, level) in &self.seen {
            let want = if *level { !0 } else { 0 };
            let word = self.simulator.word(*net);
            (0..wrong.len()).for_each(|i| wrong[i] |= word[i] ^ want);
        }
        wrong
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wherever_one_stops_what_was_seen_is_spread_evenly() {
        for count in [4097, 5000, 65_536, 99_991] {
            let order = spread(count);
            let mut all = order.clone();
            all.sort_unstable();
            assert!(all.iter().enumerate().all(|(i, n)| i == *n), "each once");
            for seen in [100, 1000, 4096] {
                let mut part = order[..seen].to_vec();
                part.sort_unstable();
                let widest = part.windows(2).map(|w| w[1] - w[0]).max().unwrap_or(0);
                assert!(
                    widest <= 3 * count / seen + 2,
                    "{count}, {seen}: a gap of {widest}"
                );
            }
        }
    }
}
