//! One reading at a time, large: where the leads go, what should come, what came and what it means.

mod run;

use axum::extract::{Path, Query, State};
use axum::response::Response;
use bench::pages::Caution;
use bench::pages::board::{Cell, View};
use bench::pages::{Row, advice};
use maud::{Markup, html};
use serde::Deserialize;

use super::board::reasons;
use super::enter::{conditions, held, hidden};
use super::ledger::coded;
use super::{Bench, Frame, address, answer, blocking, map, marks, missing};
use crate::work::Stand;
use run::{Step, steps};

/// Where the run is.
#[derive(Clone, Debug, Default, Deserialize)]
pub struct At {
    #[serde(default)]
    unit: String,
    /// Steps that are passed over.
    #[serde(default)]
    skip: usize,
    /// With the supplies on.
    #[serde(default)]
    powered: String,
    /// The entry that was made last.
    #[serde(default)]
    came: String,
    /// A reading that is wanted before all others.
    #[serde(default)]
    state: String,
    #[serde(default)]
    measured: String,
    #[serde(default)]
    red: String,
    #[serde(default)]
    black: String,
    #[serde(default)]
    meter: String,
    #[serde(default)]
    place: String,
}

impl At {
    fn address(&self, board: &str, skip: usize) -> String {
        let mut text = format!("{}/probe?unit={}", address(board), coded(&self.unit));
        if skip > 0 {
            text += &format!("&skip={skip}");
        }
        for (name, value) in [
            ("powered", &self.powered),
            ("meter", &self.meter),
            ("place", &self.place),
        ] {
            if !value.is_empty() {
                text += &format!("&{name}={}", coded(value));
            }
        }
        text
    }

    fn wanted(&self) -> Option<Step> {
        let given = [&self.state, &self.measured, &self.red, &self.black];
        given.iter().all(|g| !g.is_empty()).then(|| Step {
            state: self.state.clone(),
            kind: self.measured.clone(),
            red: self.red.clone(),
            black: self.black.clone(),
            ..Step::default()
        })
    }
}

/// The page.
pub async fn page(
    State(bench): State<Bench>,
    Path(name): Path<String>,
    Query(at): Query<At>,
) -> Response {
    blocking(move || {
        let now = bench.now();
        let Some(board) = now.project.board(&name) else {
            return missing(&bench, &now.project, &name);
        };
        let looked = bench.look(&now, board);
        let (view, advice, unread) = (&looked.view, &looked.advice, &looked.unread);
        let unit = view.units.iter().position(|u| u.name == at.unit);
        let at = At {
            unit: match (unit, view.units.as_slice()) {
                (Some(_), _) => at.unit,
                (None, [one]) => one.name.clone(),
                (None, []) => "1".to_owned(),
                (None, _) => String::new(),
            },
            ..at
        };
        let told = match advice {
            Some(Stand::Done(view)) => view.units.iter().find(|u| u.name == at.unit),
            _ => None,
        };
        let mut list = steps(view, unread, told, &at.unit, at.powered == "yes");
        if let Some(wanted) = at.wanted() {
            list.retain(|s| !s.is_same(&wanted));
            list.insert(0, run::filled(wanted, view, unread));
        }
        let going = looked.is_going();
        let is_open = bench.book.closed().is_none();
        let kept = bench.book.read();
        let map = list.get(at.skip).map(|s| map::beside(&bench, &kept.work, &name, &s.red, &s.black));
        let main = html! {
            h1 { a href=(address(&name)) { (name) } " probe" @if !at.unit.is_empty() { ", unit " (at.unit) } }
            @if !is_open { p { "Nothing can be entered here." } }
            @else if at.unit.is_empty() { (choose(view, &at)) }
            @else {
                @if !at.came.is_empty() { (came(view, &at, told)) }
                (step(view, &list, &at, going, map.as_ref()))
                (switch(view, &at))
            }
        };
        let title = format!("{name} probe");
        answer(
            Frame {
                here: Some(&name),
                pulse: &format!("/pulse/board/{}", &address(&name)["/board/".len()..]),
                version: &looked.version(&now),
                refresh: false,
                ..Frame::new(&bench, &now.project, &title, main)
            }
            .page(),
        )
    })
    .await
}

fn choose(view: &View, at: &At) -> Markup {
    html! {
        p.answer { "Which unit is in front of you?" }
        div.choose {
            @for unit in &view.units {
                @let to = At { unit: unit.name.clone(), ..at.clone() }.address(&view.name, 0);
                a.big href=(to) data-row { "Unit " (unit.name) @if let Some(serial) = &unit.serial { " (" (serial) ")" } }
            }
        }
    }
}

/// The reading that was entered last, and what it means.
fn came(view: &View, at: &At, told: Option<&advice::Unit>) -> Markup {
    let of_unit = view.units.iter().position(|u| u.name == at.unit);
    let found = of_unit.and_then(|u| {
        let is_it = |r: &&Row| r.cells[u].entry.as_deref() == Some(at.came.as_str());
        view.rows.iter().find(is_it).map(|r| (r, &r.cells[u]))
    });
    html! {
        section.came aria-label="What came" role="status" {
            @match found {
                None => p { "The reading is in the ledger. " a href=(format!("/entry/{}", at.came)) { "See it" } },
                Some((row, cell)) => (meant(row, cell, told)),
            }
        }
    }
}

fn meant(row: &Row, cell: &Cell, told: Option<&advice::Unit>) -> Markup {
    html! {
        p.figure-words { (row.red) " to " (row.black) ": " strong { (cell.value) }
            span.verdict { (marks::verdict(cell.mark)) span { (cell.mark.words()) } } }
        @if !row.twin.is_empty() { p { (row.twin) } }
        @for m in &row.means { p { (m) } }
        @if let Some(suspect) = told.and_then(|u| u.suspects.first()) {
            p { "Now first among the suspects: " strong { (suspect.share.what) } ", " (suspect.share.words) "." }
        }
        @if let Some(entry) = &cell.entry { p { a.small href=(format!("/entry/{entry}")) { "Correct it" } } }
    }
}

fn step(view: &View, list: &[Step], at: &At, going: bool, map: Option<&Markup>) -> Markup {
    let Some(step) = list.get(at.skip) else {
        return html! {
            p.answer { @if going { "The next place is being worked out." } @else if view.without.is_some() && view.rows.is_empty() { "Without a sheet nobody can say where to probe first" } @else { "Nothing is left to take on this list." } }
            @if view.without.is_some() {
                p { "Choose places yourself; what was read on one unit is offered here for the other. " a.go href=(format!("{}#enter", address(&view.name))) { "Enter a reading" } }
            }
            @if at.skip > 0 { p { a.go href=(at.address(&view.name, 0)) { "Those that were passed over" } } }
            p { a.go href=(address(&view.name)) { "To the board" } }
        };
    };
    let back = format!("{}&came=", at.address(&view.name, at.skip));
    let given = [("meter", at.meter.as_str()), ("place", at.place.as_str())];
    let given = given.map(|(n, v)| (n.to_owned(), v.to_owned())).into();
    html! {
        form.probe id="probe" method="post" action="/entry" data-keep data-probe
            data-skip=(at.address(&view.name, at.skip + 1)) data-back=(at.address(&view.name, at.skip.saturating_sub(1))) {
            (hidden("reading", &back)) (held("board", &view.name)) (held("unit", &at.unit))
            (held("state", &step.state)) (held("measured", &step.kind)) (held("red", &step.red)) (held("black", &step.black))
            (before(step, &view.cautions, at.came.is_empty() && at.skip == 0 && at.wanted().is_none()))
            div.leads {
                div { span.word { "Red on" } strong.lead-on { (step.red) } }
                div { span.word { "Black on" } strong.lead-on { (step.black) } }
            }
            p.expect data-fresh=(format!("{} {} {} {}", step.state, step.kind, step.red, step.black)) { (step.state) " " (words(&step.kind)) ": "
                @if step.expected.is_empty() && going { "the expectation is being worked out" }
                @else if step.expected.is_empty() { "nothing is expected" }
                @else { strong { (step.expected) } }
                @if !step.band.is_empty() { span.band-words { "healthy boards read " (step.band) } }
            }
            @if !step.why.is_empty() { p.why { (step.why) } }
            @if let Some(map) = map { (map) }
            div.take-value {
                label.field { span { "What came" } input.value type="text" name="value" required autofocus autocomplete="off" spellcheck="false" aria-label="What came: a value, or OL"; }
                button.go type="submit" { "Accept" }
            }
            p.trouble role="alert" data-trouble {}
            div.keypad hidden data-keypad {
                @for key in ["7", "8", "9", "k", "4", "5", "6", "M", "1", "2", "3", "R", "0", ".", "m", "-", "OL"] {
                    button type="button" data-type=(key) { (key) }
                }
                button type="button" data-type="back" aria-label="delete the last character" { "del" }
            }
            nav.steps aria-label="Steps" {
                @if at.skip > 0 { a.go href=(at.address(&view.name, at.skip - 1)) { "Back" } }
                a.go href=(at.address(&view.name, at.skip + 1)) { "Skip" }
                span { (list.len().saturating_sub(at.skip)) " left on the list" }
            }
            details id="probe-note" { summary { "Note, meter, conditions" } div.fields { (conditions(view, &given)) } }
        }
    }
}

/// What has to be done first, in a ruled box; all that the board's cautions ask for stands at the first step of a run.
fn before(step: &Step, cautions: &[Caution], is_first: bool) -> Markup {
    html! {
        aside.caution aria-label="Before it" {
            @if !step.needs.is_empty() { p { strong { "Before it: " } (step.needs.join("; ")) "." } }
            @if step.state == "cold" { p { strong { "Caution. " } "No supply connected; discharged, and the volts read first." } }
            @if is_first {
                @for c in cautions { p { strong { "Caution. " } (c.what) } }
                p { "Local rules stand above this page." }
                (reasons(cautions))
            } @else {
                details id="cautions" {
                    summary { "All " (cautions.len()) " cautions of this board; local rules stand above them" }
                    @for c in cautions {
                        p { strong { "Caution. " } (c.what) }
                        p.why { (c.why) }
                    }
                }
            }
        }
    }
}

fn words(kind: &str) -> &str {
    match kind {
        "diode" => "diode test",
        other => other,
    }
}

/// The other units, and the other state.
fn switch(view: &View, at: &At) -> Markup {
    let (other, label) = match at.powered.as_str() {
        "yes" => ("", "Cold readings only"),
        _ => ("yes", "Powered readings, too"),
    };
    let powered = At {
        powered: other.to_owned(),
        ..at.clone()
    };
    html! {
        nav.steps aria-label="Run" {
            @for unit in view.units.iter().filter(|u| u.name != at.unit) {
                @let to = At { unit: unit.name.clone(), ..at.clone() }.address(&view.name, 0);
                a.go href=(to) { "Unit " (unit.name) " instead" }
            }
            a.go href=(powered.address(&view.name, 0)) { (label) }
        }
    }
}
