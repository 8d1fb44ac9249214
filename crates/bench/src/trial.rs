//! How well suspects are ranked: invented units with faults drawn at random, each ranked as a restorer's would be.

use circuit::{Edit, Fault};
use diagnose::{Blame, Predictions, Taken, Unit, rank};
use predict::random;
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use record::{Shown, State};

use crate::case::{self, Case, Opinion, Options};
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
    /// Half the square of the distance between the faulty and the healthy readings in the spread of
    /// units that were drawn: what a likelihood ratio comes to. Infinite where over range comes or goes.
    pub visible: f64,
}

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
    let case = case::open(sheet, &options, &|_, _| Vec::new(), stop)?;
    let bench = Invented::new(&case)?;
    Ok((0..trial.units)
        .into_par_iter()
        .filter(|_| !stop())
        .filter_map(|k| bench.one(trial, k))
        .collect())
}

/// The board, and the spread of its readings over healthy units.
struct Invented<'a> {
    case: &'a Case,
    network: circuit::Network,
    /// Standard deviations of the readings on their scales, over units that were drawn.
    spread: Vec<Option<(f64, f64)>>,
}

/// Healthy units drawn for the spread.
const DRAWN: u64 = 60;

impl<'a> Invented<'a> {
    fn new(case: &'a Case) -> std::result::Result<Self, Refused> {
        let treatment = places::Treatment::default();
        let network = places::network(&case.sheet, State::Cold, &treatment);
        places::board(&case.sheet, State::Cold, &treatment)?;
        let mut this = Self {
            case,
            network,
            spread: Vec::new(),
        };
        let many: Vec<Vec<Taken>> = (0..DRAWN)
            .into_par_iter()
            .filter_map(|k| this.read(&[], 1.0, &mut random::stream(777, k)))
            .collect();
        let count = case.units[0].taken.len();
        this.spread = (0..count)
            .map(|i| {
                let at: Option<Vec<f64>> = many.iter().map(|t| this.on_scale(t[i])).collect();
                let at = at.filter(|a| a.len() > 1)?;
                let mean = at.iter().sum::<f64>() / at.len() as f64;
                let square: f64 = at.iter().map(|x| (x - mean).powi(2)).sum();
                Some((mean, (square / (at.len() - 1) as f64).sqrt()))
            })
            .collect();
        Ok(this)
    }

    fn on_scale(&self, taken: Taken) -> Option<f64> {
        let healthy = self.case.units[0].predictor.healthy(taken.place)?;
        match taken.shown {
            Shown::Number(x) => Some(healthy.scale.at(x).0),
            Shown::OverRange => None,
        }
    }

    /// All readings of one unit with these changes.
    fn read(&self, edits: &[Edit], width: f64, draws: &mut ChaCha8Rng) -> Option<Vec<Taken>> {
        let mut network = self.network.clone();
        network.apply(edits);
        let z: Vec<f64> = random::normals(draws, network.population.variables)
            .into_iter()
            .map(|z| width * z)
            .collect();
        let values = network.population.values(&z);
        let board = predict::Board::new(network).ok()?;
        let rest = board.rest_with(&values).ok()?;
        let unit = &self.case.units[0];
        unit.readings
            .iter()
            .zip(&unit.taken)
            .map(|(i, taken)| {
                let reading = &self.case.readings[*i];
                let meter = self.case.meters.named(reading.meter.as_deref());
                let question = crate::meters::question(meter, reading.kind)?;
                let node = |l| places::node(l, &self.case.sheet, &board.network);
                let mut probe = board.probe(node(&reading.red), node(&reading.black));
                let shown = probe.read(&question, &values, &rest).ok()?;
                let setup = question.setups[shown.range];
                let error = random::normal(draws);
                let value = shown.reading.and_then(|r| setup.misread(r, error));
                Some(Taken {
                    place: taken.place,
                    shown: value.map_or(Shown::OverRange, Shown::Number),
                })
            })
            .collect()
    }

    fn one(&self, trial: &Trial, k: u64) -> Option<Result> {
        let mut draws = random::stream(trial.seed, k);
        let unit = &self.case.units[0];
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
        let taken = self.read(&edits, trial.width, &mut draws)?;
        let visible = self.visible(&edits)?;
        let ranked = rank(
            &[Unit {
                predictions: &unit.predictor,
                taken,
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
        })
    }

    /// How far the middle of faulty units lies from the healthy ones, reading by reading.
    fn visible(&self, edits: &[Edit]) -> Option<f64> {
        if edits.is_empty() {
            return Some(0.0);
        }
        // Width zero: parts in the middle, the meter's error small against what shows.
        let middle = self.read(edits, 0.0, &mut random::stream(778, 0))?;
        let mut most = 0.0_f64;
        for (taken, spread) in middle.iter().zip(&self.spread) {
            let apart = match (self.on_scale(*taken), spread) {
                (Some(x), Some((mean, sd))) => (x - mean) / sd,
                (None, None) => 0.0,
                _ => f64::INFINITY,
            };
            most = most.max(0.5 * apart * apart);
        }
        Some(most)
    }
}
