//! The first five minutes: the machine is named, units and boards are added, and each step leads to the next.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use bench::project::Project;
use bench::start::{self, Change};
use maud::{Markup, html};
use store::record::event::Unit;
use store::record::{Event, Work};

use super::enter::line;
use super::ledger::coded;
use super::{Bench, address, blocking, refused};
use crate::book::Unwritten;
use crate::edge;
use crate::entry::see;
use crate::form::Form;

/// The steps that are still to do, the first of them open; what can be added later, folded, when all are done.
pub fn section(project: &Project, work: &Work) -> Markup {
    let boards: Vec<&str> = project.boards().map(|b| b.name.as_str()).collect();
    let first = project.units.first().map_or("", |u| u.name.as_str());
    let shows = |e: &Event| {
        let is_picture = !matches!(e, Event::File(_)) && !e.attachments().is_empty();
        is_picture || matches!(e, Event::Condition(_))
    };
    let is_seen = work.others().any(|(_, e)| shows(e));
    let is_read =
        work.readings(None).next().is_some() || project.boards().any(|b| b.readings.is_some());
    let has_sheet = project.boards().any(|b| b.sheet.is_some());
    let steps: [(&str, bool, Markup); 6] = [
        ("Name the machine", project.has_machine, name(project)),
        (
            "Add a unit; its twin, if there is one, below",
            !project.units.is_empty(),
            unit(project),
        ),
        (
            "Photograph it, before anything moves",
            is_seen,
            html! { p { a.go href=(format!("/intake?unit={}", coded(first))) { "Write down and photograph what arrived" } } },
        ),
        ("Add a board", !boards.is_empty(), board(project)),
        (
            "Type its first parts, or go without a sheet",
            has_sheet || (is_read && !boards.is_empty()),
            html! {
                @for b in boards.iter().take(12) { p { a.go href=(format!("{}/sheet", address(b))) { "Type the sheet of " (b) } " or " a.go href=(format!("{}#enter", address(b))) { "enter a reading of " (b) " without one" } } }
                p { "Three parts are enough for the first expectations. Without a sheet the units, and like parts of a board, are compared with each other all the same." }
            },
        ),
        (
            "Take the first reading",
            is_read,
            html! { @for b in boards.iter().take(12) { p { a.go href=(format!("{}#enter", address(b))) { "Enter a reading of " (b) } } } },
        ),
    ];
    let next = steps.iter().position(|(_, done, _)| !done);
    html! {
        @if let Some(next) = next {
            section.start aria-labelledby="start" {
                h2 id="start" { "The first five minutes" }
                ol {
                    @for (index, (what, done, body)) in steps.iter().enumerate() {
                        li data-done=[done.then_some("")] {
                            @if *done { p { (what) ": done" } }
                            @else if index == next { p.answer { (what) } (body) }
                            @else { p { (what) } }
                        }
                    }
                }
            }
        }
        @if next.is_none_or(|n| n > 0) {
            details id="add-unit" { summary { "Add a unit" } (unit(project)) }
            details id="add-board" { summary { "Add a board" } (board(project)) }
            details id="rename" { summary { "Rename the machine" } (name(project)) }
        }
    }
}

fn name(project: &Project) -> Markup {
    html! {
        form method="post" action="/machine" data-keep id="name-form" {
            input type="hidden" name="kind" value="name";
            div.fields { (line("name", "Name of the machine", &project.name)) button.go type="submit" { "Name it" } }
        }
    }
}

fn unit(project: &Project) -> Markup {
    let number = (project.units.len() + 1).to_string();
    html! {
        form method="post" action="/machine" data-keep id="unit-form" {
            input type="hidden" name="kind" value="unit";
            div.fields {
                (line("name", "Unit", &number)) (line("serial", "Serial number, as marked", ""))
                (line("note", "Where it comes from", ""))
                button.go type="submit" { "Add it" }
            }
        }
    }
}

fn board(project: &Project) -> Markup {
    html! {
        form method="post" action="/machine" data-keep id="board-form" {
            input type="hidden" name="kind" value="board";
            div.fields {
                (line("name", "Board, such as A2", "")) (line("title", "What it is", ""))
                (line("slot", "Slot, as marked", ""))
                label.field { span { "Assembly" } input type="text" name="assembly" list="assemblies" value=(project.assemblies.first().map_or("Boards", |a| a.name.as_str())) autocomplete="off"; }
                button.go type="submit" { "Add it" }
            }
            datalist id="assemblies" { @for a in &project.assemblies { option value=(a.name) {} } }
        }
    }
}

/// Writes the machine file.
pub async fn post(State(bench): State<Bench>, form: Form) -> Response {
    blocking(move || match write(&bench, &form) {
        Ok(()) => {
            bench.bell.ring();
            see("/")
        }
        Err(why) => refused(&bench, &form, &why, StatusCode::UNPROCESSABLE_ENTITY),
    })
    .await
}

fn write(bench: &Bench, form: &Form) -> Result<(), Unwritten> {
    let name = form.line("name").unwrap_or_default();
    let change = match form.text("kind") {
        "name" => Change::Name(name),
        "unit" => Change::Unit {
            name,
            serial: form.line("serial"),
        },
        "board" => Change::Board {
            assembly: form.line("assembly").unwrap_or_else(|| "Boards".to_owned()),
            name,
            title: form.line("title"),
            slot: form.line("slot"),
            sheet: None,
        },
        _ => {
            return Err(Unwritten::field(
                "kind",
                "Nothing is said to be added.",
                "Use the page.",
            ));
        }
    };
    apply(bench, &change)?;
    if let Change::Unit { name, serial } = change {
        // The ledger keeps where it came from; the machine file is there already, so a ledger that cannot be written costs
        // only that.
        let note = form.text("note").to_owned();
        let unit = Unit { name, serial, note };
        let _ = bench
            .book
            .append(edge::fresh(), &form.author, |_| Ok(Event::Unit(unit)));
    }
    Ok(())
}

/// Changes the machine file, if nobody else changed it meanwhile.
///
/// # Errors
/// If the change cannot be made, or the file not be written.
pub fn apply(bench: &Bench, change: &Change) -> Result<(), Unwritten> {
    let now = bench.now();
    let text = start::change(&now.project, change).map_err(|refused| {
        let first = &refused.complaints()[0];
        Unwritten::field(
            "name",
            &first.message,
            first.help.clone().unwrap_or_default(),
        )
    })?;
    let before = now.project.machine_text().map(|t| t.text.as_str());
    bench
        .current
        .source
        .write(&text.file, before, &text.text)
        .map_err(|why| Unwritten::field("", why, "Open the page anew, and enter it again."))
}
