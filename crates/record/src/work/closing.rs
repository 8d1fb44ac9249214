//! When a finding is closed: by a re-test that could have failed, taken after what was done against it.

use super::Work;
use super::refusal::{Refusal, refusal, refuse};
use super::rules::refers;
use crate::event::{Circumstance, Closing, Finding, Retest, Site};
use crate::{Entry, Event, Id, VerdictWord};

/// Degrees by which a re-test may differ from the finding; chosen because two thermometers on a bench agree no better.
const SAME_WARMTH: f64 = 5.0;

/// What a closing shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shown {
    /// Something was repaired, set or changed, and the re-tests agree.
    Mended,
    /// It was only touched, and the re-tests agree: it may come back.
    Quiet,
}

pub(super) fn check(work: &Work, closing: &Closing) -> Result<Shown, Refusal> {
    let (_, event) = refers(work, &closing.finding, "a finding", |e| {
        matches!(e, Event::Finding(_))
    })?;
    let Event::Finding(finding) = event else {
        unreachable!("`refers` has asked for it");
    };
    let (done, shown) = remedies(work, closing, finding)?;
    if closing.retests.is_empty() {
        return Err(refusal(
            "The closing names no re-test.",
            "Take the reading that was off once more, and name both.",
        ));
    }
    for retest in &closing.retests {
        judge(work, retest, finding, done)?;
    }
    Ok(shown)
}

/// Number of the last remedy, and whether one of them changed anything.
fn remedies(work: &Work, closing: &Closing, finding: &Finding) -> Result<(u64, Shown), Refusal> {
    let mut last = 0;
    let mut shown = Shown::Quiet;
    for id in &closing.remedies {
        let (entry, event) = refers(work, id, "a repair, a turn or a touch", |e| {
            matches!(e, Event::Repair(_) | Event::Turn(_) | Event::Touch(_))
        })?;
        if event.unit() != Some(&finding.site.unit) {
            return Err(elsewhere(entry));
        }
        if !matches!(event, Event::Touch(_)) {
            shown = Shown::Mended;
        }
        last = last.max(entry.number);
    }
    if last == 0 {
        return Err(refusal(
            "The closing names nothing that was done against the finding.",
            "Name the repair, turn or touch; if nothing had to be mended, explain the finding instead.",
        ));
    }
    Ok((last, shown))
}

fn elsewhere(entry: &Entry) -> Refusal {
    refusal(
        format!(
            "Entry {} is about another unit or board than the finding.",
            entry.number
        ),
        "Name one of the same unit and board.",
    )
}

fn judge(work: &Work, retest: &Retest, finding: &Finding, done: u64) -> Result<(), Refusal> {
    let (before, after) = (taken(work, &retest.before)?, taken(work, &retest.after)?);
    for probe in [&before, &after] {
        if !at_finding(probe.site, &finding.site) {
            return Err(elsewhere(probe.entry));
        }
    }
    if after.entry.number < done {
        return refuse(
            format!(
                "Entry {} was taken before the remedy, entry {done}: it says nothing of it.",
                after.entry.number
            ),
            "Take the reading again now, and name that.",
        );
    }
    if before.entry.number > done {
        return refuse(
            format!(
                "Entry {} was taken after the remedy, entry {done}.",
                before.entry.number
            ),
            "Name the reading that was off before.",
        );
    }
    if !same(&before, &after) {
        return refuse(
            format!(
                "Entries {} and {} do not read the same thing in the same way.",
                before.entry.number, after.entry.number
            ),
            "Take the reading again with the same leads, kind, state and place, or run the same test.",
        );
    }
    could_have_failed(&before, retest)?;
    agrees_now(&before, &after, retest)?;
    provoked(&after, retest, finding)
}

/// A reading or a test.
struct Taken<'a> {
    entry: &'a Entry,
    site: &'a Site,
    event: &'a Event,
    circumstance: Circumstance,
}

fn taken<'a>(work: &'a Work, id: &Id) -> Result<Taken<'a>, Refusal> {
    let (entry, event) = refers(work, id, "a reading or a test", |e| {
        matches!(e, Event::Reading(_) | Event::Test(_))
    })?;
    let (site, circumstance) = match event {
        Event::Reading(row) => (
            &row.site,
            Circumstance {
                minutes: row.minutes,
                celsius: row.celsius,
                ..Circumstance::default()
            },
        ),
        Event::Test(test) => (&test.site, test.circumstance.clone()),
        _ => unreachable!("`refers` has asked for it"),
    };
    Ok(Taken {
        entry,
        site,
        event,
        circumstance,
    })
}

/// A finding about a whole unit may be tested on any board of it.
fn at_finding(site: &Site, finding: &Site) -> bool {
    site.unit == finding.unit && (finding.board.is_none() || site.board == finding.board)
}

fn same(before: &Taken, after: &Taken) -> bool {
    match (before.event, after.event) {
        (Event::Reading(a), Event::Reading(b)) => a.same_place(b),
        (Event::Test(a), Event::Test(b)) => a.site == b.site && a.name == b.name,
        _ => false,
    }
}

fn could_have_failed(before: &Taken, retest: &Retest) -> Result<(), Refusal> {
    let agreed = match before.event {
        Event::Test(test) => test.passed,
        _ => retest.was == VerdictWord::Agrees,
    };
    let number = before.entry.number;
    if agreed {
        return refuse(
            format!("Entry {number} agreed before, too: a re-test of it could not have failed."),
            "Name a reading or test that was off before the remedy.",
        );
    }
    if retest.was == VerdictWord::Edge {
        return refuse(
            format!(
                "Entry {number} was at the edge of its band, where chance alone may put the next one inside."
            ),
            "Name a reading that disagreed before the remedy.",
        );
    }
    Ok(())
}

fn agrees_now(before: &Taken, after: &Taken, retest: &Retest) -> Result<(), Refusal> {
    let number = after.entry.number;
    let good = match (before.event, after.event) {
        (_, Event::Test(test)) => test.passed,
        // Without an expectation there is only the change itself to go by.
        (Event::Reading(a), Event::Reading(b))
            if retest.was == VerdictWord::NoExpectation
                && retest.is == VerdictWord::NoExpectation =>
        {
            a.value.trim() != b.value.trim()
        }
        _ => retest.is == VerdictWord::Agrees,
    };
    if good {
        return Ok(());
    }
    refuse(
        format!("Entry {number} does not show that anything is better."),
        "Leave the finding open, and look further.",
    )
}

/// What shows only warm, late or tapped must be tested warm, late or tapped.
fn provoked(after: &Taken, retest: &Retest, finding: &Finding) -> Result<(), Refusal> {
    let (needs, has) = (&finding.circumstance, &after.circumstance);
    let number = after.entry.number;
    if let Some(minutes) = needs.minutes
        && has.minutes.is_none_or(|m| m < minutes)
    {
        return refuse(
            format!(
                "The finding showed {minutes} minutes after switch-on, and entry {number} was not taken as late as that."
            ),
            "Wait as long, take it again, and write the minutes.",
        );
    }
    if let Some(celsius) = needs.celsius
        && has
            .celsius
            .is_none_or(|c| (c.0 - celsius.0).abs() > SAME_WARMTH)
    {
        return refuse(
            format!(
                "The finding showed at {} degrees, and entry {number} was not taken within {SAME_WARMTH} degrees of that.",
                celsius.0
            ),
            "Bring it to that temperature, take it again, and write the temperature.",
        );
    }
    if let (Some(tapped), None, None) = (&needs.tapped, &retest.tapped, &has.tapped) {
        return refuse(
            format!(
                "The finding showed when {tapped} was tapped, and entry {number} was taken without."
            ),
            "Take it again while tapping, and say what was tapped.",
        );
    }
    Ok(())
}
