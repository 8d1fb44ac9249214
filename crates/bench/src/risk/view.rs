//! The answer of `board risk` as plain data, in the shape of the command line's JSON.

use circuit::fault::Place;
use circuit::{Fault, Mode};
use diagnose::card::{self, Card, Entry};
use predict::stress::{Aspect, Gauge, Powered, Victim};
use serde::Serialize;
use sheet::{Kind, PartId, Sheet};
use units::Unit;

use super::Hazard;
use super::cold::{Bench, Seen};
use super::precaution::LimitView;
use super::whole::Whole;
use super::wiring::{WiringView, wiring};
use crate::pages::cautions::cautions;
use crate::places;
use crate::refused::Complaint;
use crate::suspects::unit_of;

/// The answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct View {
    /// Name of the sheet or of the machine.
    pub sheet: String,
    /// Faults that were followed.
    pub faults: usize,
    /// Those that destroy something, worst first.
    pub hazards: Vec<HazardView>,
    /// The cold card, in the order in which the leads move least.
    pub card: Vec<CardView>,
    /// Hazards that no permitted cold reading separates.
    pub uncovered: Vec<UncoveredView>,
    /// No cheaper card covers as much.
    pub proven: bool,
    /// Readings that show a hazard, among which the card was chosen.
    pub considered: usize,
    /// Minutes for the card, a search after false alarms included.
    pub minutes: f64,
    /// Share of healthy units in which a reading of the card lies beyond its line.
    pub false_alarms: f64,
    /// Faults whose circuit could not be solved, so that nothing is known of what they do.
    pub refused: Vec<RefusedView>,
    /// Parts that bear more than their rating when all is well: the rating or the drawing is to be doubted.
    pub doubtful: Vec<VictimView>,
    /// Supplies that were left out because another board feeds their rail.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub left_out: Vec<String>,
    /// What hands do wrong that no reading shows.
    pub wiring: Vec<WiringView>,
    /// What has to be said before the first lead is set down.
    pub cautions: Vec<String>,
    /// Bad lines that were skipped.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub skipped: Vec<Complaint>,
}

/// A fault that destroys something.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HazardView {
    /// Part as faults name it.
    pub part: String,
    /// Fault without its magnitude.
    pub fault: String,
    /// Its magnitude.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// The fault as `--with` takes it.
    pub with: String,
    /// What it destroys, in the order in which it goes.
    pub victims: Vec<VictimView>,
    /// Fuses that open meanwhile.
    pub blown: Vec<String>,
    /// Sum of the victims' weights.
    pub severity: f64,
    /// Readings of the card that rule it out.
    pub detected_by: Vec<usize>,
    /// What follows could not be followed to its end.
    pub unfinished: bool,
}

/// A part that is lost.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct VictimView {
    /// The part.
    pub part: String,
    /// What it has to bear, and what it is rated for.
    pub why: String,
    /// The same as a ratio.
    pub times_rating: f64,
    /// How hard it is to replace; a fixed resistor is 1.
    pub weight: f64,
    /// After how many earlier losses it goes.
    pub round: usize,
    /// The rating stands on the sheet or in the device file.
    pub rated: bool,
}

/// A reading of the card.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CardView {
    /// Kind.
    pub kind: &'static str,
    /// Red lead.
    pub red: String,
    /// Black lead.
    pub black: String,
    /// It should not read below this; null for no lower line.
    pub low: Option<f64>,
    /// It should not read above this, nor over range; null for no upper line.
    pub high: Option<f64>,
    /// Hazards that it rules out.
    pub rules_out: Vec<usize>,
    /// What a healthy unit reads; null for over range.
    pub expected: Option<f64>,
    /// Unit of the numbers.
    #[serde(rename = "in")]
    pub measured_in: &'static str,
    /// Minutes to take it.
    pub minutes: f64,
    /// Connectors that are unplugged for it.
    pub unplugged: Vec<String>,
}

/// A hazard that no cold reading separates.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct UncoveredView {
    /// Index of the hazard.
    pub hazard: usize,
    /// The precaution under which it destroys nothing and a healthy supply comes up; null: do not power.
    pub limit: Option<LimitView>,
    /// The same in words.
    pub says: String,
}

/// A fault that could not be followed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RefusedView {
    /// Part.
    pub part: String,
    /// Fault.
    pub fault: String,
    /// Why.
    pub why: String,
}

/// All that was found.
pub(super) struct Found<'a> {
    pub whole: &'a Whole,
    pub powered: &'a Powered<'a>,
    pub faults: usize,
    pub hazards: &'a [Hazard],
    pub refused: &'a [(Fault, predict::Refusal)],
    pub benches: &'a [Bench<'a>],
    pub seen: &'a [Seen],
    pub card: &'a Card,
    pub contained: &'a [Option<LimitView>],
}

pub(super) fn view(found: &Found<'_>) -> View {
    let sheet = &found.whole.sheet;
    let order = order(found);
    let card: Vec<CardView> = order
        .iter()
        .map(|e| card_view(found, &found.card.entries[*e]))
        .collect();
    let detected = |hazard: usize| {
        let of = |c: &(usize, &CardView)| c.1.rules_out.contains(&hazard);
        card.iter().enumerate().filter(of).map(|c| c.0).collect()
    };
    View {
        sheet: found.whole.name.clone(),
        faults: found.faults,
        hazards: found
            .hazards
            .iter()
            .enumerate()
            .map(|(k, h)| hazard_view(sheet, found.powered, h, detected(k)))
            .collect(),
        uncovered: found
            .card
            .uncovered
            .iter()
            .zip(found.contained)
            .map(|(hazard, limit)| UncoveredView {
                hazard: *hazard,
                says: against(sheet, &found.hazards[*hazard].fault, limit.as_ref()),
                limit: limit.clone(),
            })
            .collect(),
        proven: found.card.proven,
        considered: found.seen.len(),
        minutes: found.card.minutes,
        false_alarms: 1.0
            - found
                .card
                .entries
                .iter()
                .map(|e| 1.0 - e.alarms.min(1.0))
                .product::<f64>(),
        refused: found
            .refused
            .iter()
            .map(|(fault, refusal)| RefusedView {
                part: fault.part_name(sheet),
                fault: fault.mode_name(sheet),
                why: places::unsolved(refusal, sheet).complaints()[0]
                    .message
                    .clone(),
            })
            .collect(),
        doubtful: doubtful(sheet, found.powered),
        wiring: wiring(found.whole, found.powered),
        left_out: found.whole.left_out.clone(),
        cautions: cautions(sheet)
            .into_iter()
            .map(|c| format!("{} {}", c.what, c.why))
            .collect(),
        skipped: found.whole.skipped.clone(),
        card,
    }
}

/// What stands against a hazard that no cold reading shows.
pub(crate) fn against(sheet: &Sheet, fault: &Fault, limit: Option<&LimitView>) -> String {
    match (&fault.place, fault.mode) {
        (Place::Part(p), Mode::Turned)
            if matches!(sheet.parts[p.index()].kind, Kind::Capacitor { .. }) =>
        {
            super::words::polarity(&name(sheet, *p), limit)
        }
        _ => super::words::precaution(limit),
    }
}

/// The order of the card.
fn order(found: &Found<'_>) -> Vec<usize> {
    let stops: Vec<card::Stop> = found
        .card
        .entries
        .iter()
        .map(|e| {
            let seen = &found.seen[e.reading];
            card::Stop {
                condition: seen.bench,
                leads: [seen.candidate.red.net.0, seen.candidate.black.net.0],
            }
        })
        .collect();
    card::in_order(&stops)
}

fn card_view(found: &Found<'_>, entry: &Entry) -> CardView {
    let seen = &found.seen[entry.reading];
    let cold = found.benches[seen.bench].cold;
    let named = |lead: &record::Lead| format!("{}{}", cold.prefix, lead.written);
    CardView {
        kind: seen.candidate.kind.word(),
        red: named(&seen.candidate.red),
        black: named(&seen.candidate.black),
        low: entry.low,
        high: entry.high,
        rules_out: entry.rules_out.clone(),
        expected: seen.middle,
        measured_in: unit_of(seen.candidate.kind),
        minutes: seen.minutes,
        unplugged: cold.unplugged.clone(),
    }
}

fn hazard_view(
    sheet: &Sheet,
    powered: &Powered<'_>,
    hazard: &Hazard,
    detected_by: Vec<usize>,
) -> HazardView {
    let fault = &hazard.fault;
    let cascade = &hazard.cascade;
    let mode = fault.mode.to_string();
    let value = mode.split_once('=').and_then(|(_, v)| v.parse().ok());
    HazardView {
        part: fault.part_name(sheet),
        fault: fault.mode_name(sheet),
        with: match &fault.place {
            Place::Nets(..) => format!("bridge {}", fault.mode_name(sheet)),
            _ => format!("{} {mode}", fault.part_name(sheet)),
        },
        value: value.filter(|_| !matches!(fault.place, Place::Nets(..))),
        victims: cascade
            .victims
            .iter()
            .map(|v| victim_view(sheet, powered, v))
            .collect(),
        blown: cascade.blown.iter().map(|p| name(sheet, *p)).collect(),
        severity: cascade.severity,
        detected_by,
        unfinished: cascade.stopped.is_some(),
    }
}

fn name(sheet: &Sheet, part: PartId) -> String {
    sheet.parts[part.index()].name.clone()
}

fn victim_view(sheet: &Sheet, powered: &Powered<'_>, victim: &Victim) -> VictimView {
    let gauge = &powered.gauges()[victim.gauge];
    gauge_view(sheet, gauge, victim.stress, victim.round)
}

fn gauge_view(sheet: &Sheet, gauge: &Gauge, stress: f64, round: usize) -> VictimView {
    let part = name(sheet, gauge.part);
    VictimView {
        part: match &gauge.piece {
            Some(piece) => format!("{part}.{piece}"),
            None => part,
        },
        why: why(gauge, stress),
        times_rating: stress / gauge.rating,
        weight: gauge.weight,
        round,
        rated: gauge.given,
    }
}

/// `dissipates 1.1 W, rated 0.4 W`.
fn why(gauge: &Gauge, stress: f64) -> String {
    let (verb, unit) = match gauge.aspect {
        Aspect::Watts => ("dissipates", Unit::Watt),
        Aspect::Volts => ("stands across", Unit::Volt),
        Aspect::Reverse => ("stands off backwards", Unit::Volt),
        Aspect::Amps => ("carries", Unit::Ampere),
        Aspect::CollectorEmitter => ("stands off, collector to emitter,", Unit::Volt),
        Aspect::ReverseBase => ("stands off, emitter to base,", Unit::Volt),
        Aspect::Lamp => ("burns at", Unit::Volt),
        Aspect::Rail => ("is fed", Unit::Volt),
        Aspect::Backwards => ("is fed backwards", Unit::Volt),
    };
    let shown = |x: f64| units::significant(x, 3, unit);
    let source = if gauge.given {
        "rated"
    } else {
        "taken to bear"
    };
    format!("{verb} {}, {source} {}", shown(stress), shown(gauge.rating))
}

/// Parts that live beyond their rating when all is well.
fn doubtful(sheet: &Sheet, powered: &Powered<'_>) -> Vec<VictimView> {
    powered
        .gauges()
        .iter()
        .filter(|g| g.healthy > g.rating)
        .map(|g| gauge_view(sheet, g, g.healthy, 0))
        .collect()
}
