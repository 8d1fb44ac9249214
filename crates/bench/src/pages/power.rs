//! The page of first power: the cold card with what came of it, and the stages of the bring-up.

use std::collections::HashMap;

use record::{Placement, Reading, ReadingValue, Shown, State};

use super::board::{self, Mark, Opened};
use crate::power::plan;
use crate::project::{BoardText, Project};
use crate::refused::Refused;
use crate::risk::{self, CardView, Input};
use crate::{MeterChoice, Progress, Stop, table};

pub use crate::power::MAINS;

/// Healthy units that are drawn to set the limits, as `power plan` does.
const UNITS: usize = 200;
/// Frequency of the mains, in hertz, as `power plan` takes it.
const HERTZ: f64 = 50.0;

/// What is worked out for a machine, or for a folder's only sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// Hazards, the cold card and what it leaves open.
    pub card: risk::View,
    /// The stages, or why there are none.
    pub plan: Result<plan::View, String>,
}

/// A reading of the card, in print, with what came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// `ohms` or `diode`.
    pub kind: &'static str,
    /// Red lead, with its board.
    pub red: String,
    /// Black lead, with its board.
    pub black: String,
    /// The board on which both leads stand, and the leads as they are named there.
    pub place: Option<Place>,
    /// It should not read below this; empty for no lower line.
    pub low: String,
    /// It should not read above this; empty for no upper line.
    pub high: String,
    /// What a healthy unit reads.
    pub expected: String,
    /// The faults that it rules out.
    pub rules_out: Vec<String>,
    /// Connectors that are unplugged for it.
    pub unplugged: Vec<String>,
    /// What is ticked off: the reading with its lines.
    pub name: String,
    /// One a unit.
    pub cells: Vec<Cell>,
}

/// Where a reading is taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The board.
    pub board: String,
    /// Red lead.
    pub red: String,
    /// Black lead.
    pub black: String,
}

/// What one unit read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cell {
    /// In print; empty if not taken.
    pub value: String,
    /// How it stands to its lines.
    pub held: Held,
    /// Why a reading that is there does not count here; empty if none is passed over.
    pub note: String,
    /// The ledger's entry of it; none if it stands in a file.
    pub entry: Option<String>,
}

/// How a reading stands to the lines of the card.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Held {
    /// On the good side of both.
    Within,
    /// Below the lower one.
    Below,
    /// Above the upper one.
    Above,
    /// Over range, where there is an upper one.
    OverRange,
    /// Nothing that counts was read.
    NotTaken,
}

impl Held {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Held::Within => "within",
            Held::Below => "beyond, low",
            Held::Above => "beyond, high",
            Held::OverRange => "beyond, over range",
            Held::NotTaken => "not taken",
        }
    }

    /// Its shape.
    pub fn mark(self) -> Mark {
        match self {
            Held::Within => Mark::Agrees,
            Held::Below => Mark::Low,
            Held::Above => Mark::High,
            Held::OverRange => Mark::OverRange,
            Held::NotTaken => Mark::NotTaken,
        }
    }

    /// On the bad side of a line.
    pub fn is_beyond(self) -> bool {
        matches!(self, Held::Below | Held::Above | Held::OverRange)
    }
}

/// Works out card and stages for the boards as drawn. Bad lines of sheets cost those lines alone.
///
/// # Errors
/// If there is nothing drawn, several sheets and no machine file, a circuit without an operating point, or stopped.
pub fn power(project: &Project, progress: Progress<'_>, stop: Stop<'_>) -> Result<View, Refused> {
    let options = plan::Options {
        meter: MeterChoice {
            chosen: None,
            beside: project.meter.clone(),
        },
        units: UNITS,
        hertz: HERTZ,
        lenient: true,
    };
    let answer = plan::with_card(&input(project)?, &options, progress, stop)?;
    Ok(View {
        card: answer.card,
        plan: answer
            .plan
            .map_err(|refused| refused.complaints()[0].message.clone()),
    })
}

fn drawn(project: &Project) -> impl Iterator<Item = &BoardText> {
    project.boards().filter(|b| b.sheet.is_some())
}

fn input(project: &Project) -> Result<Input, Refused> {
    let texts: Vec<_> = drawn(project).filter_map(|b| b.sheet.as_ref()).collect();
    let Some(machine) = project.machine_text() else {
        return match texts.as_slice() {
            [only] => Ok(Input::Board((*only).clone())),
            [] => Err(Refused::unable(
                "Nothing is drawn yet, so nothing can be said about first power. Draw the first board.",
                "Draw the first board.",
            )),
            _ => Err(Refused::unable(
                "There are several sheets and no machine.kdl that says how they are joined. Name the boards in machine.kdl, or ask `power plan` for one sheet.",
                "Name the boards in machine.kdl.",
            )),
        };
    };
    let found = |path: String| {
        let text = texts
            .iter()
            .find(|t| t.file == path.trim_start_matches("./"))?;
        Some((path, (*text).clone()))
    };
    Ok(Input::Machine {
        machine: machine.clone(),
        sheets: risk::machine_sheets(machine)
            .into_iter()
            .filter_map(found)
            .collect(),
        unit: None,
    })
}

/// The card in print, and for each unit of the project what was read of it.
pub fn rows(project: &Project, card: &risk::View) -> Vec<Row> {
    let mut opened: HashMap<String, Option<Opened>> = HashMap::new();
    card.card
        .iter()
        .map(|c| {
            let place = place(project, c);
            let board = place.as_ref().and_then(|p| {
                let open = || board::open(project, project.board(&p.board)?);
                opened.entry(p.board.clone()).or_insert_with(open).as_ref()
            });
            let cells = project.units.iter().map(|unit| match (&place, board) {
                (Some(place), Some(board)) => {
                    cell(board, place, c, &unit.name, project.has_machine)
                }
                _ => not_taken(""),
            });
            let line = |x: Option<f64>| {
                x.map_or(String::new(), |x| table::measured(Some(x), c.measured_in))
            };
            Row {
                name: check_name(c),
                kind: c.kind,
                red: c.red.clone(),
                black: c.black.clone(),
                low: line(c.low),
                high: line(c.high),
                expected: table::measured(c.expected, c.measured_in),
                rules_out: c
                    .rules_out
                    .iter()
                    .map(|h| card.hazards[*h].with.clone())
                    .collect(),
                unplugged: c.unplugged.clone(),
                cells: cells.collect(),
                place,
            }
        })
        .collect()
}

/// The reading with its lines in words: other lines make it another check.
fn check_name(card: &CardView) -> String {
    let out = match card.unplugged.is_empty() {
        true => String::new(),
        false => format!(" with {} unplugged", card.unplugged.join(", ")),
    };
    format!(
        "{} {} to {}{out}: {}",
        card.kind,
        card.red,
        card.black,
        risk::should(card)
    )
}

/// The board of both leads. Names carry their board when boards are joined; a single board's do not.
fn place(project: &Project, card: &CardView) -> Option<Place> {
    let of = |board: &BoardText| {
        let own = |lead: &str| {
            let rest = lead.strip_prefix(board.name.as_str())?.strip_prefix(':')?;
            Some(rest.to_owned())
        };
        Some(Place {
            red: own(&card.red)?,
            black: own(&card.black)?,
            board: board.name.clone(),
        })
    };
    let only = || {
        let mut all = drawn(project);
        let board = all.next().filter(|_| all.next().is_none())?;
        Some(Place {
            board: board.name.clone(),
            red: card.red.clone(),
            black: card.black.clone(),
        })
    };
    drawn(project).find_map(of).or_else(only)
}

fn not_taken(note: &str) -> Cell {
    Cell {
        value: String::new(),
        held: Held::NotTaken,
        note: note.to_owned(),
        entry: None,
    }
}

/// The last reading of a unit that was taken as the card has it.
fn cell(board: &Opened, place: &Place, card: &CardView, unit: &str, is_joined: bool) -> Cell {
    let own = board.own(unit);
    let (Ok(red), Ok(black)) = (
        record::resolve(&place.red, own),
        record::resolve(&place.black, own),
    ) else {
        return not_taken("no such place in this unit");
    };
    let there: Vec<&Reading> = board
        .readings
        .iter()
        .filter(|r| {
            r.unit == unit
                && r.state == State::Cold
                && r.kind.word() == card.kind
                && (r.red.net, r.black.net) == (red.net, black.net)
                && r.conditions.lifted.is_empty()
        })
        .collect();
    if there.is_empty() {
        return not_taken("");
    }
    if board.builds.contains_key(unit) {
        return not_taken("read, but this unit is built differently from the drawing of the card");
    }
    let meters = &board.meters;
    let is_same_meter = |r: &&Reading| {
        let in_force = &meters.all[meters.current].name;
        r.meter.as_ref().is_none_or(|m| m == in_force)
    };
    let like: Vec<&Reading> = there.into_iter().filter(is_same_meter).collect();
    if like.is_empty() {
        return not_taken("read, but with another meter");
    }
    let counts = |r: &&&Reading| is_placed(board, r, card, is_joined);
    match like.iter().rev().find(counts) {
        Some(reading) => Cell {
            value: reading.written.clone(),
            held: held(&reading.value, card),
            note: String::new(),
            entry: board.entry(reading),
        },
        None if card.unplugged.is_empty() => not_taken("read, but not noted as in the chassis"),
        None => not_taken("read, but not noted as board out or with these unplugged"),
    }
}

/// Whether the board stood as the card wants it. What was not written counts as not so, except on a board that is joined
/// to nothing.
fn is_placed(board: &Opened, reading: &Reading, card: &CardView, is_joined: bool) -> bool {
    let conditions = &reading.conditions;
    if card.unplugged.is_empty() {
        let is_in_place = conditions.placement == Some(Placement::Chassis);
        return !is_joined || (is_in_place && conditions.unplugged.is_empty());
    }
    let is_off = |connector: &String| {
        conditions.unplugged.iter().any(|part| {
            let name = &board.sheet.parts[part.index()].name;
            connector.rsplit(':').next() == Some(name.as_str())
        })
    };
    conditions.placement == Some(Placement::BoardOut) || card.unplugged.iter().all(is_off)
}

/// Of a reading that wandered both ends have to be within.
pub(super) fn held(value: &ReadingValue, card: &CardView) -> Held {
    let one = |shown: &Shown| match shown {
        Shown::OverRange if card.high.is_some() => Held::OverRange,
        Shown::OverRange => Held::Within,
        Shown::Number(x) if card.low.is_some_and(|low| *x < low) => Held::Below,
        Shown::Number(x) if card.high.is_some_and(|high| *x > high) => Held::Above,
        Shown::Number(_) => Held::Within,
    };
    match value {
        ReadingValue::Steady(shown) => one(shown),
        ReadingValue::Intermittent(a, b) => match one(a) {
            Held::Within => one(b),
            beyond => beyond,
        },
    }
}
