//! The machine, its units, and the state in which they arrived.

use super::{Override, Site};
use crate::{Digest, Id};

/// The machine was named; the last name counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Machine {
    /// Its name.
    pub name: String,
}

/// A unit was added.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unit {
    /// Its name, such as `1`; new.
    pub name: String,
    /// Serial number, as marked.
    pub serial: Option<String>,
    /// Where it comes from, what is known of it.
    pub note: String,
}

/// Something seen on a unit as it arrived: damage, a missing part, dirt, a smell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Condition {
    /// Where.
    pub site: Site,
    /// What was seen.
    pub text: String,
    /// Photographs of it.
    pub photos: Vec<Digest>,
}

/// An alteration by an earlier owner.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alteration {
    /// Where.
    pub site: Site,
    /// The part that was altered, if it is one.
    pub part: Option<String>,
    /// What was altered.
    pub text: String,
    /// Photographs of it.
    pub photos: Vec<Digest>,
}

/// What is to become of an alteration; the last word counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fate {
    /// The entry of the alteration.
    pub alteration: Id,
    /// What becomes of it.
    pub fate: FateWord,
    /// Why.
    pub reason: String,
}

/// What becomes of an alteration; while nobody has said, it is undecided.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum FateWord {
    /// It stays.
    Keep,
    /// It is to be undone.
    Undo,
    /// It has been undone.
    Undone,
}

impl FateWord {
    /// All of them.
    pub const ALL: [FateWord; 3] = [FateWord::Keep, FateWord::Undo, FateWord::Undone];

    /// The word.
    pub fn word(self) -> &'static str {
        match self {
            FateWord::Keep => "keep",
            FateWord::Undo => "undo",
            FateWord::Undone => "undone",
        }
    }
}

/// A unit was moved or transported; what was proven on it has to be proven again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Move {
    /// The unit.
    pub unit: String,
    /// From where to where.
    pub text: String,
}

/// Power went on or off.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Power {
    /// The unit.
    pub unit: String,
    /// On, or off.
    pub on: bool,
    /// Name of the power cycle, as readings of it carry it in their column `cycle`.
    pub cycle: String,
    /// Through what: a lamp, a variable transformer, a bench supply.
    pub note: String,
    /// Who switched it on without a permit in force, and why.
    pub signed: Option<Override>,
}

/// A remark.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note {
    /// What it is about; an empty unit means the machine.
    pub site: Site,
    /// The remark.
    pub text: String,
}
