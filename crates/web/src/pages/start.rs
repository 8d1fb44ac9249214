//! The first five minutes: the machine is named, units and boards are added, and each step leads to the next.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use bench::pages::unnamed::Unnamed;
use bench::project::Project;
use bench::start::{self, Change};
use maud::{Markup, html};
use store::record::event::{Machine, Note, Site, Unit};
use store::record::{Event, Work};

use super::enter::{held, line};
use super::ledger::coded;
use super::{Bench, address, blocking, refused};
use crate::book::Unwritten;
use crate::edge;
use crate::entry::see;
use crate::form::Form;
use crate::project::Unsaved;

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

/// What somebody saved an older machine file over, and the forms that add it again.
pub fn unnamed(lost: &Unnamed, project: &Project) -> Markup {
    html! {
        @if !lost.is_empty() {
            section.closed aria-labelledby="unnamed" {
                h2 id="unnamed" { "The ledger tells of what machine.kdl does not name" }
                p { "An older copy of the file may have been saved over it, by an editor that had it open. What was entered is kept; it shows again once it is named." }
                @for (name, serial) in &lost.units {
                    form.inline method="post" action="/machine" {
                        (held("kind", "unit")) (held("name", name)) (held("serial", serial.as_deref().unwrap_or("")))
                        button type="submit" { "Add unit " (name) " again" }
                    }
                }
                @for (name, told) in &lost.boards {
                    form method="post" action="/machine" {
                        (held("kind", "board")) (held("name", name))
                        p { "Board " strong { (name) } @if let Some(told) = told { ", " (told) } }
                        div.fields {
                            (line("title", "What it is", "")) (line("slot", "Slot, as marked", ""))
                            (line("assembly", "Assembly", project.assemblies.first().map_or("Boards", |a| a.name.as_str())))
                            button type="submit" { "Add board " (name) " again" }
                        }
                    }
                }
            }
        }
    }
}

fn name(project: &Project) -> Markup {
    html! {
        form method="post" action="/machine" data-keep id="name-form" {
            input type="hidden" name="kind" value="name";
            input type="hidden" name="was" value=(project.name);
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
    if let Change::Name(_) = change {
        renamed_meanwhile(bench, form.text("was"))?;
    }
    apply(bench, &change)?;
    note(bench, form, change);
    Ok(())
}

/// Refuses a new name if the machine has not the name any more that was seen when it was typed.
fn renamed_meanwhile(bench: &Bench, was: &str) -> Result<(), Unwritten> {
    let now = bench.now();
    let name = now.project.name.trim();
    if was.is_empty() || was == name {
        return Ok(());
    }
    Err(Unwritten::field(
        "name",
        format!("machine.kdl was changed meanwhile: the machine is called {name} there now."),
        "If that name is right, leave it; else open the page anew and rename it.",
    ))
}

/// The ledger tells what was added. The machine file has it already, so a ledger that cannot be written costs only that.
fn note(bench: &Bench, form: &Form, change: Change) {
    let text = form.text("note").to_owned();
    let event = match change {
        Change::Unit { name, serial } => Event::Unit(Unit {
            name,
            serial,
            note: text,
        }),
        Change::Board {
            assembly,
            name,
            title,
            slot,
            ..
        } => {
            let slot = slot.map_or(String::new(), |s| format!(", slot {s}"));
            let title = title.map_or(String::new(), |t| format!(": {t}"));
            Event::Note(Note {
                site: Site {
                    unit: String::new(),
                    board: Some(name),
                },
                text: format!("added to the machine file, assembly {assembly}{slot}{title}"),
            })
        }
        Change::Name(name) => Event::Machine(Machine { name }),
        Change::Sheet { .. } => return,
    };
    let _ = bench
        .book
        .append(edge::fresh(), &form.author, |_| Ok(event));
}

/// How often a change is tried on what somebody else saved meanwhile; chosen: who saves oftener within a moment is a program.
const TRIES: usize = 4;

/// Changes the machine file. What somebody else saved meanwhile, in an editor or on another screen, stays: the change is made
/// anew on the file as it is then.
///
/// # Errors
/// If the change cannot be made, or the file not be written.
pub fn apply(bench: &Bench, change: &Change) -> Result<(), Unwritten> {
    let _pen = bench.current.pen();
    for _ in 0..TRIES {
        let now = bench.now();
        let text = start::change(&now.project, change).map_err(|refused| {
            let first = &refused.complaints()[0];
            let help = first.help.clone().unwrap_or_default();
            Unwritten::field("name", &first.message, help)
        })?;
        let before = now.project.machine_text().map(|t| t.text.as_str());
        match bench.current.source.write(&text.file, before, &text.text) {
            Ok(()) => return Ok(()),
            Err(Unsaved::Changed) => bench.current.forget(),
            Err(Unsaved::Cannot(why)) => {
                let help = "Mend that, and send it again.";
                return Err(Unwritten {
                    is_world: true,
                    ..Unwritten::field("", why, help)
                });
            }
        }
    }
    Err(Unwritten::field(
        "",
        "machine.kdl is being saved by somebody else again and again, or cannot be read as text; nothing was written.",
        "Save it there once more as UTF-8, leave it, and send this again.",
    ))
}
