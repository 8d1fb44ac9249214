//! Readings of one or two units made ready for the diagnosis: places, predictions, and what may be wrong.

use std::collections::HashMap;
use std::sync::Arc;

use diagnose::{Before, Change, Predictions, Prior, Priors, Taken, Unit};
use rayon::prelude::*;
use record::{Reading, ReadingKind, ReadingValue, Shown};
use sheet::{NetId, Sheet};

use crate::focus::{self, Watched};
use crate::judged::AsBuilt;
use crate::kept::Kept;
use crate::loading::{self, Text};
use crate::machine::{self, BoardOfMachine};
use crate::meters::{MeterChoice, Meters, question};
use crate::predictor::{Condition, Place, Predictor, lifted};
use crate::refused::{Complaint, Refused};
use crate::{Progress, Stop};

/// Whose opinion of the parts is taken before anything is read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Opinion {
    /// Published base rates and shares, with ageing added.
    #[default]
    Published,
    /// All parts alike.
    Flat,
}

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Readings file.
    pub readings: Text,
    /// The machine that the board belongs to: its units differ from the sheet as it says.
    pub machine: Option<Text>,
    /// Meter.
    pub meter: MeterChoice,
    /// The only unit that is wanted.
    pub unit: Option<String>,
    /// Opinion of the parts.
    pub priors: Opinion,
    /// Use good lines in spite of bad ones.
    pub lenient: bool,
}

/// One unit of a case.
pub(crate) struct OneUnit {
    pub name: String,
    /// Indices of its readings that say something.
    pub readings: Vec<usize>,
    pub predictor: Arc<Predictor>,
    pub taken: Vec<Taken>,
    /// What was weighed while the predictions were turned.
    pub before: Option<Arc<Before>>,
    /// Places that the question adds, in its order.
    pub extra: Vec<usize>,
}

/// All units that were read.
pub(crate) struct Case {
    pub sheet: Sheet,
    pub meters: Meters,
    pub readings: Vec<Reading>,
    pub units: Vec<OneUnit>,
    pub together: f64,
    pub skipped: Vec<Complaint>,
}

impl Case {
    /// Turns the predictions to the units that were read, and keeps them for the next reading; see [`focus`].
    ///
    /// # Errors
    /// Stopped.
    pub fn focus(
        &mut self,
        kept: &Kept,
        progress: Progress<'_>,
        stop: Stop<'_>,
    ) -> Result<(), Refused> {
        let readings = self.units.iter().map(|u| u.taken.len()).sum();
        let watched = Watched::new(readings, progress, stop);
        for unit in &mut self.units {
            let (turned, before) =
                focus::focused(&unit.predictor, &unit.taken, unit.before.as_ref(), &watched);
            (unit.predictor, unit.before) = (turned, before);
            stopped(stop)?;
            kept.keep(&unit.name, &unit.predictor, unit.before.as_ref());
        }
        watched.end();
        stopped(stop)
    }

    /// What the diagnosis asks for.
    pub fn units(&self) -> Vec<Unit<'_>> {
        self.units
            .iter()
            .map(|u| Unit {
                predictions: &*u.predictor,
                taken: u.taken.clone(),
                before: u.before.clone(),
            })
            .collect()
    }
}

/// Places that a question adds to those that were read, of a unit's own sheet.
pub(crate) type Extra<'a> = &'a dyn Fn(&Sheet, &Meters) -> Vec<(Place, Condition)>;

/// Reads the files and computes what the readings need; `extra` adds places to every unit.
///
/// # Errors
/// Bad input, or stopped.
pub(crate) fn open(
    sheet_text: &Text,
    options: &Options,
    extra: Extra<'_>,
    kept: &Kept,
    stop: Stop<'_>,
) -> Result<Case, Refused> {
    let loaded = loading::sheet(sheet_text, options.lenient)?;
    let sheet = loaded.value;
    let meters = Meters::settle(&options.meter)?;
    let machine = match &options.machine {
        Some(text) => machine::around(text, &sheet_text.file, &sheet, options.lenient)?,
        None => None,
    };
    let names = machine.as_ref().map(BoardOfMachine::units);
    let names = names.as_deref().filter(|u| !u.is_empty());
    let read = loading::readings(
        &options.readings,
        &sheet,
        &meters.all,
        names,
        options.lenient,
    )?;
    let mut skipped = loaded.skipped;
    skipped.extend(read.skipped);
    let drawn = sheet.clone();
    let built = |unit: &str| machine.as_ref().and_then(|m| m.built(&drawn, unit));
    let mut case = Case {
        units: Vec::new(),
        together: 0.0,
        readings: read.value,
        sheet,
        meters,
        skipped,
    };
    let mut wanted: Vec<String> = Vec::new();
    for reading in &case.readings {
        if !wanted.contains(&reading.unit) {
            wanted.push(reading.unit.clone());
        }
    }
    if let Some(unit) = &options.unit
        && !wanted.contains(unit)
    {
        wanted.push(unit.clone());
    }
    let Prior { changes, together } = diagnose::prior(
        &case.sheet,
        match options.priors {
            Opinion::Published => Priors::Published,
            Opinion::Flat => Priors::Flat,
        },
    );
    case.together = together;
    for name in wanted {
        let unit = one_unit(&case, name, &built, extra, (&changes, kept));
        case.units.push(unit);
    }
    propose(&mut case, options.priors);
    stopped(stop)?;
    Ok(case)
}

fn stopped(stop: Stop<'_>) -> Result<(), Refused> {
    if stop() {
        return Err(Refused::unable(
            "Stopped before all readings were predicted.",
            "Start again.",
        ));
    }
    Ok(())
}

fn one_unit(
    case: &Case,
    name: String,
    built: AsBuilt<'_>,
    extra: Extra<'_>,
    (changes, kept): (&[Change], &Kept),
) -> OneUnit {
    let own = built(&name).unwrap_or_else(|| case.sheet.clone());
    let mut conditions: Vec<Condition> = Vec::new();
    let mut places: Vec<Place> = Vec::new();
    let mut numbers: HashMap<(ReadingKind, usize, String, String, String), usize> = HashMap::new();
    let mut readings = Vec::new();
    let mut at = Vec::new();
    let mut number = |condition: Condition, mut place: Place, meter: &str| {
        let c = match conditions.iter().position(|c| *c == condition) {
            Some(c) => c,
            None => {
                conditions.push(condition);
                conditions.len() - 1
            }
        };
        place.condition = c;
        let key = (
            place.kind,
            c,
            place.red.written.clone(),
            place.black.written.clone(),
            meter.to_owned(),
        );
        *numbers.entry(key).or_insert_with(|| {
            places.push(place);
            places.len() - 1
        })
    };
    for (i, reading) in case.readings.iter().enumerate() {
        if reading.unit != name {
            continue;
        }
        let meter = case.meters.named(reading.meter.as_deref());
        let Some(question) = question(meter, reading.kind) else {
            continue;
        };
        let condition = Condition {
            state: reading.state,
            lifted: lifted(&reading.conditions.lifted, &own),
        };
        let place = Place {
            kind: reading.kind,
            condition: 0,
            question,
            red: reading.red.clone(),
            black: reading.black.clone(),
            rough: false,
        };
        readings.push(i);
        at.push(number(condition, place, &meter.name));
    }
    let meter = case.meters.current().name.clone();
    let extra = extra(&own, &case.meters)
        .into_iter()
        .map(|(place, condition)| number(condition, place, &meter))
        .collect();
    let earlier = kept.of(&name);
    let again = |e: &Arc<Predictor>| Predictor::after(e, &own, &conditions, &places, changes);
    let predictor = earlier.as_ref().and_then(|e| again(&e.0));
    let before = earlier.and_then(|e| e.1).filter(|_| predictor.is_some());
    let predictor = predictor
        .unwrap_or_else(|| Predictor::new(own.clone(), conditions, places, changes.to_vec()));
    let predictor = Arc::new(predictor);
    let healthy: Vec<usize> = at.clone();
    healthy.par_iter().for_each(|place| {
        predictor.healthy(*place);
    });
    let taken: Vec<(usize, Taken)> = readings
        .into_iter()
        .zip(at)
        .filter_map(|(i, place)| {
            let shown = settled(case.readings[i].value, &predictor, place)?;
            Some((i, Taken { place, shown }))
        })
        .collect();
    OneUnit {
        name,
        readings: taken.iter().map(|t| t.0).collect(),
        taken: taken.into_iter().map(|t| t.1).collect(),
        predictor,
        before,
        extra,
    }
}

/// The value that counts: of one that wandered, the end that is odder.
fn settled(value: ReadingValue, predictor: &Predictor, place: usize) -> Option<Shown> {
    let healthy = predictor.healthy(place)?;
    let odd = |shown: Shown| match shown {
        Shown::Number(x) => healthy
            .marginal
            .score(x)
            .map_or(f64::INFINITY, |s| s.0.abs()),
        Shown::OverRange => 1.0 / healthy.marginal.over_range().max(1e-9),
    };
    Some(match value {
        ReadingValue::Steady(shown) => shown,
        ReadingValue::Intermittent(a, b) => {
            if odd(b) > odd(a) {
                b
            } else {
                a
            }
        }
    })
}

/// Odd readings propose doubts between their nets, the same for all units.
fn propose(case: &mut Case, priors: Opinion) {
    if priors == Opinion::Flat {
        return;
    }
    let nets = odd_nets(case);
    let names: Vec<&str> = nets.iter().map(|n| case.sheet.net_name(*n)).collect();
    let changes = diagnose::doubts_between(&names);
    for unit in &mut case.units {
        Arc::get_mut(&mut unit.predictor)
            .expect("nobody else holds it yet")
            .propose(changes.clone());
    }
}

/// Nets whose readings stand out, the oddest first and not all of them if they are many. Readings that are
/// each within reason may be odd together, so the bar is low.
fn odd_nets(case: &Case) -> Vec<NetId> {
    const ODD: f64 = 1.5;
    const MOST: usize = 8;
    let mut oddest: HashMap<usize, f64> = HashMap::new();
    for unit in &case.units {
        for (i, taken) in unit.readings.iter().zip(&unit.taken) {
            let Some(place) = unit.predictor.healthy(taken.place) else {
                continue;
            };
            let far = match taken.shown {
                Shown::Number(x) => place.marginal.score(x).map_or(f64::INFINITY, |s| s.0.abs()),
                Shown::OverRange if place.marginal.over_range() < 1e-3 => f64::INFINITY,
                Shown::OverRange => 0.0,
            };
            for net in [case.readings[*i].red.net.0, case.readings[*i].black.net.0] {
                let known = oddest.entry(net as usize).or_insert(0.0);
                *known = known.max(far);
            }
        }
    }
    let mut nets: Vec<(usize, f64)> = oddest.into_iter().filter(|n| n.1 > ODD).collect();
    nets.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    nets.truncate(MOST);
    nets.into_iter().map(|n| NetId(n.0 as _)).collect()
}
