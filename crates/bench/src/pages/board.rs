//! The page of one board: is it right, and what does it say?

use std::collections::HashMap;
use std::sync::Arc;

use record::{Known, Reading, ReadingKind, State};
use sheet::Sheet;

use super::alike::{self as alike_view, Kin, Out};
use super::cautions::{Caution, cautions};
use super::rows::{self, Row};
use crate::alike;
use crate::entered::{Entered, LEDGER};
use crate::judged::{self, compare_readings, judge_readings};
use crate::loading::Text;
use crate::meters::Meters;
use crate::project::{BoardText, Project, Remark, UnitName};
use crate::refused::Refused;
use crate::{MeterChoice, Progress, Stop};

pub use super::rows::{Cell, Expected, Mark};

/// The page of a board.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// Name of the board.
    pub name: String,
    /// What it is.
    pub title: Option<String>,
    /// Its slot.
    pub slot: Option<String>,
    /// Columns of the table.
    pub units: Vec<UnitName>,
    /// How the readings of each unit stand, in the order of the units.
    pub counts: Vec<Count>,
    /// The verdicts, what disagrees first.
    pub rows: Vec<Row>,
    /// What must be said before a lead is set down.
    pub cautions: Vec<Caution>,
    /// What is wrong or doubtful in the texts.
    pub remarks: Vec<Remark>,
    /// Rails and how each unit's last powered reading of them stands; for hold points.
    pub rails: Vec<Rail>,
    /// The meter that is assumed where a reading names none.
    pub meter: String,
    /// Why there is no table.
    pub without: Option<String>,
    /// Expectations are not computed yet.
    pub is_waiting: bool,
    /// Where a lead can be set down: nets, points, then part pins.
    pub places: Vec<String>,
    /// Meter profiles that a reading may name.
    pub meters: Vec<String>,
    /// Designators, in the order drawn.
    pub parts: Vec<String>,
    /// Like parts beside each other, the odd ones first; only of a board without a sheet.
    pub kin: Vec<Kin>,
}

/// How many readings of a unit stand how.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Count {
    /// In the band.
    pub agree: usize,
    /// At its edge.
    pub edge: usize,
    /// Beyond it.
    pub disagree: usize,
    /// Nothing to hold it against, or not judged yet.
    pub without: usize,
    /// Of all these, taken with the supplies on.
    pub powered: usize,
    /// Of all these, odd among like readings where nothing is expected.
    pub odd: usize,
}

impl Count {
    /// All readings.
    pub fn all(&self) -> usize {
        self.agree + self.edge + self.disagree + self.without
    }
}

/// A rail of the board.
#[derive(Clone, Debug, PartialEq)]
pub struct Rail {
    /// Its net.
    pub net: String,
    /// Whether each unit's powered reading of it agrees; none where it was not read.
    pub agrees: Vec<Option<bool>>,
}

/// A board's texts, read.
pub(crate) struct Opened {
    pub(crate) sheet: Sheet,
    pub(crate) readings: Vec<Reading>,
    pub(crate) builds: HashMap<String, Sheet>,
    pub(crate) meters: Meters,
    /// There is a sheet; else it holds nothing but the places that the readings name.
    pub(crate) is_drawn: bool,
    remarks: Vec<Remark>,
    /// Lines of the readings file; those of the ledger are counted on after them.
    file_lines: usize,
    entered: Option<Arc<Entered>>,
}

impl Opened {
    /// The sheet of a unit as it is built.
    pub(crate) fn own(&self, unit: &str) -> &Sheet {
        self.builds.get(unit).unwrap_or(&self.sheet)
    }

    /// The entry of a reading that was entered.
    pub(crate) fn entry(&self, reading: &Reading) -> Option<String> {
        let index = reading.line.checked_sub(self.file_lines + 2)?;
        self.entered.as_ref()?.ids.get(index).cloned()
    }
}

/// Reads a board's texts; bad lines cost those lines alone. None if not even the shipped meters can be had.
pub(crate) fn open(project: &Project, board: &BoardText) -> Option<Opened> {
    let (sheet, diagnostics) = board.read_sheet();
    let mut remarks: Vec<Remark> = diagnostics.iter().map(Remark::from).collect();
    let meters = meters(project, &mut remarks)?;
    let mut builds = HashMap::new();
    for unit in &project.units {
        if let Some((built, found)) = project.as_built(&sheet, &board.name, &unit.name) {
            builds.insert(unit.name.clone(), built);
            remarks.extend(found);
        }
    }
    let units = project.known_units();
    let against = Against {
        sheet: &sheet,
        builds: &builds,
        meters: &meters,
        units: units.as_deref(),
    };
    let mut readings = match &board.readings {
        Some(text) => against.read(text, &mut remarks),
        None => Vec::new(),
    };
    let file_lines = board
        .readings
        .as_ref()
        .map_or(0, |t| t.text.lines().count());
    if let Some(entered) = &board.entered {
        let text = Text {
            file: LEDGER.to_owned(),
            text: entered.text.clone(),
        };
        let mut later = against.read(&text, &mut remarks);
        later.iter_mut().for_each(|r| r.line += file_lines);
        readings.extend(later);
        readings = settled(readings, &builds);
    }
    Some(Opened {
        sheet,
        readings,
        builds,
        meters,
        is_drawn: board.sheet.is_some(),
        remarks,
        file_lines,
        entered: board.entered.clone(),
    })
}

/// Readings of the file and of the ledger together. The leads of a unit that is built differently are numbered by its own
/// build, so each unit is settled by itself.
fn settled(readings: Vec<Reading>, builds: &HashMap<String, Sheet>) -> Vec<Reading> {
    let (own, drawn): (Vec<Reading>, Vec<Reading>) = readings
        .into_iter()
        .partition(|r| builds.contains_key(&r.unit));
    let mut all = record::settle(drawn);
    all.extend(record::settle(own));
    all.sort_by_key(|r| r.line);
    all
}

/// What readings are read against.
struct Against<'a> {
    sheet: &'a Sheet,
    builds: &'a HashMap<String, Sheet>,
    meters: &'a Meters,
    units: Option<&'a [String]>,
}

impl Against<'_> {
    /// The readings that count, in the order written. Those of a unit that is built differently are read against its own
    /// build, because a part that is absent there has no pin that could have been touched.
    fn read(&self, text: &Text, remarks: &mut Vec<Remark>) -> Vec<Reading> {
        let against = |sheet: &Sheet, remarks: &mut Vec<Remark>| {
            let known = Known {
                sheet,
                meters: &self.meters.all,
                units: self.units,
            };
            let (readings, found) = record::parse_readings(&text.text, &text.file, &known);
            for remark in found.iter().map(Remark::from) {
                if !remarks.contains(&remark) {
                    remarks.push(remark);
                }
            }
            record::settle(readings)
        };
        let mut all = against(self.sheet, remarks);
        all.retain(|r| !self.builds.contains_key(&r.unit));
        for (unit, built) in self.builds {
            let own = against(built, remarks);
            all.extend(own.into_iter().filter(|r| r.unit == *unit));
        }
        all.sort_by_key(|r| r.line);
        all
    }
}

/// The meters; a profile file with mistakes is said and left out.
fn meters(project: &Project, remarks: &mut Vec<Remark>) -> Option<Meters> {
    let choice = MeterChoice {
        chosen: None,
        beside: project.meter.clone(),
    };
    Meters::settle(&choice)
        .or_else(|refused| {
            let remark = |c: &crate::Complaint| Remark {
                is_error: true,
                complaint: c.clone(),
            };
            remarks.extend(refused.complaints().iter().map(remark));
            Meters::settle(&MeterChoice::default())
        })
        .ok()
}

/// The page at once, without expectations.
pub fn outline(project: &Project, board: &BoardText) -> View {
    match open(project, board) {
        Some(opened) if opened.is_drawn => view(project, board, opened, None, &[]),
        opened => compared(project, board, opened),
    }
}

/// The page with its verdicts.
///
/// # Errors
/// If it was stopped.
pub fn judged(
    project: &Project,
    board: &BoardText,
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<View, Refused> {
    let opened = match open(project, board) {
        Some(opened) if opened.is_drawn => opened,
        opened => return Ok(compared(project, board, opened)),
    };
    let verdicts = judge_readings(
        &opened.sheet,
        &opened.readings,
        &opened.meters,
        &|unit| opened.builds.get(unit).cloned(),
        progress,
        stop,
    )?;
    Ok(view(project, board, opened, Some(&verdicts), &[]))
}

/// The page of a board without a sheet: its units and its like parts beside each other.
fn compared(project: &Project, board: &BoardText, opened: Option<Opened>) -> View {
    let why = board.missing.clone().unwrap_or_else(|| {
        "There is no sheet of this board yet; like readings are compared with each other."
            .to_owned()
    });
    match opened {
        Some(opened) => {
            let groups = alike::groups(&opened.readings);
            let twins = alike::twins(&opened.readings);
            let standings = alike::standings(opened.readings.len(), &groups, &twins);
            let verdicts = compare_readings(&opened.readings, &standings);
            let out = alike_view::out(&opened.readings, &groups, &standings);
            let kin = alike_view::kin(&opened.readings, &columns(project, &opened), &groups);
            View {
                without: Some(why),
                kin,
                ..view(project, board, opened, Some(&verdicts), &out)
            }
        }
        None => View {
            name: board.name.clone(),
            title: board.title.clone(),
            slot: board.slot.clone(),
            units: project.units.clone(),
            counts: vec![Count::default(); project.units.len()],
            rows: Vec::new(),
            cautions: Vec::new(),
            remarks: Vec::new(),
            rails: Vec::new(),
            meter: String::new(),
            without: Some(why),
            is_waiting: false,
            places: Vec::new(),
            meters: Vec::new(),
            parts: Vec::new(),
            kin: Vec::new(),
        },
    }
}

/// The unit of each reading, as an index.
fn columns(project: &Project, opened: &Opened) -> Vec<Option<usize>> {
    let column = |unit: &str| project.units.iter().position(|u| u.name == unit);
    opened.readings.iter().map(|r| column(&r.unit)).collect()
}

fn view(
    project: &Project,
    board: &BoardText,
    opened: Opened,
    verdicts: Option<&[judged::Row]>,
    out: &[Out],
) -> View {
    let columns = columns(project, &opened);
    let mut counts = vec![Count::default(); project.units.len()];
    for (index, unit) in columns.iter().enumerate() {
        let Some(unit) = *unit else { continue };
        let count = &mut counts[unit];
        match verdicts.map(|v| v[index].verdict) {
            Some("agrees") => count.agree += 1,
            Some("edge") => count.edge += 1,
            Some("disagrees") => count.disagree += 1,
            _ => count.without += 1,
        }
        count.powered += usize::from(opened.readings[index].state == State::Powered);
    }
    let rows = rows::rows(
        &opened.readings,
        &columns,
        verdicts,
        &project.units,
        out,
        &|reading| opened.entry(reading),
    );
    for (count, odd) in counts
        .iter_mut()
        .zip(odd_counts(&rows, project.units.len()))
    {
        count.odd = odd;
    }
    View {
        name: board.name.clone(),
        title: board.title.clone(),
        slot: board.slot.clone(),
        units: project.units.clone(),
        rows,
        counts,
        cautions: cautions(&opened.sheet),
        rails: rails(&opened, &columns, verdicts, project.units.len()),
        places: places(&opened.sheet),
        meters: opened.meters.all.iter().map(|m| m.name.clone()).collect(),
        parts: opened.sheet.parts.iter().map(|p| p.name.clone()).collect(),
        kin: Vec::new(),
        remarks: opened.remarks,
        meter: opened.meters.current().name.clone(),
        without: None,
        is_waiting: verdicts.is_none() && !opened.readings.is_empty(),
    }
}

/// How many readings of each unit are odd where nothing is expected: those that stand out among like parts, else both of a
/// pair that differs.
pub(super) fn odd_counts(rows: &[Row], units: usize) -> Vec<usize> {
    let mut odd = vec![0; units];
    for row in rows.iter().filter(|r| r.is_odd()) {
        let some_stand_out = row.cells.iter().any(|c| c.stands_out);
        for (count, cell) in odd.iter_mut().zip(&row.cells) {
            let counts = cell.mark == Mark::NoExpectation && (cell.stands_out || !some_stand_out);
            *count += usize::from(counts);
        }
    }
    odd
}

/// Where a lead can be set down.
fn places(sheet: &Sheet) -> Vec<String> {
    let nets = sheet.nets.iter().map(|n| n.name.clone());
    let points = sheet.points.iter().map(|p| p.name.clone());
    let pins = sheet.parts.iter().flat_map(|part| {
        let pins = part.pins().into_iter();
        pins.map(|(pin, _)| format!("{}.{pin}", part.name))
    });
    nets.chain(points).chain(pins).collect()
}

/// Rails against the first ground net, the last powered reading of each unit.
fn rails(
    opened: &Opened,
    columns: &[Option<usize>],
    verdicts: Option<&[judged::Row]>,
    units: usize,
) -> Vec<Rail> {
    let sheet = &opened.sheet;
    let is_rail = |net: &sheet::Net| net.role == Some(sheet::Role::Rail);
    let rails = sheet.nets.iter().enumerate().filter(|(_, n)| is_rail(n));
    rails
        .map(|(net, rail)| {
            let mut agrees = vec![None; units];
            for (index, reading) in opened.readings.iter().enumerate() {
                let is_of_rail = reading.state == State::Powered
                    && reading.kind == ReadingKind::Volts
                    && reading.red.net.index() == net
                    && Some(reading.black.net) == sheet.ground();
                if let (true, Some(unit), Some(verdicts)) = (is_of_rail, columns[index], verdicts) {
                    agrees[unit] = Some(verdicts[index].verdict == "agrees");
                }
            }
            Rail {
                net: rail.name.clone(),
                agrees,
            }
        })
        .collect()
}
