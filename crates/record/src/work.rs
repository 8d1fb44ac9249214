//! The state of the work: a pure fold over the ledger, of which any past page can be shown again.

mod bring_up;
mod closing;
mod connections;
mod findings;
mod fold;
mod refusal;
mod rows;
mod rules;
mod trimmers;
mod trust;
mod units;

use std::collections::HashMap;

use crate::{Entry, Event, Id};

pub use bring_up::{BringUp, Leave};
pub use connections::ConnectionState;
pub use findings::{FindingState, FindingWord, HypothesisState};
pub use refusal::Refusal;
pub use trimmers::TrimmerState;
pub use trust::{Lapse, Standing};
pub use units::{AlterationState, UnitState};

/// All entries, and which of them count.
///
/// Equal lists of entries give equal states, however they were handed over.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Work {
    entries: Vec<Entry>,
    places: HashMap<Id, usize>,
    /// One for each entry.
    fates: Vec<Counts>,
    /// Indices of readings that count.
    readings: Vec<usize>,
    /// Indices of other entries that count.
    others: Vec<usize>,
}

/// Whether an entry counts.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Counts {
    AsWritten,
    /// By the correction at this index.
    Replaced(usize),
    /// By the correction at this index.
    Withdrawn(usize),
    Refused(Refusal),
}

/// How an entry stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Counting<'a> {
    /// It counts as it was written.
    AsWritten,
    /// It counts as this correction says.
    Replaced(&'a Entry),
    /// It no longer counts, by this correction.
    Withdrawn(&'a Entry),
    /// It was written against a rule and does not count; a correction may still make it good.
    Refused(&'a Refusal),
}

impl Work {
    /// The state after these entries, which are all of a ledger or its beginning.
    pub fn of(entries: impl IntoIterator<Item = Entry>) -> Self {
        fold::of(entries.into_iter().collect())
    }

    /// Takes more entries in, such as [`crate::Ledger::since`] returns; those that are in it already are passed over. A
    /// correction costs a fold from the beginning, anything else next to nothing.
    pub fn extend(&mut self, entries: impl IntoIterator<Item = Entry>) {
        fold::extend(self, entries);
    }

    /// Whether an event would count if it were appended now.
    ///
    /// # Errors
    /// With the rule that it breaks, and what would mend it.
    pub fn check(&self, event: &Event) -> Result<(), Refusal> {
        rules::check(self, event)
    }

    /// Every entry, whether it counts or not, oldest first.
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// Number of the last entry; 0 while there is none.
    pub fn last(&self) -> u64 {
        self.entries.last().map_or(0, |e| e.number)
    }

    /// The entry of that id.
    pub fn entry(&self, id: &Id) -> Option<&Entry> {
        self.places.get(id).map(|i| &self.entries[*i])
    }

    /// How the entry of that id stands.
    pub fn counting(&self, id: &Id) -> Option<Counting<'_>> {
        let index = *self.places.get(id)?;
        Some(match &self.fates[index] {
            Counts::AsWritten => Counting::AsWritten,
            Counts::Replaced(by) => Counting::Replaced(&self.entries[*by]),
            Counts::Withdrawn(by) => Counting::Withdrawn(&self.entries[*by]),
            Counts::Refused(refusal) => Counting::Refused(refusal),
        })
    }

    /// What the entry of that id says after corrections; none if it does not count.
    pub fn event(&self, id: &Id) -> Option<&Event> {
        self.effective(*self.places.get(id)?)
    }

    /// All that counts, oldest first, each with the entry that says it and as corrected.
    pub fn events(&self) -> impl Iterator<Item = (&Entry, &Event)> {
        (0..self.fates.len()).filter_map(|i| Some((&self.entries[i], self.effective(i)?)))
    }

    /// The entry of an id if it stands before what is being decided.
    fn decided(&self, id: &Id) -> Option<&Entry> {
        let index = *self.places.get(id)?;
        (index < self.fates.len()).then(|| &self.entries[index])
    }

    /// All that counts and is not a reading, oldest first.
    pub fn others(&self) -> impl DoubleEndedIterator<Item = (&Entry, &Event)> {
        self.listed(&self.others)
    }

    /// Entries that were written against a rule, and which rule.
    pub fn refused(&self) -> impl Iterator<Item = (&Entry, &Refusal)> {
        self.entries
            .iter()
            .zip(&self.fates)
            .filter_map(|(entry, counts)| match counts {
                Counts::Refused(refusal) => Some((entry, refusal)),
                _ => None,
            })
    }

    /// The entries of these indices that count, as they count.
    fn listed<'a>(
        &'a self,
        list: &'a [usize],
    ) -> impl DoubleEndedIterator<Item = (&'a Entry, &'a Event)> {
        list.iter()
            .filter_map(|i| Some((&self.entries[*i], self.effective(*i)?)))
    }

    fn effective(&self, index: usize) -> Option<&Event> {
        match self.fates.get(index)? {
            Counts::AsWritten => Some(&self.entries[index].event),
            Counts::Replaced(by) => match &self.entries[*by].event {
                Event::Correction(correction) => correction.instead.as_deref(),
                _ => None,
            },
            Counts::Withdrawn(_) | Counts::Refused(_) => None,
        }
    }
}
