//! How well suspects are ranked: invented units with faults drawn at random, each ranked as a restorer's would be.

mod joint;

use circuit::{Edit, Fault};
use diagnose::{Blame, Predictions, Taken, Unit, rank};
use predict::{Question, random};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use record::{Shown, State};

use crate::case::{self, Case, Opinion, Options};
use crate::focus::{Watched, focused};
use crate::kept::Kept;
use crate::loading::Text;
use crate::refused::Refused;
use crate::{Stop, places};

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Trial {
    /// Readings of one unit that say where is read; their values do not matter.
    pub places: Text,
    /// Number of units.
    pub units: u64,
    /// Fixes all draws.
    pub seed: u64,
    /// Every spread is this many times what the sheet says.
    pub width: f64,
    /// Only healthy units.
    pub healthy_only: bool,
    /// Opinion of the parts, by which faults are drawn if it is flat.
    pub priors: Opinion,
    /// Of the first so many units whose fault shows the exact class is counted.
    pub classes: u64,
}

/// What was wrong with a unit.
#[derive(Clone, Debug, PartialEq)]
pub enum Truth {
    /// Nothing.
    Healthy,
    /// One fault: part, fault, and magnitude if it has one.
    Fault(String, String, Option<f64>),
    /// Two faults.
    Two,
}

/// How one unit was ranked.
#[derive(Clone, Debug, PartialEq)]
pub struct Result {
    /// What was wrong.
    pub truth: Truth,
    /// Probability that nothing is.
    pub healthy: f64,
    /// Probability of more than one fault.
    pub multiple: f64,
    /// Largest probability of all parts, its faults summed.
    pub convicted: f64,
    /// Probability of the leading group, and whether it holds the truth.
    pub leading: (f64, bool),
    /// Members of the leading group.
    pub members: usize,
    /// Logarithm of the ratio of the readings' joint likelihoods, with the true fault and healthy, by a
    /// solve that shares nothing with the ranking. Infinite where over range comes or goes.
    pub visible: f64,
    /// Faults of which no reading tells the true one by two joint standard deviations, itself
    /// included, by the same solve; where it was counted.
    pub class: Option<usize>,
}

/// A fault shows from this ratio on.
pub const SHOWS: f64 = 6.0;

/// Ranks invented units of a board.
///
/// # Errors
/// Bad input, or no operating point.
pub fn run(
    sheet: &Text,
    trial: &Trial,
    stop: Stop<'_>,
) -> std::result::Result<Vec<Result>, Refused> {
    let options = Options {
        readings: trial.places.clone(),
        machine: None,
        meter: crate::MeterChoice::default(),
        unit: None,
        priors: trial.priors,
        lenient: false,
    };
    let case = case::open(sheet, &options, &|_, _| Vec::new(), &Kept::default(), stop)?;
    let bench = Invented::of(&case, 0)?;
    Ok((0..trial.units)
        .into_par_iter()
        .filter(|_| !stop())
        .filter_map(|k| bench.one(trial, k))
        .collect())
}

/// Logarithm of the joint density of all units' readings if each is healthy and built as the sheet says,
/// by a solve that shares nothing with the ranking.
///
/// # Errors
/// Bad input, or no operating point.
pub fn ln_healthy(sheet: &Text, readings: &Text) -> std::result::Result<f64, Refused> {
    let options = Options {
        readings: readings.clone(),
        machine: None,
        meter: crate::MeterChoice::default(),
        unit: None,
        priors: Opinion::Flat,
        lenient: false,
    };
    let case = case::open(
        sheet,
        &options,
        &|_, _| Vec::new(),
        &Kept::default(),
        &|| false,
    )?;
    (0..case.units.len())
        .map(|unit| {
            let bench = Invented::of(&case, unit)?;
            let reads = bench.reads(&case.units[unit].taken);
            let middle = vec![0.0; bench.network.population.variables];
            Ok(joint::ln_density(&bench.board, &[], &reads, &[&middle]))
        })
        .sum()
}

/// The board, and what is asked at each place.
struct Invented<'a> {
    case: &'a Case,
    unit: usize,
    network: circuit::Network,
    board: predict::Board,
    questions: Vec<Question>,
}

impl<'a> Invented<'a> {
    fn of(case: &'a Case, index: usize) -> std::result::Result<Self, Refused> {
        let treatment = places::Treatment::default();
        let network = places::network(&case.sheet, State::Cold, &treatment);
        let board = places::board(&case.sheet, State::Cold, &treatment)?;
        let unit = &case.units[index];
        let questions = unit.readings.iter().filter_map(|i| {
            let reading = &case.readings[*i];
            let meter = case.meters.named(reading.meter.as_deref());
            crate::meters::question(meter, reading.kind)
        });
        Ok(Self {
            case,
            unit: index,
            network,
            board,
            questions: questions.collect(),
        })
    }

    fn on_scale(&self, taken: Taken) -> Option<f64> {
        let healthy = self.case.units[self.unit].predictor.healthy(taken.place)?;
        match taken.shown {
            Shown::Number(x) => Some(healthy.scale.at(x).0),
            Shown::OverRange => None,
        }
    }

    /// All readings of one unit with these changes, and its variables.
    fn read(
        &self,
        edits: &[Edit],
        width: f64,
        draws: &mut ChaCha8Rng,
    ) -> Option<(Vec<Taken>, Vec<f64>)> {
        let mut network = self.network.clone();
        network.apply(edits);
        let z: Vec<f64> = random::normals(draws, network.population.variables)
            .into_iter()
            .map(|z| width * z)
            .collect();
        let values = network.population.values(&z);
        let board = predict::Board::new(network).ok()?;
        let rest = board.rest_with(&values).ok()?;
        let unit = &self.case.units[self.unit];
        let taken: Option<Vec<Taken>> = self
            .questions
            .iter()
            .zip(&unit.taken)
            .enumerate()
            .map(|(k, (question, taken))| {
                let (red, black) = self.leads(k, &board.network);
                let mut probe = board.probe(red, black);
                let shown = probe.read(question, &values, &rest).ok()?;
                let setup = question.setups[shown.range];
                let error = random::normal(draws);
                let value = shown.reading.and_then(|r| setup.misread(r, error));
                Some(Taken {
                    place: taken.place,
                    shown: value.map_or(Shown::OverRange, Shown::Number),
                })
            })
            .collect();
        Some((taken?, z))
    }

    /// Nodes under the leads of a reading.
    fn leads(&self, k: usize, network: &circuit::Network) -> (circuit::Node, circuit::Node) {
        let reading = &self.case.readings[self.case.units[self.unit].readings[k]];
        let node = |l| places::node(l, &self.case.sheet, network);
        (node(&reading.red), node(&reading.black))
    }

    fn one(&self, trial: &Trial, k: u64) -> Option<Result> {
        let mut draws = random::stream(trial.seed, k);
        let unit = &self.case.units[self.unit];
        let changes = unit.predictor.changes();
        let mut even = || circuit::parameter::normal_cdf(random::normal(&mut draws));
        let kind = if trial.healthy_only { 0.0 } else { even() };
        let count = match kind {
            x if x < 0.1 => 0,
            x if x > 0.9 => 2,
            _ => 1,
        };
        let mut faults: Vec<(usize, Option<f64>)> = Vec::new();
        let total: f64 = changes
            .iter()
            .filter(|c| c.blame == Blame::Unit)
            .map(|c| c.weight)
            .sum();
        while faults.len() < count {
            let mut at = even() * total;
            let chosen = changes.iter().position(|c| {
                at -= if c.blame == Blame::Unit {
                    c.weight
                } else {
                    0.0
                };
                at <= 0.0
            })?;
            let list = &changes[chosen].magnitudes;
            let magnitude = match (list.first(), list.last()) {
                (Some(a), Some(b)) => {
                    let half = (b / a).powf(0.5 / (list.len() - 1).max(1) as f64);
                    Some((a / half) * ((b / a) * half * half).powf(even()))
                }
                _ => None,
            };
            let other = |f: &(usize, Option<f64>)| changes[f.0].part == changes[chosen].part;
            if !faults.iter().any(other) {
                faults.push((chosen, magnitude));
            }
        }
        let mut edits = Vec::new();
        for (chosen, magnitude) in &faults {
            let diagnose::Deed::Fault(text) = diagnose::deed(&changes[*chosen], *magnitude) else {
                return None;
            };
            let mut network = self.network.clone();
            network.apply(&edits);
            edits.extend(
                Fault::parse(&text, &self.case.sheet)
                    .ok()?
                    .edits(&self.case.sheet, &network),
            );
        }
        let (taken, z) = self.read(&edits, trial.width, &mut draws)?;
        let visible = self.visible(&edits, &taken, &z);
        let class = match faults[..] {
            [(chosen, _)] if k < trial.classes && visible >= SHOWS => {
                Some(self.class(chosen, &edits, &taken, &z))
            }
            _ => None,
        };
        let quiet = Watched::new(0, &|_, _| {}, &|| false);
        let (nearer, before) = focused(&unit.predictor, &taken, None, &quiet);
        let ranked = rank(
            &[Unit {
                predictions: &*nearer,
                taken,
                before,
            }],
            self.case.together,
        )
        .units
        .remove(0);
        let mut parts: std::collections::HashMap<&str, f64> = std::collections::HashMap::new();
        for s in &ranked.suspects {
            *parts.entry(&changes[s.change].part).or_insert(0.0) += s.probability;
        }
        let group = ranked.groups.first()?;
        let holds = faults.len() == 1
            && group
                .iter()
                .any(|g| ranked.suspects[*g].change == faults[0].0);
        Some(Result {
            truth: match &faults[..] {
                [] => Truth::Healthy,
                [(c, m)] => Truth::Fault(changes[*c].part.clone(), changes[*c].name.clone(), *m),
                _ => Truth::Two,
            },
            healthy: ranked.healthy,
            multiple: ranked.multiple,
            convicted: parts.values().copied().fold(0.0, f64::max),
            leading: (
                group.iter().map(|g| ranked.suspects[*g].probability).sum(),
                holds,
            ),
            members: group.len(),
            visible,
            class,
        })
    }

    /// How much likelier the readings are with the fault than without.
    fn visible(&self, edits: &[Edit], taken: &[Taken], z: &[f64]) -> f64 {
        if edits.is_empty() {
            return 0.0;
        }
        let reads = self.reads(taken);
        let middle = vec![0.0; z.len()];
        let faulty = joint::ln_density(&self.board, edits, &reads, &[z]);
        let healthy = joint::ln_density(&self.board, &[], &reads, &[z, &middle]);
        faulty - healthy
    }

    fn reads(&self, taken: &[Taken]) -> Vec<joint::Read<'_>> {
        let read = |(k, t): (usize, &Taken)| {
            let place = self.case.units[self.unit].predictor.healthy(t.place);
            joint::Read {
                question: &self.questions[k],
                leads: self.leads(k, &self.board.network),
                at: self.on_scale(*t),
                scale: place.map_or(diagnose::Scale::Volts, |h| h.scale),
            }
        };
        taken.iter().enumerate().map(read).collect()
    }

    /// Number of faults that no reading tells from the chosen one, itself included.
    fn class(&self, chosen: usize, edits: &[Edit], taken: &[Taken], z: &[f64]) -> usize {
        let sheet = &self.case.sheet;
        let changes = self.case.units[self.unit].predictor.changes();
        let others: Vec<Vec<Vec<Edit>>> = changes
            .iter()
            .enumerate()
            .filter(|(c, change)| *c != chosen && change.blame == Blame::Unit)
            .map(|(_, change)| {
                let each: Vec<Option<f64>> = match change.magnitudes.len() {
                    0 => vec![None],
                    _ => change.magnitudes.iter().map(|m| Some(*m)).collect(),
                };
                each.into_iter()
                    .filter_map(|magnitude| {
                        let diagnose::Deed::Fault(text) = diagnose::deed(change, magnitude) else {
                            return None;
                        };
                        let fault = Fault::parse(&text, sheet).ok()?;
                        Some(fault.edits(sheet, &self.network))
                    })
                    .collect()
            })
            .collect();
        let reads = self.reads(taken);
        let alike = joint::alike(&self.board, edits, &others, &reads, (z, 2.0));
        1 + alike.into_iter().filter(|a| *a).count()
    }
}
