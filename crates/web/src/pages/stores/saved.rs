//! What was kept of a store: whether it may be written, test patterns if so, and the files themselves.

use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use bench::pages::stores::{self, Kept, View};
use bench::stores::StoreText;
use maud::{Markup, html};
use store::record::Digest;

use super::{address, attached, missing, units, with_ledger};
use crate::pages::enter::{Given, choice};
use crate::pages::{Bench, blocking};

/// What a core store held when it came is history: nothing is written before it is kept.
pub fn kept(view: &View) -> Markup {
    if !view.is_written {
        return html! {};
    }
    let (mut blocked, mut free) = (Vec::new(), Vec::new());
    for unit in &view.units {
        match &unit.kept {
            Kept::Blocked { why, is_written } => blocked.push((&unit.name, why, *is_written)),
            Kept::By(file) => free.push((unit.name.as_str(), file)),
            Kept::Fixed => {}
        }
    }
    html! {
        @if !blocked.is_empty() {
            aside.caution aria-label="Save first" {
                p { strong { "Save first. " } "What a core store held when it came is history, and the first write is the end of it. Read the whole store and send that read before any test writes into it." }
                @for (unit, why, is_written) in &blocked {
                    p { strong { "Unit " (unit) ": writing is blocked. " } (why) @if *is_written { " A march test was run in it nevertheless: what it held is lost, unless a read stands elsewhere." } }
                }
            }
        }
        @for (unit, file) in &free { p { "Unit " (unit) ": what it held is kept in " (file) "." } }
        @if let Some((store, _)) = &view.drawn && !free.is_empty() {
            details id="tests" {
                summary { "Test patterns to write and to read" }
                form.enter method="get" action=(format!("{}/march.csv", address(&view.name))) {
                    div.fields {
                        (choice("unit", "Unit", &free.iter().map(|(u, _)| (*u, *u)).collect::<Vec<_>>(), ""))
                        (choice("test", "Test", &store.tests().iter().map(|t| (*t, *t)).collect::<Vec<_>>(), "March C-"))
                        button.go type="submit" { "As CSV" }
                    }
                    p.hint { "Each operation in order, for the store's own words and backgrounds. What each test is sure to find: " code { "knowngood memory march" } "." }
                }
            }
        }
    }
}

/// All files of a store; those of the ledger can be had back as they were sent.
pub fn list(bench: &Bench, text: &StoreText) -> Markup {
    let sent = attached(bench, &text.name);
    html! {
        @if !text.files.is_empty() || !sent.is_empty() {
            details id="files" {
                summary { (text.files.len() + sent.len()) " files of this store" }
                ul.done {
                    @for file in &text.files { li { (file.file) } }
                    @for (name, sum) in &sent { li { a.small href=(format!("{}/kept/{sum}", address(&text.name))) { (name) } } }
                }
            }
        }
    }
}

/// A file that the ledger keeps, as it was sent.
pub async fn file(
    State(bench): State<Bench>,
    Path((name, sum)): Path<(String, String)>,
) -> Response {
    blocking(move || {
        let wanted = Digest::read(&sum);
        let listed = attached(&bench, &name);
        let found = listed.iter().find(|(_, s)| Some(*s) == wanted);
        let Some((file, sum)) = found else {
            return (
                StatusCode::NOT_FOUND,
                "The ledger keeps no such file of this store.\n",
            )
                .into_response();
        };
        match bench.book.attachment(*sum) {
            Ok(Some(found)) => {
                let plain = file.rsplit('/').next().unwrap_or("read");
                let safe: String = plain
                    .chars()
                    .filter(|c| c.is_ascii_alphanumeric() || "-_.".contains(*c))
                    .collect();
                let head = [
                    (header::CONTENT_TYPE, "application/octet-stream".to_owned()),
                    (
                        header::CONTENT_DISPOSITION,
                        format!("attachment; filename=\"{safe}\""),
                    ),
                ];
                (head, found.bytes).into_response()
            }
            Ok(None) => (
                StatusCode::NOT_FOUND,
                "Its content is missing from the ledger.\n",
            )
                .into_response(),
            Err(trouble) => {
                (StatusCode::SERVICE_UNAVAILABLE, trouble.message + "\n").into_response()
            }
        }
    })
    .await
}

/// The operations of a march test as CSV, if the unit's first read is kept.
pub async fn march(
    State(bench): State<Bench>,
    Path(name): Path<String>,
    Query(given): Query<Given>,
) -> Response {
    blocking(move || {
        let now = bench.now();
        let Some(text) = now.project.stores.iter().find(|s| s.name == name) else {
            return missing(&bench, &now, &name);
        };
        let of = |name: &str| given.get(name).map_or("", String::as_str);
        let whole = with_ledger(&bench, text);
        match stores::march_csv(&whole, &units(&now), of("unit"), of("test")) {
            Ok(csv) => ([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], csv).into_response(),
            Err(refused) => {
                let first = &refused.complaints()[0];
                let help = first.help.clone().unwrap_or_default();
                let text = format!("{} {help}\n", first.message);
                (StatusCode::UNPROCESSABLE_ENTITY, text).into_response()
            }
        }
    })
    .await
}
