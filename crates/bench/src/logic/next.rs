//! Where to look next, or what to put on next, when what explains the levels is known.

use ::logic::{
    Explained, Fault, NetId, Probe, Stimulus, StrongSets, choices, diagnose, explain,
    parse_netlist, parse_observations, probes, stimuli, strong_among, vectors,
};
use serde::Serialize;

use super::gates::{GateCase, GateResult};
use super::{complaints, nothing_in};
use crate::loading::Text;
use crate::refused::Refused;

/// Sets of parts or faults that are weighed; of more, so many of the first. Other inputs are weighed with fewer, as each is a run of its own.
const WEIGHED: usize = 2048;
const WEIGHED_RUNS: usize = 512;
/// Nets that are proposed, and other inputs.
const PROPOSED: usize = 8;
const PROPOSED_INPUTS: usize = 3;
/// Minutes for a look at a net, for a row of other inputs, and for a run from power-up with other inputs, all outputs seen: our own
/// guesses, as good as a bench clip and a row of switches make them.
const LOOK: f64 = 1.0;
const ROW: f64 = 2.0;
const RUN: f64 = 4.0;

/// Where to look next.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct NextView {
    /// Why there is nothing to look at; `None` if there is.
    pub stop: Option<String>,
    /// Sets that are weighed.
    pub sets: usize,
    /// Nets, best first.
    pub candidates: Vec<NextNet>,
    /// Other inputs, best first.
    pub inputs: Vec<NextInputs>,
}

impl NextView {
    /// Whether the best other inputs tell more for their time than the best net does.
    pub fn inputs_first(&self) -> bool {
        let worth = |bits: f64, minutes: f64| bits / minutes;
        let net = self
            .candidates
            .first()
            .map_or(0.0, |c| worth(c.bits, c.minutes));
        self.inputs
            .first()
            .is_some_and(|i| worth(i.bits, i.minutes) > net)
    }
}

/// A net to look at.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NextNet {
    /// The net.
    pub net: String,
    /// The run.
    pub run: String,
    /// The row, counted from 1.
    pub row: usize,
    /// What its level tells, in bits.
    pub bits: f64,
    /// The same with the best net after it, if two looks were weighed; else as `bits`.
    pub bits_of_two: f64,
    /// What it takes, in minutes, as a guess.
    pub minutes: f64,
    /// Sets left if it shows 0, and if it shows 1.
    pub left: [usize; 2],
    /// Pins on the net, where a probe can touch it.
    pub pins: Vec<String>,
}

/// Inputs to put on, and outputs to look at.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NextInputs {
    /// The run that is repeated, or the observation whose inputs are changed.
    pub run: String,
    /// The row in which they differ, counted from 1.
    pub row: usize,
    /// Inputs with their new levels, such as `START = 0`; all others as before.
    pub changes: Vec<String>,
    /// What all outputs together tell, in bits.
    pub bits: f64,
    /// What it takes, in minutes, as a guess.
    pub minutes: f64,
    /// Outputs that tell, each with the row from which it may.
    pub watch: Vec<String>,
    /// Sets left at most.
    pub most_left: usize,
}

impl GateCase {
    /// Nets and inputs that tell most of what explains all runs together.
    pub fn next(&self, stop: &dyn Fn() -> bool) -> NextView {
        let weak = explain(&self.machine, &self.runs, stop);
        let named = strong_among(&self.machine, &self.runs, &weak, stop);
        self.next_of(&weak, &named, stop)
    }

    /// What explains all runs together, and what to look at next; each is worked out once.
    pub fn diagnose_and_next(&self, stop: &dyn Fn() -> bool) -> (GateResult, NextView) {
        let weak = explain(&self.machine, &self.runs, stop);
        let named = strong_among(&self.machine, &self.runs, &weak, stop);
        let next = self.next_of(&weak, &named, stop);
        (self.result(None, &weak, &named), next)
    }

    fn next_of(&self, weak: &Explained, named: &StrongSets, stop: &dyn Fn() -> bool) -> NextView {
        let sets = self.weighed_sets(weak, named);
        if sets.is_empty() || sets == [vec![]] {
            let why = if sets.is_empty() {
                "Nothing on this sheet explains what was seen; the sheet or a reading is wrong."
            } else {
                "Every level seen is as it should be."
            };
            return NextView {
                stop: Some(why.to_owned()),
                sets: sets.len(),
                ..NextView::default()
            };
        }
        let some = &sets[..sets.len().min(WEIGHED)];
        let candidates: Vec<NextNet> = probes(&self.machine, &self.runs, some, PROPOSED)
            .into_iter()
            .map(|p| self.net(&p))
            .collect();
        let some = &sets[..sets.len().min(WEIGHED_RUNS)];
        let inputs: Vec<NextInputs> =
            stimuli(&self.machine, &self.runs, some, PROPOSED_INPUTS, stop)
                .into_iter()
                .map(|s| self.inputs(&s))
                .collect();
        let why = "Neither a net of these rows nor a change of one input tells what is left apart.";
        NextView {
            stop: (candidates.is_empty() && inputs.is_empty()).then(|| why.to_owned()),
            sets: sets.len(),
            candidates,
            inputs,
        }
    }

    /// Named faults, and parts of which none explains the rows: those may still be it, and then nothing is known of their outputs.
    fn weighed_sets(&self, weak: &Explained, named: &StrongSets) -> Vec<Vec<Fault>> {
        let mut sets = named.sets.clone();
        for set in &weak.sets {
            let is_named = |part: &usize| {
                named
                    .sets
                    .iter()
                    .flatten()
                    .any(|f| f.part(&self.machine) == Some(*part))
            };
            if !set.iter().all(is_named) {
                sets.push(set.iter().map(|part| Fault::Any { part: *part }).collect());
            }
        }
        sets
    }

    fn net(&self, probe: &Probe) -> NextNet {
        let pins = self.machine.pins.iter().filter(|p| p.net == probe.net);
        NextNet {
            net: self.machine.net_name(probe.net).to_owned(),
            run: self.runs[probe.run].id.clone(),
            row: probe.row + 1,
            bits: probe.bits,
            bits_of_two: probe.bits_of_two,
            minutes: LOOK,
            left: probe.left,
            pins: pins.map(|p| p.name.clone()).collect(),
        }
    }

    fn inputs(&self, stimulus: &Stimulus) -> NextInputs {
        let is_timeless = self.machine.stores.is_empty();
        let name = |net: &NetId| self.machine.net_name(*net);
        let watch = |(net, row): &(NetId, usize)| {
            if is_timeless {
                name(net).to_owned()
            } else {
                format!("{} from row {}", name(net), row + 1)
            }
        };
        NextInputs {
            run: self.runs[stimulus.run].id.clone(),
            row: stimulus.row + 1,
            changes: stimulus
                .changes
                .iter()
                .map(|(n, l)| put(name(n), *l))
                .collect(),
            bits: stimulus.bits,
            minutes: if is_timeless { ROW } else { RUN },
            watch: stimulus.watch.iter().map(watch).collect(),
            most_left: stimulus.most_left,
        }
    }
}

fn put(net: &str, level: bool) -> String {
    format!("{net} = {}", u8::from(level))
}

/// The next nets and inputs of a netlist in columns, for its first observation.
///
/// # Errors
/// As [`super::LogicCase::read`].
pub fn next_of_netlist(
    netlist: &Text,
    observations: &Text,
    stop: &dyn Fn() -> bool,
) -> Result<NextView, Refused> {
    let (network, wrong) = parse_netlist(&netlist.text);
    let observed = parse_observations(&observations.text, &network);
    let mut mistakes = complaints(netlist, wrong);
    mistakes.extend(complaints(observations, observed.mistakes));
    if !mistakes.is_empty() {
        return Err(Refused::Input(mistakes));
    }
    let Some(observation) = observed.observations.first() else {
        return Err(Refused::Input(vec![nothing_in(
            observations,
            "The file holds no usable observation.",
        )]));
    };
    let name = |net: &NetId| network.nets()[net.index()].name.as_str();
    let found = diagnose(&network, observation, stop, stop);
    let list = choices(
        &network,
        observation,
        &found.sets[..found.sets.len().min(WEIGHED)],
    );
    let candidates: Vec<NextNet> = list
        .iter()
        .take(PROPOSED)
        .map(|c| NextNet {
            net: name(&c.net).to_owned(),
            run: observation.id.clone(),
            row: 1,
            bits: c.bits,
            bits_of_two: c.bits_of_two,
            minutes: LOOK,
            left: c.left,
            pins: network
                .driver(c.net)
                .map(|g| network.gates()[g].name.clone())
                .into_iter()
                .collect(),
        })
        .collect();
    let some = &found.sets[..found.sets.len().min(WEIGHED_RUNS)];
    let inputs: Vec<NextInputs> = vectors(&network, observation, some, PROPOSED_INPUTS, stop)
        .iter()
        .map(|v| NextInputs {
            run: observation.id.clone(),
            row: 1,
            changes: v.changes.iter().map(|(n, l)| put(name(n), *l)).collect(),
            bits: v.bits,
            minutes: ROW,
            watch: v.watch.iter().map(|n| name(n).to_owned()).collect(),
            most_left: v.most_left,
        })
        .collect();
    let is_well = found.size == Some(0);
    let why = match (is_well, candidates.is_empty() && inputs.is_empty()) {
        (true, _) => Some("Every level seen is as it should be.".to_owned()),
        (_, true) => {
            Some("No further net and no change of inputs tells what is left apart.".to_owned())
        }
        _ => None,
    };
    Ok(NextView {
        stop: why,
        sets: found.sets.len(),
        candidates,
        inputs,
    })
}
