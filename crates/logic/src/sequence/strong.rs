//! Which named faults, alone or in pairs, give exactly what was seen: tried one by one, 64 at a time.

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
    /// Pairs that were tried.
    pub tried: usize,
}

/// Faults that explain all runs: single ones first, pairs if no single one does, until `stop` says so.
///
/// A net whose level is unknown in the faulty machine agrees with whatever was seen.
pub fn strong(machine: &Machine, runs: &[Sequence], stop: &dyn Fn() -> bool) -> StrongSets {
    let all = possible(machine);
    let singles = std::iter::once(Vec::new()).chain(all.iter().map(|f| vec![*f]));
    let mut found = StrongSets::default();
    let mut search = Search {
        machine,
        runs,
        found: Vec::new(),
        waiting: Vec::new(),
        tried: 0,
    };
    for set in singles {
        if search.add(set) && stop() {
            return StrongSets {
                sets: search.found,
                complete: false,
                tried: search.tried,
            };
        }
    }
    search.flush();
    if search.found.first().is_some_and(Vec::is_empty) {
        search.found.truncate(1);
    }
    if search.found.is_empty() {
        for (at, a) in all.iter().enumerate() {
            for b in &all[at + 1..] {
                if search.add(vec![*a, *b]) && stop() {
                    return StrongSets {
                        sets: search.found,
                        complete: false,
                        tried: search.tried,
                    };
                }
            }
        }
        search.flush();
    }
    found.sets = search.found;
    found.complete = true;
    found.tried = search.tried;
    found
}

struct Search<'m> {
    machine: &'m Machine,
    runs: &'m [Sequence],
    found: Vec<Vec<Fault>>,
    waiting: Vec<Vec<Fault>>,
    tried: usize,
}

impl Search<'_> {
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
