//! Predictions for the diagnosis: readings of one unit, healthy and under every change, from the circuit.

use std::collections::HashMap;
use std::sync::OnceLock;

use circuit::meter::{Choice, Setup};
use circuit::{Fault, Network, Node};
use diagnose::{Change, Deed, Effect, Healthy, Marginal, Moved, Predictions, Scale, Slopes, deed};
use predict::{Board, Distribution, Question, Shown, healthy, slopes};
use rayon::prelude::*;
use record::{At, Lead, ReadingKind, State};
use sheet::{PartId, Sheet};

use crate::places::{self, Treatment};
use crate::{expect, variables};

/// The state of a board and what was done to it.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Condition {
    /// State.
    pub state: State,
    /// Lifted pins.
    pub lifted: Vec<(PartId, usize)>,
}

/// A place: what is read, with what, where.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// What is read.
    pub kind: ReadingKind,
    /// Index of the condition.
    pub condition: usize,
    /// The meter's question.
    pub question: Question,
    /// Red lead.
    pub red: Lead,
    /// Black lead.
    pub black: Lead,
    /// Whether its distribution is only wanted to first order: nothing was read there.
    pub rough: bool,
}

/// What a variant of a change does, found on this sheet.
#[derive(Clone, Debug)]
enum Done {
    Fault(Fault),
    Exchange(Node, Node),
    /// This unit has not the part.
    Nothing,
}

/// A board as it would be with a change, and where the leads go then.
struct Base {
    board: Option<Board>,
    /// Names of the variables as numbers that all states share.
    names: Vec<u32>,
}

/// A reading with parts in the middle of their spread.
struct Centre {
    /// `None` is over range.
    reading: Option<f64>,
    /// Slopes of the reading by the variables.
    slopes: Slopes,
    /// The meter's own error.
    sd: f64,
    border: f64,
}

/// Predictions of one unit.
pub struct Predictor {
    sheet: Sheet,
    changes: Vec<Change>,
    done: Vec<Vec<Done>>,
    bases: Vec<Base>,
    places: Vec<Place>,
    healthy: Vec<OnceLock<Option<(Healthy, Centre)>>>,
    /// Where the variants of each change begin in a place's effects.
    starts: Vec<usize>,
    effects: Vec<Vec<OnceLock<Effect>>>,
}

/// A shift of less than this many standard deviations is none.
const UNMOVED: f64 = 0.02;
/// Slopes below this share of the whole are left out.
const SLIGHT: f64 = 1e-3;

impl Predictor {
    /// Prepares the boards; predictions are made when they are first asked for.
    pub fn new(sheet: Sheet, conditions: Vec<Condition>, places: Vec<Place>) -> Self {
        let mut numbers = HashMap::new();
        let bases = conditions
            .iter()
            .map(|c| base(&sheet, c, &mut numbers))
            .collect();
        Self {
            healthy: places.iter().map(|_| OnceLock::new()).collect(),
            starts: Vec::new(),
            effects: Vec::new(),
            sheet,
            changes: Vec::new(),
            done: Vec::new(),
            bases,
            places,
        }
    }

    /// Says what may be wrong.
    pub fn set_changes(&mut self, changes: Vec<Change>) {
        self.done = changes.iter().map(|c| all_done(c, &self.sheet)).collect();
        self.changes = changes;
        let mut count = 0;
        self.starts = self
            .done
            .iter()
            .map(|list| {
                count += list.len();
                count - list.len()
            })
            .collect();
        let unknown = || (0..count).map(|_| OnceLock::new()).collect();
        self.effects = self.places.iter().map(|_| unknown()).collect();
    }

    /// Computes all that readings at these places need, on all cores.
    ///
    /// `stop` is asked between places; what was not computed then is computed when asked for.
    pub fn prepare(&self, wanted: &[usize], stop: crate::Stop<'_>) {
        wanted.par_iter().for_each(|&place| {
            if !stop() {
                self.base_of(place);
            }
        });
        let variants: Vec<(usize, usize)> = self
            .done
            .iter()
            .enumerate()
            .flat_map(|(c, list)| (0..list.len()).map(move |v| (c, v)))
            .collect();
        for &place in wanted {
            variants.par_iter().for_each(|(c, v)| {
                if !stop() {
                    self.effect(*c, *v, place);
                }
            });
        }
    }

    /// The sheet of this unit.
    pub fn sheet(&self) -> &Sheet {
        &self.sheet
    }

    fn base_of(&self, place: usize) -> Option<&(Healthy, Centre)> {
        self.healthy[place]
            .get_or_init(|| self.compute_healthy(place))
            .as_ref()
    }

    fn compute_healthy(&self, place: usize) -> Option<(Healthy, Centre)> {
        let at = &self.places[place];
        let base = &self.bases[at.condition];
        let board = base.board.as_ref()?;
        let (red, black) = self.nodes(at, &board.network)?;
        let centre = centre(board, at, (red, black), &base.names)?;
        let scale = match at.kind {
            ReadingKind::Ohms => Scale::Ohms,
            ReadingKind::Diode => Scale::Diode,
            _ => Scale::Volts,
        };
        let total = spread(&centre);
        let (nominal, marginal) = if at.rough {
            (centre.reading, first_order(&centre, total))
        } else {
            let found = healthy(&mut board.probe(red, black), &at.question, expect::SEED).ok()?;
            (found.nominal.reading, marginal(&found.distribution, scale))
        };
        let healthy = Healthy {
            scale,
            nominal: nominal.map_or(record::Shown::OverRange, record::Shown::Number),
            marginal,
            slopes: centre.slopes.iter().map(|(v, s)| (*v, s / total)).collect(),
            reversed: None,
        };
        Some((healthy, centre))
    }

    fn nodes(&self, at: &Place, network: &Network) -> Option<(Node, Node)> {
        // Parts that a unit lacks move all that follow them, so places are found again by name.
        let find = |lead: &Lead| {
            let here = record::resolve(&lead.written, &self.sheet).ok()?;
            Some(places::node(&here, &self.sheet, network))
        };
        Some((find(&at.red)?, find(&at.black)?))
    }

    fn compute_effect(&self, place: usize, done: &[&Done]) -> Effect {
        let at = &self.places[place];
        let base = &self.bases[at.condition];
        let (Some(board), Some((_, before))) = (&base.board, self.base_of(place)) else {
            return Effect::Unknown;
        };
        let Some((red, black)) = self.nodes(at, &board.network) else {
            return Effect::Unknown;
        };
        let mut network = board.network.clone();
        let (mut red, mut black) = (red, black);
        let mut changed = false;
        for one in done {
            match one {
                Done::Nothing => {}
                Done::Exchange(a, b) => {
                    let exchange = |n: Node| match n {
                        n if n == *a => *b,
                        n if n == *b => *a,
                        n => n,
                    };
                    changed |= (red, black) != (exchange(red), exchange(black));
                    (red, black) = (exchange(red), exchange(black));
                }
                Done::Fault(fault) => {
                    let edits = fault.edits(&self.sheet, &network);
                    changed |= !edits.is_empty();
                    network.apply(&edits);
                }
            }
        }
        if !changed {
            return Effect::Unmoved;
        }
        let after = match done {
            [Done::Exchange(..)] => centre(board, at, (red, black), &base.names),
            _ => Board::new(network)
                .ok()
                .and_then(|b| centre(&b, at, (red, black), &base.names)),
        };
        let Some(after) = after else {
            return Effect::Unknown;
        };
        match (before.reading, after.reading) {
            (None, None) => Effect::Unmoved,
            (_, None) => Effect::OverRange,
            (Some(b), Some(a)) if (a - b).abs() < UNMOVED * spread(before) => Effect::Unmoved,
            (_, Some(mean)) => Effect::Moved(Moved {
                mean,
                slopes: after.slopes,
                sd: after.sd,
                border: after.border,
            }),
        }
    }
}

impl Predictions for Predictor {
    fn changes(&self) -> &[Change] {
        &self.changes
    }

    fn healthy(&self, place: usize) -> Option<&Healthy> {
        self.base_of(place).map(|b| &b.0)
    }

    fn effect(&self, change: usize, variant: usize, place: usize) -> &Effect {
        let cell = &self.effects[place][self.starts[change] + variant];
        cell.get_or_init(|| self.compute_effect(place, &[&self.done[change][variant]]))
    }

    fn together(&self, first: (usize, usize), second: (usize, usize), place: usize) -> Effect {
        let of = |at: (usize, usize)| &self.done[at.0][at.1];
        self.compute_effect(place, &[of(first), of(second)])
    }
}

fn base(sheet: &Sheet, condition: &Condition, numbers: &mut HashMap<String, u32>) -> Base {
    let treatment = Treatment {
        faults: Vec::new(),
        lifted: condition.lifted.clone(),
    };
    let board = places::board(sheet, condition.state, &treatment).ok();
    let names = board.as_ref().map_or(Vec::new(), |b| {
        variables::keys(sheet, &b.network)
            .into_iter()
            .map(|key| {
                let next = numbers.len() as u32;
                *numbers.entry(key).or_insert(next)
            })
            .collect()
    });
    Base { board, names }
}

fn all_done(change: &Change, sheet: &Sheet) -> Vec<Done> {
    let one = |magnitude| match deed(change, magnitude) {
        Deed::Fault(text) => Fault::parse(&text, sheet).map_or(Done::Nothing, Done::Fault),
        Deed::Exchange(a, b) => match (sheet.net(&a), sheet.net(&b)) {
            (Some(a), Some(b)) => Done::Exchange(a.0, b.0),
            _ => Done::Nothing,
        },
    };
    if change.magnitudes.is_empty() {
        vec![one(None)]
    } else {
        change.magnitudes.iter().map(|m| one(Some(*m))).collect()
    }
}

/// One standard deviation of a reading, meter and parts.
fn spread(centre: &Centre) -> f64 {
    let parts: f64 = centre.slopes.iter().map(|s| s.1 * s.1).sum();
    (parts + centre.sd * centre.sd).sqrt()
}

/// The reading with all variables in the middle; `None` if it cannot be solved.
fn centre(board: &Board, at: &Place, (red, black): (Node, Node), names: &[u32]) -> Option<Centre> {
    let population = &board.network.population;
    let z = vec![0.0; population.variables];
    let values = population.values(&z);
    let mut probe = board.probe(red, black);
    let shown: Shown = probe.read(&at.question, &values, &board.rest).ok()?;
    let setup = at.question.setups[shown.range];
    let border = border(&at.question, &setup);
    let Some(reading) = shown.reading else {
        return Some(Centre {
            reading: None,
            slopes: Vec::new(),
            sd: 1.0,
            border,
        });
    };
    let x = probe.solve(&setup, &values, &board.rest).ok()?;
    let by_volts = setup.slope(shown.volts);
    let all = slopes(&mut probe, &z, &values, &x)?;
    let total: f64 = all.iter().map(|s| s * s).sum::<f64>().sqrt();
    let mut list: Slopes = all
        .iter()
        .zip(names)
        .filter(|(s, _)| s.abs() > SLIGHT * total)
        .map(|(s, name)| (*name, s * by_volts))
        .collect();
    list.sort_by_key(|s| s.0);
    Some(Centre {
        reading: Some(reading),
        slopes: list,
        sd: setup.error(reading),
        border,
    })
}

/// The largest reading that the meter shows.
fn border(question: &Question, chosen: &Setup) -> f64 {
    let setup = match question.choice {
        Choice::First => question.setups.last().unwrap_or(chosen),
        Choice::NearestMiddle => chosen,
    };
    match *setup {
        Setup::CurrentOhms {
            amps,
            limit,
            full_scale,
            ..
        } => full_scale.min(limit / amps),
        Setup::SeriesOhms { full_scale, .. } => full_scale,
        Setup::Diode { limit, .. } => limit,
        Setup::Volts { .. } => f64::INFINITY,
    }
}

/// A normal distribution about the middle, over range beyond the border.
fn first_order(centre: &Centre, sd: f64) -> Marginal {
    match centre.reading {
        None => Marginal::new(&[], 1.0),
        Some(mean) => {
            let beyond = (mean - centre.border) / sd;
            let over = circuit::parameter::normal_cdf(beyond);
            Marginal::new(&[(mean - sd, -1.0), (mean + sd, 1.0)], over)
        }
    }
}

/// Points of a distribution's normal score.
const KNOTS: usize = 33;

fn marginal(distribution: &Distribution, scale: Scale) -> Marginal {
    let over = distribution.over_range();
    let reach = 0.001 * (1.0 - over);
    let ends = distribution
        .quantile(reach)
        .zip(distribution.quantile((1.0 - over - reach).min(0.999)));
    let Some((low, high)) = ends else {
        return Marginal::new(&[], 1.0);
    };
    let (from, to) = (scale.at(low).0, scale.at(high).0);
    let knots: Vec<(f64, f64)> = (0..KNOTS)
        .filter_map(|k| {
            let x = from + (to - from) * k as f64 / (KNOTS - 1) as f64;
            let reading = scale.reading(x);
            distribution.score(reading).map(|score| (reading, score))
        })
        .collect();
    Marginal::new(&knots, over)
}

/// The condition that a lead's pin is lifted in.
pub fn lifted(leads: &[Lead], sheet: &Sheet) -> Vec<(PartId, usize)> {
    let mut found: Vec<(PartId, usize)> = leads
        .iter()
        .filter_map(|lead| record::resolve(&lead.written, sheet).ok())
        .filter_map(|lead| match lead.at {
            At::Pin(part, pin) => Some((part, pin)),
            At::Net | At::Point(_) => None,
        })
        .collect();
    found.sort_unstable();
    found.dedup();
    found
}
