//! Which inputs to put on next: a row or a run that was recorded, with a change, after which the outputs tell most of what is left.

use std::collections::{HashMap, HashSet};
use std::hash::{DefaultHasher, Hash, Hasher};

use super::fault::Fault;
use super::record::Sequence;
use super::step::{Level, Stepper};
use crate::gates::Machine;
use crate::network::NetId;

/// A recorded run with other inputs.
#[derive(Clone, Debug, PartialEq)]
pub struct Stimulus {
    /// Position of the run that is repeated.
    pub run: usize,
    /// Position of the row in which inputs differ; in the rows after it they are as recorded.
    pub row: usize,
    /// The inputs that differ, with their new levels.
    pub changes: Vec<(NetId, bool)>,
    /// Expected information of seeing all outputs throughout, in bits.
    pub bits: f64,
    /// Outputs that some of the sets disagree on, each with the first row in which they do.
    pub watch: Vec<(NetId, usize)>,
    /// Sets left at most.
    pub most_left: usize,
}

/// Most runs that are tried, inputs that are changed together, and rows of a run that are changed.
const TRIED: usize = 600;
const ROWS: usize = 24;

/// Runs with changed inputs that tell the sets of faults apart, best first: at most `most`. Each set is as likely as any other; one that
/// leaves an output open tells nothing, and is taken to end as the others do.
pub fn stimuli(
    machine: &Machine,
    runs: &[Sequence],
    sets: &[Vec<Fault>],
    most: usize,
    stop: &dyn Fn() -> bool,
) -> Vec<Stimulus> {
    let mut found: Vec<Stimulus> = Vec::new();
    for (at, row, changes) in proposals(machine, runs) {
        let changed = with_changes(&runs[at], row, &changes);
        if let Some(stimulus) = weigh(machine, &changed, sets) {
            found.push(Stimulus {
                run: at,
                row,
                changes,
                ..stimulus
            });
        }
        if stop() {
            break;
        }
    }
    // Of equals the one with fewer changes, and the earlier one.
    found.sort_by(|a, b| {
        b.bits
            .total_cmp(&a.bits)
            .then(a.changes.len().cmp(&b.changes.len()))
    });
    found.truncate(most);
    found
}

type Proposal = (usize, usize, Vec<(NetId, bool)>);

/// One input changed, in a sheet without memory also two, spread over runs and rows.
fn proposals(machine: &Machine, runs: &[Sequence]) -> Vec<Proposal> {
    let mut list: Vec<Proposal> = Vec::new();
    let mut known: HashSet<Vec<(NetId, bool)>> = HashSet::new();
    let is_timeless = machine.stores.is_empty();
    for (at, run) in runs.iter().enumerate() {
        let mut level: HashMap<NetId, bool> = HashMap::new();
        for (row, step) in run.rows.iter().enumerate().take(ROWS) {
            for (net, put) in &step.inputs {
                match put {
                    Some(put) => level.insert(*net, *put),
                    None => level.remove(net),
                };
            }
            let mut now: Vec<(NetId, bool)> = level.iter().map(|(n, l)| (*n, *l)).collect();
            now.sort_unstable();
            for (i, a) in now.iter().enumerate() {
                list.push((at, row, vec![(a.0, !a.1)]));
                if is_timeless {
                    let pairs = now[i + 1..].iter();
                    list.extend(pairs.map(|b| (at, row, vec![(a.0, !a.1), (b.0, !b.1)])));
                }
            }
            if is_timeless {
                known.insert(now);
            }
        }
    }
    // A row that was recorded already tells nothing new, and two ways to the same row are one.
    if is_timeless {
        list.retain(|(at, row, changes)| {
            let mut whole: Vec<(NetId, bool)> = runs[*at].rows[*row]
                .inputs
                .iter()
                .filter_map(|(n, l)| {
                    let new = changes.iter().find(|(c, _)| c == n).map(|(_, l)| *l);
                    new.or(*l).map(|l| (*n, l))
                })
                .collect();
            whole.sort_unstable();
            known.insert(whole)
        });
    }
    let step = list.len().div_ceil(TRIED).max(1);
    // Every so many first, then those between, so that a search that is stopped has seen a bit of everything.
    (0..step)
        .flat_map(|first| list.iter().skip(first).step_by(step).cloned())
        .take(TRIED)
        .collect()
}

/// The run with other levels in one row; what they were before comes back in the next.
pub(crate) fn with_changes(run: &Sequence, row: usize, changes: &[(NetId, bool)]) -> Sequence {
    let mut changed = run.clone();
    changed.rows.iter_mut().for_each(|r| r.seen.clear());
    for (net, level) in changes {
        let put = run.rows[..=row]
            .iter()
            .rev()
            .flat_map(|r| &r.inputs)
            .find(|(n, _)| n == net)
            .and_then(|(_, l)| *l);
        changed.rows[row].inputs.retain(|(n, _)| n != net);
        changed.rows[row].inputs.push((*net, Some(*level)));
        if let Some(next) = changed.rows.get_mut(row + 1)
            && next.inputs.iter().all(|(n, _)| n != net)
        {
            next.inputs.push((*net, put));
        }
    }
    changed
}

/// What a run tells; none if nothing.
fn weigh(machine: &Machine, run: &Sequence, sets: &[Vec<Fault>]) -> Option<Stimulus> {
    let mut endings: Vec<Option<DefaultHasher>> = vec![Some(DefaultHasher::new()); sets.len()];
    let mut watch: HashMap<NetId, usize> = HashMap::new();
    let mut levels: Vec<Vec<Level>> = vec![Vec::with_capacity(sets.len()); machine.outputs.len()];
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
        levels.iter_mut().for_each(Vec::clear);
        for (stepper, cases) in &mut steppers {
            stepper.begin();
            row.inputs
                .iter()
                .for_each(|(net, level)| stepper.set(*net, *level));
            stepper.settle();
            for (net, list) in machine.outputs.iter().zip(&mut levels) {
                list.extend((0..*cases).map(|case| stepper.level(*net, case)));
            }
            stepper.pulse();
        }
        for (net, list) in machine.outputs.iter().zip(&levels) {
            let is_at_odds = [true, false]
                .iter()
                .all(|l| list.contains(&Level::Known(*l)));
            if is_at_odds {
                watch.entry(*net).or_insert(index);
            }
            // What no set says, as before a reset, is no reason to leave them out.
            if list.iter().all(|l| *l == Level::Unknown) {
                continue;
            }
            for (ending, level) in endings.iter_mut().zip(list) {
                match (level, &mut *ending) {
                    (Level::Known(level), Some(hasher)) => level.hash(hasher),
                    _ => *ending = None,
                }
            }
        }
    }
    let mut counts: HashMap<u64, usize> = HashMap::new();
    let decided: Vec<u64> = endings.iter().flatten().map(Hasher::finish).collect();
    decided
        .iter()
        .for_each(|e| *counts.entry(*e).or_default() += 1);
    if counts.len() < 2 {
        return None;
    }
    let all = decided.len() as f64;
    let entropy: f64 = counts
        .values()
        .map(|n| *n as f64 / all)
        .map(|p| -p * p.log2())
        .sum();
    let open = sets.len() - decided.len();
    let mut watch: Vec<(NetId, usize)> = watch.into_iter().collect();
    watch.sort_by_key(|(net, row)| (*row, *net));
    Some(Stimulus {
        run: 0,
        row: 0,
        changes: Vec::new(),
        bits: entropy * all / sets.len() as f64,
        watch,
        most_left: counts.values().max().copied().unwrap_or_default() + open,
    })
}
