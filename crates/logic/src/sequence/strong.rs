//! Which named faults, alone or in pairs, give exactly what was seen: tried one by one, 64 at a time.

use std::collections::HashSet;

use super::explain::Explained;
use super::fault::{Fault, possible};
use super::record::Sequence;
use super::step::Stepper;
use crate::gates::Machine;

/// Sets of named faults that explain everything.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StrongSets {
    /// Sets of one size, 0 to 2.
    pub sets: Vec<Vec<Fault>>,
    /// All sets of up to two faults were tried.
    pub complete: bool,
    /// Sets that were run; those that the weak model excludes are not.
    pub tried: usize,
}

/// Pairs that are passed over between two questions whether to stop.
const PASSED: usize = 1 << 14;

/// Faults that explain all runs: single ones first, pairs if no single one does, until `stop` says so.
///
/// A net whose level is unknown in the faulty machine agrees with whatever was seen.
pub fn strong(machine: &Machine, runs: &[Sequence], stop: &dyn Fn() -> bool) -> StrongSets {
    search(machine, runs, None, stop)
}

/// As [`strong`], when the fewest parts that explain the same runs are known: a fault of a part is one of the things that the part may
/// do, so what the weak model excludes is not run. On a large machine hardly anything is left.
pub fn strong_among(
    machine: &Machine,
    runs: &[Sequence],
    weak: &Explained,
    stop: &dyn Fn() -> bool,
) -> StrongSets {
    search(machine, runs, Bound::of(weak).as_ref(), stop)
}

fn search(
    machine: &Machine,
    runs: &[Sequence],
    bound: Option<&Bound>,
    stop: &dyn Fn() -> bool,
) -> StrongSets {
    let parts = Parts::of(machine);
    let mut all = possible(machine);
    if let Some(bound) = bound {
        // What is likely to end the search comes first.
        all.sort_by_key(|f| {
            let touched = parts.touched(&[*f]);
            !touched.is_none_or(|p| p.iter().any(|p| bound.suspects.contains(p)))
        });
    }
    let may = |set: &[Fault]| {
        bound.is_none_or(|b| {
            parts
                .touched(set)
                .is_none_or(|touched| b.may_explain(&touched))
        })
    };
    let mut search = Search {
        machine,
        runs,
        found: Vec::new(),
        waiting: Vec::new(),
        tried: 0,
    };
    let singles = std::iter::once(Vec::new()).chain(all.iter().map(|f| vec![*f]));
    for set in singles {
        if (set.is_empty() || may(&set)) && search.add(set) && stop() {
            return search.end(false);
        }
    }
    search.flush();
    if search.found.first().is_some_and(Vec::is_empty) {
        search.found.truncate(1);
    }
    if search.found.is_empty() {
        let mut passed = 0;
        for (at, a) in all.iter().enumerate() {
            for b in &all[at + 1..] {
                passed += 1;
                let is_asked = may(&[*a, *b]) && search.add(vec![*a, *b]);
                if (is_asked || passed % PASSED == 0) && stop() {
                    return search.end(false);
                }
            }
        }
        search.flush();
    }
    search.end(true)
}

/// Which parts drive each net, to know what a fault can be blamed on.
struct Parts<'m> {
    machine: &'m Machine,
    drivers: Vec<Vec<usize>>,
}

impl<'m> Parts<'m> {
    fn of(machine: &'m Machine) -> Self {
        let mut drivers = vec![Vec::new(); machine.network.nets().len()];
        for pin in machine.pins.iter().filter(|p| p.is_output) {
            drivers[pin.net.index()].push(pin.part);
        }
        Self { machine, drivers }
    }

    /// The parts whose outputs, doing as they please, could do the same as the faults; none if no part could, as with a tied net.
    fn touched(&self, set: &[Fault]) -> Option<Vec<usize>> {
        let mut parts = Vec::new();
        for fault in set {
            match fault {
                Fault::Bridge { nets } => {
                    for net in nets {
                        let drivers = &self.drivers[net.index()];
                        if drivers.is_empty() {
                            return None;
                        }
                        parts.extend(drivers);
                    }
                }
                _ => parts.extend(fault.part(self.machine)),
            }
        }
        parts.sort_unstable();
        parts.dedup();
        Some(parts)
    }
}

/// What the weak model proves of named faults.
struct Bound {
    size: usize,
    sets: HashSet<Vec<usize>>,
    suspects: HashSet<usize>,
}

impl Bound {
    /// None if the weak model proves nothing.
    fn of(weak: &Explained) -> Option<Self> {
        if !weak.complete || weak.is_cut_short || weak.refused > 0 {
            return None;
        }
        let sets: HashSet<Vec<usize>> = weak
            .sets
            .iter()
            .map(|set| {
                let mut set = set.clone();
                set.sort_unstable();
                set
            })
            .collect();
        let suspects = sets.iter().flatten().copied().collect();
        Some(Self {
            size: weak.size.unwrap_or(usize::MAX),
            sets,
            suspects,
        })
    }

    /// Whether faults of these parts, ascending, may explain the runs: fewer parts than the fewest cannot, as many only if they are one
    /// of the sets; of more nothing is known.
    fn may_explain(&self, parts: &[usize]) -> bool {
        match parts.len() {
            n if n < self.size => false,
            n if n == self.size => self.sets.contains(parts),
            _ => true,
        }
    }
}

struct Search<'m> {
    machine: &'m Machine,
    runs: &'m [Sequence],
    found: Vec<Vec<Fault>>,
    waiting: Vec<Vec<Fault>>,
    tried: usize,
}

impl Search<'_> {
    fn end(self, complete: bool) -> StrongSets {
        StrongSets {
            sets: self.found,
            complete,
            tried: self.tried,
        }
    }

    /// True if a batch was just tried.
    fn add(&mut self, set: Vec<Fault>) -> bool {
        self.waiting.push(set);
        let full = self.waiting.len() == 64;
        if full {
            self.flush();
        }
        full
    }

    fn flush(&mut self) {
        self.tried += self.waiting.len();
        let mut good = if self.waiting.len() == 64 {
            !0
        } else {
            (1u64 << self.waiting.len()) - 1
        };
        for run in self.runs {
            if good == 0 {
                break;
            }
            good &= explained(self.machine, run, &self.waiting, good);
        }
        for (case, set) in self.waiting.drain(..).enumerate() {
            if good >> case & 1 == 1 {
                self.found.push(set);
            }
        }
    }
}

/// Of up to 64 sets of faults those under which a run shows what was seen.
fn explained(machine: &Machine, run: &Sequence, sets: &[Vec<Fault>], wanted: u64) -> u64 {
    let mut good = wanted;
    let mut stepper = Stepper::new(machine);
    for (case, set) in sets.iter().enumerate() {
        set.iter().for_each(|f| stepper.put(case, f));
    }
    for row in &run.rows {
        stepper.begin();
        row.inputs
            .iter()
            .for_each(|(net, level)| stepper.set(*net, *level));
        stepper.settle();
        for (net, level) in &row.seen {
            let word = stepper.word(*net);
            good &= !if *level { word.zero } else { word.one };
        }
        if good == 0 {
            return 0;
        }
        stepper.pulse();
    }
    // A machine that swings for ever shows no level that could be held against it.
    good & !stepper.unsettled()
}
