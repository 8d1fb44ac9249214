//! Slots and cables of a unit, and whether each is back as it was.

use super::Work;
use crate::event::{Connection, ConnectionKind, Step};
use crate::{Digest, Entry, Event};

/// A slot or a cable.
#[derive(Clone, Debug, PartialEq)]
pub struct ConnectionState<'a> {
    /// A slot or a cable.
    pub kind: ConnectionKind,
    /// Its name.
    pub name: &'a str,
    /// What it held as found: a board, or from where to where.
    pub found: Option<&'a str>,
    /// What it holds, by the last entry that says it; also while it is parted.
    pub holds: Option<&'a str>,
    /// Photographs, oldest first.
    pub photos: Vec<Digest>,
    /// It is parted now.
    pub parted: bool,
    /// It was held against its photograph since it was last joined.
    pub checked: bool,
    /// All entries, oldest first.
    pub steps: Vec<(&'a Entry, &'a Connection)>,
}

impl ConnectionState<'_> {
    /// It was parted or joined and nobody has held it against its photograph since, or something else sits there now.
    pub fn is_owed(&self) -> bool {
        let handled = |step: Step| matches!(step, Step::Parted | Step::Joined);
        let touched = self.steps.iter().any(|(_, c)| handled(c.step));
        let moved = self.found.is_some() && self.found != self.holds;
        self.parted || moved || (touched && !self.checked)
    }
}

impl Work {
    /// The slots and cables of a unit, in the order in which they were first met.
    pub fn connections(&self, unit: &str) -> Vec<ConnectionState<'_>> {
        let mut list: Vec<ConnectionState> = Vec::new();
        for (entry, event) in self.others() {
            let Event::Connection(connection) = event else {
                continue;
            };
            if connection.unit == unit {
                add(&mut list, entry, connection);
            }
        }
        list
    }
}

fn add<'a>(list: &mut Vec<ConnectionState<'a>>, entry: &'a Entry, connection: &'a Connection) {
    let is = |c: &ConnectionState| c.kind == connection.kind && c.name == connection.name;
    let index = list.iter().position(is).unwrap_or_else(|| {
        list.push(ConnectionState {
            kind: connection.kind,
            name: &connection.name,
            found: None,
            holds: None,
            photos: Vec::new(),
            parted: false,
            checked: false,
            steps: Vec::new(),
        });
        list.len() - 1
    });
    let state = &mut list[index];
    if let Some(holds) = &connection.holds {
        state.holds = Some(holds);
    }
    if connection.step == Step::Found && state.found.is_none() {
        state.found = connection.holds.as_deref();
    }
    state.photos.extend(connection.photo);
    match connection.step {
        Step::Parted => (state.parted, state.checked) = (true, false),
        Step::Joined => (state.parted, state.checked) = (false, false),
        Step::Checked => state.checked = !state.parted,
        Step::Found | Step::Photographed => {}
    }
    state.steps.push((entry, connection));
}
