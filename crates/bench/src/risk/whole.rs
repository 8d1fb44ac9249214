//! What is looked at: one board, or the boards of a machine joined at their connectors, and the states in which they can be read cold.

use sheet::machine::{self, Machine, as_built, join};
use sheet::{Kind, NetId, Pin, Role, Sheet};

use crate::loading::{self, Text};
use crate::refused::{Complaint, Refused};

/// The texts of a question.
#[derive(Clone, Debug, PartialEq)]
pub enum Input {
    /// One sheet.
    Board(Text),
    /// A machine file and the sheets that it names; the second is the path as the machine file has it.
    Machine {
        /// `machine.kdl`.
        machine: Text,
        /// Each sheet that could be read, by its path in the machine file.
        sheets: Vec<(String, Text)>,
        /// The unit whose differences from the sheets count; none for the boards as drawn.
        unit: Option<String>,
    },
}

/// A board in a state in which it can be read.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct ColdSheet {
    /// Before each name: `A2:`, or nothing.
    pub prefix: String,
    /// The drawing.
    pub sheet: Sheet,
    /// Index of its first part and of its first net in the whole.
    pub first: (u32, u32),
    /// Connectors that are unplugged for it.
    pub unplugged: Vec<String>,
    /// The slot that the machine file gives it.
    pub slot: Option<String>,
}

/// All that is looked at.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Whole {
    /// What it is called.
    pub name: String,
    /// All of it, with supplies left out that only stand in for another board's rail.
    pub sheet: Sheet,
    /// The states.
    pub cold: Vec<ColdSheet>,
    /// Boards that can be unplugged, with the contacts that join them to the rest.
    pub boards: Vec<(String, Vec<String>)>,
    /// Supplies that were left out because another board feeds their rail.
    pub left_out: Vec<String>,
    /// Bad lines that were skipped.
    pub skipped: Vec<Complaint>,
}

/// Paths of the sheets that a machine file names, relative to it.
pub fn machine_sheets(machine: &Text) -> Vec<String> {
    let (machine, _) = machine::parse(&machine.text, &machine.file);
    machine.boards().filter_map(|b| b.sheet.clone()).collect()
}

/// Reads the texts.
///
/// # Errors
/// Bad lines, unless lenient; a machine without a single sheet, or without the unit.
pub(crate) fn read(input: &Input, lenient: bool) -> Result<Whole, Refused> {
    match input {
        Input::Board(text) => {
            let loaded = loading::sheet(text, lenient)?;
            Ok(Whole {
                name: loaded.value.name.clone(),
                cold: vec![ColdSheet {
                    prefix: String::new(),
                    sheet: loaded.value.clone(),
                    first: (0, 0),
                    unplugged: Vec::new(),
                    slot: None,
                }],
                sheet: loaded.value,
                boards: Vec::new(),
                left_out: Vec::new(),
                skipped: loaded.skipped,
            })
        }
        Input::Machine {
            machine,
            sheets,
            unit,
        } => of_machine(machine, sheets, unit.as_deref(), lenient),
    }
}

fn of_machine(
    text: &Text,
    sheets: &[(String, Text)],
    unit: Option<&str>,
    lenient: bool,
) -> Result<Whole, Refused> {
    let (machine, diagnostics) = machine::parse(&text.text, &text.file);
    let errors: Vec<Complaint> = diagnostics
        .iter()
        .filter(|d| d.is_error())
        .map(Complaint::from)
        .collect();
    if !lenient && !errors.is_empty() {
        return Err(Refused::Input(errors));
    }
    let mut skipped = errors;
    let unit = match unit {
        Some(name) => Some(machine.unit(name).ok_or_else(|| {
            let known: Vec<&str> = machine.units.iter().map(|u| u.name.as_str()).collect();
            Refused::input(
                format!("The machine file has no unit `{name}`."),
                format!("Name one of {}.", known.join(", ")),
            )
        })?),
        None => None,
    };
    let mut drawn: Vec<(String, Sheet)> = Vec::new();
    for board in machine.boards() {
        let found = board
            .sheet
            .as_deref()
            .and_then(|path| sheets.iter().find(|s| s.0 == path));
        let Some((_, text)) = found else { continue };
        let loaded = loading::sheet(text, lenient)?;
        skipped.extend(loaded.skipped);
        let sheet = match unit {
            Some(unit) => as_built(&loaded.value, &board.name, unit).0,
            None => loaded.value,
        };
        drawn.push((board.name.clone(), sheet));
    }
    if drawn.is_empty() {
        return Err(Refused::input(
            format!(
                "No board of `{}` has a sheet that could be read.",
                text.file
            ),
            "Name a sheet for at least one board, such as board A2 sheet=\"sheets/a2.kdl\".",
        ));
    }
    joined(&machine, &drawn, text, skipped, lenient)
}

fn joined(
    machine: &Machine,
    drawn: &[(String, Sheet)],
    text: &Text,
    mut skipped: Vec<Complaint>,
    lenient: bool,
) -> Result<Whole, Refused> {
    let named: Vec<(&str, &Sheet)> = drawn.iter().map(|(n, s)| (n.as_str(), s)).collect();
    let (mut whole, diagnostics) = join(&named, &machine.joins);
    let errors: Vec<Complaint> = diagnostics
        .into_iter()
        .filter(sheet::Diagnostic::is_error)
        .map(|d| Complaint::from(&d.placed(&text.file, &text.text)))
        .collect();
    if !lenient && !errors.is_empty() {
        return Err(Refused::Input(errors));
    }
    skipped.extend(errors);
    let mut cold = vec![ColdSheet {
        prefix: String::new(),
        sheet: whole.clone(),
        first: (0, 0),
        unplugged: Vec::new(),
        slot: None,
    }];
    let mut boards = Vec::new();
    let (mut part, mut net) = (0, 0);
    for (name, sheet) in drawn {
        let of_board = |p: &machine::PinPlace| p.board == *name;
        let contacts: Vec<String> = machine
            .joins
            .iter()
            .filter(|j| of_board(&j.pins[0]) != of_board(&j.pins[1]))
            .map(|j| {
                format!(
                    "{}:{}.{}-{}:{}.{}",
                    j.pins[0].board,
                    j.pins[0].connector,
                    j.pins[0].pin,
                    j.pins[1].board,
                    j.pins[1].connector,
                    j.pins[1].pin
                )
            })
            .filter(|contact| whole.part(contact).is_some())
            .collect();
        let mut unplugged: Vec<String> = machine
            .joins
            .iter()
            .flat_map(|j| &j.pins)
            .filter(|p| of_board(p))
            .map(|p| format!("{name}:{}", p.connector))
            .collect();
        unplugged.sort();
        unplugged.dedup();
        cold.push(ColdSheet {
            prefix: format!("{name}:"),
            sheet: sheet.clone(),
            first: (part, net),
            unplugged,
            slot: machine.board(name).and_then(|b| b.slot.clone()),
        });
        part += sheet.parts.len() as u32;
        net += sheet.nets.len() as u32;
        if !contacts.is_empty() {
            boards.push((name.clone(), contacts));
        }
    }
    if boards.is_empty() {
        // Nothing is joined: the boards by themselves say all.
        cold.remove(0);
    }
    let left_out = leave_stand_ins_out(&mut whole, drawn);
    Ok(Whole {
        name: machine.name.clone(),
        sheet: whole,
        cold,
        boards,
        left_out,
        skipped,
    })
}

/// Takes out supplies that stand in, on the sheet of one board, for what another board delivers by its connectors;
/// of several boards that all feed a rail by a supply of their own the first keeps it. Returns their names.
///
/// A supply becomes a connector, which is nothing to a circuit, so that all parts keep their numbers.
fn leave_stand_ins_out(whole: &mut Sheet, drawn: &[(String, Sheet)]) -> Vec<String> {
    let board_of = |net: NetId| {
        let mut first = 0;
        drawn.iter().position(|(_, s)| {
            first += s.nets.len();
            net.index() < first
        })
    };
    let mut group: Vec<usize> = (0..whole.nets.len()).collect();
    // Contacts between boards are the only switches whose two ends lie on different boards.
    for part in &whole.parts {
        if let Kind::Switch { ends, .. } = &part.kind
            && board_of(ends[0]) != board_of(ends[1])
        {
            let (a, b) = (group[ends[0].index()], group[ends[1].index()]);
            group.iter_mut().filter(|g| **g == b).for_each(|g| *g = a);
        }
    }
    let boards_of = |net: usize| {
        let same = (0..whole.nets.len()).filter(|n| group[*n] == group[net]);
        let mut boards: Vec<Option<usize>> = same.map(|n| board_of(NetId(n as u32))).collect();
        boards.dedup();
        boards.len()
    };
    // A rail by its role, or any other net but ground that connectors take to another board.
    let is_rail = |net: usize| match whole.nets[net].role {
        Some(Role::Rail) => true,
        Some(Role::Ground) => false,
        None => boards_of(net) > 1,
    };
    let feeds = |board: usize, rail: usize| {
        whole.parts.iter().any(|p| match p.kind {
            Kind::Supply { plus, minus, .. } => [plus, minus].iter().any(|n| {
                group[n.index()] == group[rail] && board_of(*n) == Some(board) && is_rail(n.index())
            }),
            _ => false,
        })
    };
    let mut out = Vec::new();
    for (index, part) in whole.parts.iter().enumerate() {
        let Kind::Supply { plus, minus, .. } = part.kind else {
            continue;
        };
        let Some(rail) = [plus, minus].into_iter().find(|n| is_rail(n.index())) else {
            continue;
        };
        let Some(own) = board_of(rail) else { continue };
        let others = (0..whole.nets.len())
            .filter(|n| group[*n] == group[rail.index()] && is_rail(*n))
            .filter_map(|n| board_of(NetId(n as u32)))
            .filter(|b| *b != own);
        if others
            .clone()
            .any(|b| !feeds(b, rail.index()) && reaches_supply(&drawn[b].1))
            || others
                .into_iter()
                .any(|b| b < own && feeds(b, rail.index()))
        {
            out.push(index);
        }
    }
    for index in &out {
        let pins = whole.parts[*index].pins();
        let pin = |(name, net): (String, NetId)| Pin {
            name,
            net,
            span: sheet::Span::default(),
        };
        whole.parts[*index].kind = Kind::Connector {
            pins: pins.into_iter().map(pin).collect(),
        };
    }
    out.iter().map(|i| whole.parts[*i].name.clone()).collect()
}

/// Whether a board makes its rails itself: it has a supply that is on none of them.
fn reaches_supply(sheet: &Sheet) -> bool {
    sheet.parts.iter().any(|p| match p.kind {
        Kind::Supply { plus, minus, .. } => {
            let rail = |n: NetId| sheet.nets[n.index()].role == Some(Role::Rail);
            !rail(plus) && !rail(minus)
        }
        _ => false,
    })
}
