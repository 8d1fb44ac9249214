//! Which net to look at next, at which step: the one whose level tells most of the sets that are left.

use super::fault::Fault;
use super::record::Sequence;
use super::step::{Level, Stepper};
use crate::gates::Machine;
use crate::network::NetId;

/// A net at a step, and what its level would tell.
#[derive(Clone, Debug, PartialEq)]
pub struct Probe {
    /// Position of the run.
    pub run: usize,
    /// Position of the row.
    pub row: usize,
    /// The net.
    pub net: NetId,
    /// Expected information, in bits.
    pub bits: f64,
    /// The same of it and the best net after it, where that was weighed: for nets close to the best.
    pub bits_of_two: f64,
    /// Sets that would be left if it shows 0, and if it shows 1.
    pub left: [usize; 2],
}

/// Nets within so many bits of the best are weighed two steps ahead, at most so many; and this many may come second.
const CLOSE: f64 = 0.2;
const WEIGHED: usize = 24;
const SECOND: usize = 256;

/// A net at its best step, with what each set says of it.
struct Told {
    probe: Probe,
    levels: Vec<Level>,
}

/// Nets of the sheet that tell the given sets of faults apart, best first: at most `most`, each net at its best step. Where several are
/// close, by what they and the best net after them tell.
///
/// Each set is as likely as any other. A set under which the level is not known counts half for each.
pub fn probes(
    machine: &Machine,
    runs: &[Sequence],
    sets: &[Vec<Fault>],
    most: usize,
) -> Vec<Probe> {
    let mut list = told(machine, runs, sets);
    list.sort_by(|a, b| {
        b.probe
            .bits
            .total_cmp(&a.probe.bits)
            .then(a.probe.net.cmp(&b.probe.net))
    });
    let best = list.first().map_or(0.0, |t| t.probe.bits);
    let close = list
        .iter()
        .take(WEIGHED)
        .filter(|t| t.probe.bits + CLOSE >= best)
        .count();
    // With one candidate, or with so few sets that one look settles them, a second step changes nothing.
    if close > 1 && sets.len() > 2 {
        let second = &list[..list.len().min(SECOND)];
        let after: Vec<f64> = list[..close].iter().map(|t| after(t, second)).collect();
        for (told, after) in list.iter_mut().zip(after) {
            told.probe.bits_of_two += after;
        }
        list[..close].sort_by(|a, b| {
            b.probe
                .bits_of_two
                .total_cmp(&a.probe.bits_of_two)
                .then(b.probe.bits.total_cmp(&a.probe.bits))
        });
    }
    list.truncate(most);
    list.into_iter().map(|t| t.probe).collect()
}

/// What the best of the others tells after a net was seen, in bits, over both its levels.
fn after(first: &Told, second: &[Told]) -> f64 {
    let all: f64 = first.levels.len() as f64;
    [false, true]
        .into_iter()
        .map(|level| {
            // A set that leaves the first level open is in both branches, with half its weight.
            let weight: Vec<f64> = first
                .levels
                .iter()
                .map(|l| match l {
                    Level::Known(l) => f64::from(u8::from(*l == level)),
                    Level::Unknown => 0.5,
                })
                .collect();
            let share = weight.iter().sum::<f64>() / all;
            let best = second
                .iter()
                .map(|t| {
                    let mut counts = [0.0; 3];
                    for (level, weight) in t.levels.iter().zip(&weight) {
                        counts[place(*level)] += weight;
                    }
                    information(counts)
                })
                .fold(0.0, f64::max);
            share * best
        })
        .sum()
}

fn place(level: Level) -> usize {
    match level {
        Level::Known(level) => usize::from(level),
        Level::Unknown => 2,
    }
}

fn told(machine: &Machine, runs: &[Sequence], sets: &[Vec<Fault>]) -> Vec<Told> {
    let mut best: Vec<Option<Told>> = machine.sheet_nets.iter().map(|_| None).collect();
    for (at, run) in runs.iter().enumerate() {
        let mut steppers: Vec<(Stepper<'_>, usize)> = sets
            .chunks(64)
            .map(|chunk| {
                let mut stepper = Stepper::new(machine);
                for (case, set) in chunk.iter().enumerate() {
                    set.iter().for_each(|f| stepper.put(case, f));
                }
                (stepper, chunk.len())
            })
            .collect();
        for (index, row) in run.rows.iter().enumerate() {
            for (stepper, _) in &mut steppers {
                stepper.begin();
                row.inputs
                    .iter()
                    .for_each(|(net, level)| stepper.set(*net, *level));
                stepper.settle();
            }
            for (net, best) in machine.sheet_nets.iter().zip(&mut best) {
                if row.seen.iter().any(|(n, _)| n == net) {
                    continue;
                }
                let levels: Vec<Level> = steppers
                    .iter()
                    .flat_map(|(stepper, cases)| (0..*cases).map(|case| stepper.level(*net, case)))
                    .collect();
                let mut counts = [0usize; 3];
                levels.iter().for_each(|l| counts[place(*l)] += 1);
                let bits = information(counts.map(|n| n as f64));
                if bits > 1e-9 && best.as_ref().is_none_or(|b| bits > b.probe.bits + 1e-9) {
                    let left = [counts[0] + counts[2], counts[1] + counts[2]];
                    let probe = Probe {
                        run: at,
                        row: index,
                        net: *net,
                        bits,
                        bits_of_two: bits,
                        left,
                    };
                    *best = Some(Told { probe, levels });
                }
            }
            steppers.iter_mut().for_each(|(s, _)| s.pulse());
        }
    }
    best.into_iter().flatten().collect()
}

/// Entropy of the outcome less what stays open where a set does not say (de Kleer and Williams, Artificial Intelligence 32, 1987).
fn information(counts: [f64; 3]) -> f64 {
    let all: f64 = counts.iter().sum();
    if all == 0.0 {
        return 0.0;
    }
    let open = counts[2] / all;
    let one = (counts[1] + counts[2] / 2.0) / all;
    let entropy: f64 = [one, 1.0 - one]
        .iter()
        .filter(|p| **p > 0.0)
        .map(|p| -p * p.log2())
        .sum();
    (entropy - open).max(0.0)
}
