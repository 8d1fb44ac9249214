//! The rules that every event has to keep to count.

use units::{is_over_range, read};

use super::fold::fits;
use super::refusal::{Refusal, refuse};
use super::{Work, trimmers};
use super::{bring_up, closing};
use crate::event::{
    Capacitor, Circumstance, Correction, Dismissal, Outcome, Point, Repair, Row, Ruling, Trust,
    Unit,
};
use crate::event::{Level, Site};
use crate::{Entry, Event, Id};

const NAME_IT: &str = "Name the board that it is about.";
const SAY_WHY: &str = "Say why, in a few words.";
const EARLIER: &str = "Name an entry that is in the ledger and counts.";

pub(super) fn check(work: &Work, event: &Event) -> Result<(), Refusal> {
    match event {
        Event::Unit(e) => unit(work, e),
        Event::Fate(e) => {
            refers(work, &e.alteration, "an alteration", |e| {
                matches!(e, Event::Alteration(_))
            })?;
            reason(&e.reason)
        }
        Event::Touch(e) => reason(&e.reason),
        Event::Repair(e) => repair(work, e),
        Event::Capacitor(e) => capacitor(e),
        Event::Order(e) => board(&e.site),
        Event::Mark(e) => {
            board(&e.site)?;
            trimmers::mark(e)
        }
        Event::Turn(e) => {
            board(&e.site)?;
            trimmers::turn(work, e)
        }
        Event::Recheck(e) => trimmers::recheck(work, e),
        Event::Reading(e) => row(e),
        Event::Test(e) => {
            if e.name.trim().is_empty() {
                return refuse(
                    "The test has no name.",
                    "Give it the name by which it can be run again.",
                );
            }
            circumstance(&e.circumstance)
        }
        Event::Trust(e) => trust(e),
        Event::Finding(e) => {
            if e.text.trim().is_empty() {
                return refuse(
                    "The finding says nothing.",
                    "Write what is not as it should be.",
                );
            }
            circumstance(&e.circumstance)
        }
        Event::Hypothesis(e) => {
            refers(work, &e.finding, "a finding", is_finding)?;
            if e.predicts.trim().is_empty() {
                return refuse(
                    "The hypothesis does not say what a reading would show.",
                    "Write what the probe would read if it is so, and what if it is not.",
                );
            }
            Ok(())
        }
        Event::Outcome(e) => outcome(work, e),
        Event::Explanation(e) => {
            refers(work, &e.finding, "a finding", is_finding)?;
            reason(&e.reason)
        }
        Event::Closing(e) => closing::check(work, e).map(|_| ()),
        Event::Ruling(e) => ruling(e),
        Event::Dismissal(e) => dismissal(e),
        Event::Harmless(e) => reason(&e.reason),
        Event::Point(e) => point(work, e),
        Event::Permit(e) => bring_up::permit(work, e),
        Event::Watch(e) => bring_up::watch(work, e),
        Event::Hold(e) => bring_up::hold(work, e),
        Event::Correction(e) => correction(work, e),
        Event::Levels(e) if e.seen.trim().is_empty() => refuse(
            "No level was entered.",
            "Write a net and its level, such as BUSY=0.",
        ),
        Event::Machine(_)
        | Event::Levels(_)
        | Event::Condition(_)
        | Event::Alteration(_)
        | Event::Connection(_)
        | Event::Move(_)
        | Event::Photo(_)
        | Event::File(_)
        | Event::Power(_)
        | Event::Note(_)
        | Event::Unknown(_) => Ok(()),
    }
}

fn is_finding(event: &Event) -> bool {
    matches!(event, Event::Finding(_))
}

/// The entry of an id, which must count and be of a kind.
pub(super) fn refers<'a>(
    work: &'a Work,
    id: &Id,
    what: &str,
    is: impl Fn(&Event) -> bool,
) -> Result<(&'a Entry, &'a Event), Refusal> {
    match (work.entry(id), work.event(id)) {
        (Some(entry), Some(event)) if is(event) => Ok((entry, event)),
        (Some(entry), Some(event)) => Err(Refusal {
            message: format!(
                "Entry {} is of the kind {}, and {what} is needed.",
                entry.number,
                event.kind()
            ),
            help: EARLIER.to_owned(),
        }),
        (_, None) | (None, _) => Err(Refusal {
            message: format!("There is no entry {id} that counts, and {what} is needed."),
            help: EARLIER.to_owned(),
        }),
    }
}

pub(super) fn reason(text: &str) -> Result<(), Refusal> {
    if text.trim().is_empty() {
        return refuse("No reason is given.", SAY_WHY);
    }
    Ok(())
}

pub(super) fn board(site: &Site) -> Result<(), Refusal> {
    match &site.board {
        Some(board) if !board.is_empty() => Ok(()),
        _ => refuse("No board is named.", NAME_IT),
    }
}

fn unit(work: &Work, unit: &Unit) -> Result<(), Refusal> {
    if unit.name.trim().is_empty() {
        return refuse("The unit has no name.", "Give it a short one, such as 1.");
    }
    if work.unit(&unit.name).is_some() {
        return refuse(
            format!("There is a unit {} already.", unit.name),
            "Give this one another name, or correct the entry of the other.",
        );
    }
    Ok(())
}

fn repair(work: &Work, repair: &Repair) -> Result<(), Refusal> {
    reason(&repair.reason)?;
    if let Some(finding) = &repair.finding {
        refers(work, finding, "a finding", is_finding)?;
    }
    Ok(())
}

fn capacitor(row: &Capacitor) -> Result<(), Refusal> {
    let numbers = [row.volts.0, row.minutes, row.amps.map_or(0.0, |a| a.0)];
    if !numbers.iter().all(|n| n.is_finite()) || row.minutes < 0.0 {
        return refuse(
            format!(
                "A number in the row of {} is not one that can be measured.",
                row.part
            ),
            "Write volts, amperes and the minutes since the start.",
        );
    }
    Ok(())
}

fn row(row: &Row) -> Result<(), Refusal> {
    let shown = |text: &str| is_over_range(text) || read(text, row.kind.unit()).is_ok();
    let readable = match row.value.split_once("..") {
        None => shown(&row.value),
        Some((from, to)) => shown(from) && shown(to),
    };
    if !readable {
        return refuse(
            format!(
                "`{}` cannot be read as {}.",
                row.value,
                row.kind.unit().name()
            ),
            "Write a value such as 4k7, OL if it was over range, or 1k8..OL if it wandered.",
        );
    }
    if row.red.trim().is_empty() || row.black.trim().is_empty() {
        return refuse(
            "A lead has no place.",
            "Write where it was: a net, a point or a part pin.",
        );
    }
    circumstance(&Circumstance {
        minutes: row.minutes,
        celsius: row.celsius,
        ..Circumstance::default()
    })
}

pub(super) fn circumstance(at: &Circumstance) -> Result<(), Refusal> {
    let minutes = at.minutes.unwrap_or(0.0);
    if !minutes.is_finite() || minutes < 0.0 {
        return refuse(
            format!("`{minutes}` minutes cannot have passed."),
            "Write the minutes since switch-on.",
        );
    }
    if at.celsius.is_some_and(|c| !c.0.is_finite()) {
        return refuse(
            "The temperature is no number.",
            "Write degrees Celsius, or leave it out.",
        );
    }
    Ok(())
}

fn trust(trust: &Trust) -> Result<(), Refusal> {
    board(&trust.site)?;
    if trust.level == Level::Proven && trust.test.trim().is_empty() {
        return refuse(
            "Nothing is proven without a test.",
            "Name the test that it passed, one that it could have failed.",
        );
    }
    Ok(())
}

fn outcome(work: &Work, outcome: &Outcome) -> Result<(), Refusal> {
    let (hypothesis, _) = refers(work, &outcome.hypothesis, "a hypothesis", |e| {
        matches!(e, Event::Hypothesis(_))
    })?;
    if outcome.evidence.is_empty() {
        return refuse(
            "The outcome names no reading and no test.",
            "Name those that were taken to decide it.",
        );
    }
    for id in &outcome.evidence {
        let (evidence, _) = refers(work, id, "a reading or a test", |e| {
            matches!(e, Event::Reading(_) | Event::Test(_))
        })?;
        if evidence.number < hypothesis.number {
            return refuse(
                format!(
                    "Entry {} was taken before the hypothesis was written as entry {}.",
                    evidence.number, hypothesis.number
                ),
                "Take it again: what was known before can not decide what was thought up to fit it.",
            );
        }
    }
    Ok(())
}

fn ruling(ruling: &Ruling) -> Result<(), Refusal> {
    board(&ruling.site)?;
    if ruling.suspect.trim().is_empty() {
        return refuse(
            "No suspect is named.",
            "Write it as the list has it, such as R4 open.",
        );
    }
    reason(&ruling.reason)
}

fn dismissal(dismissal: &Dismissal) -> Result<(), Refusal> {
    reason(&dismissal.reason)?;
    match &dismissal.one {
        Some(one) if one.unit.trim().is_empty() || one.value.trim().is_empty() => refuse(
            "It is not said which unit's reading is harmless, and what it read.",
            "Dismiss it on the board's page, beside the reading.",
        ),
        _ => Ok(()),
    }
}

fn point(work: &Work, point: &Point) -> Result<(), Refusal> {
    refers(work, &point.photo, "a photograph", |e| {
        matches!(e, Event::Photo(_))
    })?;
    let inside = |fraction: f64| (0.0..=1.0).contains(&fraction);
    if !inside(point.x) || !inside(point.y) {
        return refuse(
            format!("{} lies outside the photograph.", point.name),
            "Give x and y as fractions of its width and height, 0 to 1.",
        );
    }
    Ok(())
}

fn correction(work: &Work, correction: &Correction) -> Result<(), Refusal> {
    reason(&correction.reason)?;
    let Some(corrected) = work.decided(&correction.entry) else {
        return refuse(
            format!("There is no entry {} before it.", correction.entry),
            EARLIER,
        );
    };
    if !fits(correction, &corrected.event) {
        return refuse(
            format!(
                "Entry {} is of the kind {}, and what is to count instead is not.",
                corrected.number,
                corrected.event.kind()
            ),
            "Give what counts instead as the same kind, or nothing; a correction can only be withdrawn.",
        );
    }
    Ok(())
}
