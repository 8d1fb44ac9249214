//! What the ledger tells of and the machine file does not name, as when an older copy was saved over it.

use std::collections::BTreeSet;

use record::{Event, Work};

use crate::entered::Written;
use crate::project::Project;

/// What is not named.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Unnamed {
    /// Units: name, and serial number if the ledger has one.
    pub units: Vec<(String, Option<String>)>,
    /// Boards: name, and what was said when one was added, if so.
    pub boards: Vec<(String, Option<String>)>,
}

impl Unnamed {
    /// Whether all is named.
    pub fn is_empty(&self) -> bool {
        self.units.is_empty() && self.boards.is_empty()
    }
}

/// Units and boards of the ledger that the machine file lacks; nothing where there is none to lack them.
pub fn unnamed(project: &Project, work: &Work, written: &Written) -> Unnamed {
    if !project.has_machine {
        return Unnamed::default();
    }
    let is_unit = |name: &str| project.units.iter().any(|u| u.name == name);
    let units = work.units().into_iter().map(|u| u.unit);
    let units = units.filter(|u| !is_unit(&u.name));
    let mut names: BTreeSet<&str> = written.boards.keys().map(String::as_str).collect();
    names.extend(work.others().filter_map(|(_, event)| event.board()));
    let added = |name: &str| {
        work.others().find_map(|(_, event)| match event {
            Event::Note(note) if note.site.board.as_deref() == Some(name) => {
                note.text.starts_with("added to").then(|| note.text.clone())
            }
            _ => None,
        })
    };
    Unnamed {
        units: units.map(|u| (u.name.clone(), u.serial.clone())).collect(),
        boards: names
            .into_iter()
            .filter(|name| project.board(name).is_none())
            .map(|name| (name.to_owned(), added(name)))
            .collect(),
    }
}
