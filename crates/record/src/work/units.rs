//! The machine, its units, their alterations, and lists by unit and board.

use super::Work;
use crate::event::{
    Alteration, Capacitor, Dismissal, Fate, Harmless, Levels, Photo, Point, Ruling, Unit,
};
use crate::{Entry, Event, Id};

/// A unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UnitState<'a> {
    /// The entry that added it.
    pub entry: &'a Entry,
    /// What it says.
    pub unit: &'a Unit,
}

/// An alteration by an earlier owner, and what is to become of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AlterationState<'a> {
    /// The entry that saw it.
    pub entry: &'a Entry,
    /// What it says.
    pub alteration: &'a Alteration,
    /// The last word on its fate; none while it is undecided.
    pub fate: Option<(&'a Entry, &'a Fate)>,
}

impl Work {
    /// The machine's name; none until somebody gave it one.
    pub fn machine(&self) -> Option<&str> {
        self.others().rev().find_map(|(_, event)| match event {
            Event::Machine(machine) => Some(machine.name.as_str()),
            _ => None,
        })
    }

    /// The units, in the order in which they were added.
    pub fn units(&self) -> Vec<UnitState<'_>> {
        let list = self.others().filter_map(|(entry, event)| match event {
            Event::Unit(unit) => Some(UnitState { entry, unit }),
            _ => None,
        });
        list.collect()
    }

    /// The unit of that name.
    pub fn unit(&self, name: &str) -> Option<UnitState<'_>> {
        self.units().into_iter().find(|u| u.unit.name == name)
    }

    /// The alterations of a unit.
    pub fn alterations(&self, unit: &str) -> Vec<AlterationState<'_>> {
        let mut list: Vec<AlterationState> = Vec::new();
        for (entry, event) in self.others() {
            match event {
                Event::Alteration(alteration) if alteration.site.unit == unit => {
                    list.push(AlterationState {
                        entry,
                        alteration,
                        fate: None,
                    });
                }
                Event::Fate(fate) => {
                    if let Some(state) = list.iter_mut().find(|a| a.entry.id == fate.alteration) {
                        state.fate = Some((entry, fate));
                    }
                }
                _ => {}
            }
        }
        list
    }

    /// All that counts of a unit, and of a board of it if one is named, oldest first: conditions, touches, repairs,
    /// tests, readings and the rest, told apart by their kind.
    pub fn history<'a>(
        &'a self,
        unit: &'a str,
        board: Option<&'a str>,
    ) -> impl Iterator<Item = (&'a Entry, &'a Event)> {
        self.events().filter(move |(_, event)| {
            event.unit() == Some(unit) && (board.is_none() || event.board() == board)
        })
    }

    /// The record of a capacitor, oldest row first.
    pub fn capacitor(&self, unit: &str, board: &str, part: &str) -> Vec<(&Entry, &Capacitor)> {
        let list = self.others().filter_map(|(entry, event)| match event {
            Event::Capacitor(row)
                if row.site.unit == unit
                    && row.site.board.as_deref() == Some(board)
                    && row.part == part =>
            {
                Some((entry, row))
            }
            _ => None,
        });
        list.collect()
    }

    /// The rulings on suspects of a board of a unit: the last one on each suspect, in the order of the last words.
    pub fn rulings(&self, unit: &str, board: &str) -> Vec<(&Entry, &Ruling)> {
        let mut list: Vec<(&Entry, &Ruling)> = Vec::new();
        for (entry, event) in self.others() {
            if let Event::Ruling(ruling) = event
                && ruling.site.unit == unit
                && ruling.site.board.as_deref() == Some(board)
            {
                list.retain(|(_, other)| other.suspect != ruling.suspect);
                list.push((entry, ruling));
            }
        }
        list
    }

    /// The differences of a board that were dismissed as harmless.
    pub fn dismissals(&self, board: &str) -> Vec<(&Entry, &Dismissal)> {
        let list = self.others().filter_map(|(entry, event)| match event {
            Event::Dismissal(dismissal) if dismissal.board == board => Some((entry, dismissal)),
            _ => None,
        });
        list.collect()
    }

    /// The differences of a set of recordings that were dismissed as harmless.
    pub fn harmless(&self, capture: &str) -> Vec<(&Entry, &Harmless)> {
        let list = self.others().filter_map(|(entry, event)| match event {
            Event::Harmless(harmless) if harmless.capture == capture => Some((entry, harmless)),
            _ => None,
        });
        list.collect()
    }

    /// Levels seen of a gate sheet, in the order in which they were entered.
    pub fn levels(&self, sheet: &str) -> Vec<(&Entry, &Levels)> {
        let list = self.others().filter_map(|(entry, event)| match event {
            Event::Levels(levels) if levels.sheet == sheet => Some((entry, levels)),
            _ => None,
        });
        list.collect()
    }

    /// The photographs of a board; of every unit if none is named.
    pub fn photos(&self, unit: Option<&str>, board: Option<&str>) -> Vec<(&Entry, &Photo)> {
        let list = self.others().filter_map(|(entry, event)| match event {
            Event::Photo(photo)
                if unit.is_none_or(|u| photo.site.unit == u)
                    && photo.site.board.as_deref() == board =>
            {
                Some((entry, photo))
            }
            _ => None,
        });
        list.collect()
    }

    /// The places on a photograph: the last one of each name.
    pub fn points(&self, photo: &Id) -> Vec<(&Entry, &Point)> {
        let mut list: Vec<(&Entry, &Point)> = Vec::new();
        for (entry, event) in self.others() {
            if let Event::Point(point) = event
                && point.photo == *photo
            {
                list.retain(|(_, other)| other.name != point.name);
                list.push((entry, point));
            }
        }
        list
    }
}
