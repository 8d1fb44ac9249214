//! From entries to what counts: corrections first, newest to oldest, then every rule, oldest to newest.

use std::collections::HashMap;

use super::{Counts, Work, rules};
use crate::event::Correction;
use crate::{Entry, Event, Id};

pub(super) fn of(entries: Vec<Entry>) -> Work {
    let mut places = HashMap::with_capacity(entries.len());
    for (index, entry) in entries.iter().enumerate() {
        places.entry(entry.id.clone()).or_insert(index);
    }
    let corrections = corrections(&entries, &places);
    let mut work = Work {
        fates: Vec::with_capacity(entries.len()),
        entries,
        places,
        ..Work::default()
    };
    for _ in 0..work.entries.len() {
        step(&mut work, &corrections);
    }
    work
}

pub(super) fn extend(work: &mut Work, entries: impl IntoIterator<Item = Entry>) {
    let last = work.last();
    let none = HashMap::new();
    let mut anew = false;
    for entry in entries.into_iter().filter(|e| e.number > last) {
        anew = anew || matches!(entry.event, Event::Correction(_));
        let index = work.entries.len();
        work.places.entry(entry.id.clone()).or_insert(index);
        work.entries.push(entry);
        if !anew {
            step(work, &none);
        }
    }
    if anew {
        *work = of(std::mem::take(&mut work.entries));
    }
}

/// Which entry is corrected by which: both by index. Of several corrections of one entry the last that is in force
/// counts; a correction that was withdrawn is not in force.
fn corrections(entries: &[Entry], places: &HashMap<Id, usize>) -> HashMap<usize, usize> {
    let mut found = HashMap::new();
    for (index, entry) in entries.iter().enumerate().rev() {
        let Event::Correction(correction) = &entry.event else {
            continue;
        };
        let target = places.get(&correction.entry).copied();
        if let Some(target) = target
            && target < index
            && !found.contains_key(&index)
            && fits(correction, &entries[target].event)
        {
            found.entry(target).or_insert(index);
        }
    }
    found
}

/// Whether what counts instead is of the kind that is corrected; a correction can only be withdrawn.
pub(super) fn fits(correction: &Correction, corrected: &Event) -> bool {
    match (&correction.instead, corrected) {
        (None, _) => true,
        (Some(_), Event::Correction(_) | Event::Unknown(_)) => false,
        (Some(instead), event) => instead.kind() == event.kind(),
    }
}

/// Decides the first entry that is not decided yet; what it may refer to is before it.
fn step(work: &mut Work, corrections: &HashMap<usize, usize>) {
    let index = work.fates.len();
    let counts = decided(work, index, corrections.get(&index).copied());
    let lists = match work.entries[index].event {
        Event::Reading(_) => &mut work.readings,
        _ => &mut work.others,
    };
    lists.push(index);
    work.fates.push(counts);
}

/// What a correction puts in an entry's place is judged where the entry stands, not where the correction does.
fn decided(work: &Work, index: usize, by: Option<usize>) -> Counts {
    let event = &work.entries[index].event;
    let (event, counts) = match by.map(|by| (by, &work.entries[by].event)) {
        None => (event, Counts::AsWritten),
        Some((
            by,
            Event::Correction(Correction {
                instead: Some(instead),
                ..
            }),
        )) => (instead.as_ref(), Counts::Replaced(by)),
        Some((by, _)) => return Counts::Withdrawn(by),
    };
    match rules::check(work, event) {
        Ok(()) => counts,
        Err(refusal) => Counts::Refused(refusal),
    }
}
