//! A recording sent from the page: read once to see that it can be, then kept in the ledger as it is.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use bench::pages::signals::check;
use bench::signal::Asked;
use maud::{Markup, html};
use store::record::event::{File, Site};
use store::record::{Entry, Event, Id};

use super::{ROOM, address, sets, units};
use crate::book::Unwritten;
use crate::edge;
use crate::entry::answer;
use crate::form::Form;
use crate::pages::enter::{held, hidden, line, unit};
use crate::pages::room::framed;
use crate::pages::{Bench, blocking};
use crate::project::Now;

/// The form; without a name the signal is named in it.
pub fn form(now: &Now, name: &str) -> Markup {
    let to = if name.is_empty() {
        "/signals".to_owned()
    } else {
        address(name)
    };
    html! {
        form.enter id="send" method="post" action=(to) enctype="multipart/form-data" {
            h2 { "Send a recording" }
            (hidden("capture", &to))
            div.fields {
                (unit(&now.project.units, ""))
                @if name.is_empty() { (line("signal", "What was recorded", "")) }
                label.field.wide { span { "The file: CSV, VCD, FST, WAV or NPY" } input type="file" name="file" required; }
                (line("caption", "Remark", ""))
                button.go type="submit" { "Keep it" }
            }
            p.hint { "It is kept in the ledger as it was sent. A long recording is better put into the folder captures/" @if name.is_empty() { "NAME" } @else { (name) } " of the project." }
            (held("board", ""))
        }
    }
}

/// Takes a recording of a signal that is there, or of a new one.
pub async fn post(State(bench): State<Bench>, name: Option<Path<String>>, form: Form) -> Response {
    blocking(move || {
        let now = bench.now();
        let name = name.map_or_else(|| form.text("signal").trim().to_owned(), |Path(n)| n);
        let taken = take(&bench, &now, &name, &form);
        bench.bell.ring();
        match taken {
            Ok(entry) => answer(&bench, &form, Ok(entry)),
            Err(why) if form.wants_json => answer(&bench, &form, Err(why)),
            Err(why) => refused(&bench, &now, &why),
        }
    })
    .await
}

fn take(bench: &Bench, now: &Now, name: &str, form: &Form) -> Result<Entry, Unwritten> {
    let id = Id::new(form.text("id")).unwrap_or_else(edge::fresh);
    let unit = form.text("unit").to_owned();
    let is_name = !name.is_empty()
        && name.len() <= 80
        && !name.contains(['/', '\\'])
        && !name.starts_with('.');
    if !is_name {
        return Err(Unwritten::field(
            "signal",
            "It was not said what was recorded.",
            "Give a short name without strokes, such as clock.",
        ));
    }
    let [bytes] = &form.files[..] else {
        return Err(Unwritten::field(
            "file",
            "No file was chosen, or more than one.",
            "Choose one file.",
        ));
    };
    let known = units(now);
    if unit.is_empty() || (!known.is_empty() && !known.contains(&unit)) {
        return Err(Unwritten::field(
            "unit",
            format!("The machine has no unit {unit}."),
            "Add it on the bench page first.",
        ));
    }
    check("the file", bytes, &Asked::default()).map_err(Unwritten::file)?;
    let number = sets(bench, now)
        .iter()
        .find(|s| s.name == name)
        .map_or(0, |s| s.files.len())
        + 1;
    let is_text = std::str::from_utf8(bytes).is_ok_and(|t| !t.contains('\0'));
    let media = if is_text {
        "text/plain"
    } else {
        "application/octet-stream"
    };
    let ending = if is_text { "txt" } else { "bin" };
    let attachment = bench.book.attach(media, bytes.clone())?;
    let caption = form
        .line("caption")
        .unwrap_or_else(|| format!("a recording of {name}"));
    bench.book.append(id, &form.author, |_| {
        Ok(Event::File(File {
            name: format!("{ROOM}{name}/{unit}-{number:04}.{ending}"),
            site: Site { unit, board: None },
            caption,
            attachment,
        }))
    })
}

fn refused(bench: &Bench, now: &Now, why: &Unwritten) -> Response {
    let main = html! {
        h1 { "Not kept" }
        p.answer { (why.message) }
        p { (why.help) }
        p { a.go href="/signals#send" { "Back to the signals, to send it again" } }
    };
    let status = if why.is_world {
        StatusCode::SERVICE_UNAVAILABLE
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    (status, framed(bench, now, "/signals", "Not kept", main)).into_response()
}
