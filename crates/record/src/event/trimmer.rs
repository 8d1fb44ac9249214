//! Adjustments: marked and measured before, turned in order, checked after.

use super::Site;
use crate::{Digest, Id};

/// The order in which trimmers of a board are set; the last word counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Order {
    /// Where.
    pub site: Site,
    /// Designators, first to be set first.
    pub trimmers: Vec<String>,
}

/// A trimmer was marked where it stands, and what it sets was measured.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// Where.
    pub site: Site,
    /// Designator.
    pub trimmer: String,
    /// Where it stands: the mark, an angle, ohms from wiper to end.
    pub position: String,
    /// What it sets reads now.
    pub measured: String,
    /// A photograph of the mark.
    pub photo: Option<Digest>,
}

/// A trimmer was turned.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Turn {
    /// Where.
    pub site: Site,
    /// Designator.
    pub trimmer: String,
    /// Where it stands now.
    pub position: String,
    /// What it sets reads now.
    pub measured: String,
    /// Why.
    pub reason: String,
    /// What has to be checked again because of it.
    pub recheck: Vec<String>,
    /// Why it was turned without having been marked; only for what has already happened.
    pub unmarked: Option<String>,
}

/// Something that a turn made necessary was checked again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recheck {
    /// The entry of the turn.
    pub turn: Id,
    /// What was checked, as the turn has it in its list.
    pub what: String,
    /// What it read.
    pub result: String,
}
