//! A keyboard of the project: the table of its codes held against both units, what explains them, and how its contacts bounce.

use std::io::Cursor;

use crate::Text;
use crate::logic::{BounceView, ContactBounce, KeysView, QUIET, bounce, keys_of};
use crate::refused::{Complaint, Refused};
use crate::signal::{Asked, Recording};
use crate::stores::{Role, StoreFile, StoreText, role};

/// A keyboard, and what came of it in each unit.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// The file's name.
    pub name: String,
    /// The table, and what explains the codes; none if the keyboard's file cannot be used.
    pub keys: Option<KeysView>,
    /// Units of which contacts were recorded.
    pub recorded: Vec<String>,
    /// Their bounce, a unit each in that order; none if nothing was recorded.
    pub bounce: Option<BounceView>,
    /// What is wrong or doubtful in the files.
    pub remarks: Vec<Complaint>,
}

impl View {
    /// Units of which anything is known, each once.
    pub fn units(&self) -> Vec<&str> {
        let mut all: Vec<&str> = Vec::new();
        let of_codes = self.keys.iter().flat_map(|k| &k.units).map(|u| &u.unit);
        for unit in of_codes.chain(&self.recorded) {
            if !all.contains(&unit.as_str()) {
                all.push(unit);
            }
        }
        all.sort_unstable();
        all
    }

    /// How the contact of a key bounces in a unit: of the channel with the key's name.
    pub fn bounce_of(&self, key: &str, unit: &str) -> Option<&ContactBounce> {
        let at = self.recorded.iter().position(|u| u == unit)?;
        let contacts = &self.bounce.as_ref()?.contacts;
        contacts.iter().find(|c| c.name == key)?.units[at].as_ref()
    }

    /// What came of a key in a unit.
    pub fn code_of(&self, key: usize, unit: &str) -> Option<&str> {
        let units = &self.keys.as_ref()?.units;
        units.iter().find(|u| u.unit == unit)?.came[key].as_deref()
    }
}

/// Whether the file of a store describes a keyboard.
pub fn is_keyboard(text: &StoreText) -> bool {
    text.shape
        .as_ref()
        .is_some_and(|t| t.file.ends_with(".keys"))
}

/// Reads a keyboard of the project: `codes.csv` with a column `unit` or `UNIT-codes.csv`, and recordings of its contacts as
/// `UNIT-bounce.csv`, `.vcd`, `.wav` or what else holds a recording, a channel a key.
pub fn keyboard(text: &StoreText, units: &[String]) -> View {
    let mut view = View {
        name: text.name.clone(),
        keys: None,
        recorded: Vec::new(),
        bounce: None,
        remarks: Vec::new(),
    };
    let Some(shape) = &text.shape else {
        return view;
    };
    let mut tables: Vec<(String, Text)> = Vec::new();
    let mut recordings: Vec<(String, &StoreFile)> = Vec::new();
    for file in &text.files {
        let short = file.file.rsplit('/').next().unwrap_or(&file.file);
        match role(&file.file, units) {
            Some(Role::Reads(unit) | Role::Sequence(unit) | Role::Map(unit))
                if short.contains("bounce") =>
            {
                recordings.push((unit, file));
            }
            Some(Role::Reads(unit) | Role::Sequence(unit) | Role::Map(unit)) => {
                view.table(unit, file, &mut tables);
            }
            _ if short.starts_with("codes.") => view.table(String::new(), file, &mut tables),
            _ => view.remarks.push(Complaint::new(
                format!("{} is not used.", file.file),
                "Name it codes.csv, UNIT-codes.csv or UNIT-bounce.csv.",
            )),
        }
    }
    let list: Vec<(&str, &Text)> = tables.iter().map(|(u, t)| (u.as_str(), t)).collect();
    match keys_of(shape, &list).or_else(|refused| {
        view.refused(&refused);
        keys_of(shape, &[])
    }) {
        Ok(keys) => view.keys = Some(keys),
        // Told already.
        Err(_) => return view,
    }
    view.record(recordings);
    view
}

impl View {
    fn refused(&mut self, refused: &Refused) {
        self.remarks.extend_from_slice(refused.complaints());
    }

    fn table(&mut self, unit: String, file: &StoreFile, tables: &mut Vec<(String, Text)>) {
        match std::str::from_utf8(&file.bytes) {
            Ok(text) => tables.push((
                unit,
                Text {
                    file: file.file.clone(),
                    text: text.to_owned(),
                },
            )),
            Err(_) => self.remarks.push(Complaint {
                file: Some(file.file.clone()),
                ..Complaint::new("The file is not UTF-8 text.", "Save it as UTF-8.")
            }),
        }
    }

    /// The recordings that can be read, all together.
    fn record(&mut self, recordings: Vec<(String, &StoreFile)>) {
        let opened = |file: &StoreFile| Recording {
            file: file.file.clone(),
            bytes: Box::new(Cursor::new(file.bytes.to_vec())),
        };
        let asked = Asked::default();
        let mut good = Vec::new();
        for (unit, file) in recordings {
            match bounce(vec![opened(file)], &asked, QUIET) {
                Ok(_) => good.push((unit, file)),
                Err(refused) => self.refused(&refused),
            }
        }
        let all = good.iter().map(|(_, file)| opened(file)).collect();
        if let Ok(found) = bounce(all, &asked, QUIET) {
            self.remarks
                .extend(found.notes.iter().map(|n| Complaint::new(n.clone(), "")));
            self.recorded = good.into_iter().map(|(unit, _)| unit).collect();
            self.bounce = Some(found);
        }
    }
}
