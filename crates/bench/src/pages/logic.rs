//! A gate sheet of the project: which parts would explain what was seen, the next net, and the sheet as a graph.

mod graph;

use crate::Text;
use crate::logic::{GateCase, GateResult, NextView, Simulated};
use crate::refused::{Complaint, Refused};
use crate::stores::{Role, StoreFile, StoreText, role};

pub use graph::{Graph, Node, Pin, Wire};

/// A gate sheet and what was seen of it in each unit.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// The file's name.
    pub name: String,
    /// What the sheet calls itself, and how large it is.
    pub title: String,
    /// Whether it keeps a state, so that rows follow one another.
    pub is_sequence: bool,
    /// Files of rows, in the order of the units.
    pub units: Vec<UnitView>,
    /// The sheet drawn; none if it cannot be built.
    pub graph: Option<Graph>,
    /// What is wrong or doubtful in the files.
    pub remarks: Vec<Complaint>,
}

/// What was seen in one unit.
#[derive(Clone, Debug, PartialEq)]
pub struct UnitView {
    /// The unit.
    pub unit: String,
    /// The file; empty if all was entered by hand.
    pub file: String,
    /// Entries by hand.
    pub entered: usize,
    /// What explains all its rows together.
    pub result: GateResult,
    /// Where to look next.
    pub next: NextView,
    /// What the healthy sheet would show.
    pub expected: Simulated,
    /// Levels seen, for each row: net and level.
    pub seen: Vec<Vec<(String, bool)>>,
}

impl UnitView {
    /// The first row that the sheet does not give, counted from 0 over all runs; the last row if all agree.
    pub fn first_wrong(&self) -> usize {
        let rows = self.expected.runs.iter().flat_map(|r| &r.rows);
        let wrong = rows.into_iter().position(|r| !r.differs.is_empty());
        wrong.unwrap_or_else(|| self.seen.len().saturating_sub(1))
    }

    /// What a row, counted from 0, is called: `row 5` of a sequence, the name of the run where each row is one.
    pub fn row_name(&self, row: usize, is_sequence: bool) -> String {
        match self.expected.runs.get(row) {
            Some(run) if !is_sequence => run.id.clone(),
            _ => format!("row {}", row + 1),
        }
    }

    /// The row, counted from 1 over all runs, that is `row` (from 1) of the run of that name.
    pub fn row_of(&self, run: &str, row: usize) -> usize {
        let runs = &self.expected.runs;
        let before = runs.iter().take_while(|r| r.id != run);
        before.map(|r| r.rows.len()).sum::<usize>() + row
    }

    /// The levels of a net over all rows: 0, 1 or x.
    pub fn levels(&self, net: &str) -> Vec<char> {
        let Some(at) = self.expected.nets.iter().position(|n| n == net) else {
            return Vec::new();
        };
        let rows = self.expected.runs.iter().flat_map(|r| &r.rows);
        rows.filter_map(|r| r.levels.chars().nth(at)).collect()
    }

    /// What was seen of a net, row by row.
    pub fn seen_of(&self, net: &str) -> Vec<Option<bool>> {
        let of = |row: &Vec<(String, bool)>| row.iter().find(|(n, _)| n == net).map(|(_, l)| *l);
        self.seen.iter().map(of).collect()
    }

    /// Nets of which something was seen, in the order of the sheet.
    pub fn nets_seen(&self) -> Vec<&str> {
        let is_seen = |net: &&String| {
            self.seen
                .iter()
                .any(|row| row.iter().any(|(n, _)| n == *net))
        };
        self.expected
            .nets
            .iter()
            .filter(is_seen)
            .map(String::as_str)
            .collect()
    }
}

/// Levels that were entered by hand.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Entered {
    /// The unit.
    pub unit: String,
    /// The file of rows that they belong to, without its folders; empty if none.
    pub rows: String,
    /// The row, counted from 1; 0 is a row of its own.
    pub row: u32,
    /// Words such as `BUSY=0 U3.8=H`.
    pub seen: String,
}

/// Whether levels can be entered: tried on the sheet, with all that was entered before.
///
/// # Errors
/// If the sheet cannot be used, or they cannot.
pub fn may_enter(
    text: &StoreText,
    before: &[Entered],
    new: &Entered,
) -> Result<(), Box<Complaint>> {
    let unusable = |refused: &Refused| Box::new(refused.complaints()[0].clone());
    let Some(shape) = &text.shape else {
        return Err(Box::new(Complaint::new(
            format!("There is no gate sheet {}.", text.name),
            format!("Write logic/{}.kdl first.", text.name),
        )));
    };
    let file = text.files.iter().find(|f| short(&f.file) == new.rows);
    if file.is_none() && !new.rows.is_empty() {
        return Err(Box::new(Complaint::new(
            format!("There is no file {} any more.", new.rows),
            "Open the page anew.",
        )));
    }
    let rows = file.map(rows_text).transpose().map_err(|r| unusable(&r))?;
    let mut case = GateCase::read(shape, rows.as_ref(), true).map_err(|r| unusable(&r))?;
    let is_of = |e: &&Entered| e.unit == new.unit && e.rows == new.rows;
    // What cannot be used any more is told on the page; here it is passed over.
    for earlier in before.iter().filter(is_of) {
        let _ = case.enter(earlier.row, &earlier.seen);
    }
    case.enter(new.row, &new.seen)
}

/// The name of a file without its folders.
fn short(file: &str) -> &str {
    file.rsplit('/').next().unwrap_or(file)
}

fn rows_text(file: &StoreFile) -> Result<Text, Refused> {
    match std::str::from_utf8(&file.bytes) {
        Ok(text) => Ok(Text {
            file: file.file.clone(),
            text: text.to_owned(),
        }),
        Err(_) => Err(Refused::input(
            format!("{} is not UTF-8 text.", file.file),
            "Save it as UTF-8.",
        )),
    }
}

/// Reads a gate sheet of the project and explains what was seen, in files and entered by hand; `go_on` is asked now and then.
pub fn sheet(
    text: &StoreText,
    units: &[String],
    entered: &[Entered],
    go_on: &dyn Fn() -> bool,
) -> View {
    let mut view = View {
        name: text.name.clone(),
        title: text.name.clone(),
        is_sequence: false,
        units: Vec::new(),
        graph: None,
        remarks: Vec::new(),
    };
    let Some(shape) = &text.shape else {
        view.remarks.push(Complaint::new(
            format!(
                "There is no gate sheet for the files in logic/{}.",
                text.name
            ),
            format!("Write logic/{}.kdl.", text.name),
        ));
        return view;
    };
    match GateCase::read(shape, None, true) {
        Ok(case) => {
            let summary = case.summary();
            view.title = format!(
                "{}: {} parts, {} nets",
                summary.name, summary.parts, summary.nets
            );
            view.is_sequence = summary.keeps_state > 0;
            view.remarks.extend(case.skipped.iter().cloned());
            view.graph = Some(case.graph());
        }
        Err(refused) => {
            view.remarks.extend_from_slice(refused.complaints());
            return view;
        }
    }
    let mut add = |found: Result<(UnitView, Vec<Complaint>), Refused>| match found {
        Ok((unit, remarks)) => {
            view.units.push(unit);
            view.remarks.extend(remarks);
        }
        Err(refused) => view.remarks.extend_from_slice(refused.complaints()),
    };
    for file in &text.files {
        let of = |e: &&Entered| e.rows == short(&file.file);
        let own: Vec<&Entered> = entered.iter().filter(of).collect();
        add(unit_of(file, units)
            .and_then(|unit| Ok((unit, rows_text(file)?)))
            .and_then(|(unit, text)| seen_of(shape, unit, Some(&text), &own, go_on)));
    }
    // Units of which nothing but what was entered is known.
    let mut alone: Vec<&str> = Vec::new();
    for entry in entered.iter().filter(|e| e.rows.is_empty()) {
        if !alone.contains(&entry.unit.as_str()) {
            alone.push(&entry.unit);
        }
    }
    for unit in alone {
        let of = |e: &&Entered| e.rows.is_empty() && e.unit == unit;
        let own: Vec<&Entered> = entered.iter().filter(of).collect();
        add(seen_of(shape, unit.to_owned(), None, &own, go_on));
    }
    view.units.sort_by(|a, b| a.unit.cmp(&b.unit));
    view
}

/// The unit that a file of rows belongs to.
fn unit_of(file: &StoreFile, units: &[String]) -> Result<String, Refused> {
    match role(&file.file, units) {
        Some(Role::Reads(unit) | Role::Sequence(unit) | Role::Map(unit)) => Ok(unit),
        _ => Err(Refused::input(
            format!("{} does not begin with the name of a unit.", file.file),
            "Name it after the unit, a hyphen and anything, such as 1-run.csv.",
        )),
    }
}

fn seen_of(
    shape: &Text,
    unit: String,
    text: Option<&Text>,
    entered: &[&Entered],
    go_on: &dyn Fn() -> bool,
) -> Result<(UnitView, Vec<Complaint>), Refused> {
    let mut case = GateCase::read(shape, text, true)?;
    let file = text.map(|t| t.file.clone()).unwrap_or_default();
    let mut remarks: Vec<Complaint> = case
        .skipped
        .iter()
        .filter(|c| text.is_some() && c.file.as_ref() == Some(&file))
        .cloned()
        .collect();
    let note = |w: &String| Complaint {
        file: Some(file.clone()),
        message: w.clone(),
        ..Complaint::default()
    };
    remarks.extend(case.warnings.iter().map(note));
    for entry in entered {
        if let Err(wrong) = case.enter(entry.row, &entry.seen) {
            remarks.push(Complaint {
                message: format!(
                    "Entered for unit {}: {} {}",
                    entry.unit, entry.seen, wrong.message
                ),
                ..*wrong
            });
        }
    }
    let stop = || !go_on();
    let (result, next) = case.diagnose_and_next(&stop);
    let view = UnitView {
        unit,
        file,
        result,
        next,
        expected: case.simulate(&[]),
        seen: case.seen(),
        entered: entered.len(),
    };
    Ok((view, remarks))
}
