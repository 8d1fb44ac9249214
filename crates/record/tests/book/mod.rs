//! A ledger in memory, for tests of the fold: entries get their number and a minute each.

#![allow(dead_code, reason = "each test file uses its own part")]

use record::event::{
    Circumstance, Closing, Correction, Finding, Origin, Repair, Retest, Row, Site, Touch,
};
use record::event::{How, Hypothesis};
use record::{Digest, Entry, Event, Id, Moment, ReadingKind, Refusal, State, VerdictWord, Work};

/// 2024-03-01T10:00:00Z.
pub const START: i64 = 1_709_287_200_000;
pub const MINUTE: i64 = 60_000;
pub const DAY: i64 = 24 * 60 * MINUTE;

#[derive(Clone, Debug, Default)]
pub struct Book {
    pub entries: Vec<Entry>,
}

impl Book {
    /// Appends without asking any rule, as a ledger does.
    pub fn write(&mut self, event: Event) -> Id {
        let number = self.entries.len() as u64 + 1;
        let id = Id::new(&format!("e{number}")).expect("a good id");
        self.entries.push(Entry {
            number,
            id: id.clone(),
            time: moment(number as i64 * MINUTE),
            author: "tester".to_owned(),
            event,
            hash: Digest::NONE,
        });
        id
    }

    pub fn work(&self) -> Work {
        Work::of(self.entries.clone())
    }

    /// Appends what must be refused, and returns why; asking before and folding afterwards say the same.
    #[track_caller]
    pub fn refused(&self, event: Event) -> Refusal {
        let asked = self.work().check(&event).expect_err("a refusal");
        let mut copy = Book {
            entries: self.entries.clone(),
        };
        let id = copy.write(event);
        let work = copy.work();
        let folded = work.refused().find(|(entry, _)| entry.id == id);
        assert_eq!(folded.expect("the fold refuses, too").1, &asked);
        assert_eq!(work.event(&id), None);
        asked
    }

    /// Appends what must count.
    #[track_caller]
    pub fn accepted(&mut self, event: Event) -> Id {
        assert_eq!(self.work().check(&event), Ok(()));
        let id = self.write(event.clone());
        assert_eq!(self.work().event(&id), Some(&event));
        id
    }
}

/// Milliseconds after the start.
pub fn moment(after: i64) -> Moment {
    Moment::new(START + after).expect("a moment")
}

pub fn site() -> Site {
    Site {
        unit: "1".to_owned(),
        board: Some("A2".to_owned()),
    }
}

pub fn row(value: &str) -> Row {
    Row {
        site: site(),
        state: State::Cold,
        kind: ReadingKind::Ohms,
        red: "REF".to_owned(),
        black: "0V".to_owned(),
        value: value.to_owned(),
        meter: None,
        note: String::new(),
        place: None,
        lifted: Vec::new(),
        unplugged: Vec::new(),
        celsius: None,
        minutes: None,
        cycle: None,
        time: None,
    }
}

pub fn reading(value: &str) -> Event {
    Event::Reading(row(value))
}

pub fn repair() -> Repair {
    Repair {
        site: site(),
        part: "R4".to_owned(),
        what: "new 2k2, film".to_owned(),
        reason: "reads open".to_owned(),
        symptom: "REF floats".to_owned(),
        kept: Some("bag 12".to_owned()),
        reversible: true,
        finding: None,
        photos: Vec::new(),
    }
}

pub fn touch(how: How) -> Event {
    Event::Touch(Touch {
        site: site(),
        what: "J1".to_owned(),
        how,
        reason: "green contacts".to_owned(),
    })
}

pub fn finding() -> Finding {
    Finding {
        site: site(),
        text: "REF reads open".to_owned(),
        origin: Origin::Hand,
        circumstance: Circumstance::default(),
    }
}

pub fn hypothesis(finding: &Id) -> Event {
    Event::Hypothesis(Hypothesis {
        finding: finding.clone(),
        text: "R4 is open".to_owned(),
        predicts: "R4 reads OL with one lead lifted; else 2k2".to_owned(),
    })
}

pub fn retest(before: &Id, after: &Id) -> Retest {
    Retest {
        before: before.clone(),
        was: VerdictWord::Disagrees,
        after: after.clone(),
        is: VerdictWord::Agrees,
        tapped: None,
    }
}

pub fn closing(finding: &Id, remedies: &[&Id], retests: &[Retest]) -> Event {
    Event::Closing(Closing {
        finding: finding.clone(),
        remedies: remedies.iter().map(|id| (*id).clone()).collect(),
        retests: retests.to_vec(),
        reason: String::new(),
    })
}

pub fn correct(entry: &Id, instead: Option<Event>) -> Event {
    Event::Correction(Correction {
        entry: entry.clone(),
        reason: "misread".to_owned(),
        instead: instead.map(Box::new),
    })
}
