//! A read, log, map or sequence sent to a store: checked, then kept in the ledger as it is.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use bench::pages::stores::{self, View};
use bench::stores::StoreFile;
use maud::{Markup, html};
use store::record::event::{File, Site};
use store::record::{Event, Id};

use super::{address, attached, missing, units};
use crate::book::Unwritten;
use crate::edge;
use crate::entry::answer;
use crate::form::Form;
use crate::pages::enter::{choice, held, hidden, line, unit};
use crate::pages::room::framed;
use crate::pages::{Bench, blocking};
use crate::project::Now;

/// What can be sent: the word that goes into the name of the file, and what is shown.
const KINDS: [(&str, &str); 5] = [
    ("read", "a read of the store"),
    ("march", "the log of a march test"),
    ("map", "a map of passes and failures"),
    ("sequence", "a captured sequence of micro-addresses"),
    ("reference", "what the store should hold"),
];

/// The form.
pub fn form(view: &View, now: &Now) -> Markup {
    html! {
        form.enter id="send" method="post" action=(address(&view.name)) enctype="multipart/form-data" {
            h2 { "Send a file" }
            (hidden("store", &address(&view.name)))
            div.fields {
                (unit(&now.project.units, ""))
                (choice("what", "It is", &KINDS, "read"))
                label.field.wide { span { "The file: hex text, CSV, colon or S records, or bytes" } input type="file" name="file" required; }
                (line("caption", "Remark", ""))
                button.go type="submit" { "Keep it" }
            }
            p.hint { "It is kept in the ledger as it was sent and cannot be written over. The first whole read of a core store is its history." }
            (held("board", ""))
        }
    }
}

/// Takes a file.
pub async fn post(State(bench): State<Bench>, Path(name): Path<String>, form: Form) -> Response {
    blocking(move || {
        let now = bench.now();
        if !now.project.stores.iter().any(|s| s.name == name) {
            return missing(&bench, &now, &name);
        }
        let taken = take(&bench, &now, &name, &form);
        bench.bell.ring();
        match taken {
            Ok(entry) => answer(&bench, &form, Ok(entry)),
            Err(why) if form.wants_json => answer(&bench, &form, Err(why)),
            Err(why) => refused(&bench, &now, &name, &why),
        }
    })
    .await
}

fn take(
    bench: &Bench,
    now: &Now,
    store: &str,
    form: &Form,
) -> Result<store::record::Entry, Unwritten> {
    let id = Id::new(form.text("id")).unwrap_or_else(edge::fresh);
    let unit = form.text("unit").to_owned();
    let what = form.text("what");
    let Some((word, _)) = KINDS.iter().find(|(w, _)| *w == what) else {
        return Err(Unwritten::field(
            "what",
            "It was not said what the file is.",
            "Choose it on the page.",
        ));
    };
    let [bytes] = &form.files[..] else {
        return Err(Unwritten::field(
            "file",
            "No file was chosen, or more than one.",
            "Choose one file.",
        ));
    };
    let known = units(now);
    if !known.is_empty() && !known.contains(&unit) {
        return Err(Unwritten::field(
            "unit",
            format!("The machine has no unit {unit}."),
            "Add it on the bench page first.",
        ));
    }
    let is_text = std::str::from_utf8(bytes).is_ok_and(|t| !t.contains('\0'));
    let ending = if is_text { "txt" } else { "bin" };
    // Numbered in the order kept, so that the last is the last.
    let number = attached(bench, store).len() + 1;
    let name = match *word {
        "reference" => format!("reference.{ending}"),
        word => format!("{unit}-{word}-{number:04}.{ending}"),
    };
    let text = now.project.stores.iter().find(|s| s.name == store);
    let file = StoreFile {
        file: name.clone(),
        bytes: bytes.clone().into(),
    };
    if let Some(text) = text {
        stores::check(text, &known, &file).map_err(Unwritten::file)?;
    }
    let media = if is_text {
        "text/plain"
    } else {
        "application/octet-stream"
    };
    let attachment = bench.book.attach(media, bytes.clone())?;
    let site = Site { unit, board: None };
    let caption = match form.line("caption") {
        Some(caption) => caption,
        None => KINDS
            .iter()
            .find(|(w, _)| w == word)
            .map_or(String::new(), |(_, shown)| (*shown).to_owned()),
    };
    bench.book.append(id, &form.author, |_| {
        Ok(Event::File(File {
            site,
            name: format!("{store}/{name}"),
            caption,
            attachment,
        }))
    })
}

fn refused(bench: &Bench, now: &Now, store: &str, why: &Unwritten) -> Response {
    let main = html! {
        h1 { "Not kept" }
        p.answer { (why.message) }
        p { (why.help) }
        p { a.go href=(format!("{}#send", address(store))) { "Back to the store, to send it again" } }
    };
    let status = if why.is_world {
        StatusCode::SERVICE_UNAVAILABLE
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    (status, framed(bench, now, "/stores", "Not kept", main)).into_response()
}
