//! Logic: which part would explain the levels that were seen, the next net, and the sheet around them.

mod drawn;
pub mod enter;
mod keyboard;
mod sequence;

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use axum::extract::{Path, Query, State};
use axum::response::Response;
use bench::Complaint;
use bench::pages::keyboard::{is_keyboard, keyboard as read_keyboard};
use bench::pages::logic::{Entered, UnitView, View, sheet};
use bench::stores::StoreText;
use maud::{Markup, html};

use super::enter::Given;
use super::ledger::coded;
use super::room::{framed, others};
use super::{Bench, blocking, problem, version};
use crate::project::Now;

/// How long a sheet is searched before the page says that it was cut short.
const SEARCH: Duration = Duration::from_secs(10);
/// Sets and faults that are listed before the rest is only counted.
const LISTED: usize = 12;

/// Views that were computed, each with what it rests on.
#[derive(Default)]
pub struct Found(Mutex<HashMap<String, (String, Arc<View>)>>);

impl Found {
    fn view(&self, now: &Now, text: &StoreText, entered: &[Entered]) -> Arc<View> {
        let units: Vec<String> = now.project.units.iter().map(|u| u.name.clone()).collect();
        let files: Vec<_> = text.files.iter().map(|f| (&f.file, &f.bytes)).collect();
        let stamp = version((text.shape.as_ref().map(|t| &t.text), files, &units, entered));
        // Held while it is computed, so that nothing is computed twice.
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((of, view)) = kept.get(&text.name)
            && *of == stamp
        {
            return Arc::clone(view);
        }
        let began = Instant::now();
        let view = Arc::new(sheet(text, &units, entered, &|| began.elapsed() < SEARCH));
        kept.insert(text.name.clone(), (stamp, Arc::clone(&view)));
        view
    }
}

/// The page of all gate sheets: that of the first, or how to begin.
pub async fn first(bench: State<Bench>, given: Query<Given>) -> Response {
    let now = bench.now();
    match now.project.logic.first() {
        Some(sheet) => page(bench, Path(sheet.name.clone()), given).await,
        None => {
            let main = html! {
                h1 { "Logic" }
                p.answer { "No gate sheet is written yet" }
                p { "Write gates and packages with their nets into a file " code { "logic/NAME.kdl" } " of the project. It may be as short as this:" }
                pre { "logic \"control\" {\n    input A B\n    output X\n    package U1 \"7400\" pins=\"1=A 2=B 3=X\"\n}" }
                p { "Then enter levels seen, a column a net and a row a step, in " code { "logic/NAME/1-run.csv" } ", the unit before the hyphen." }
            };
            framed(&bench, &now, "/logic", "Logic", main)
        }
    }
}

/// The page of one gate sheet.
pub async fn page(
    State(bench): State<Bench>,
    Path(name): Path<String>,
    Query(given): Query<Given>,
) -> Response {
    blocking(move || {
        let now = bench.now();
        let Some(text) = now.project.logic.iter().find(|s| s.name == name) else {
            return problem(&bench, &now.project, &format!("There is no gate sheet {name} in this project."), "A gate sheet is the file logic/NAME.kdl.");
        };
        let all: Vec<&str> = now.project.logic.iter().map(|s| s.name.as_str()).collect();
        if is_keyboard(text) {
            let units: Vec<String> = now.project.units.iter().map(|u| u.name.clone()).collect();
            let view = read_keyboard(text, &units);
            let main = html! {
                (others("Gate sheets and keyboards", &all, &name, address))
                (keyboard::section(&view))
                (remarks(&view.remarks))
            };
            return framed(&bench, &now, "/logic", &format!("{name} - {}", now.project.name), main);
        }
        let entered = enter::entered(&bench.book.read().work, &name);
        let view = bench.logic.view(&now, text, &entered);
        let is_open = bench.book.closed().is_none();
        let chosen = Chosen::of(&given, &view);
        let main = html! {
            (others("Gate sheets and keyboards", &all, &name, address))
            h1 { "Logic: " (view.name) " " small { (view.title) } }
            @if view.units.is_empty() && view.graph.is_some() {
                p.answer { "No level was entered yet" }
                p { "Enter a row below, or write rows into " code { "logic/" (view.name) "/1-run.csv" } ": a column a net, a row a step, x where nothing was seen." }
            }
            @for (at, unit) in view.units.iter().enumerate() {
                (told(&view, unit, is_open))
                @if is_open { (enter::form(&view, unit, if at == chosen.unit { chosen.row } else { unit.first_wrong() })) }
            }
            @if is_open && view.graph.is_some() {
                @for unit in now.project.units.iter().filter(|u| view.units.iter().all(|v| v.unit != u.name)) { (enter::first(&view, &unit.name)) }
            }
            (sequence::section(&view))
            (drawn::section(&view, &chosen))
            (remarks(&view.remarks))
        };
        framed(&bench, &now, "/logic", &format!("{name} - {}", now.project.name), main)
    })
    .await
}

fn address(name: &str) -> String {
    format!("/logic/{}", coded(name))
}

/// Which unit's rows the drawing shows, and which of them.
struct Chosen {
    unit: usize,
    row: usize,
}

impl Chosen {
    /// As asked for; else the first row that the sheet does not give, in the first unit that has one.
    fn of(given: &Given, view: &View) -> Self {
        let number = |key: &str| given.get(key).and_then(|t| t.parse::<usize>().ok());
        let is_wrong = |u: &UnitView| u.result.min_cardinality != Some(0);
        let unit = number("show").filter(|u| *u < view.units.len());
        let unit = unit.unwrap_or_else(|| view.units.iter().position(is_wrong).unwrap_or(0));
        let rows = view.units.get(unit).map_or(0, |u| u.seen.len());
        let row = number("row")
            .and_then(|r| r.checked_sub(1))
            .filter(|r| *r < rows);
        Self {
            unit,
            row: row.unwrap_or_else(|| view.units.get(unit).map_or(0, UnitView::first_wrong)),
        }
    }
}

fn told(view: &View, unit: &UnitView, is_open: bool) -> Markup {
    let result = &unit.result;
    let sets: Vec<String> = result.diagnoses.iter().map(|s| s.join(" and ")).collect();
    html! {
        section aria-label=(format!("Unit {}", unit.unit)) {
            @match (result.min_cardinality, sets.len()) {
                (Some(0), _) => {
                    p.answer { "Unit " (unit.unit) ": every level is as it should be" }
                    p.small { "Levels that were not looked at may still be wrong. " (source(unit)) }
                }
                (Some(_), 1..) => {
                    p.answer { "Unit " (unit.unit) ": " (any_of(&sets)) }
                    p {
                        @if sets.len() == 1 { "It explains" } @else { "Each of the " strong { (sets.len()) } " explains" }
                        " all that was seen" @if result.complete { ", and nothing smaller or else does." } @else { "; there may be more." }
                        @if let Some(first) = &result.first {
                            " The sheet is first left in " strong { @if view.is_sequence { "row " (first.row) } @else { (first.run) } } ": " (first.nets.join(", ")) "."
                        }
                    }
                    (next(view, unit, is_open))
                    (named(unit))
                }
                _ => {
                    p.answer { "Unit " (unit.unit) ": I cannot explain these levels" }
                    p { @if result.complete { "No set of parts of this sheet gives them: a reading or the sheet is wrong." } @else { "The time was up before an explanation was found." } }
                }
            }
        }
    }
}

/// `U2`, `U2 or U4`, `U2, U4 or U5`.
fn any_of(sets: &[String]) -> String {
    match sets {
        [] => String::new(),
        [one] => one.clone(),
        many if many.len() > LISTED => format!(
            "{} or one of {} more",
            many[..LISTED].join(", "),
            many.len() - LISTED
        ),
        [many @ .., last] => format!("{} or {last}", many.join(", ")),
    }
}

/// Where the levels come from.
fn source(unit: &UnitView) -> String {
    match (unit.file.as_str(), unit.entered) {
        ("", n) => format!("{n} entered by hand"),
        (file, 0) => file.to_owned(),
        (file, n) => format!("{file}, and {n} entered by hand"),
    }
}

fn next(view: &View, unit: &UnitView, is_open: bool) -> Markup {
    let next = &unit.next;
    let net = next.candidates.first().filter(|_| !next.inputs_first());
    html! {
        @match (net, next.inputs.first()) {
            (Some(best), _) => {
                div.take {
                    p { "Next: look at net " strong.figure { (best.net) } " in " (place(view, &best.run, best.row)) @if !best.pins.is_empty() { ", at " (best.pins.iter().take(3).cloned().collect::<Vec<_>>().join(", ")) } "." }
                    @if is_open { (enter::next(view, unit, best)) }
                    p.small { "0 leaves " (best.left[0]) ", 1 leaves " (best.left[1]) " of " (next.sets) " explanations; " (format!("{:.2}", best.bits)) " bits." }
                }
            }
            (None, Some(best)) => {
                div.take {
                    p { "Next: put on " strong.figure { (best.changes.join(", ")) } " in " (place(view, &best.run, best.row)) @if view.is_sequence { " only, run it again" } ", and look at " (best.watch.iter().take(3).cloned().collect::<Vec<_>>().join(", ")) "." }
                    p.small { "At most " (best.most_left) " of " (next.sets) " explanations are left; " (format!("{:.2}", best.bits)) " bits." }
                }
            }
            (None, None) => { @if let Some(stop) = &next.stop { p { (stop) } } }
        }
    }
}

/// `row 5` of a sequence, the name of the run where each row is one.
fn place(view: &View, run: &str, row: usize) -> String {
    if view.is_sequence {
        format!("row {row}")
    } else {
        run.to_owned()
    }
}

fn named(unit: &UnitView) -> Markup {
    let result = &unit.result;
    let faults: Vec<String> = result.named.iter().map(|s| s.join(" and ")).collect();
    html! {
        @if faults.is_empty() {
            @if result.named_complete { p { "No pin stuck, no open input, no slow output and no bridge of neighbouring pins gives exactly this: a fault that comes and goes, or one of another kind." } }
        } @else {
            details open[faults.len() <= LISTED] {
                summary { (faults.len()) " faults of pins give exactly this" @if !result.named_complete { "; not all were tried" } }
                ul { @for fault in &faults { li { (fault) } } }
            }
        }
    }
}

fn remarks(list: &[Complaint]) -> Markup {
    html! {
        @if !list.is_empty() {
            h2 { "What could not be used" }
            ul {
                @for r in list.iter().take(LISTED) {
                    li { strong { @if let Some(file) = &r.file { (file) } @if let Some(line) = r.line { ", line " (line) } @if r.file.is_some() { ": " } } (r.message) " " @if let Some(help) = &r.help { (help) } }
                }
            }
        }
    }
}
