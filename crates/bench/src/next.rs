//! `board next`: where to put the probe, what may come, and what each would mean.

use std::collections::HashSet;

use diagnose::{Advice, Class, Predictions, Ranked, Ranking, Stop as Ending, next as advise, rank};
use record::State;
use serde::Serialize;

use crate::candidates::{self, Candidate, HAND_HELD, SoFar};
use crate::case::{self, Case, OneUnit, Options};
use crate::kept::Kept;
use crate::loading::Text;
use crate::refused::{Complaint, Refused};
use crate::suspects::{in_hundred, unit_of};
use crate::table::measured;
use crate::{Progress, Stop};

/// The answer, in the shape of the command line's JSON.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct View {
    /// Unit.
    pub unit: String,
    /// Readings, best first.
    pub candidates: Vec<CandidateView>,
    /// Why one may stop; null if one should go on.
    pub stop: Option<String>,
    /// Bad lines that were skipped.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub skipped: Vec<Complaint>,
}

/// A reading worth taking.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CandidateView {
    /// Kind.
    pub kind: &'static str,
    /// Red lead.
    pub red: String,
    /// Black lead.
    pub black: String,
    /// State.
    pub state: &'static str,
    /// Expected information about the suspects.
    pub bits: f64,
    /// What it costs.
    pub minutes: f64,
    /// What has to be done first.
    pub needs: Vec<String>,
    /// What may come, likeliest first.
    pub outcomes: Vec<OutcomeView>,
    /// What a healthy unit reads; null for over range.
    pub expected: Option<f64>,
    /// Unit of the numbers.
    #[serde(rename = "in")]
    pub measured_in: &'static str,
}

/// A value that may come.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OutcomeView {
    /// About this; null for over range.
    pub near: Option<f64>,
    /// What it would mean.
    pub means: String,
    /// Probability that it comes.
    pub probability: f64,
}

/// At most so many places are weighed; beyond that only those at the suspects' parts and at points.
const MANY: usize = 260;

/// Advises on the next reading of one unit; `powered` admits readings with the supplies on, `kept`
/// holds what was worked out before the last reading.
///
/// # Errors
/// Bad input, no unit named, or stopped.
pub fn next(
    sheet_text: &Text,
    options: &Options,
    powered: bool,
    kept: &Kept,
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<View, Refused> {
    let Some(unit) = options.unit.as_deref() else {
        return Err(Refused::input(
            "It is not said which unit is to be read.",
            "Name it with --unit.",
        ));
    };
    let mut case = case::open(
        sheet_text,
        options,
        &|sheet, meters| {
            let all = candidates::all(sheet, powered);
            let list = all.iter();
            list.filter_map(|c| candidates::place(sheet, meters, c))
                .collect()
        },
        kept,
        stop,
    )?;
    case.focus(kept, progress, stop)?;
    let ranking = rank(&case.units(), case.together);
    Ok(view(&case, &ranking, unit, powered))
}

/// A candidate that passed all rules, with its place and cost.
struct Weighed {
    candidate: Candidate,
    place: usize,
    minutes: f64,
    needs: Vec<String>,
}

pub(crate) fn view(case: &Case, ranking: &Ranking, name: &str, powered: bool) -> View {
    let index = case
        .units
        .iter()
        .position(|u| u.name == name)
        .expect("the unit that is asked for is part of the case");
    let (unit, ranked) = (&case.units[index], &ranking.units[index]);
    let weighed = weigh(case, unit, ranked, powered);
    let offered: Vec<diagnose::Candidate> = weighed
        .iter()
        .map(|w| diagnose::Candidate {
            place: w.place,
            minutes: w.minutes,
        })
        .collect();
    let units = case.units();
    let whole = &units[index];
    let doubts = doubt_shares(unit, ranking);
    let places: Vec<usize> = weighed.iter().map(|w| w.place).collect();
    let variants = diagnose::alive(whole, ranked, &doubts);
    unit.predictor.prepare_some(&places, &variants);
    let advice = advise(whole, ranked, &doubts, &offered);
    View {
        unit: name.to_owned(),
        stop: stop_words(unit, ranked, &advice, &weighed),
        candidates: advice
            .offers
            .iter()
            .map(|offer| offer_view(unit, &weighed[offer.candidate], offer))
            .collect(),
        skipped: case.skipped.clone(),
    }
}

fn doubt_shares(unit: &OneUnit, ranking: &Ranking) -> Vec<(usize, f64)> {
    let changes = unit.predictor.changes();
    ranking
        .doubts
        .iter()
        .filter(|d| d.probability > 1e-3)
        .filter_map(|d| {
            let same = |c: &diagnose::Change| {
                c.blame == diagnose::Blame::Sheet && c.part == d.part && c.name == d.doubt
            };
            Some((changes.iter().position(same)?, d.probability))
        })
        .collect()
}

/// Candidates that may be offered, with places, costs and needs.
fn weigh(case: &Case, unit: &OneUnit, ranked: &Ranked, powered: bool) -> Vec<Weighed> {
    let sheet = unit.predictor.sheet();
    let changes = unit.predictor.changes();
    let readings = unit.readings.iter().map(|i| &case.readings[*i]);
    let so_far = SoFar::new(readings);
    let likely: Vec<&diagnose::Suspect> = ranked
        .suspects
        .iter()
        .filter(|s| s.probability > 1e-3)
        .collect();
    let variants: Vec<(usize, usize)> = likely.iter().map(|s| (s.change, s.variant)).collect();
    let parts: Vec<String> = likely
        .iter()
        .take(40)
        .map(|s| {
            let c = &changes[s.change];
            match c.part.as_str() {
                "bridge" => c.name.clone(),
                part => part.to_owned(),
            }
        })
        .collect();
    let near = candidates::nets_of(sheet, &parts);
    let points: HashSet<sheet::NetId> = sheet.points.iter().map(|p| p.net).collect();
    let leading: HashSet<&str> = ranked
        .suspects
        .iter()
        .filter(|s| s.probability > 0.02)
        .take(6)
        .map(|s| changes[s.change].part.as_str())
        .collect();
    let doubtful: HashSet<usize> = ranked
        .wrong
        .iter()
        .zip(&unit.taken)
        .filter(|(p, _)| **p > 0.05)
        .map(|(_, t)| t.place)
        .collect();
    let taken: HashSet<(record::ReadingKind, State, sheet::NetId, sheet::NetId)> = unit
        .readings
        .iter()
        .zip(&unit.taken)
        .filter(|(_, t)| !doubtful.contains(&t.place))
        .map(|(i, _)| {
            let r = &case.readings[*i];
            (r.kind, r.state, r.red.net, r.black.net)
        })
        .collect();
    let all: Vec<Candidate> = candidates::all(sheet, powered)
        .into_iter()
        .filter(|c| candidates::place(sheet, &case.meters, c).is_some())
        .collect();
    let many = all.iter().filter(|c| c.lift.is_none()).count() > MANY;
    all.into_iter()
        .zip(&unit.extra)
        .filter(|(c, _)| match &c.lift {
            Some(pin) => leading.iter().any(|p| pin.starts_with(&format!("{p}."))),
            None => {
                let here = |n: &sheet::NetId| near.contains(n) || points.contains(n);
                let new = !taken.contains(&(c.kind, c.state, c.red.net, c.black.net));
                new && (!many || (here(&c.red.net) && here(&c.black.net)))
            }
        })
        .filter_map(|(candidate, &place)| {
            let (mut minutes, mut needs) = candidates::cost(sheet, &candidate, &so_far);
            if candidate.state == State::Powered {
                let most = candidates::greatest(&*unit.predictor, place, &variants)?;
                if beyond_meter(case, most) {
                    return None;
                }
                if most > HAND_HELD {
                    minutes += 4.0;
                    needs.push(format!(
                        "up to {:.0} V: off, prove discharged, clip on, hands out, on, read, off",
                        most
                    ));
                }
            }
            Some(Weighed {
                candidate,
                place,
                minutes,
                needs,
            })
        })
        .collect()
}

/// Whether the meter in force must not see so many volts; a meter without a known limit is trusted
/// with what a hand-held reading allows.
fn beyond_meter(case: &Case, volts: f64) -> bool {
    let max = case.meters.current().volts.as_ref().and_then(|v| v.max);
    volts > max.map_or(HAND_HELD, |m| m.0)
}

fn offer_view(unit: &OneUnit, weighed: &Weighed, offer: &diagnose::Offer) -> CandidateView {
    let c = &weighed.candidate;
    let expected = unit
        .predictor
        .healthy(weighed.place)
        .and_then(|h| crate::suspects::number(h.nominal));
    let outcomes = offer
        .outcomes
        .iter()
        .map(|o| OutcomeView {
            near: o.near,
            means: o
                .means
                .iter()
                .filter(|m| m.1 > 0.05)
                .take(4)
                .map(|(class, share)| {
                    format!("{} ({})", class_words(unit, *class), in_hundred(*share))
                })
                .collect::<Vec<_>>()
                .join("; "),
            probability: o.share,
        })
        .collect();
    CandidateView {
        kind: c.kind.word(),
        red: c.red.written.clone(),
        black: c.black.written.clone(),
        state: c.state.word(),
        bits: offer.bits,
        minutes: offer.minutes,
        needs: weighed.needs.clone(),
        outcomes,
        expected,
        measured_in: unit_of(c.kind),
    }
}

fn class_words(unit: &OneUnit, class: Class) -> String {
    let changes = unit.predictor.changes();
    match class {
        Class::NothingWrong => "nothing is wrong".to_owned(),
        Class::Fault(c) => changes[c].words(None),
        Class::Doubt(c) => format!(
            "the drawing is wrong: {} {}",
            changes[c].part, changes[c].name
        ),
    }
}

fn stop_words(
    unit: &OneUnit,
    ranked: &Ranked,
    advice: &Advice,
    weighed: &[Weighed],
) -> Option<String> {
    /// So many readings must agree before nothing is called wrong.
    const ENOUGH: usize = 3;
    let invasive = |k: usize| weighed[k].candidate.lift.is_some();
    match &advice.stop {
        Some(Ending::Convinced(Class::NothingWrong, p)) if unit.taken.len() >= ENOUGH => {
            Some(format!(
                "Nothing is wrong as far as these readings tell: {}.",
                in_hundred(*p)
            ))
        }
        Some(Ending::Convinced(Class::NothingWrong, _)) => None,
        Some(Ending::Convinced(class, p)) => {
            let what = class_words(unit, *class);
            let besides = if ranked.multiple > 0.1 {
                format!(
                    " More than one fault is possible: {}.",
                    in_hundred(ranked.multiple)
                )
            } else {
                String::new()
            };
            Some(format!(
                "{what}: {} of what is left.{besides} Mend it, and read again what it explains.",
                in_hundred(*p)
            ))
        }
        Some(Ending::NothingTells) => {
            let group = ranked.groups.first();
            let names: Vec<String> = group.map_or(Vec::new(), |g| {
                g.iter()
                    .take(4)
                    .map(|k| class_words(unit, Class::Fault(ranked.suspects[*k].change)))
                    .collect()
            });
            Some(format!(
                "No reading that may be offered tells {} apart.",
                names.join(", ")
            ))
        }
        None => {
            let first = advice.offers.first()?;
            invasive(first.candidate).then(|| {
                let lift = weighed[first.candidate].candidate.lift.as_deref();
                format!(
                    "Only an invasive step can decide further: lifting {}.",
                    lift.unwrap_or_default()
                )
            })
        }
    }
}

impl View {
    /// The answer for people.
    pub fn to_text(&self) -> String {
        let mut text = String::new();
        if let Some(why) = &self.stop {
            text += &format!("Unit {}: one may stop. {why}\n", self.unit);
        }
        for (i, c) in self.candidates.iter().take(5).enumerate() {
            let head = match (i, &self.stop) {
                (0, None) => format!("Unit {}, next:", self.unit),
                (0, Some(_)) => "If you go on:".to_owned(),
                _ => "or:".to_owned(),
            };
            text += &format!(
                "{head} {} {}, red on {}, black on {} ({:.1} minutes, {:.2} bits)\n",
                c.state, c.kind, c.red, c.black, c.minutes, c.bits
            );
            for need in &c.needs {
                text += &format!("    first: {need}\n");
            }
            for o in &c.outcomes {
                let near = match o.near {
                    Some(x) => format!("near {}", measured(Some(x), c.measured_in)),
                    None => "over range".to_owned(),
                };
                text += &format!("    {near}: {}\n", o.means);
            }
        }
        text
    }
}
