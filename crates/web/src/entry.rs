//! Takes what a page sent, and makes entries of it.

mod decode;
mod evidence;

use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use bench::entered;
use bench::project::Project;
use store::record::event::Photo;
use store::record::{Digest, Entry, Event, Id};

use crate::book::Unwritten;
use crate::form::Form;
use crate::pages::ledger::coded;
use crate::pages::{self, Bench, blocking};
use crate::{edge, photo};

/// An entry of any kind that a person writes.
pub async fn post(State(bench): State<Bench>, form: Form) -> Response {
    blocking(move || {
        let taken = take(&bench, &form);
        bench.bell.ring();
        answer(&bench, &form, taken)
    })
    .await
}

/// To the page again, or in JSON for script; what was refused is shown with all that was typed.
pub fn answer(bench: &Bench, form: &Form, taken: Result<Entry, Unwritten>) -> Response {
    let status = |refused: &Unwritten| match refused.is_world {
        true => StatusCode::SERVICE_UNAVAILABLE,
        false => StatusCode::UNPROCESSABLE_ENTITY,
    };
    match (taken, form.wants_json) {
        (Ok(entry), true) => {
            let told = serde_json::json!({ "entry": entry.number, "id": entry.id.as_str() });
            json(StatusCode::OK, &told)
        }
        (Ok(entry), false) => see(&onward(form, &entry)),
        (Err(refused), true) => {
            let told = serde_json::json!({
                "message": refused.message, "help": refused.help, "field": refused.field,
            });
            json(status(&refused), &told)
        }
        (Err(refused), false) => pages::refused(bench, form, &refused, status(&refused)),
    }
}

/// Where to go; the form for the next reading starts with what most readings share.
fn onward(form: &Form, entry: &Entry) -> String {
    let back = form.back();
    if back.ends_with("&came=") {
        let kept = ["meter", "place"].map(|name| format!("&{name}={}", coded(form.text(name))));
        return format!("{back}{}{}", entry.id, kept.concat());
    }
    if form.text("kind") != "reading" || back.contains(['?', '#']) {
        return back.to_owned();
    }
    let kept = [
        "unit", "state", "measured", "black", "meter", "place", "cycle",
    ];
    let pairs = kept.map(|name| format!("{name}={}", coded(form.text(name))));
    format!("{back}?{}#enter", pairs.join("&"))
}

/// Goes to a page after a form was taken.
pub fn see(address: &str) -> Response {
    (StatusCode::SEE_OTHER, [(header::LOCATION, address)]).into_response()
}

fn json(status: StatusCode, value: &serde_json::Value) -> Response {
    let kind = [(header::CONTENT_TYPE, "application/json")];
    (status, kind, value.to_string()).into_response()
}

fn take(bench: &Bench, form: &Form) -> Result<Entry, Unwritten> {
    let id = match form.line("id") {
        None => edge::fresh(),
        Some(text) => Id::new(&text).ok_or_else(|| {
            Unwritten::field(
                "id",
                "The entry's name cannot be used.",
                "Open the page anew.",
            )
        })?,
    };
    let kind = form.text("kind");
    let takes_photos = [
        "photo",
        "condition",
        "alteration",
        "repair",
        "connection",
        "mark",
    ];
    if !form.files.is_empty() && !takes_photos.contains(&kind) {
        let message = "No photograph belongs to an entry of this kind.";
        return Err(Unwritten::field("photo", message, "Send it by itself."));
    }
    placed(bench, form)?;
    let photos = attach(bench, form)?;
    if kind == "photo" {
        return each_photo(bench, form, &id, &photos);
    }
    match kind {
        "finding" => evidence::finding(bench, form, id),
        "closing" => evidence::closing(bench, form, id),
        _ => {
            let now = bench.now();
            bench.book.append(id, &form.author, |work| {
                let event = decode::event(kind, form, &photos, work)?;
                usable(&now.project, &event)?;
                if let Event::Power(power) = &event {
                    pages::power::switch::check(bench, &now.project, power, work)?;
                }
                if let Event::Levels(levels) = &event {
                    pages::logic::enter::usable(&now.project, work, levels)?;
                }
                Ok(event)
            })
        }
    }
}

/// A unit or board that is named must be one of the project's.
fn placed(bench: &Bench, form: &Form) -> Result<(), Unwritten> {
    let now = bench.now();
    let project = &now.project;
    if let Some(unit) = form.line("unit")
        && project
            .known_units()
            .is_some_and(|all| !all.contains(&unit))
    {
        let message = format!("The machine has no unit {unit}.");
        return Err(Unwritten::field(
            "unit",
            message,
            "Add it on the bench page first.",
        ));
    }
    if let Some(board) = form.line("board")
        && project.board(&board).is_none()
    {
        let message = format!("There is no board {board} in this project.");
        return Err(Unwritten::field(
            "board",
            message,
            "Add it on the bench page first.",
        ));
    }
    Ok(())
}

/// A reading must be one that its board can use, also where it corrects another.
fn usable(project: &Project, event: &Event) -> Result<(), Unwritten> {
    let row = match event {
        Event::Reading(row) => row,
        Event::Correction(c) => match c.instead.as_deref() {
            Some(Event::Reading(row)) => row,
            _ => return Ok(()),
        },
        _ => return Ok(()),
    };
    let Some(board) = row.site.board.as_ref().and_then(|b| project.board(b)) else {
        let message = "The reading names no board.";
        return Err(Unwritten::field(
            "board",
            message,
            "Name the board that was read.",
        ));
    };
    match entered::fits(project, board, row) {
        Ok(()) => Ok(()),
        Err(complaint) => {
            let complaint = *complaint;
            let help = complaint.help.unwrap_or_default();
            Err(Unwritten::field(
                decode::field_of(&complaint.message, row),
                complaint.message,
                help,
            ))
        }
    }
}

fn attach(bench: &Bench, form: &Form) -> Result<Vec<Digest>, Unwritten> {
    // All are checked before any is kept.
    let mut media = Vec::new();
    for bytes in &form.files {
        media.push(photo::media(bytes).ok_or_else(|| {
            let message = "That file is no photograph that can be shown here.";
            Unwritten::field("photo", message, "Send a JPEG or PNG picture.")
        })?);
    }
    let pairs = media.into_iter().zip(&form.files);
    pairs
        .map(|(media, bytes)| bench.book.attach(media, bytes.clone()))
        .collect()
}

fn each_photo(bench: &Bench, form: &Form, id: &Id, photos: &[Digest]) -> Result<Entry, Unwritten> {
    let mut last = Err(Unwritten::field(
        "photo",
        "No photograph was chosen.",
        "Choose one, or take one with the phone.",
    ));
    for (index, attachment) in photos.iter().enumerate() {
        let id = match index {
            0 => id.clone(),
            n => Id::new(&format!("{:.60}-{n}", id.as_str())).unwrap_or_else(edge::fresh),
        };
        let photo = Photo {
            site: decode::site(form),
            face: decode::face(form),
            caption: form.text("caption").to_owned(),
            attachment: *attachment,
        };
        last = Ok(bench
            .book
            .append(id, &form.author, |_| Ok(Event::Photo(photo)))?);
    }
    last
}
