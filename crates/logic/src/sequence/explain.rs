//! The fewest parts that explain recorded sequences, each set replayed in the machine itself.

use super::record::Sequence;
use super::step::{Level, Stepper};
use super::unroll::{Node, Unrolled, unroll};
use crate::gates::Machine;
use crate::joint::{Certify, diagnose_certified};
use crate::network::NetId;

/// What a part at fault may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Model {
    /// Anything, and at each step anything else: faults that come and go, too.
    Weak,
    /// One of the named faults, all the time.
    Strong,
}

/// What explains sequences under the weak model.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Explained {
    /// Size of the smallest sets; `None` if not proved, or if nothing explains what was seen.
    pub size: Option<usize>,
    /// The sets, as positions in [`Machine::parts`].
    pub sets: Vec<Vec<usize>>,
    /// No other set of that size exists.
    pub complete: bool,
    /// Sets that were found and did not stand up to replay: a fault of the program if not zero.
    pub refused: usize,
    /// Parts with the share of the sets that hold them, most frequent first.
    pub shares: Vec<(usize, f64)>,
    /// The first row of a run that contradicts the healthy machine: run, row, and the nets.
    pub first: Option<Contradiction>,
    /// Changes may ripple further than was followed; then a set may be missing.
    pub is_cut_short: bool,
}

/// Where a recorded sequence first leaves the sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Contradiction {
    /// Position of the run.
    pub run: usize,
    /// Position of the row in it.
    pub row: usize,
    /// Nets that show what they should not, with the level seen.
    pub nets: Vec<(NetId, bool)>,
}

/// The first row of any run at which a net shows a level that the healthy machine does not, unknown levels agreeing with anything.
pub fn first_contradiction(machine: &Machine, runs: &[Sequence]) -> Option<Contradiction> {
    let mut first: Option<Contradiction> = None;
    for (at, run) in runs.iter().enumerate() {
        let mut stepper = Stepper::new(machine);
        for (index, row) in run.rows.iter().enumerate() {
            stepper.begin();
            row.inputs
                .iter()
                .for_each(|(net, level)| stepper.set(*net, *level));
            stepper.settle();
            let differs =
                |(net, level): &&(NetId, bool)| stepper.level(*net, 0) == Level::Known(!level);
            let nets: Vec<(NetId, bool)> = row.seen.iter().filter(differs).copied().collect();
            if !nets.is_empty() {
                if first.as_ref().is_none_or(|f| index < f.row) {
                    first = Some(Contradiction {
                        run: at,
                        row: index,
                        nets,
                    });
                }
                break;
            }
            stepper.pulse();
        }
    }
    first
}

/// All smallest sets of parts that explain all runs together; a part may err at each step in any way.
pub fn explain(machine: &Machine, runs: &[Sequence], stop: &dyn Fn() -> bool) -> Explained {
    let unrolled = unroll(machine, runs);
    let observations = std::slice::from_ref(&unrolled.observation);
    let mut certify = |set: &[usize], level: &dyn Fn(usize, NetId) -> Option<bool>| {
        replay(machine, runs, &unrolled, set, &|net| level(0, net))
    };
    let certify: Certify<'_> = &mut certify;
    let found = diagnose_certified(
        &unrolled.network,
        observations,
        &unrolled.units,
        stop,
        certify,
    );
    Explained {
        size: found.size,
        sets: found
            .sets
            .iter()
            .map(|s| s.iter().map(|g| g.index()).collect())
            .collect(),
        complete: found.complete,
        refused: found.refused,
        shares: found
            .shares
            .iter()
            .map(|(g, share)| (g.index(), *share))
            .collect(),
        first: first_contradiction(machine, runs),
        is_cut_short: unrolled.is_cut_short,
    }
}

/// Runs the machine itself with the parts of a set giving what the search says they gave; true if everything seen comes out.
fn replay(
    machine: &Machine,
    runs: &[Sequence],
    unrolled: &Unrolled,
    set: &[usize],
    level: &dyn Fn(NetId) -> Option<bool>,
) -> bool {
    let of = |node: Node| match node {
        Node::Fixed(level) => Some(level),
        Node::Net(net) => level(net),
    };
    let members: Vec<usize> = machine
        .pins
        .iter()
        .filter(|p| p.is_output && set.contains(&p.part))
        .map(|p| p.gate)
        .collect();
    for (run, written) in runs.iter().zip(&unrolled.written) {
        let mut stepper = Stepper::new(machine);
        for net in machine.network.inputs() {
            stepper.set(net, of(written.start[net.index()]));
        }
        for round in &written.rounds {
            if round.begins {
                stepper.begin();
            }
            round
                .set
                .iter()
                .for_each(|(net, node)| stepper.set(*net, of(*node)));
            stepper.let_go();
            for gate in &members {
                let output = machine.network.gates()[*gate].output;
                if let Some(level) = of(round.nodes[output.index()]) {
                    stepper.hold(*gate, 1, level);
                }
            }
            stepper.round();
            let Some(row) = round.seen_row else { continue };
            if run.rows[row]
                .seen
                .iter()
                .any(|(net, level)| stepper.level(*net, 0) != Level::Known(*level))
            {
                return false;
            }
        }
    }
    true
}
