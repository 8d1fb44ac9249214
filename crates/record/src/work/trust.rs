//! How far each board is trusted now, and what took trust away: a move, a pulled board, a repair, time, a power cycle.

use std::collections::HashMap;

use super::Work;
use crate::event::{ConnectionKind, How, Lasts, Step, Trust};
use crate::{Entry, Event, Id, Moment, State};

/// Days that trust lasts if nothing happens: four weeks, common practice.
pub(super) const DAYS: i64 = 28;

/// How a board stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standing<'a> {
    /// The last word on it, and the entry that said it; none means unknown.
    pub trust: Option<(&'a Entry, &'a Trust)>,
    /// What has taken it away since.
    pub lapse: Option<Lapse<'a>>,
}

/// What took trust away, or made a reading stale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Lapse<'a> {
    /// The unit was moved.
    Moved(&'a Entry),
    /// The board was pulled, or its connector drawn.
    Pulled(&'a Entry),
    /// Something on the board was repaired, or a trimmer turned.
    Changed(&'a Entry),
    /// Power went off or on since: it held for one power cycle.
    Cycled(&'a Entry),
    /// A limit was crossed at a stage.
    Crossed(&'a Entry),
    /// It is this many days old.
    Old {
        /// Whole days.
        days: i64,
    },
}

impl Lapse<'_> {
    /// In words, a whole sentence.
    pub fn words(&self) -> String {
        match self {
            Lapse::Moved(entry) => format!("The unit was moved since (entry {}).", entry.number),
            Lapse::Pulled(entry) => format!("The board was pulled since (entry {}).", entry.number),
            Lapse::Changed(entry) => {
                format!("The board was changed since (entry {}).", entry.number)
            }
            Lapse::Cycled(entry) => {
                format!(
                    "It held for one power cycle, which has ended (entry {}).",
                    entry.number
                )
            }
            Lapse::Crossed(entry) => {
                format!("A limit was crossed (entry {}).", entry.number)
            }
            Lapse::Old { days } => {
                format!("It is {days} days old; four weeks is as long as it lasts.")
            }
        }
    }
}

impl Work {
    /// How far a board of a unit is trusted at a moment.
    pub fn trust(&self, unit: &str, board: &str, now: Moment) -> Standing<'_> {
        let trust = self.others().rev().find_map(|(entry, event)| match event {
            Event::Trust(t) if t.site.unit == unit && t.site.board.as_deref() == Some(board) => {
                Some((entry, t))
            }
            _ => None,
        });
        let lapse = trust.and_then(|(entry, trust)| {
            let one_cycle = trust.lasts == Lasts::Cycle;
            self.lapse_since(entry, unit, Some(board), one_cycle, now)
        });
        Standing { trust, lapse }
    }

    /// Why a reading no longer says how its board is; none if it still holds. A cold reading lapses like trust, a
    /// powered one also with its power cycle.
    pub fn reading_lapse(&self, reading: &Id, now: Moment) -> Option<Lapse<'_>> {
        let entry = self.entry(reading)?;
        let Some(Event::Reading(row)) = self.event(reading) else {
            return None;
        };
        let current = self.cycle(&row.site.unit);
        let named = row.cycle.as_deref().filter(|cycle| current == Some(*cycle));
        let one_cycle = row.state == State::Powered && named.is_none();
        let board = row.site.board.as_deref();
        self.lapse_since(entry, &row.site.unit, board, one_cycle, now)
    }

    /// The power cycle that a unit is in; none while its power is off.
    pub fn cycle(&self, unit: &str) -> Option<&str> {
        let last = self.others().rev().find_map(|(_, event)| match event {
            Event::Power(power) if power.unit == unit => Some(power),
            _ => None,
        });
        last.filter(|p| p.on).map(|p| p.cycle.as_str())
    }

    fn lapse_since(
        &self,
        since: &Entry,
        unit: &str,
        board: Option<&str>,
        one_cycle: bool,
        now: Moment,
    ) -> Option<Lapse<'_>> {
        let mut slots: HashMap<&str, &str> = HashMap::new();
        for (entry, event) in self.others() {
            if let Event::Connection(c) = event
                && let (ConnectionKind::Slot, Some(holds)) = (c.kind, &c.holds)
                && c.unit == unit
            {
                slots.insert(&c.name, holds);
            }
            if entry.number > since.number
                && event.unit() == Some(unit)
                && let Some(lapse) = taken_away(entry, event, board, one_cycle, &slots)
            {
                return Some(lapse);
            }
        }
        let days = now.days_since(since.time);
        (days >= DAYS).then_some(Lapse::Old { days })
    }
}

fn taken_away<'a>(
    entry: &'a Entry,
    event: &Event,
    board: Option<&str>,
    one_cycle: bool,
    slots: &HashMap<&str, &str>,
) -> Option<Lapse<'a>> {
    let here = board.is_some() && event.board() == board;
    match event {
        Event::Move(_) => Some(Lapse::Moved(entry)),
        Event::Connection(c) if c.kind == ConnectionKind::Slot && c.step == Step::Parted => {
            let pulled = slots.get(c.name.as_str()).copied();
            (board.is_some() && pulled == board).then_some(Lapse::Pulled(entry))
        }
        Event::Touch(t) if here && t.how == How::Reseated => Some(Lapse::Pulled(entry)),
        Event::Repair(_) | Event::Turn(_) if here => Some(Lapse::Changed(entry)),
        Event::Power(_) if one_cycle => Some(Lapse::Cycled(entry)),
        _ => None,
    }
}
