//! Recorded sequences: a row a step, a column a net.

use crate::diagnostic::Diagnostic;
use crate::gates::{Machine, Seen};
use crate::network::NetId;

/// One step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// Its line in the text, counted from 1.
    pub line: usize,
    /// Levels put on inputs, `None` where they are not known; an input that is not named keeps its level.
    pub inputs: Vec<(NetId, Option<bool>)>,
    /// Levels seen at other nets.
    pub seen: Vec<(NetId, bool)>,
}

/// Steps that follow one another from power-up or reset.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sequence {
    /// What the person calls it.
    pub id: String,
    /// The steps.
    pub rows: Vec<Row>,
}

/// What could be read, and what could not.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sequences {
    /// Runs, in the order in which they begin.
    pub runs: Vec<Sequence>,
    /// Lines that could not be used.
    pub mistakes: Vec<Diagnostic>,
    /// Columns that say nothing of this sheet, and readings between the levels.
    pub warnings: Vec<String>,
}

/// JSON lines, an object a row, as netlists take them: `id`, `inputs` and `outputs` with 0 or 1 for each net.
fn read_lines(text: &str, machine: &Machine) -> Sequences {
    let mut found = Sequences::default();
    for (index, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        if line.trim().is_empty() {
            continue;
        }
        let Ok(serde_json::Value::Object(object)) = serde_json::from_str(line) else {
            found.mistakes.push(Diagnostic::at(
                index + 1,
                1,
                "The line is no JSON object.",
                "Write {\"id\":\"1\",\"inputs\":{\"A\":0},\"outputs\":{\"X\":1}}.",
            ));
            continue;
        };
        let id = object
            .get("id")
            .and_then(|v| v.as_str())
            .unwrap_or_default()
            .to_owned();
        let mut row = Row {
            line: index + 1,
            inputs: Vec::new(),
            seen: Vec::new(),
        };
        let mut wrong = None;
        let groups = ["inputs", "outputs"].map(|k| object.get(k).and_then(|v| v.as_object()));
        for (name, value) in groups.into_iter().flatten().flatten() {
            let level = match value.as_u64() {
                Some(n @ (0 | 1)) => n == 1,
                _ => {
                    wrong = Some(name.clone());
                    continue;
                }
            };
            match column(name, machine, &mut found.warnings) {
                Column::Net(net, true) => row.inputs.push((net, Some(level))),
                Column::Net(net, false) => row.seen.push((net, level)),
                Column::Id | Column::Ignored => {}
            }
        }
        if let Some(name) = wrong {
            found.mistakes.push(Diagnostic::at(
                index + 1,
                1,
                format!("The level of `{name}` is neither 0 nor 1."),
                "Leave a net out that was not seen.",
            ));
            continue;
        }
        found.add(id, row, machine.stores.is_empty());
    }
    found.warnings.sort();
    found.warnings.dedup();
    found
}

impl Sequences {
    fn add(&mut self, id: String, row: Row, is_timeless: bool) {
        let id = if is_timeless && id.is_empty() {
            format!("line {}", row.line)
        } else {
            id
        };
        match self.runs.iter_mut().find(|r| r.id == id && !is_timeless) {
            Some(run) => run.rows.push(row),
            None => self.runs.push(Sequence {
                id,
                rows: vec![row],
            }),
        }
    }
}

/// Reads comma-separated text: a header with names of nets, `id` for the run a row belongs to, and `step`, which is for people only.
///
/// A cell is 0, 1, H, L, a voltage such as `3.1V`, or x or nothing where the level is not known. Of a sheet that keeps no state each
/// row is a run of its own. A bad cell costs its row.
pub fn read_sequences(text: &str, machine: &Machine) -> Sequences {
    if text
        .trim_start_matches('\u{feff}')
        .trim_start()
        .starts_with('{')
    {
        return read_lines(text, machine);
    }
    let mut found = Sequences::default();
    let lines = text.trim_start_matches('\u{feff}').lines().enumerate();
    let mut lines = lines.filter(|(_, l)| !l.trim().is_empty() && !l.trim_start().starts_with('#'));
    let Some((_, header)) = lines.next() else {
        found.mistakes.push(Diagnostic::at(
            1,
            1,
            "The file is empty.",
            "Begin with a line of names of nets, separated by commas.",
        ));
        return found;
    };
    let columns: Vec<Column> = header
        .split(',')
        .map(|n| column(n.trim(), machine, &mut found.warnings))
        .collect();
    let is_timeless = machine.stores.is_empty();
    for (index, line) in lines {
        let cells: Vec<&str> = line.split(',').map(str::trim).collect();
        if cells.len() > columns.len() {
            let message = format!(
                "The line has {} cells, the header {}.",
                cells.len(),
                columns.len()
            );
            found.mistakes.push(Diagnostic::at(
                index + 1,
                1,
                message,
                "Take the surplus commas away.",
            ));
            continue;
        }
        let mut row = Row {
            line: index + 1,
            inputs: Vec::new(),
            seen: Vec::new(),
        };
        let mut id = String::new();
        let mut place = 1;
        let mut is_good = true;
        for (cell, column) in cells.iter().zip(&columns) {
            match (column, level(cell, machine)) {
                (Column::Id, _) => id = (*cell).to_owned(),
                (Column::Ignored, _) => {}
                (Column::Net(..), Err(())) => {
                    let message = format!("`{cell}` is not a level.");
                    found.mistakes.push(Diagnostic::at(
                        index + 1,
                        place,
                        message,
                        "Write 0, 1, H, L, x, or volts such as 3.1V.",
                    ));
                    is_good = false;
                }
                (Column::Net(net, is_input), Ok(level)) => {
                    let between = level.is_none() && cell.ends_with(['V', 'v']);
                    if between {
                        found.warnings.push(format!(
                            "Line {}: {cell} at {} is neither level; look at that net with an oscilloscope. It is left out.",
                            index + 1,
                            machine.net_name(*net)
                        ));
                    }
                    match (is_input, level) {
                        (true, level) => row.inputs.push((*net, level)),
                        (false, Some(level)) => row.seen.push((*net, level)),
                        (false, None) => {}
                    }
                }
            }
            place += cell.chars().count() + 1;
        }
        if is_good {
            found.add(id, row, is_timeless);
        }
    }
    found
}

/// Adds levels to a row, counted from 0 over all runs, or makes a row of its own of them: words such as `BUSY=0 U3.8=H DONE=3.1V`. What
/// was seen or put on before at the same net gives way.
///
/// # Errors
/// What is wrong with the words, or with the row, and what would mend it; then nothing was changed.
pub fn enter_levels(
    machine: &Machine,
    runs: &mut Vec<Sequence>,
    row: Option<usize>,
    words: &str,
) -> Result<(), (String, String)> {
    let mut put: Vec<(NetId, Option<bool>, bool)> = Vec::new();
    for word in words
        .split([' ', ',', ';', '\n', '\t'])
        .filter(|w| !w.is_empty())
    {
        let Some((name, cell)) = word.split_once('=') else {
            return Err((
                format!("`{word}` is no net with a level."),
                "Write the net or pin, `=` and the level, such as BUSY=0 or U3.8=3.1V.".to_owned(),
            ));
        };
        let Column::Net(net, is_input) = column(name, machine, &mut Vec::new()) else {
            return Err((
                format!("The sheet has no net or pin {name} of which a level is seen."),
                "Names are those of the sheet; the clock is pulsed at each row.".to_owned(),
            ));
        };
        match level(cell, machine) {
            Ok(None) if cell.ends_with(['V', 'v']) => {
                return Err((
                    format!("{cell} at {name} is neither level."),
                    "Look at that net with an oscilloscope; leave it out here.".to_owned(),
                ));
            }
            Ok(level) => put.push((net, level, is_input)),
            Err(()) => {
                return Err((
                    format!("`{cell}` is not a level."),
                    "Write 0, 1, H, L, x, or volts such as 3.1V.".to_owned(),
                ));
            }
        }
    }
    if put.is_empty() {
        return Err((
            "No level was entered.".to_owned(),
            "Write a net and its level, such as BUSY=0.".to_owned(),
        ));
    }
    let count: usize = runs.iter().map(|r| r.rows.len()).sum();
    let at = match row {
        Some(row) if row >= count => {
            return Err((
                format!("There is no row {}.", row + 1),
                format!("There are {count} rows; enter a row of its own."),
            ));
        }
        Some(row) => row,
        None => {
            let new = Row {
                line: 0,
                inputs: Vec::new(),
                seen: Vec::new(),
            };
            match runs.last_mut().filter(|_| !machine.stores.is_empty()) {
                Some(run) => run.rows.push(new),
                None => runs.push(Sequence {
                    id: if machine.stores.is_empty() {
                        format!("entered row {}", count + 1)
                    } else {
                        String::new()
                    },
                    rows: vec![new],
                }),
            }
            // A row of its own comes after the last run's rows, which are the last of all.
            count
        }
    };
    let Some(row) = runs.iter_mut().flat_map(|r| &mut r.rows).nth(at) else {
        return Ok(());
    };
    for (net, level, is_input) in put {
        if is_input {
            row.inputs.retain(|(n, _)| *n != net);
            row.inputs.push((net, level));
        } else {
            row.seen.retain(|(n, _)| *n != net);
            row.seen.extend(level.map(|l| (net, l)));
        }
    }
    Ok(())
}

enum Column {
    Id,
    Ignored,
    Net(NetId, bool),
}

fn column(name: &str, machine: &Machine, warnings: &mut Vec<String>) -> Column {
    match name {
        "id" => return Column::Id,
        "step" | "" => return Column::Ignored,
        _ => {}
    }
    // A pin is read where it is soldered: on its net.
    let pin = machine.pins.iter().find(|p| p.name == name).map(|p| p.net);
    let known = pin.or_else(|| machine.network.net(name));
    match known {
        Some(net) if machine.inputs.contains(&net) => Column::Net(net, true),
        Some(net) if machine.clock == Some(net) => {
            warnings.push(format!(
                "Column {name} is the clock, which is pulsed at each row; it is left out."
            ));
            Column::Ignored
        }
        Some(net) => Column::Net(net, false),
        None => {
            warnings.push(format!(
                "The sheet has no net {name}; the column is left out."
            ));
            Column::Ignored
        }
    }
}

fn level(cell: &str, machine: &Machine) -> Result<Option<bool>, ()> {
    match cell {
        "" | "x" | "X" | "-" => Ok(None),
        _ => match machine.levels.read(cell) {
            Some(Seen::Level(level)) => Ok(Some(level)),
            Some(Seen::Neither) => Ok(None),
            None => Err(()),
        },
    }
}
