//! Steps a machine, 64 cases at a time, each level 0, 1 or unknown.
//!
//! Between two changes the gates settle without delay; then every element takes its next state at once, and the gates settle again, until
//! nothing changes. Ripple counters and latches of gates come right that way; races that real delays decide do not show.

use super::fault::Fault;
use super::record::Sequence;
use crate::gates::{Machine, StoreKind};
use crate::network::{Function, NetId};

/// A level in 64 cases; neither bit: unknown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Level64 {
    pub(crate) one: u64,
    pub(crate) zero: u64,
}

impl Level64 {
    pub(crate) fn all(level: Option<bool>) -> Self {
        match level {
            None => Self::default(),
            Some(true) => Self { one: !0, zero: 0 },
            Some(false) => Self { one: 0, zero: !0 },
        }
    }

    fn not(self) -> Self {
        Self {
            one: self.zero,
            zero: self.one,
        }
    }

    fn and(self, other: Self) -> Self {
        Self {
            one: self.one & other.one,
            zero: self.zero | other.zero,
        }
    }

    fn or(self, other: Self) -> Self {
        self.not().and(other.not()).not()
    }

    fn xor(self, other: Self) -> Self {
        Self {
            one: self.one & other.zero | self.zero & other.one,
            zero: self.one & other.one | self.zero & other.zero,
        }
    }

    /// `yes` where the condition is 1, `no` where it is 0, what both agree on where it is unknown.
    fn choose(self, yes: Self, no: Self) -> Self {
        Self {
            one: self.one & yes.one | self.zero & no.one | yes.one & no.one,
            zero: self.one & yes.zero | self.zero & no.zero | yes.zero & no.zero,
        }
    }
}

/// A level in one case.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Level {
    /// 0 or 1.
    Known(bool),
    /// Not determined by what is known of the start.
    Unknown,
}

/// Rounds after which a machine is said not to settle, beyond a few for each element.
const ROUNDS: usize = 64;

struct Bridge {
    gates: [usize; 2],
    cases: u64,
}

/// A gate that is late by a row in some cases.
#[derive(Default)]
struct Late {
    cases: u64,
    /// What it should give.
    due: Level64,
    /// What it gives: the level that was due in the row before. Nothing before the second row.
    given: Option<Level64>,
}

impl Late {
    fn give(&mut self, level: Level64) -> Level64 {
        self.due = level;
        let Some(given) = self.given else {
            return level;
        };
        Level64 {
            one: level.one & !self.cases | given.one & self.cases,
            zero: level.zero & !self.cases | given.zero & self.cases,
        }
    }
}

/// A machine in motion.
pub struct Stepper<'m> {
    machine: &'m Machine,
    levels: Vec<Level64>,
    clocks: Vec<Level64>,
    data: Vec<Level64>,
    is_new: bool,
    /// For each gate the cases in which it is held at 1 and at 0.
    held: Vec<(u64, u64)>,
    /// For each gate the cases in which nothing is known of its output.
    unknown: Vec<u64>,
    bridges: Vec<Bridge>,
    late: Vec<Late>,
    late_at: Vec<Option<usize>>,
    /// Cases in which it did not settle.
    unsettled: u64,
}

impl<'m> Stepper<'m> {
    /// At power-up: states as the sheet's start says, everything else unknown, the clock low.
    pub fn new(machine: &'m Machine) -> Self {
        let unknown = Level64::default();
        let mut stepper = Self {
            machine,
            levels: vec![unknown; machine.network.nets().len()],
            clocks: vec![unknown; machine.stores.len()],
            data: vec![unknown; machine.stores.len()],
            is_new: true,
            held: vec![(0, 0); machine.network.gates().len()],
            unknown: vec![0; machine.network.gates().len()],
            bridges: Vec::new(),
            late: Vec::new(),
            late_at: vec![None; machine.network.gates().len()],
            unsettled: 0,
        };
        for (store, level) in &machine.start {
            stepper.set(machine.stores[*store].state, Some(*level));
        }
        if let Some(clock) = machine.clock {
            stepper.set(clock, Some(false));
        }
        stepper
    }

    /// Puts a fault into one case, below 64.
    pub fn put(&mut self, case: usize, fault: &Fault) {
        let bit = 1u64 << case;
        match fault {
            Fault::Stuck { pin, level } => self.hold(self.machine.pins[*pin].gate, bit, *level),
            Fault::Open { pin } => {
                let pin = &self.machine.pins[*pin];
                self.hold(pin.gate, bit, pin.open);
            }
            Fault::Slow { pin } => {
                let gate = self.machine.pins[*pin].gate;
                let at = *self.late_at[gate].get_or_insert(self.late.len());
                if at == self.late.len() {
                    self.late.push(Late::default());
                }
                self.late[at].cases |= bit;
            }
            Fault::Any { part } => {
                let outputs = self
                    .machine
                    .pins
                    .iter()
                    .filter(|p| p.part == *part && p.is_output);
                outputs.for_each(|p| self.unknown[p.gate] |= bit);
            }
            Fault::Bridge { nets } => {
                let gates = nets.map(|n| self.machine.network.driver(n));
                if let [Some(a), Some(b)] = gates {
                    match self.bridges.iter_mut().find(|x| x.gates == [a, b]) {
                        Some(known) => known.cases |= bit,
                        None => self.bridges.push(Bridge {
                            gates: [a, b],
                            cases: bit,
                        }),
                    }
                }
            }
        }
    }

    /// Holds a gate's output at a level in some cases.
    pub(crate) fn hold(&mut self, gate: usize, cases: u64, level: bool) {
        let (one, zero) = &mut self.held[gate];
        if level {
            *one |= cases;
            *zero &= !cases;
        } else {
            *zero |= cases;
            *one &= !cases;
        }
    }

    pub(crate) fn let_go(&mut self) {
        self.held.fill((0, 0));
    }

    /// Sets a net that no gate drives, in all cases; `None` makes it unknown.
    pub fn set(&mut self, net: NetId, level: Option<bool>) {
        self.levels[net.index()] = Level64::all(level);
    }

    /// The level of a net in one case.
    pub fn level(&self, net: NetId, case: usize) -> Level {
        let word = self.levels[net.index()];
        match (word.one >> case & 1, word.zero >> case & 1) {
            (1, _) => Level::Known(true),
            (_, 1) => Level::Known(false),
            _ => Level::Unknown,
        }
    }

    pub(crate) fn word(&self, net: NetId) -> Level64 {
        self.levels[net.index()]
    }

    /// Cases in which the machine did not settle since it was made.
    pub fn unsettled(&self) -> u64 {
        self.unsettled
    }

    /// One-shots of the last step fall back.
    pub(crate) fn begin(&mut self) {
        for store in self
            .machine
            .stores
            .iter()
            .filter(|s| s.kind == StoreKind::Pulse)
        {
            self.levels[store.state.index()] = Level64::all(Some(false));
        }
    }

    /// Gates settle and elements take their next state; the cases in which a state changed.
    pub(crate) fn round(&mut self) -> u64 {
        self.gates();
        let mut changed = 0;
        let mut next = Vec::with_capacity(self.machine.stores.len());
        for (at, store) in self.machine.stores.iter().enumerate() {
            let of = |net: NetId| self.levels[net.index()];
            let (clock, now) = (of(store.clock), of(store.state));
            if self.is_new {
                self.clocks[at] = clock;
                self.data[at] = of(store.data);
            }
            let rose = self.clocks[at].not().and(clock);
            let taken = match store.kind {
                StoreKind::Edge => rose.choose(self.data[at], now),
                StoreKind::Latch => clock.choose(of(store.data), now),
                StoreKind::Pulse => rose.choose(Level64::all(Some(true)), now),
            };
            let high = Level64::all(Some(true));
            let reset = of(store.reset).choose(high.not(), taken);
            next.push(of(store.set).choose(high, reset));
            self.clocks[at] = clock;
            self.data[at] = of(store.data);
        }
        self.is_new = false;
        for (store, level) in self.machine.stores.iter().zip(next) {
            let old = &mut self.levels[store.state.index()];
            changed |= (old.one ^ level.one) | (old.zero ^ level.zero);
            *old = level;
        }
        changed
    }

    /// Rounds until nothing changes.
    pub fn settle(&mut self) {
        let most = ROUNDS + 2 * self.machine.stores.len();
        let mut changed = !0;
        for _ in 0..most {
            changed = self.round();
            if changed == 0 {
                return;
            }
        }
        self.unsettled |= changed;
    }

    /// The end of a row: one pulse of the sheet's clock, if it has one; slow outputs keep their level throughout.
    pub fn pulse(&mut self) {
        let due: Vec<Level64> = self.late.iter().map(|l| l.due).collect();
        for late in &mut self.late {
            late.given.get_or_insert(late.due);
        }
        self.pulse_clock();
        for (late, due) in self.late.iter_mut().zip(due) {
            late.given = Some(due);
        }
    }

    fn pulse_clock(&mut self) {
        if let Some(clock) = self.machine.clock {
            self.set(clock, Some(true));
            self.settle();
            self.set(clock, Some(false));
            self.settle();
        }
    }

    fn gates(&mut self) {
        // A bridge feeds back over at most every gate between its nets; each pass brings the other net's level one way further.
        let passes = if self.bridges.is_empty() { 1 } else { 8 };
        for _ in 0..passes {
            let before: Vec<[Level64; 2]> = self
                .bridges
                .iter()
                .map(|b| b.gates.map(|g| self.output(g)))
                .collect();
            let mut driven = vec![[Level64::default(); 2]; self.bridges.len()];
            for at in 0..self.held.len() {
                let mut level = self.function(at);
                if let Some(late) = self.late_at[at] {
                    level = self.late[late].give(level);
                }
                let (one, zero) = self.held[at];
                level.one = (level.one & !zero | one) & !self.unknown[at];
                level.zero = (level.zero & !one | zero) & !self.unknown[at];
                for (bridge, driven) in self.bridges.iter().zip(&mut driven) {
                    if let Some(side) = bridge.gates.iter().position(|g| *g == at) {
                        driven[side] = level;
                    }
                }
                let output = self.machine.network.gates()[at].output;
                if self.bridges.iter().all(|b| !b.gates.contains(&at)) {
                    self.levels[output.index()] = level;
                } else {
                    self.keep_unbridged(at, level);
                }
            }
            for (at, sides) in driven.iter().enumerate() {
                self.join(at, sides[0], sides[1]);
            }
            let after: Vec<[Level64; 2]> = self
                .bridges
                .iter()
                .map(|b| b.gates.map(|g| self.output(g)))
                .collect();
            if before == after {
                break;
            }
        }
    }

    /// The net follows its gate where no bridge holds it.
    fn keep_unbridged(&mut self, gate: usize, level: Level64) {
        let cases = self
            .bridges
            .iter()
            .filter(|b| b.gates.contains(&gate))
            .fold(0, |all, b| all | b.cases);
        let output = self.machine.network.gates()[gate].output;
        let old = &mut self.levels[output.index()];
        old.one = old.one & cases | level.one & !cases;
        old.zero = old.zero & cases | level.zero & !cases;
    }

    /// Both nets of a bridge take the lower voltage of the two, as saturating outputs that pull to ground make it.
    fn join(&mut self, bridge: usize, a: Level64, b: Level64) {
        let Bridge { gates, cases } = self.bridges[bridge];
        let joined = if self.machine.levels.is_positive() {
            a.and(b)
        } else {
            a.or(b)
        };
        for gate in gates {
            let output = self.machine.network.gates()[gate].output;
            let old = &mut self.levels[output.index()];
            old.one = old.one & !cases | joined.one & cases;
            old.zero = old.zero & !cases | joined.zero & cases;
        }
    }

    fn output(&self, gate: usize) -> Level64 {
        self.levels[self.machine.network.gates()[gate].output.index()]
    }

    fn function(&self, at: usize) -> Level64 {
        let gate = &self.machine.network.gates()[at];
        let mut inputs = gate.inputs.iter().map(|n| self.levels[n.index()]);
        let high = Level64::all(Some(true));
        match gate.function {
            Function::And => inputs.fold(high, Level64::and),
            Function::Nand => inputs.fold(high, Level64::and).not(),
            Function::Or => inputs.fold(high.not(), Level64::or),
            Function::Nor => inputs.fold(high.not(), Level64::or).not(),
            Function::Xor => inputs.fold(high.not(), Level64::xor),
            Function::Xnor => inputs.fold(high.not(), Level64::xor).not(),
            Function::Buf => inputs.next().unwrap_or_default(),
            Function::Not => inputs.next().unwrap_or_default().not(),
            Function::Low => high.not(),
            Function::High => high,
        }
    }
}

/// A machine run through a sequence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Run {
    /// For each row the level of every net of the sheet, in the order of `sheet_nets`, before the clock's pulse.
    pub rows: Vec<Vec<Level>>,
    /// Whether it settled throughout.
    pub is_settled: bool,
}

/// Runs a machine through the inputs of a sequence, with faults or without.
pub fn run(machine: &Machine, sequence: &Sequence, faults: &[Fault]) -> Run {
    let mut stepper = Stepper::new(machine);
    faults.iter().for_each(|f| stepper.put(0, f));
    let mut rows = Vec::new();
    for row in &sequence.rows {
        stepper.begin();
        row.inputs
            .iter()
            .for_each(|(net, level)| stepper.set(*net, *level));
        stepper.settle();
        rows.push(
            machine
                .sheet_nets
                .iter()
                .map(|n| stepper.level(*n, 0))
                .collect(),
        );
        stepper.pulse();
    }
    Run {
        rows,
        is_settled: stepper.unsettled() & 1 == 0,
    }
}
