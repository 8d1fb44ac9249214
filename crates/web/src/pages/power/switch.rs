//! Power on and off: what rests on rails holds for one power cycle, and going on asks for a permit or a signature.

use std::sync::Arc;

use bench::pages::permit;
use bench::pages::power::rows;
use bench::project::Project;
use maud::{Markup, html};
use store::record::event::Power;
use store::record::work::Leave;
use store::record::{Event, Work};

use super::super::enter::{held, hidden, line};
use super::super::ledger::coded;
use super::checks;
use crate::book::Unwritten;
use crate::edge;
use crate::pages::Bench;
use crate::work::Stand;

/// Why no leave stands to switch a unit on, a whole sentence; none if it stands.
fn lacking(bench: &Bench, project: &Arc<Project>, unit: &str, work: &Work) -> Option<String> {
    match work.leave(unit, edge::now()) {
        Leave::Stands(_) => {}
        leave => return Some(leave.words()),
    }
    // Checks that drawings ask for since, where they are worked out.
    let Stand::Done(view) = bench.work.power(project) else {
        return None;
    };
    let index = project.units.iter().position(|u| u.name == unit);
    let index = index.unwrap_or(usize::MAX);
    let rows = rows(project, &view.card);
    permit::state(&view, &rows, (unit, index), work, edge::now()).ended()
}

/// Whether the entry may be written: off always, on under a permit that stands or with a name and a reason.
///
/// # Errors
/// With why no permit stands.
pub fn check(
    bench: &Bench,
    project: &Arc<Project>,
    power: &Power,
    work: &Work,
) -> Result<(), Unwritten> {
    if !power.on || power.signed.is_some() {
        return Ok(());
    }
    match lacking(bench, project, &power.unit, work) {
        None => Ok(()),
        Some(why) => Err(Unwritten::field(
            "by",
            format!("No permit stands for unit {}. {why}", power.unit),
            "Make the checks that are owed on the page of first power and ask for a permit; or sign for it below, with \
             a name and a reason.",
        )),
    }
}

/// Whether each unit is on, and the forms that say so.
pub fn section(bench: &Bench, project: &Arc<Project>, author: &str) -> Markup {
    let is_open = bench.book.closed().is_none();
    let kept = bench.book.read();
    let work = &kept.work;
    html! {
        h2 id="switched" { "Power on and off" }
        p { "What rests on rails and logic levels holds for one power cycle; it is named in each reading taken in it." }
        @for unit in &project.units {
            @match work.cycle(&unit.name) {
                Some(cycle) => {
                    p.figure-words { "Unit " (unit.name) ": " strong { "on, power cycle " (cycle) } }
                    @if is_open { (off(&unit.name, cycle)) }
                }
                None => {
                    @let why = lacking(bench, project, &unit.name, work);
                    p.figure-words { "Unit " (unit.name) ": " strong { "not said to be on" } }
                    @if let Some(why) = &why {
                        p { "No permit stands. " (why) " " a.go href=(checks::here(&unit.name, "", "permit")) { "The checks and the permit of unit " (unit.name) } }
                    }
                    @if is_open { (on(&unit.name, count(work, &unit.name), why.is_some(), author)) }
                }
            }
        }
    }
}

/// How often a unit went on.
fn count(work: &Work, unit: &str) -> usize {
    let of_unit = |e: &Event| matches!(e, Event::Power(p) if p.on && p.unit == unit);
    work.others().filter(|(_, e)| of_unit(e)).count()
}

fn off(unit: &str, cycle: &str) -> Markup {
    html! {
        form.inline method="post" action="/entry" data-keep id=(format!("power-{}", coded(unit))) {
            (hidden("power", "/power#switched")) (held("unit", unit)) (held("on", "no")) (held("cycle", cycle))
            div.fields { (line("note", "Why, what was seen", "")) button type="submit" { "It is off" } }
        }
    }
}

fn on(unit: &str, before: usize, is_signed: bool, author: &str) -> Markup {
    html! {
        form.inline method="post" action="/entry" data-keep id=(format!("power-{}", coded(unit))) {
            (hidden("power", "/power#switched")) (held("unit", unit)) (held("on", "yes"))
            div.fields {
                (line("cycle", "Power cycle", &format!("{unit}-{}", before + 1)))
                (line("note", "Stage, lamp, load", ""))
                @if is_signed {
                    (line("by", "Without a permit: who signs", author)) (line("reason", "Because", ""))
                    button type="submit" { "It is on, and I sign for it" }
                } @else {
                    // A permit may end while the page is open: then the refusal asks for these.
                    (held("by", "")) (held("reason", ""))
                    button type="submit" { "It is on" }
                }
            }
        }
    }
}
