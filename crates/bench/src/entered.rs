//! Readings that were entered into the ledger, beside those that stand in a project's files.

use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::Arc;

use record::event::{Row, Ruling, Site};
use record::{Entry, Known, Reading, ReadingKind, VerdictWord, Work};
use sheet::Sheet;

use crate::MeterChoice;
use crate::meters::Meters;
use crate::pages::board::Mark;
use crate::project::{BoardText, Project};
use crate::refused::Complaint;

/// The name that stands for the ledger where a file would be named.
pub const LEDGER: &str = "the ledger";

/// The readings of one board, as a readings file that grows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entered {
    /// The file: a header, and a line for each reading.
    pub text: String,
    /// The entry of each line after the header.
    pub ids: Vec<String>,
    /// Units that are named, in the order in which they came.
    pub units: Vec<String>,
    /// A sum over all lines.
    pub stamp: u64,
}

impl Default for Entered {
    fn default() -> Self {
        Self {
            text: Row::file_header(),
            ids: Vec::new(),
            units: Vec::new(),
            stamp: 0,
        }
    }
}

impl Entered {
    /// Takes the next reading.
    pub fn take(&mut self, id: &str, row: &Row) {
        let line = row.file_line();
        let mut hasher = DefaultHasher::new();
        (self.stamp, &line).hash(&mut hasher);
        self.stamp = hasher.finish();
        self.text.push_str(&line);
        self.ids.push(id.to_owned());
        if !self.units.contains(&row.site.unit) {
            self.units.push(row.site.unit.clone());
        }
    }
}

/// A suspect that a person ruled in or out.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Ruled {
    /// The entry that says so.
    pub entry: String,
    /// The unit.
    pub unit: String,
    /// `PART FAULT`.
    pub suspect: String,
    /// Ruled out, or in.
    pub out: bool,
    /// Why.
    pub reason: String,
}

/// What the ledger says about the boards of a project.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Written {
    /// The readings of each board.
    pub boards: BTreeMap<String, Arc<Entered>>,
    /// The rulings on each board, the last word on each suspect.
    pub rulings: BTreeMap<String, Vec<Ruled>>,
}

impl Written {
    /// All that counts in a ledger.
    pub fn of(work: &Work) -> Self {
        let mut written = Self::default();
        for (entry, row) in work.readings(None) {
            written.reading(entry, row);
        }
        written.rule(work);
        written
    }

    /// Takes the next reading; one that names no board belongs to none.
    pub fn reading(&mut self, entry: &Entry, row: &Row) {
        if let Some(board) = &row.site.board {
            let entered = self.boards.entry(board.clone()).or_default();
            Arc::make_mut(entered).take(entry.id.as_str(), row);
        }
    }

    /// Takes the rulings anew.
    pub fn rule(&mut self, work: &Work) {
        self.rulings.clear();
        for (entry, event) in work.others() {
            if let record::Event::Ruling(ruling) = event
                && let Some(board) = &ruling.site.board
            {
                let list = self.rulings.entry(board.clone()).or_default();
                list.retain(|r| !(r.unit == ruling.site.unit && r.suspect == ruling.suspect));
                list.push(ruled(entry, ruling));
            }
        }
    }
}

fn ruled(entry: &Entry, ruling: &Ruling) -> Ruled {
    Ruled {
        entry: entry.id.to_string(),
        unit: ruling.site.unit.clone(),
        suspect: ruling.suspect.clone(),
        out: ruling.out,
        reason: ruling.reason.clone(),
    }
}

/// Readings as a readings file with every column; `own` gives the sheet against which a unit's readings were read.
pub fn file_of<'a>(readings: &[Reading], own: &dyn Fn(&str) -> &'a Sheet) -> String {
    let mut text = Row::file_header();
    for reading in readings {
        text.push_str(&row_of(reading, own(&reading.unit)).file_line());
    }
    text
}

/// A reading as it would be entered.
pub fn row_of(reading: &Reading, own: &Sheet) -> Row {
    let c = &reading.conditions;
    let connector = |id: &sheet::PartId| own.parts.get(id.index()).map(|p| p.name.clone());
    Row {
        site: Site {
            unit: reading.unit.clone(),
            board: None,
        },
        state: reading.state,
        kind: reading.kind,
        red: reading.red.written.clone(),
        black: reading.black.written.clone(),
        value: reading.written.clone(),
        meter: reading.meter.clone(),
        note: reading.note.clone(),
        place: c.placement,
        lifted: c.lifted.iter().map(|l| l.written.clone()).collect(),
        unplugged: c.unplugged.iter().filter_map(connector).collect(),
        celsius: c.celsius,
        minutes: c.minutes,
        cycle: c.cycle.clone(),
        time: reading.time.clone(),
    }
}

/// Whether a reading can be used on its board: its places are on the sheet, its meter is known, its unit is one of the
/// machine's.
///
/// # Errors
/// With what cannot be used.
pub fn fits(project: &Project, board: &BoardText, row: &Row) -> Result<(), Box<Complaint>> {
    let (mut sheet, _) = board.read_sheet();
    if board.sheet.is_none() {
        for name in [&row.red, &row.black] {
            if sheet.net(name).is_none() {
                sheet.nets.push(sheet::Net {
                    name: name.clone(),
                    role: None,
                    volts: None,
                    tolerance: None,
                    source: None,
                    span: sheet::Span::default(),
                });
            }
        }
    }
    let built = project.as_built(&sheet, &board.name, &row.site.unit);
    let sheet = built.map_or(sheet, |(built, _)| built);
    let choice = MeterChoice {
        chosen: None,
        beside: project.meter.clone(),
    };
    let meters = Meters::settle(&choice).or_else(|_| Meters::settle(&MeterChoice::default()));
    let units = project.known_units();
    let known = Known {
        sheet: &sheet,
        meters: meters.as_ref().map_or(&[], |m| m.all.as_slice()),
        units: units.as_deref(),
    };
    let text = Row::file_header() + &row.file_line();
    let (_, found) = record::parse_readings(&text, LEDGER, &known);
    let bare = |d: &sheet::Diagnostic| Complaint {
        file: None,
        line: None,
        column: None,
        source_line: None,
        ..Complaint::from(d)
    };
    match found.iter().find(|d| d.is_error()) {
        Some(error) => Err(Box::new(bare(error))),
        None => Ok(()),
    }
}

/// A value as it is written at the bench, in SI units; none if it cannot be read as this kind, or is over range.
pub fn written(text: &str, kind: ReadingKind) -> Option<f64> {
    let read = units::read(text, kind.unit()).ok()?;
    Some(read.number).filter(|n| n.is_finite())
}

/// What one reading is worth by itself; no expectation where none can be had.
pub fn verdict(project: &Project, board: &BoardText, row: &Row) -> VerdictWord {
    let alone = BoardText {
        readings: None,
        entered: Some(Arc::new({
            let mut entered = Entered::default();
            entered.take("", row);
            entered
        })),
        ..board.clone()
    };
    let judged = crate::pages::board::judged(project, &alone, &|_, _| {}, &|| false);
    let mark = judged.ok().and_then(|view| {
        let cells = view.rows.into_iter().flat_map(|r| r.cells);
        cells.map(|c| c.mark).find(|m| *m != Mark::NotTaken)
    });
    match mark {
        Some(Mark::Agrees) => VerdictWord::Agrees,
        Some(Mark::Edge(_)) => VerdictWord::Edge,
        Some(Mark::Low | Mark::High | Mark::OverRange) => VerdictWord::Disagrees,
        Some(Mark::NoExpectation | Mark::NotTaken | Mark::Waiting) | None => {
            VerdictWord::NoExpectation
        }
    }
}
