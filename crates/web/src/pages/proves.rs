//! Which readings would show a fault: what proves a repair.

use axum::extract::{Path, Query, State};
use axum::response::Response;
use bench::proves::View;
use maud::{Markup, html};
use serde::Deserialize;

use super::enter::line;
use super::ledger::coded;
use super::{Bench, Frame, address, answer, blocking, missing, version};
use crate::work::Stand;

/// The fault that is asked for.
#[derive(Debug, Default, Deserialize)]
pub struct Asked {
    #[serde(default)]
    fault: String,
}

/// The page.
pub async fn page(
    State(bench): State<Bench>,
    Path(name): Path<String>,
    Query(asked): Query<Asked>,
) -> Response {
    blocking(move || {
        let now = bench.now();
        let Some(board) = now.project.board(&name) else {
            return missing(&bench, &now.project, &name);
        };
        let fault = asked.fault.trim();
        let stand = (!fault.is_empty()).then(|| bench.work.proves(&now.project, board, fault));
        let to = address(&name);
        let main = html! {
            h1 { (name) ": readings that prove a repair" }
            form.filter-form method="get" action=(format!("{to}/proves")) {
                (line("fault", "The fault that was mended, such as R4 open", fault))
                button type="submit" { "Show" }
            }
            @match &stand {
                None => {},
                Some(Stand::Failed(why)) => p.answer { (why) },
                Some(Stand::Done(view) | Stand::Again(view)) => (shown(view, &to)),
                Some(Stand::Going(..)) => p.wait role="status" { "Being looked for: " span data-progress { "a few seconds" } ". The page fills itself." },
            }
            p { a.go href=(to) { "To the board" } }
        };
        let going = stand.as_ref().is_some_and(Stand::is_going);
        let pulse = format!("/pulse/proves{to}?fault={}", coded(fault));
        answer(
            Frame {
                here: Some(&name),
                pulse: &pulse,
                version: &version(("proves", now.files, going)),
                refresh: going,
                ..Frame::new(&bench, &now.project, &name, main)
            }
            .page(),
        )
    })
    .await
}

/// Changes when the answer has come.
pub fn pulse(bench: &Bench, name: &str, fault: &str) -> String {
    let now = bench.now();
    let going = now
        .project
        .board(name)
        .is_some_and(|b| !fault.is_empty() && bench.work.proves(&now.project, b, fault).is_going());
    version(("proves", now.files, going))
}

fn shown(view: &View, to: &str) -> Markup {
    html! {
        @if view.readings.is_empty() { p.answer { "No cold reading on the board shows " (view.fault) " beyond doubt." } }
        @else {
            p.answer { (view.fault) " shows in " (view.readings.len()) @if view.readings.len() == 1 { " reading" } @else { " readings together" } }
            p { "Take them again in the same way. Volts first, and discharged. A reading that could not have failed proves nothing; these could." }
            table.plain {
                thead { tr { th scope="col" { "Reading" } th scope="col" { "With the fault" } th scope="col" { "Mended" } th scope="col" { "Before it" } th scope="col" { "" } } }
                tbody {
                    @for r in &view.readings {
                        tr data-row tabindex="-1" {
                            th scope="row" { (r.state) " " (r.kind) ", red on " strong { (r.red) } ", black on " strong { (r.black) } }
                            td data-name="with the fault" { (bench::table::measured(r.faulty, r.measured_in)) }
                            td data-name="mended" { (bench::table::measured(r.healthy, r.measured_in)) }
                            td data-name="before it" { (r.needs.join("; ")) }
                            td data-name="" { a.go href=(format!("{to}/probe?state={}&measured={}&red={}&black={}", r.state, r.kind, coded(&r.red), coded(&r.black))) { "Take it" } }
                        }
                    }
                }
            }
            @if !view.not_told_from.is_empty() {
                p.why { "What these readings cannot tell it from: " (view.not_told_from.iter().take(8).cloned().collect::<Vec<_>>().join(", ")) "." }
            }
        }
    }
}
