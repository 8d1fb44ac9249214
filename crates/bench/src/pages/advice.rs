//! What could be wrong with a board, why, and where to put the probe next.

use super::{board, rulings};
use crate::case::{self, Options};
use crate::entered::{self, LEDGER, Ruled};
use crate::kept::Kept;
use crate::loading::Text;
use crate::meters::MeterChoice;
use crate::project::{BoardText, Project};
use crate::refused::Refused;
use crate::suspects::{self, Opinion, UnitView, in_hundred};
use crate::table::measured;
use crate::{Progress, Stop, candidates, next};

/// What the readings of a board say together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct View {
    /// One a unit that was read.
    pub units: Vec<Unit>,
    /// What may be wrong with the drawing, likeliest first.
    pub doubts: Vec<Share>,
}

/// Something and how likely it is.
#[derive(Clone, Debug, PartialEq)]
pub struct Share {
    /// In words.
    pub what: String,
    /// Probability, 0 to 1.
    pub probability: f64,
    /// The same in words, such as `71 in 100`.
    pub words: String,
}

/// One unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Unit {
    /// Its name.
    pub name: String,
    /// Nothing wrong, a reading wrong, more than one fault, the drawing wrong: what is worth saying.
    pub standing: Vec<Share>,
    /// What would explain the readings, likeliest first.
    pub suspects: Vec<Suspect>,
    /// Readings that should be taken again, in words.
    pub again: Vec<String>,
    /// The reading that tells most for its time; none if none would tell anything.
    pub next: Option<Next>,
    /// Why one may stop.
    pub stop: Option<String>,
    /// Suspects that a person ruled in or out.
    pub ruled: Vec<Ruled>,
}

/// A group of faults that no reading taken tells apart, by its likeliest member.
#[derive(Clone, Debug, PartialEq)]
pub struct Suspect {
    /// The likeliest, and the probability of the group.
    pub share: Share,
    /// The others.
    pub alike: Vec<String>,
    /// Readings for and against it, as whole sentences.
    pub reasons: Vec<String>,
    /// `PART FAULT`, by which it is ruled in or out.
    pub name: String,
}

/// A reading to be taken.
#[derive(Clone, Debug, PartialEq)]
pub struct Next {
    /// `cold ohms`, say.
    pub what: String,
    /// `cold` or `powered`.
    pub state: &'static str,
    /// `ohms`, `diode` or `volts`.
    pub kind: &'static str,
    /// What a healthy unit reads, in print.
    pub expected: String,
    /// Red lead.
    pub red: String,
    /// Black lead.
    pub black: String,
    /// What has to be done first.
    pub needs: Vec<String>,
    /// What may come, and what it would mean.
    pub outcomes: Vec<(String, String)>,
}

/// Less likely than this is not said.
const SAID: f64 = 0.01;

/// Weighs all readings of a board; `kept` holds what was worked out before the last reading.
///
/// # Errors
/// If it was stopped, or nothing can be solved.
pub fn advice(
    project: &Project,
    board: &BoardText,
    kept: &Kept,
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<View, Refused> {
    let Some(sheet) = &board.sheet else {
        return Ok(View::default());
    };
    let Some(readings) = readings(project, board) else {
        return Ok(View::default());
    };
    let options = Options {
        readings,
        machine: project.machine_text().cloned(),
        meter: MeterChoice {
            chosen: None,
            beside: project.meter.clone(),
        },
        unit: None,
        priors: Opinion::Published,
        lenient: true,
    };
    let places = |sheet: &sheet::Sheet, meters: &crate::meters::Meters| {
        candidates::all(sheet, false)
            .iter()
            .filter_map(|c| candidates::place(sheet, meters, c))
            .collect()
    };
    let mut case = case::open(sheet, &options, &places, kept, stop)?;
    case.focus(kept, progress, stop)?;
    let ranking = rulings::rank(&case, &board.rulings);
    let shown = suspects::shown(&case, &ranking, None);
    let units = shown
        .units
        .iter()
        .map(|unit| {
            let advice = next::view(&case, &ranking, &unit.unit, false);
            Unit {
                ruled: rulings::of_unit(&board.rulings, &unit.unit),
                ..self::unit(unit, &advice)
            }
        })
        .collect();
    Ok(View {
        units,
        doubts: shown
            .sheet_doubts
            .iter()
            .filter(|d| d.probability > SAID)
            .take(4)
            .map(|d| share(d.means.clone(), d.probability))
            .collect(),
    })
}

/// All readings of a board as one file; none if nothing was read.
fn readings(project: &Project, board: &BoardText) -> Option<Text> {
    if board.entered.is_none() {
        return board.readings.clone();
    }
    let opened = board::open(project, board)?;
    Some(Text {
        file: LEDGER.to_owned(),
        text: entered::file_of(&opened.readings, &|unit| opened.own(unit)),
    })
}

fn share(what: String, probability: f64) -> Share {
    Share {
        what,
        probability,
        words: in_hundred(probability),
    }
}

fn unit(view: &UnitView, advice: &next::View) -> Unit {
    let standing = [
        (view.healthy, "nothing is wrong"),
        (view.reading_error, "nothing but a reading is wrong"),
        (view.multiple, "more than one fault"),
        (view.sheet, "the drawing is wrong"),
    ];
    Unit {
        name: view.unit.clone(),
        standing: standing
            .into_iter()
            .filter(|(p, _)| *p > SAID)
            .map(|(p, what)| share(what.to_owned(), p))
            .collect(),
        suspects: view
            .groups
            .iter()
            .filter(|g| g.probability > SAID)
            .filter_map(|g| suspect(view, g))
            .take(4)
            .collect(),
        again: view
            .doubtful_readings
            .iter()
            .take(3)
            .map(|d| format!("{}: {}", d.reading, in_hundred(d.probability)))
            .collect(),
        next: advice.candidates.first().map(to_take),
        ruled: Vec::new(),
        stop: advice.stop.clone(),
    }
}

/// None for faults that no reading taken would show: those are not suspects of anything read.
fn suspect(view: &UnitView, group: &suspects::GroupView) -> Option<Suspect> {
    let members: Vec<_> = view
        .suspects
        .iter()
        .filter(|s| s.group == group.id)
        .collect();
    let first = members.first().filter(|s| !s.reasons.is_empty())?;
    let mut reasons: Vec<String> = Vec::new();
    for r in &first.reasons {
        let head = match r.speaks {
            "for" => "It explains",
            "against" => "Against it",
            _ => "It does not explain",
        };
        reasons.push(format!("{head}: {}", r.plain()));
    }
    if first.reasons.iter().all(|r| r.speaks == "for") {
        reasons.push("Nothing contradicts it.".to_owned());
    }
    reasons.truncate(6);
    Some(Suspect {
        share: share(first.plain(), group.probability),
        alike: members.iter().skip(1).take(5).map(|m| m.plain()).collect(),
        reasons,
        name: format!("{} {}", first.part, first.fault),
    })
}

fn to_take(candidate: &next::CandidateView) -> Next {
    Next {
        what: format!("{} {}", candidate.state, candidate.kind),
        state: candidate.state,
        kind: candidate.kind,
        expected: measured(candidate.expected, candidate.measured_in),
        red: candidate.red.clone(),
        black: candidate.black.clone(),
        needs: candidate.needs.clone(),
        outcomes: candidate
            .outcomes
            .iter()
            .take(4)
            .map(|o| {
                let near = match o.near {
                    Some(x) => format!("near {}", measured(Some(x), candidate.measured_in)),
                    None => "over range".to_owned(),
                };
                (near, o.means.clone())
            })
            .collect(),
    }
}
