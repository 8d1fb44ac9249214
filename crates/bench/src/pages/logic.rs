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
    /// The file.
    pub file: String,
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

/// Reads a gate sheet of the project and explains what was seen; `go_on` is asked now and then.
pub fn sheet(text: &StoreText, units: &[String], go_on: &dyn Fn() -> bool) -> View {
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
    for file in &text.files {
        match rows(shape, file, units, go_on) {
            Ok(Some((unit, remarks))) => {
                view.units.push(unit);
                view.remarks.extend(remarks);
            }
            Ok(None) => {}
            Err(refused) => view.remarks.extend_from_slice(refused.complaints()),
        }
    }
    view
}

fn rows(
    shape: &Text,
    file: &StoreFile,
    units: &[String],
    go_on: &dyn Fn() -> bool,
) -> Result<Option<(UnitView, Vec<Complaint>)>, Refused> {
    let Some(Role::Reads(unit) | Role::Sequence(unit) | Role::Map(unit)) = role(&file.file, units)
    else {
        return Err(Refused::input(
            format!("{} does not begin with the name of a unit.", file.file),
            "Name it after the unit, a hyphen and anything, such as 1-run.csv.",
        ));
    };
    let Ok(text) = std::str::from_utf8(&file.bytes) else {
        return Err(Refused::input(
            format!("{} is not UTF-8 text.", file.file),
            "Save it as UTF-8.",
        ));
    };
    let text = Text {
        file: file.file.clone(),
        text: text.to_owned(),
    };
    let case = GateCase::read(shape, Some(&text), true)?;
    let mut remarks: Vec<Complaint> = case
        .skipped
        .iter()
        .filter(|c| c.file.as_ref() == Some(&file.file))
        .cloned()
        .collect();
    let note = |w: &String| Complaint {
        file: Some(file.file.clone()),
        message: w.clone(),
        ..Complaint::default()
    };
    remarks.extend(case.warnings.iter().map(note));
    let stop = || !go_on();
    let (result, next) = case.diagnose_and_next(&stop);
    let view = UnitView {
        unit,
        file: file.file.clone(),
        result,
        next,
        expected: case.simulate(&[]),
        seen: case.seen(),
    };
    Ok(Some((view, remarks)))
}
