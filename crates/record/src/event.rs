//! What can happen at the bench: the kinds of entries in the ledger.

mod connection;
mod finding;
mod judgement;
mod levels;
mod part;
mod permit;
mod picture;
mod row;
mod trimmer;
mod unit;
mod words;

use crate::{Digest, Id};

pub use connection::{Connection, ConnectionKind, Step};
pub use finding::{
    Circumstance, Closing, Explanation, Finding, Hypothesis, Origin, Outcome, Retest,
};
pub use judgement::{Dismissal, Harmless, Lasts, Level, OddOne, Ruling, Test, Trust};
pub use levels::Levels;
pub use part::{Capacitor, How, Repair, Touch};
pub use permit::{ColdCheck, Hold, Override, PowerPermit, Stand, Watch};
pub use picture::{Face, File, Photo, Point};
pub use row::Row;
pub use trimmer::{Mark, Order, Recheck, Turn};
pub use unit::{Alteration, Condition, Fate, FateWord, Machine, Move, Note, Power, Unit};

/// What an entry is about: a unit, and a board of it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct Site {
    /// Name of the unit, such as `1`.
    pub unit: String,
    /// Name of the board, such as `A2`; none if it is about the unit as a whole.
    pub board: Option<String>,
}

/// A correction: the entry that it names no longer counts, or counts as `instead` says. The entry itself stays.
#[derive(Clone, Debug, PartialEq)]
pub struct Correction {
    /// The entry that is corrected. A correction can itself be withdrawn by one.
    pub entry: Id,
    /// Why.
    pub reason: String,
    /// What counts instead, of the same kind; none means that it never happened.
    pub instead: Option<Box<Event>>,
}

/// An entry of a kind, or with a content, that this version does not know; kept as it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unknown {
    /// Its kind, as written.
    pub kind: String,
    /// Its content, as written: canonical JSON.
    pub content: String,
}

/// Something that happened.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// The machine was named.
    Machine(Machine),
    /// A unit was added.
    Unit(Unit),
    /// Something was seen as found.
    Condition(Condition),
    /// An alteration by an earlier owner was seen.
    Alteration(Alteration),
    /// What is to become of an alteration.
    Fate(Fate),
    /// A slot or cable was seen, photographed, parted, joined or checked.
    Connection(Connection),
    /// A unit was moved.
    Move(Move),
    /// Something is about to be touched.
    Touch(Touch),
    /// A part was changed.
    Repair(Repair),
    /// A row of a capacitor's record.
    Capacitor(Capacitor),
    /// In which order trimmers are set.
    Order(Order),
    /// A trimmer was marked and measured.
    Mark(Mark),
    /// A trimmer was turned.
    Turn(Turn),
    /// What a turn made necessary was checked again.
    Recheck(Recheck),
    /// A reading was taken.
    Reading(Row),
    /// Logic levels were seen.
    Levels(Levels),
    /// A test with a name was run.
    Test(Test),
    /// How far a board is trusted.
    Trust(Trust),
    /// A finding was opened.
    Finding(Finding),
    /// What it might be, written before the probe.
    Hypothesis(Hypothesis),
    /// What the probe said of it.
    Outcome(Outcome),
    /// Why a finding needs no mending.
    Explanation(Explanation),
    /// A finding was closed by a re-test.
    Closing(Closing),
    /// A suspect was ruled in or out by hand.
    Ruling(Ruling),
    /// A difference of the units was dismissed as harmless.
    Dismissal(Dismissal),
    /// A difference of two recordings was dismissed as harmless.
    Harmless(Harmless),
    /// A photograph.
    Photo(Photo),
    /// A place on a photograph.
    Point(Point),
    /// A capture, dump or other file.
    File(File),
    /// Power went on or off.
    Power(Power),
    /// Leave was given to bring a unit up.
    Permit(PowerPermit),
    /// A reading at a stage of the bring-up.
    Watch(Watch),
    /// A hold point was passed or signed for.
    Hold(Hold),
    /// A remark.
    Note(Note),
    /// An entry was corrected.
    Correction(Correction),
    /// Written by a later version.
    Unknown(Unknown),
}

impl Event {
    /// The word for its kind, in the ledger's file and on pages.
    pub fn kind(&self) -> &str {
        match self {
            Event::Machine(_) => "machine",
            Event::Unit(_) => "unit",
            Event::Condition(_) => "condition",
            Event::Alteration(_) => "alteration",
            Event::Fate(_) => "fate",
            Event::Connection(_) => "connection",
            Event::Move(_) => "move",
            Event::Touch(_) => "touch",
            Event::Repair(_) => "repair",
            Event::Capacitor(_) => "capacitor",
            Event::Order(_) => "order",
            Event::Mark(_) => "mark",
            Event::Turn(_) => "turn",
            Event::Recheck(_) => "recheck",
            Event::Reading(_) => "reading",
            Event::Levels(_) => "levels",
            Event::Test(_) => "test",
            Event::Trust(_) => "trust",
            Event::Finding(_) => "finding",
            Event::Hypothesis(_) => "hypothesis",
            Event::Outcome(_) => "outcome",
            Event::Explanation(_) => "explanation",
            Event::Closing(_) => "closing",
            Event::Ruling(_) => "ruling",
            Event::Dismissal(_) => "dismissal",
            Event::Harmless(_) => "harmless",
            Event::Photo(_) => "photo",
            Event::Point(_) => "point",
            Event::File(_) => "file",
            Event::Power(_) => "power",
            Event::Permit(_) => "permit",
            Event::Watch(_) => "watch",
            Event::Hold(_) => "hold",
            Event::Note(_) => "note",
            Event::Correction(_) => "correction",
            Event::Unknown(unknown) => &unknown.kind,
        }
    }

    /// The unit that it is about; none if it is about the machine, both units, or another entry.
    pub fn unit(&self) -> Option<&str> {
        match self {
            Event::Unit(e) => Some(&e.name),
            Event::Connection(e) => Some(&e.unit),
            Event::Move(e) => Some(&e.unit),
            Event::Levels(e) => Some(&e.unit),
            Event::Power(e) => Some(&e.unit),
            Event::Permit(e) => Some(e.unit()),
            Event::Dismissal(e) => e.one.as_ref().map(|one| one.unit.as_str()),
            Event::Watch(e) => Some(&e.unit),
            Event::Hold(e) => Some(&e.unit),
            _ => self.site().map(|s| s.unit.as_str()),
        }
    }

    /// The board that it is about, if it says one.
    pub fn board(&self) -> Option<&str> {
        match self {
            Event::Dismissal(e) => Some(&e.board),
            Event::Connection(e) => match e.kind {
                ConnectionKind::Slot => e.holds.as_deref(),
                ConnectionKind::Cable => None,
            },
            _ => self.site().and_then(|s| s.board.as_deref()),
        }
    }

    /// The unit and board that it is about, of kinds that have both.
    pub fn site(&self) -> Option<&Site> {
        match self {
            Event::Condition(e) => Some(&e.site),
            Event::Alteration(e) => Some(&e.site),
            Event::Touch(e) => Some(&e.site),
            Event::Repair(e) => Some(&e.site),
            Event::Capacitor(e) => Some(&e.site),
            Event::Order(e) => Some(&e.site),
            Event::Mark(e) => Some(&e.site),
            Event::Turn(e) => Some(&e.site),
            Event::Reading(e) => Some(&e.site),
            Event::Test(e) => Some(&e.site),
            Event::Trust(e) => Some(&e.site),
            Event::Finding(e) => Some(&e.site),
            Event::Ruling(e) => Some(&e.site),
            Event::Photo(e) => Some(&e.site),
            Event::File(e) => Some(&e.site),
            Event::Note(e) => Some(&e.site),
            _ => None,
        }
    }

    /// The attachments that it names.
    pub fn attachments(&self) -> Vec<Digest> {
        match self {
            Event::Condition(e) => e.photos.clone(),
            Event::Alteration(e) => e.photos.clone(),
            Event::Repair(e) => e.photos.clone(),
            Event::Connection(e) => e.photo.into_iter().collect(),
            Event::Mark(e) => e.photo.into_iter().collect(),
            Event::Photo(e) => vec![e.attachment],
            Event::File(e) => vec![e.attachment],
            Event::Correction(e) => {
                let instead = e.instead.as_ref();
                instead.map_or_else(Vec::new, |event| event.attachments())
            }
            _ => Vec::new(),
        }
    }
}
