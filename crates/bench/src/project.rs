//! A project's texts become its boards, units and bring-up order.

use std::collections::HashMap;
use std::sync::Arc;

use sheet::machine::{self, Machine, Step, Unit};
use sheet::{Diagnostic, Sheet};

use crate::captures::{self, CaptureFile, CaptureSet};
use crate::entered::{Entered, Ruled, Written};
use crate::loading::Text;
use crate::refused::Complaint;
use crate::stores::{self, StoreFile, StoreText};

/// The texts of a project, as found in its folder; paths are relative to it and have `/` between their parts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ProjectText {
    /// Name of the folder.
    pub name: String,
    /// `machine.kdl`.
    pub machine: Option<Text>,
    /// Circuit sheets, in the order of their names.
    pub sheets: Vec<Text>,
    /// `readings/BOARD.csv`.
    pub readings: Vec<Text>,
    /// `meter.kdl`, in the folder itself or beside the sheets.
    pub meter: Option<Text>,
    /// Files under `stores/`.
    pub stores: Vec<StoreFile>,
    /// Recordings under `captures/`; they are opened when somebody looks at them.
    pub captures: Vec<CaptureFile>,
    /// Texts about them, `captures/NAME.kdl`.
    pub abouts: Vec<Text>,
    /// Files under `logic/`.
    pub logic: Vec<StoreFile>,
    /// Files that could not be read as text.
    pub unreadable: Vec<Complaint>,
}

/// A project that can be asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Project {
    /// Name of the machine, or of the folder.
    pub name: String,
    /// There is a machine file.
    pub has_machine: bool,
    /// Assemblies in bring-up order; without a machine file one that holds every board.
    pub assemblies: Vec<Assembly>,
    /// Steps and hold points in order.
    pub bring_up: Vec<Step>,
    /// The units, in the order of the machine file; without one those that the readings name.
    pub units: Vec<UnitName>,
    /// Its stores, in the order of their names.
    pub stores: Vec<StoreText>,
    /// Its recordings, by the signal that was recorded.
    pub captures: Vec<CaptureSet>,
    /// Its gate sheets with what was seen of them, kept as stores are.
    pub logic: Vec<StoreText>,
    /// `meter.kdl`.
    pub meter: Option<Text>,
    /// What is wrong or doubtful in the machine file, and files that cannot be used.
    pub remarks: Vec<Remark>,
    machine: Option<(Machine, Text)>,
}

/// A group of boards.
#[derive(Clone, Debug, PartialEq)]
pub struct Assembly {
    /// Its name.
    pub name: String,
    /// Its boards.
    pub boards: Vec<BoardText>,
}

/// One board and its texts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BoardText {
    /// Name, unique in the project.
    pub name: String,
    /// What it is, if anything says so.
    pub title: Option<String>,
    /// Its slot.
    pub slot: Option<String>,
    /// Its circuit sheet.
    pub sheet: Option<Text>,
    /// Its readings that stand in a file.
    pub readings: Option<Text>,
    /// Its readings that were entered into the ledger; they are later than those of the file.
    pub entered: Option<Arc<Entered>>,
    /// Suspects that a person ruled in or out.
    pub rulings: Vec<Ruled>,
    /// Why there is no sheet although the machine file names one.
    pub missing: Option<String>,
}

/// A unit as it is named on pages.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnitName {
    /// Name, such as `1`.
    pub name: String,
    /// Serial number.
    pub serial: Option<String>,
}

/// Something wrong (`is_error`) or doubtful in a text.
#[derive(Clone, Debug, PartialEq)]
pub struct Remark {
    /// The line cannot be used.
    pub is_error: bool,
    /// What and where.
    pub complaint: Complaint,
}

impl From<&Diagnostic> for Remark {
    fn from(d: &Diagnostic) -> Self {
        Self {
            is_error: d.is_error(),
            complaint: Complaint::from(d),
        }
    }
}

impl BoardText {
    /// The sheet, and what is wrong or doubtful in it. A board that has none gets one of the places that its readings
    /// name and no parts, so that readings can be compared before anything is drawn.
    pub fn read_sheet(&self) -> (Sheet, Vec<Diagnostic>) {
        if let Some(text) = &self.sheet {
            return sheet::check(&text.text, &text.file);
        }
        let mut names = Vec::new();
        let files = self.readings.as_ref().map(|t| &t.text);
        for text in files
            .into_iter()
            .chain(self.entered.as_ref().map(|e| &e.text))
        {
            for name in record::places_named(text) {
                if !names.contains(&name) {
                    names.push(name);
                }
            }
        }
        let net = |name| sheet::Net {
            name,
            role: None,
            volts: None,
            tolerance: None,
            source: None,
            span: sheet::Span::default(),
        };
        let undrawn = Sheet {
            name: self.name.clone(),
            nets: names.into_iter().map(net).collect(),
            ..Sheet::default()
        };
        (undrawn, Vec::new())
    }
}

impl Project {
    /// Puts a project together from its texts. Never fails as a whole: what cannot be used becomes a remark.
    pub fn of(text: ProjectText) -> Self {
        let mut remarks: Vec<Remark> = text
            .unreadable
            .iter()
            .map(|c| Remark {
                is_error: true,
                complaint: c.clone(),
            })
            .collect();
        let mut readings: HashMap<String, Text> = text
            .readings
            .into_iter()
            .map(|t| (readings_key(stem(&t.file)), t))
            .collect();
        let machine = text.machine.map(|t| {
            let (machine, diagnostics) = machine::parse(&t.text, &t.file);
            remarks.extend(diagnostics.iter().map(Remark::from));
            (machine, t)
        });
        let (assemblies, bring_up) = match &machine {
            Some((machine, _)) => of_machine(machine, text.sheets, &mut readings),
            None => (of_sheets(text.sheets, &mut readings), Vec::new()),
        };
        for left in readings.into_values() {
            remarks.push(Remark {
                is_error: false,
                complaint: Complaint {
                    file: Some(left.file.clone()),
                    ..Complaint::new(
                        format!(
                            "There is no board `{}` to which these readings belong.",
                            stem(&left.file)
                        ),
                        "Name the file after the board, or add the board to machine.kdl.",
                    )
                },
            });
        }
        let captures = captures::gather(text.captures, text.abouts);
        let stores = stores::gather("stores/", text.stores, &mut remarks);
        let logic = stores::gather("logic/", text.logic, &mut remarks);
        remarks.sort_by(|a, b| {
            b.is_error
                .cmp(&a.is_error)
                .then(a.complaint.file.cmp(&b.complaint.file))
        });
        let named = machine.as_ref().filter(|(m, _)| !m.units.is_empty());
        let units = match named {
            Some((machine, _)) => machine.units.iter().map(UnitName::from).collect(),
            None => units_read(&assemblies),
        };
        let name = machine.as_ref().map(|(m, _)| m.name.clone());
        Self {
            name: name.filter(|n| !n.is_empty()).unwrap_or(text.name),
            has_machine: machine.is_some(),
            assemblies,
            bring_up,
            units,
            stores,
            captures,
            logic,
            meter: text.meter,
            remarks,
            machine,
        }
    }

    /// The project with what its ledger says: readings beside those of the files, boards and units that only the ledger
    /// names.
    pub fn with(&self, written: &Written) -> Self {
        let mut project = self.clone();
        for board in project.assemblies.iter_mut().flat_map(|a| &mut a.boards) {
            board.entered = written.boards.get(&board.name).cloned();
            board.rulings = written
                .rulings
                .get(&board.name)
                .cloned()
                .unwrap_or_default();
        }
        let strange: Vec<BoardText> = written
            .boards
            .iter()
            .filter(|(name, _)| self.board(name).is_none())
            .map(|(name, entered)| BoardText {
                name: name.clone(),
                entered: Some(Arc::clone(entered)),
                ..BoardText::default()
            })
            .collect();
        if !strange.is_empty() {
            project.assemblies.push(Assembly {
                name: "Boards that only the ledger names".to_owned(),
                boards: strange,
            });
        }
        if self.known_units().is_none() {
            let named = written.boards.values().flat_map(|e| &e.units);
            let mut names: Vec<String> = self.units.iter().map(|u| u.name.clone()).collect();
            names.extend(named.cloned());
            project.units = in_order(names);
        }
        project
    }

    /// All boards in bring-up order.
    pub fn boards(&self) -> impl Iterator<Item = &BoardText> {
        self.assemblies.iter().flat_map(|a| &a.boards)
    }

    /// The board of that name.
    pub fn board(&self, name: &str) -> Option<&BoardText> {
        self.boards().find(|b| b.name == name)
    }

    /// The sheet of a board as a unit is really built, and what could not be applied; none if it is built as drawn.
    pub fn as_built(&self, sheet: &Sheet, board: &str, unit: &str) -> Option<(Sheet, Vec<Remark>)> {
        let (machine, text) = self.machine.as_ref()?;
        let unit = machine.unit(unit)?;
        let differs = unit
            .boards
            .iter()
            .any(|d| d.board == board && !d.changes.is_empty());
        if !differs {
            return None;
        }
        let (built, diagnostics) = machine::as_built(sheet, board, unit);
        let remarks = diagnostics
            .into_iter()
            .map(|d| Remark::from(&d.placed(&text.file, &text.text)))
            .collect();
        Some((built, remarks))
    }

    /// The machine file.
    pub fn machine_text(&self) -> Option<&Text> {
        self.machine.as_ref().map(|(_, text)| text)
    }

    /// Names of the machine's units, if it names any: readings of other units are then mistakes.
    pub fn known_units(&self) -> Option<Vec<String>> {
        let (machine, _) = self.machine.as_ref()?;
        (!machine.units.is_empty()).then(|| machine.units.iter().map(|u| u.name.clone()).collect())
    }
}

impl From<&Unit> for UnitName {
    fn from(unit: &Unit) -> Self {
        Self {
            name: unit.name.clone(),
            serial: unit.serial.clone(),
        }
    }
}

/// `readings/a2.csv` are readings of board `A2`: not every file system keeps capitals.
fn readings_key(name: &str) -> String {
    name.to_lowercase()
}

/// `sheets/a2.kdl` is `a2`.
fn stem(file: &str) -> &str {
    let name = file.rsplit('/').next().unwrap_or(file);
    name.rsplit_once('.').map_or(name, |(stem, _)| stem)
}

fn of_machine(
    machine: &Machine,
    sheets: Vec<Text>,
    readings: &mut HashMap<String, Text>,
) -> (Vec<Assembly>, Vec<Step>) {
    let mut assembly = |name: &str| {
        let found = machine.assemblies.iter().find(|a| a.name == name)?;
        let boards = found.boards.iter().map(|b| {
            let sheet = b
                .sheet
                .as_ref()
                .and_then(|path| {
                    sheets
                        .iter()
                        .find(|s| s.file == path.trim_start_matches("./"))
                })
                .cloned();
            let missing = b.sheet.as_ref().filter(|_| sheet.is_none()).map(|path| {
                format!("The machine file names {path} as its sheet, and there is no such file.")
            });
            let title = b
                .title
                .clone()
                .or_else(|| sheet.as_ref().and_then(title_of));
            BoardText {
                name: b.name.clone(),
                title,
                slot: b.slot.clone(),
                sheet,
                readings: readings.remove(&readings_key(&b.name)),
                missing,
                ..BoardText::default()
            }
        });
        Some(Assembly {
            name: found.name.clone(),
            boards: boards.collect(),
        })
    };
    // What the bring-up forgets comes last: it must not vanish from the page.
    let mut order: Vec<&str> = Vec::new();
    let steps = machine.bring_up.iter().filter_map(|s| match s {
        Step::Assembly(name) => Some(name.as_str()),
        Step::Hold(_) => None,
    });
    for name in steps.chain(machine.assemblies.iter().map(|a| a.name.as_str())) {
        if !order.contains(&name) {
            order.push(name);
        }
    }
    let assemblies = order.into_iter().filter_map(&mut assembly).collect();
    (assemblies, machine.bring_up.clone())
}

fn of_sheets(sheets: Vec<Text>, readings: &mut HashMap<String, Text>) -> Vec<Assembly> {
    let mut boards: Vec<BoardText> = Vec::new();
    for text in sheets {
        let (sheet, _) = sheet::parse(&text.text, &text.file);
        let is_free = |name: &str| !name.is_empty() && boards.iter().all(|b| b.name != name);
        let name = if is_free(&sheet.name) {
            sheet.name.clone()
        } else if is_free(stem(&text.file)) {
            stem(&text.file).to_owned()
        } else {
            text.file.clone()
        };
        boards.push(BoardText {
            readings: readings
                .remove(&readings_key(&name))
                .or_else(|| readings.remove(&readings_key(stem(&text.file)))),
            name,
            title: sheet.title,
            sheet: Some(text),
            ..BoardText::default()
        });
    }
    // Readings are of use before anything is drawn.
    let mut undrawn: Vec<Text> = readings.drain().map(|(_, text)| text).collect();
    undrawn.sort_by(|a, b| a.file.cmp(&b.file));
    boards.extend(undrawn.into_iter().map(|text| BoardText {
        name: stem(&text.file).to_owned(),
        readings: Some(text),
        ..BoardText::default()
    }));
    if boards.is_empty() {
        return Vec::new();
    }
    vec![Assembly {
        name: "Boards".to_owned(),
        boards,
    }]
}

fn title_of(text: &Text) -> Option<String> {
    sheet::parse(&text.text, &text.file).0.title
}

/// Units that the readings name, in order of their names.
fn units_read(assemblies: &[Assembly]) -> Vec<UnitName> {
    let mut names: Vec<String> = Vec::new();
    for board in assemblies.iter().flat_map(|a| &a.boards) {
        if let Some(readings) = &board.readings {
            let (sheet, _) = board.read_sheet();
            let meters = crate::meters::Meters::settle(&crate::MeterChoice::default());
            let known = record::Known {
                sheet: &sheet,
                meters: meters.as_ref().map_or(&[], |m| m.all.as_slice()),
                units: None,
            };
            let (list, _) = record::parse_readings(&readings.text, &readings.file, &known);
            names.extend(list.into_iter().map(|r| r.unit));
        }
    }
    in_order(names)
}

fn in_order(mut names: Vec<String>) -> Vec<UnitName> {
    names.sort_by(|a, b| a.len().cmp(&b.len()).then(a.cmp(b)));
    names.dedup();
    let unit = |name| UnitName { name, serial: None };
    names.into_iter().map(unit).collect()
}
