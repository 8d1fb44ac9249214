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
    /// Sets that would be left if it shows 0, and if it shows 1.
    pub left: [usize; 2],
}

/// Nets of the sheet that tell the given sets of faults apart, best first: at most `most`, each net at its best step.
///
/// Each set is as likely as any other. A set under which the level is not known counts half for each.
pub fn probes(
    machine: &Machine,
    runs: &[Sequence],
    sets: &[Vec<Fault>],
    most: usize,
) -> Vec<Probe> {
    let mut best: Vec<Option<Probe>> = vec![None; machine.sheet_nets.len()];
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
            for (place, net) in machine.sheet_nets.iter().enumerate() {
                if row.seen.iter().any(|(n, _)| n == net) {
                    continue;
                }
                let mut counts = [0usize; 3];
                for (stepper, cases) in &steppers {
                    for case in 0..*cases {
                        counts[match stepper.level(*net, case) {
                            Level::Known(level) => usize::from(level),
                            Level::Unknown => 2,
                        }] += 1;
                    }
                }
                let bits = information(counts);
                if bits > 1e-9 && best[place].as_ref().is_none_or(|b| bits > b.bits + 1e-9) {
                    let left = [counts[0] + counts[2], counts[1] + counts[2]];
                    best[place] = Some(Probe {
                        run: at,
                        row: index,
                        net: *net,
                        bits,
                        left,
                    });
                }
            }
            steppers.iter_mut().for_each(|(s, _)| s.pulse());
        }
    }
    let mut list: Vec<Probe> = best.into_iter().flatten().collect();
    list.sort_by(|a, b| b.bits.total_cmp(&a.bits).then(a.net.cmp(&b.net)));
    list.truncate(most);
    list
}

/// Entropy of the outcome less what stays open where a set does not say (de Kleer and Williams, Artificial Intelligence 32, 1987).
fn information(counts: [usize; 3]) -> f64 {
    let all = counts.iter().sum::<usize>() as f64;
    if all == 0.0 {
        return 0.0;
    }
    let open = counts[2] as f64 / all;
    let one = (counts[1] as f64 + counts[2] as f64 / 2.0) / all;
    let entropy: f64 = [one, 1.0 - one]
        .iter()
        .filter(|p| **p > 0.0)
        .map(|p| -p * p.log2())
        .sum();
    (entropy - open).max(0.0)
}
