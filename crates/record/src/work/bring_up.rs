//! How far a unit's bring-up is: the permit in force, the stages passed under it, and what took it away.

use super::rules::{circumstance, refers};
use super::trust::{DAYS, Lapse};
use super::{Refusal, Work};
use crate::event::{Circumstance, ConnectionKind, Hold, How, PowerPermit, Stand, Step, Watch};
use crate::{Entry, Event, Id, Moment, State};

use super::refusal::refuse;

/// The last permit of a unit, and what came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct BringUp<'a> {
    /// The entry that granted it.
    pub entry: &'a Entry,
    /// The permit as granted; ask [`BringUp::permit`] whether it is in force.
    pub granted: &'a PowerPermit,
    /// What has taken it away since.
    pub lapse: Option<Lapse<'a>>,
    /// Hold points passed under it, in order of the stages.
    pub holds: Vec<(&'a Entry, &'a Hold)>,
    /// Readings of its stages, oldest first; the last of the same place counts.
    pub watches: Vec<(&'a Entry, &'a Watch)>,
}

/// Whether leave stands to switch a unit on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Leave<'a> {
    /// By the permit of this entry.
    Stands(&'a Entry),
    /// The permit of this entry has ended, and why.
    Ended(&'a Entry, Lapse<'a>),
    /// No permit was ever given.
    NeverGiven,
}

impl Leave<'_> {
    /// In words, a whole sentence.
    pub fn words(&self) -> String {
        match self {
            Leave::Stands(entry) => format!("The permit of entry {} stands.", entry.number),
            Leave::Ended(entry, lapse) => {
                format!(
                    "The permit of entry {} has ended. {}",
                    entry.number,
                    lapse.words()
                )
            }
            Leave::NeverGiven => "None was ever given.".to_owned(),
        }
    }
}

impl<'a> BringUp<'a> {
    /// The permit, while it is in force.
    pub fn permit(&self) -> Option<&'a PowerPermit> {
        self.lapse.is_none().then_some(self.granted)
    }

    /// The stage that is open, from 1; past the last one when all hold points were passed.
    pub fn open_stage(&self) -> u32 {
        self.holds.iter().map(|(_, h)| h.stage).max().unwrap_or(0) + 1
    }

    /// The last reading of each place of a stage.
    pub fn readings(&self, stage: u32) -> Vec<(&'a Entry, &'a Watch)> {
        let mut last: Vec<(&Entry, &Watch)> = Vec::new();
        for (entry, watch) in self.watches.iter().filter(|(_, w)| w.stage == stage) {
            last.retain(|(_, other)| !other.same_place(watch));
            last.push((entry, watch));
        }
        last
    }
}

impl Work {
    /// The last permit of a unit, and how it stands at a moment; none if none was granted.
    pub fn bring_up(&self, unit: &str, now: Moment) -> Option<BringUp<'_>> {
        let (entry, granted) = self.others().rev().find_map(|(entry, event)| match event {
            Event::Permit(permit) if permit.unit() == unit => Some((entry, permit)),
            _ => None,
        })?;
        let mut holds = Vec::new();
        let mut watches = Vec::new();
        for (own, event) in self.others() {
            match event {
                Event::Hold(hold) if hold.permit == entry.id => holds.push((own, hold)),
                Event::Watch(watch) if watch.permit == entry.id => watches.push((own, watch)),
                _ => {}
            }
        }
        holds.sort_by_key(|(_, h)| h.stage);
        let days = now.days_since(entry.time);
        let lapse = self
            .permit_ended(entry, unit)
            .or_else(|| (days >= DAYS).then_some(Lapse::Old { days }));
        Some(BringUp {
            entry,
            granted,
            lapse,
            holds,
            watches,
        })
    }

    /// Whether leave stands to switch a unit on at a moment.
    pub fn leave(&self, unit: &str, now: Moment) -> Leave<'_> {
        let Some(bring_up) = self.bring_up(unit, now) else {
            return Leave::NeverGiven;
        };
        match bring_up.lapse {
            None => Leave::Stands(bring_up.entry),
            Some(lapse) => Leave::Ended(bring_up.entry, lapse),
        }
    }

    /// Why a check before power no longer holds; none if it does. A move, any pulled or changed board and four weeks end
    /// it, of a reading those of its own board.
    pub fn check_lapse(&self, check: &Id, now: Moment) -> Option<Lapse<'_>> {
        let entry = self.entry(check)?;
        match self.event(check)? {
            Event::Reading(_) => self.reading_lapse(check, now),
            event => {
                let unit = event.unit()?;
                let days = now.days_since(entry.time);
                self.permit_ended(entry, unit)
                    .or_else(|| (days >= DAYS).then_some(Lapse::Old { days }))
            }
        }
    }

    /// Crossed limits of a unit, oldest first, whatever the permit under which they were read.
    pub fn crossed(&self, unit: &str) -> Vec<(&Entry, &Watch)> {
        let list = self.others().filter_map(|(entry, event)| match event {
            Event::Watch(w) if w.unit == unit && w.is_within() == Some(false) => Some((entry, w)),
            _ => None,
        });
        list.collect()
    }

    /// What happened since an entry that ends leave to power the unit.
    fn permit_ended(&self, since: &Entry, unit: &str) -> Option<Lapse<'_>> {
        let later = self
            .others()
            .filter(|(entry, event)| entry.number > since.number && event.unit() == Some(unit));
        later
            .filter_map(|(entry, event)| match event {
                Event::Move(_) => Some(Lapse::Moved(entry)),
                Event::Connection(c)
                    if c.kind == ConnectionKind::Slot && c.step == Step::Parted =>
                {
                    Some(Lapse::Pulled(entry))
                }
                Event::Touch(t) if t.how == How::Reseated => Some(Lapse::Pulled(entry)),
                Event::Repair(_) | Event::Turn(_) => Some(Lapse::Changed(entry)),
                Event::Watch(w) if w.permit == since.id && w.is_within() == Some(false) => {
                    Some(Lapse::Crossed(entry))
                }
                _ => None,
            })
            .next()
    }
}

/// A permit's checks must be entries that count, of its unit, and of kinds that can show anything.
pub(super) fn permit(work: &Work, permit: &PowerPermit) -> Result<(), Refusal> {
    for check in permit.checks() {
        let Stand::Passed(id) = &check.stand else {
            continue;
        };
        let (entry, event) = refers(work, id, "a cold reading or a test", |e| match e {
            Event::Reading(row) => row.state == State::Cold,
            Event::Test(_) => true,
            _ => false,
        })?;
        // Asked at the time of the check, so that days do not count: what happened since does.
        if let Some(lapse) = work.check_lapse(id, entry.time) {
            return refuse(
                format!(
                    "The check of entry {} no longer holds. {}",
                    entry.number,
                    lapse.words()
                ),
                "Make it again.",
            );
        }
        if event.unit() != Some(permit.unit()) {
            return refuse(
                format!("Entry {} is not of unit {}.", entry.number, permit.unit()),
                "Make each check on the unit that is to be powered.",
            );
        }
        if matches!(event, Event::Test(test) if !test.passed) {
            return refuse(
                format!("The test of entry {} was failed.", entry.number),
                "Mend what it showed and test again, or sign for it with a reason.",
            );
        }
    }
    Ok(())
}

/// A stage is read only under a permit that nothing has ended, and after the hold point before it.
pub(super) fn watch(work: &Work, watch: &Watch) -> Result<(), Refusal> {
    stage_is_open(work, &watch.unit, &watch.permit, watch.stage)?;
    if watch.red.trim().is_empty() {
        return refuse("The reading has no place.", "Write where it was taken.");
    }
    if !(watch.low.is_finite() && watch.high.is_finite() && watch.low <= watch.high) {
        return refuse(
            "The limits of the reading are none.",
            "Open the page of first power anew and enter it there.",
        );
    }
    if watch.is_within().is_none() {
        return refuse(
            format!(
                "`{}` cannot be read as {}.",
                watch.value,
                watch.kind.unit().name()
            ),
            "Write a value such as 4.98 or 120m; OL if it was over range.",
        );
    }
    Ok(())
}

/// A hold point rests on readings of its stage that lie within their limits, or on a signature.
pub(super) fn hold(work: &Work, hold: &Hold) -> Result<(), Refusal> {
    stage_is_open(work, &hold.unit, &hold.permit, hold.stage)?;
    circumstance(&Circumstance {
        minutes: Some(hold.minutes),
        ..Circumstance::default()
    })?;
    if hold.readings.is_empty() && hold.signed.is_none() {
        return refuse(
            format!("Nothing was read at stage {}.", hold.stage),
            "Enter its readings, or sign the hold point with a name and a reason.",
        );
    }
    for id in &hold.readings {
        let (entry, event) = refers(work, id, "a reading of the stage", |e| {
            matches!(e, Event::Watch(_))
        })?;
        let Event::Watch(watch) = event else {
            continue;
        };
        if (&watch.permit, watch.stage) != (&hold.permit, hold.stage) {
            return refuse(
                format!("Entry {} is of another stage or permit.", entry.number),
                "Read this stage.",
            );
        }
    }
    Ok(())
}

fn stage_is_open(work: &Work, unit: &str, permit: &Id, stage: u32) -> Result<(), Refusal> {
    let (entry, _) = refers(
        work,
        permit,
        "a permit",
        |e| matches!(e, Event::Permit(p) if p.unit() == unit),
    )?;
    if let Some(lapse) = work.permit_ended(entry, unit) {
        return refuse(
            format!("The permit of unit {unit} has ended. {}", lapse.words()),
            "Off, prove discharged; make the checks that are owed and ask for a new one.",
        );
    }
    let newest = work
        .bring_up(unit, entry.time)
        .filter(|b| b.entry.id == *permit);
    let Some(bring_up) = newest else {
        return refuse(
            format!("Unit {unit} has a later permit."),
            "Begin at its first stage.",
        );
    };
    let open = bring_up.open_stage();
    if stage != open {
        return refuse(
            format!("Stage {stage} is not open: stage {open} is."),
            "Pass the hold point before it, or sign for it.",
        );
    }
    Ok(())
}
