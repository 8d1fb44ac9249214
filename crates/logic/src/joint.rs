//! The fewest replaceable parts that explain several observations together, with gates grouped into parts and inputs perhaps unknown.

use std::collections::BTreeMap;

use cover::{Fewest, Formula, Literal, Outcome};

use crate::diagnose::{Basis, Diagnosis, GateId};
use crate::network::{Function, NetId, Network};
use crate::observation::Observation;
use crate::simulate::Simulator;

/// Gates that are replaced as one, such as those of one package.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unit {
    /// Positions in [`Network::gates`].
    pub gates: Vec<usize>,
}

/// One observation in clauses: the level of each net, and for each gate whether it errs.
struct Sheet {
    levels: Vec<Option<Literal>>,
    errs: Vec<Option<Literal>>,
}

/// Says whether a set stands up, given the level of each net in each observation; none where it does not matter.
pub(crate) type Certify<'c> =
    &'c mut dyn FnMut(&[usize], &dyn Fn(usize, NetId) -> Option<bool>) -> bool;

/// A prepared search over units.
struct Joint<'n, 's> {
    network: &'n Network,
    observations: &'n [Observation],
    unit_of: Vec<Option<usize>>,
    sheets: Vec<Sheet>,
    search: Fewest<'s>,
}

impl<'n, 's> Joint<'n, 's> {
    fn new(
        network: &'n Network,
        observations: &'n [Observation],
        units: &[Unit],
        stop: &'s dyn Fn() -> bool,
    ) -> Self {
        let mut formula = Formula::new(stop);
        let faulty: Vec<Literal> = units.iter().map(|_| formula.variable()).collect();
        let mut unit_of: Vec<Option<usize>> = vec![None; network.gates().len()];
        for (index, unit) in units.iter().enumerate() {
            unit.gates.iter().for_each(|g| unit_of[*g] = Some(index));
        }
        let sheets = observations
            .iter()
            .map(|o| encode(&mut formula, network, o, &unit_of, &faulty))
            .collect();
        let weighted: Vec<(Literal, u64)> = faulty.iter().map(|l| (*l, 1)).collect();
        Self {
            network,
            observations,
            unit_of,
            sheets,
            search: Fewest::new(formula, &weighted),
        }
    }

    /// Replays the model at hand and keeps or refuses its set; then forbids the set and all that hold it.
    fn take(&mut self, set: &[usize], certify: Certify<'_>, diagnosis: &mut Diagnosis) {
        let formula = &self.search.formula;
        let level = |observation: usize, net: NetId| {
            let literal = self.sheets[observation].levels[net.index()]?;
            Some(formula.is_true(literal))
        };
        let replayed = certify(set, &level)
            && self
                .observations
                .iter()
                .zip(&self.sheets)
                .all(|(observation, sheet)| {
                    let member = |gate: usize| self.unit_of[gate].is_some_and(|u| set.contains(&u));
                    replay(
                        self.network,
                        observation,
                        sheet,
                        &self.search.formula,
                        member,
                    )
                });
        if replayed {
            diagnosis
                .sets
                .push(set.iter().map(|i| GateId(*i as u32)).collect());
        } else {
            diagnosis.refused += 1;
        }
        self.search.block(set);
    }
}

/// Finds all smallest sets of units that explain every observation; [`Diagnosis::sets`] then holds positions in `units`.
///
/// A unit in the set may err in any way and differently in each observation; a gate in no unit never errs. Every set is replayed with
/// the errors and unknown inputs that the search found for it.
pub fn diagnose_units(
    network: &Network,
    observations: &[Observation],
    units: &[Unit],
    stop: &dyn Fn() -> bool,
) -> Diagnosis {
    diagnose_certified(network, observations, units, stop, &mut |_, _| true)
}

/// As [`diagnose_units`], with a second opinion on each set.
pub(crate) fn diagnose_certified(
    network: &Network,
    observations: &[Observation],
    units: &[Unit],
    stop: &dyn Fn() -> bool,
    certify: Certify<'_>,
) -> Diagnosis {
    let mut joint = Joint::new(network, observations, units, stop);
    let size = match joint.search.minimum(&mut |_| {}) {
        Outcome::Proven(size) => size as usize,
        Outcome::Impossible => {
            return Diagnosis {
                complete: true,
                ..Diagnosis::default()
            };
        }
        Outcome::AtLeast(_) => return Diagnosis::default(),
    };
    let mut diagnosis = Diagnosis {
        size: Some(size),
        ..Diagnosis::default()
    };
    loop {
        match joint.search.another() {
            Ok(Some(set)) => joint.take(&set, certify, &mut diagnosis),
            Ok(None) => {
                diagnosis.complete = diagnosis.refused == 0;
                break;
            }
            Err(_) => break,
        }
    }
    diagnosis.sets.sort_unstable();
    diagnosis.shares = shares(&diagnosis.sets);
    diagnosis.family = diagnosis.complete.then_some(diagnosis.sets.len() as f64);
    if diagnosis.complete {
        diagnosis.basis = Basis::Counted;
    }
    diagnosis
}

/// Finds every set of at most `most` units that explains all observations and of which no part does, smaller ones first.
///
/// As [`diagnose_units`] otherwise; [`Diagnosis::complete`] then speaks of all sizes up to `most`.
pub fn minimal_units(
    network: &Network,
    observations: &[Observation],
    units: &[Unit],
    most: usize,
    stop: &dyn Fn() -> bool,
) -> Diagnosis {
    let mut joint = Joint::new(network, observations, units, stop);
    let mut diagnosis = Diagnosis::default();
    loop {
        let mut last = Vec::new();
        match joint.search.minimum(&mut |model| last = model.to_vec()) {
            Outcome::Proven(size) if size as usize <= most => {
                diagnosis.size.get_or_insert(size as usize);
                joint.take(&last, &mut |_, _| true, &mut diagnosis);
            }
            Outcome::Proven(_) | Outcome::Impossible => {
                diagnosis.complete = diagnosis.refused == 0;
                break;
            }
            Outcome::AtLeast(least) => {
                diagnosis.complete = least as usize > most && diagnosis.refused == 0;
                break;
            }
        }
    }
    diagnosis
        .sets
        .sort_by(|a, b| a.len().cmp(&b.len()).then_with(|| a.cmp(b)));
    diagnosis.shares = shares(&diagnosis.sets);
    diagnosis.family = diagnosis.complete.then_some(diagnosis.sets.len() as f64);
    if diagnosis.complete {
        diagnosis.basis = Basis::Counted;
    }
    diagnosis
}

fn shares(sets: &[Vec<GateId>]) -> Vec<(GateId, f64)> {
    let mut held: BTreeMap<GateId, usize> = BTreeMap::new();
    sets.iter()
        .flatten()
        .for_each(|unit| *held.entry(*unit).or_insert(0) += 1);
    let mut shares: Vec<(GateId, f64)> = held
        .into_iter()
        .map(|(u, n)| (u, n as f64 / sets.len() as f64))
        .collect();
    shares.sort_by(|a, b| b.1.total_cmp(&a.1));
    shares
}

fn encode(
    formula: &mut Formula<'_>,
    network: &Network,
    observation: &Observation,
    unit_of: &[Option<usize>],
    faulty: &[Literal],
) -> Sheet {
    let gates = network.gates();
    let mut needed = vec![false; gates.len()];
    observation
        .levels
        .iter()
        .filter_map(|(net, _)| network.driver(*net))
        .for_each(|g| needed[g] = true);
    for index in (0..gates.len()).rev() {
        if needed[index] {
            gates[index]
                .inputs
                .iter()
                .filter_map(|n| network.driver(*n))
                .for_each(|g| needed[g] = true);
        }
    }
    let mut levels: Vec<Option<Literal>> = vec![None; network.nets().len()];
    let mut errs = vec![None; gates.len()];
    for (net, level) in &observation.levels {
        levels[net.index()] = Some(if *level {
            formula.truth()
        } else {
            !formula.truth()
        });
    }
    for (index, gate) in gates.iter().enumerate().filter(|(i, _)| needed[*i]) {
        let mut inputs = Vec::with_capacity(gate.inputs.len());
        for net in &gate.inputs {
            let level = *levels[net.index()].get_or_insert_with(|| formula.variable());
            inputs.push(level);
        }
        let follows = function(formula, gate.function, &inputs);
        let seen = observation
            .level(gate.output)
            .map(|l| if l { formula.truth() } else { !formula.truth() });
        match (unit_of[index], seen) {
            (Some(unit), Some(seen)) => {
                let err = formula.differ(follows, seen);
                formula.clause(&[!err, faulty[unit]]);
                errs[index] = Some(err);
            }
            (Some(unit), None) => {
                let err = formula.variable();
                formula.clause(&[!err, faulty[unit]]);
                errs[index] = Some(err);
                levels[gate.output.index()] = Some(formula.differ(follows, err));
            }
            (None, Some(seen)) => {
                let err = formula.differ(follows, seen);
                formula.clause(&[!err]);
            }
            (None, None) => levels[gate.output.index()] = Some(follows),
        }
    }
    Sheet { levels, errs }
}

fn function(formula: &mut Formula<'_>, function: Function, inputs: &[Literal]) -> Literal {
    let none = !formula.truth();
    match function {
        Function::And => formula.all(inputs),
        Function::Nand => !formula.all(inputs),
        Function::Or => formula.any(inputs),
        Function::Nor => !formula.any(inputs),
        Function::Xor | Function::Buf => inputs.iter().fold(none, |a, b| formula.differ(a, *b)),
        Function::Xnor | Function::Not => !inputs.iter().fold(none, |a, b| formula.differ(a, *b)),
        Function::Low => none,
        Function::High => !none,
    }
}

/// Simulates one observation with the errors of the model at hand; true if it shows the levels seen and only members of the set err.
fn replay(
    network: &Network,
    observation: &Observation,
    sheet: &Sheet,
    formula: &Formula<'_>,
    member: impl Fn(usize) -> bool,
) -> bool {
    let mut simulator = Simulator::new(network);
    for net in network.inputs() {
        let level = match observation.level(net) {
            Some(level) => level,
            None => sheet.levels[net.index()].is_some_and(|l| formula.is_true(l)),
        };
        simulator.set(net, level);
    }
    for (index, err) in sheet.errs.iter().enumerate() {
        if err.is_some_and(|e| formula.is_true(e)) {
            if !member(index) {
                return false;
            }
            simulator.turn(index, 0);
        }
    }
    simulator.run();
    observation
        .levels
        .iter()
        .all(|(net, level)| simulator.level(*net, 0) == *level)
}
