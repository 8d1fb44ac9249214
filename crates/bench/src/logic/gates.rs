//! Gate sheets for the command line and the pages: simulated, explained, and where to look next.

use ::logic::{
    Basis, Explained, Fault, Level, Machine, Sequence, StrongSets, enter_levels, explain, packages,
    read_gates, read_sequences, run, sections, strong_among,
};
use serde::Serialize;

use super::{complaints, nothing_in};
use crate::loading::Text;
use crate::pages::logic::{Graph, Node, Pin};
use crate::refused::{Complaint, Refused};

/// Whether a text is a gate sheet, as against a netlist in columns.
pub fn is_gate_sheet(text: &Text) -> bool {
    let lines = text
        .text
        .trim_start_matches('\u{feff}')
        .lines()
        .map(str::trim);
    let mut lines = lines.filter(|l| !l.is_empty() && !l.starts_with("//"));
    text.file.ends_with(".kdl") || lines.next().is_some_and(|l| l.starts_with("logic"))
}

/// A gate sheet with recorded sequences of it.
#[derive(Clone, Debug)]
pub struct GateCase {
    pub(super) machine: Machine,
    pub(super) runs: Vec<Sequence>,
    /// Lines that could not be used; not empty only if lenience was asked for.
    pub skipped: Vec<Complaint>,
    /// What was written and says nothing of this sheet.
    pub warnings: Vec<String>,
}

impl GateCase {
    /// Reads a gate sheet and, if there is one, a file of rows.
    ///
    /// # Errors
    /// All mistakes in both files, unless `lenient`; a file with nothing usable in it, always.
    pub fn read(sheet: &Text, rows: Option<&Text>, lenient: bool) -> Result<Self, Refused> {
        let (machine, wrong) = read_gates(&sheet.text);
        let mut mistakes = complaints(sheet, wrong);
        let Some(machine) = machine else {
            return Err(Refused::Input(mistakes));
        };
        let mut warnings = Vec::new();
        let mut runs = Vec::new();
        if let Some(rows) = rows {
            let found = read_sequences(&rows.text, &machine);
            mistakes.extend(complaints(rows, found.mistakes));
            if found.runs.is_empty() {
                mistakes.push(nothing_in(rows, "The file holds no usable row."));
                return Err(Refused::Input(mistakes));
            }
            warnings = found.warnings;
            runs = found.runs;
        }
        if !mistakes.is_empty() && !lenient {
            return Err(Refused::Input(mistakes));
        }
        Ok(Self {
            machine,
            runs,
            skipped: mistakes,
            warnings,
        })
    }

    /// Adds levels to a row, counted from 1 over all runs; 0 is a row of its own after the last.
    ///
    /// # Errors
    /// If a word is no level of this sheet, or there is no such row.
    pub fn enter(&mut self, row: u32, seen: &str) -> Result<(), Box<Complaint>> {
        let row = (row as usize).checked_sub(1);
        enter_levels(&self.machine, &mut self.runs, row, seen)
            .map_err(|(message, help)| Box::new(Complaint::new(message, help)))
    }

    /// The sheet in numbers.
    pub fn summary(&self) -> Summary {
        Summary {
            name: self.machine.name.clone(),
            parts: self.machine.parts.len(),
            nets: self.machine.sheet_nets.len(),
            keeps_state: self.machine.stores.len(),
        }
    }

    /// Number of runs.
    pub fn len(&self) -> usize {
        self.runs.len()
    }

    /// Whether no rows were given.
    pub fn is_empty(&self) -> bool {
        self.runs.is_empty()
    }

    /// A fault by its words: `U3.8 stuck at 0`, `U3.1 open`, `U3.8 slow`, `X and Y bridged`.
    ///
    /// # Errors
    /// If the sheet has no such pin or net, or the words are others.
    pub fn fault(&self, words: &str) -> Result<Fault, Refused> {
        ::logic::possible(&self.machine)
            .into_iter()
            .find(|f| f.named(&self.machine).to_string().eq_ignore_ascii_case(words.trim()))
            .ok_or_else(|| {
                Refused::input(
                    format!("`{words}` is no fault of this sheet."),
                    "Write `U3.8 stuck at 0`, `U3.1 open`, `U3.8 slow`, or `X and Y bridged` for two nets on neighbouring pins; pins are those of the sheet.",
                )
            })
    }

    /// Levels seen, for each row of all runs: net and level.
    pub fn seen(&self) -> Vec<Vec<(String, bool)>> {
        let of = |(net, level): &(_, bool)| (self.machine.net_name(*net).to_owned(), *level);
        let rows = self.runs.iter().flat_map(|r| &r.rows);
        rows.map(|row| row.seen.iter().map(of).collect()).collect()
    }

    /// The sheet as boxes and wires.
    pub fn graph(&self) -> Graph {
        let machine = &self.machine;
        let pin = |at: &usize| {
            let pin = &machine.pins[*at];
            let short = pin
                .name
                .rsplit_once('.')
                .map_or(pin.name.as_str(), |(_, p)| p);
            Pin {
                pin: short.to_owned(),
                net: machine.net_name(pin.net).to_owned(),
            }
        };
        // Fixed levels say nothing that the eye needs, and gates that are on no net at all have no place in a drawing.
        let is_fixed = |at: &&usize| machine.is_fixed(machine.pins[**at].net);
        let is_used = |s: &::logic::Section| {
            !s.inputs.is_empty()
                || s.outputs
                    .iter()
                    .any(|o| machine.sheet_nets.contains(&machine.pins[*o].net))
        };
        let node = |s: ::logic::Section| Node {
            part: machine.parts[s.part].name.clone(),
            title: machine.parts[s.part].title.clone(),
            inputs: s
                .inputs
                .iter()
                .filter(|at| !is_fixed(at))
                .map(pin)
                .collect(),
            outputs: s.outputs.iter().map(pin).collect(),
            column: 0,
            top: 0,
            keeps_state: s.keeps_state,
        };
        Graph::of(
            sections(machine)
                .into_iter()
                .filter(is_used)
                .map(node)
                .collect(),
        )
    }

    /// Levels of all nets for every row.
    pub fn simulate(&self, faults: &[Fault]) -> Simulated {
        let nets: Vec<String> = self
            .machine
            .sheet_nets
            .iter()
            .map(|n| self.machine.net_name(*n).to_owned())
            .collect();
        let runs = self.runs.iter().map(|sequence| {
            let shown = run(&self.machine, sequence, faults);
            let differs = |row: usize| {
                let seen = &sequence.rows[row].seen;
                let place = |net| self.machine.sheet_nets.iter().position(|n| *n == net);
                let is_other = |(net, level): &&(_, bool)| {
                    place(*net).is_some_and(|p| shown.rows[row][p] == Level::Known(!level))
                };
                seen.iter()
                    .filter(is_other)
                    .map(|(n, _)| self.machine.net_name(*n).to_owned())
                    .collect()
            };
            RunLevels {
                id: sequence.id.clone(),
                is_settled: shown.is_settled,
                rows: shown
                    .rows
                    .iter()
                    .enumerate()
                    .map(|(at, levels)| RowLevels {
                        levels: levels.iter().map(mark).collect(),
                        differs: differs(at),
                    })
                    .collect(),
            }
        });
        let runs = runs.collect();
        Simulated { nets, runs }
    }

    /// What explains one run, or all together; `stop` ends the search for parts, `enough` that for named faults.
    ///
    /// # Panics
    /// If there is no such run.
    pub fn diagnose(
        &self,
        index: Option<usize>,
        stop: &dyn Fn() -> bool,
        enough: &dyn Fn() -> bool,
    ) -> GateResult {
        let runs = match index {
            Some(i) => std::slice::from_ref(&self.runs[i]),
            None => &self.runs,
        };
        let weak = explain(&self.machine, runs, stop);
        let named = strong_among(&self.machine, runs, &weak, enough);
        self.result(index, &weak, &named)
    }

    pub(super) fn result(
        &self,
        index: Option<usize>,
        weak: &Explained,
        named: &StrongSets,
    ) -> GateResult {
        let part = |p: &usize| self.machine.parts[*p].name.clone();
        let first = weak.first.as_ref().map(|f| {
            let run = index.unwrap_or(f.run);
            FirstWrong {
                run: self.runs[run].id.clone(),
                row: f.row + 1,
                line: self.runs[run].rows[f.row].line,
                nets: f
                    .nets
                    .iter()
                    .map(|(n, l)| format!("{} = {}", self.machine.net_name(*n), u8::from(*l)))
                    .collect(),
            }
        });
        GateResult {
            id: index.map_or_else(|| "together".to_owned(), |i| self.runs[i].id.clone()),
            min_cardinality: weak.size,
            count: weak.sets.len(),
            complete: weak.complete && !weak.is_cut_short,
            diagnoses: weak
                .sets
                .iter()
                .map(|s| s.iter().map(part).collect())
                .collect(),
            gates: weak
                .shares
                .iter()
                .map(|(p, s)| PartShare {
                    gate: part(p),
                    probability: *s,
                })
                .collect(),
            basis: if weak.complete && !weak.is_cut_short {
                Basis::Counted.word()
            } else {
                Basis::Found.word()
            },
            refused: weak.refused,
            first,
            named: named
                .sets
                .iter()
                .map(|s| {
                    s.iter()
                        .map(|f| f.named(&self.machine).to_string())
                        .collect()
                })
                .collect(),
            named_complete: named.complete,
        }
    }
}

fn mark(level: &Level) -> char {
    match level {
        Level::Known(true) => '1',
        Level::Known(false) => '0',
        Level::Unknown => 'x',
    }
}

/// A gate sheet in numbers.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Summary {
    /// Its name.
    pub name: String,
    /// Parts that can be replaced.
    pub parts: usize,
    /// Nets.
    pub nets: usize,
    /// Elements that keep a state.
    pub keeps_state: usize,
}

/// Levels of all nets, row by row.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Simulated {
    /// Names of nets.
    pub nets: Vec<String>,
    /// Runs.
    pub runs: Vec<RunLevels>,
}

/// One run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct RunLevels {
    /// Its name.
    pub id: String,
    /// Whether it settled throughout; if not, levels are of no worth.
    pub is_settled: bool,
    /// Its rows.
    pub rows: Vec<RowLevels>,
}

/// One row.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct RowLevels {
    /// 0, 1 or x for each net.
    pub levels: String,
    /// Nets of which another level was seen.
    pub differs: Vec<String>,
}

/// What explains a run of a gate sheet, or all of them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GateResult {
    /// The run's name; `together` for all.
    pub id: String,
    /// Size of the smallest sets, if proved.
    pub min_cardinality: Option<usize>,
    /// Number of sets.
    pub count: usize,
    /// Whether no other set of that size exists.
    pub complete: bool,
    /// The sets, as parts.
    pub diagnoses: Vec<Vec<String>>,
    /// Parts with the share of the sets that hold them, counted.
    pub gates: Vec<PartShare>,
    /// What the shares rest on: counted over all sets, or over those that were found in the time.
    pub basis: &'static str,
    /// Sets proposed and refused by the simulator: a fault of the program if not zero.
    #[serde(skip)]
    pub refused: usize,
    /// The first row that contradicts the healthy sheet.
    pub first: Option<FirstWrong>,
    /// Named faults, alone or in pairs, that give exactly what was seen.
    pub named: Vec<Vec<String>>,
    /// Whether all of them were tried.
    pub named_complete: bool,
}

/// A part and the share of the sets that hold it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartShare {
    /// The part.
    pub gate: String,
    /// The share.
    pub probability: f64,
}

/// Where a run first leaves the sheet.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FirstWrong {
    /// The run.
    pub run: String,
    /// The row, counted from 1.
    pub row: usize,
    /// The line of the file.
    pub line: usize,
    /// Nets with the level seen.
    pub nets: Vec<String>,
}

/// A package that a gate sheet can name.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PackageView {
    /// Its number.
    pub number: &'static str,
    /// What is in it.
    pub title: &'static str,
    /// Pins that take a level.
    pub inputs: Vec<&'static str>,
    /// Pins that give one.
    pub outputs: Vec<&'static str>,
}

/// Packages by number, and elements without one.
pub fn known_packages() -> Vec<PackageView> {
    let of = |p: ::logic::Listed| PackageView {
        number: p.number,
        title: p.title,
        inputs: p.inputs,
        outputs: p.outputs,
    };
    packages().into_iter().map(of).collect()
}
