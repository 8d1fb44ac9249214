//! `board proves`: the shortest set of readings that would have shown a fault.

use circuit::Fault;
use diagnose::{
    Blame, Candidate as Costed, Change, Predictions, Prior, Priors, proves as shortest,
};
use serde::Serialize;

use crate::candidates::{self, Candidate, SoFar};
use crate::loading::{self, Text};
use crate::meters::{MeterChoice, Meters};
use crate::places;
use crate::predictor::{Condition, Place, Predictor};
use crate::refused::Refused;
use crate::suspects::{number, unit_of};
use crate::table::measured;
use crate::{Progress, Stop};

/// The answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct View {
    /// The fault, as `PART FAULT`.
    pub fault: String,
    /// Readings that together show it; empty if no reading does.
    pub readings: Vec<ReadingView>,
    /// No cheaper set would do.
    pub shortest: bool,
    /// Faults that no such reading tells from it.
    pub not_told_from: Vec<String>,
    /// Minutes for all of them.
    pub minutes: f64,
}

/// One of the readings.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ReadingView {
    /// Kind.
    pub kind: &'static str,
    /// Red lead.
    pub red: String,
    /// Black lead.
    pub black: String,
    /// State.
    pub state: &'static str,
    /// With the fault; null for over range.
    pub faulty: Option<f64>,
    /// Healthy; null for over range.
    pub healthy: Option<f64>,
    /// What has to be done first.
    pub needs: Vec<String>,
    /// Unit of the numbers.
    #[serde(rename = "in")]
    pub measured_in: &'static str,
}

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// The fault, as `PART FAULT[=VALUE]`.
    pub fault: String,
    /// Meter.
    pub meter: MeterChoice,
    /// Use good lines in spite of bad ones.
    pub lenient: bool,
}

/// Finds the cheapest cold readings that tell the fault from a healthy unit and from other faults.
///
/// # Errors
/// Bad input, or no operating point.
pub fn proves(
    sheet_text: &Text,
    options: &Options,
    _progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<View, Refused> {
    let sheet = loading::sheet(sheet_text, options.lenient)?.value;
    let meters = Meters::settle(&options.meter)?;
    let asked = places::faults(std::slice::from_ref(&options.fault), &sheet)?.remove(0);
    let all: Vec<Candidate> = candidates::all(&sheet, false)
        .into_iter()
        .filter(|c| c.lift.is_none())
        .collect();
    let offered: Vec<(Candidate, Place)> = all
        .into_iter()
        .filter_map(|c| {
            let (place, _) = candidates::place(&sheet, &meters, &c)?;
            Some((c, place))
        })
        .collect();
    let cold = Condition {
        state: record::State::Cold,
        lifted: Vec::new(),
    };
    let list = offered.iter().map(|o| o.1.clone()).collect();
    let predictor = Predictor::new(sheet.clone(), vec![cold], list, with(&sheet, &asked));
    let fault = (predictor.changes().len() - 1, 0);
    let none_yet = SoFar::new(std::iter::empty());
    let costed: Vec<Costed> = offered
        .iter()
        .enumerate()
        .map(|(place, (c, _))| Costed {
            place,
            minutes: candidates::cost(&sheet, c, &none_yet).0,
        })
        .collect();
    let proof = shortest(&predictor, fault, &costed, stop);
    let readings: Vec<ReadingView> = proof
        .readings
        .iter()
        .map(|k| reading_view(&sheet, &predictor, fault, *k, &offered[*k].0))
        .collect();
    Ok(View {
        fault: options.fault.clone(),
        minutes: proof.readings.iter().map(|k| costed[*k].minutes).sum(),
        readings,
        shortest: proof.proven,
        not_told_from: proof
            .twins
            .iter()
            .map(|(c, _)| predictor.changes()[*c].words(None))
            .collect(),
    })
}

/// All faults of the sheet, and last the one that is asked for.
fn with(sheet: &sheet::Sheet, asked: &Fault) -> Vec<Change> {
    let Prior { mut changes, .. } = diagnose::prior(sheet, Priors::Published);
    let mode = asked.mode.to_string();
    let magnitude = mode.split_once('=').and_then(|(_, m)| m.parse().ok());
    let (part, name) = (asked.part_name(sheet), asked.mode_name(sheet));
    changes.retain(|c| c.blame == Blame::Unit && !(c.part == part && c.name == name));
    changes.push(Change {
        blame: Blame::Unit,
        part,
        name,
        weight: 1.0,
        magnitudes: magnitude.into_iter().collect(),
    });
    changes
}

fn reading_view(
    sheet: &sheet::Sheet,
    predictor: &Predictor,
    (change, variant): (usize, usize),
    place: usize,
    candidate: &Candidate,
) -> ReadingView {
    let healthy = predictor.healthy(place).and_then(|h| number(h.nominal));
    let faulty = match predictor.effect(change, variant, place) {
        diagnose::Effect::Moved(line) => predictor
            .healthy(place)
            .map(|h| h.scale.reading(line.middle)),
        diagnose::Effect::Unmoved => healthy,
        diagnose::Effect::OverRange | diagnose::Effect::Unknown => None,
    };
    let none_yet = SoFar::new(std::iter::empty());
    ReadingView {
        kind: candidate.kind.word(),
        red: candidate.red.written.clone(),
        black: candidate.black.written.clone(),
        state: candidate.state.word(),
        faulty,
        healthy,
        needs: candidates::cost(sheet, candidate, &none_yet).1,
        measured_in: unit_of(candidate.kind),
    }
}

impl View {
    /// The answer for people.
    pub fn to_text(&self) -> String {
        if self.readings.is_empty() {
            return format!(
                "No cold reading on the board shows {} beyond doubt.\n",
                self.fault
            );
        }
        let mut text = format!(
            "{} shows in {} ({:.1} minutes{}). Volts first, and discharged.\n",
            self.fault,
            match self.readings.len() {
                1 => "one reading".to_owned(),
                n => format!("{n} readings together"),
            },
            self.minutes,
            if self.shortest {
                "; no shorter set would do"
            } else {
                ""
            },
        );
        for r in &self.readings {
            text += &format!(
                "  {} {}, red on {}, black on {}: {} with the fault, {} without\n",
                r.state,
                r.kind,
                r.red,
                r.black,
                measured(r.faulty, r.measured_in),
                measured(r.healthy, r.measured_in),
            );
        }
        if !self.not_told_from.is_empty() {
            let shown: Vec<&str> = self
                .not_told_from
                .iter()
                .take(8)
                .map(String::as_str)
                .collect();
            let more = self.not_told_from.len().saturating_sub(8);
            text += &format!(
                "  What these readings cannot tell it from: {}{}.\n",
                shown.join(", "),
                if more > 0 {
                    format!(" and {more} more")
                } else {
                    String::new()
                }
            );
        }
        text
    }
}
