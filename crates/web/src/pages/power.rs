//! First power: the checks that a permit wants, the open stage with its limits, and what would be destroyed.

mod checks;
mod hazards;
pub mod post;
mod stages;
pub mod switch;

use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use bench::pages::permit;
use bench::pages::power::{MAINS, Row, View, rows};
use bench::project::UnitName;
use maud::{Markup, html};
use serde::Deserialize;
use store::record::event::PowerPermit;

use super::{Bench, Frame, answer, blocking, progress, version};
use crate::download::{csv, line, not_yet};
use crate::work::Stand;
use crate::{edge, form};

/// What the address asks for.
#[derive(Clone, Debug, Default, Deserialize)]
pub struct At {
    #[serde(default)]
    unit: String,
    /// The check that is to be made, before all others.
    check: Option<usize>,
    /// The same of a stage's readings.
    reading: Option<usize>,
}

/// What the page is about.
struct Shown<'a> {
    view: &'a View,
    rows: &'a [Row],
    unit: &'a str,
    at: &'a At,
    /// Who signs, by their browser.
    author: &'a str,
    /// Something can be entered.
    is_open: bool,
}

impl Shown<'_> {
    /// The address of this page for the unit.
    fn here(&self, more: &str, fragment: &str) -> String {
        checks::here(self.unit, more, fragment)
    }
}

/// The page.
pub async fn page(State(bench): State<Bench>, Query(at): Query<At>, head: HeaderMap) -> Response {
    blocking(move || {
        let now = bench.now();
        let stand = bench.work.power(&now.project);
        let view = match &stand {
            Stand::Done(view) | Stand::Again(view) => Some(view.as_ref()),
            Stand::Going(..) | Stand::Failed(_) => None,
        };
        let units = &now.project.units;
        let unit = units.iter().find(|u| u.name == at.unit).or(units.first());
        let unit = unit.map_or("1", |u| u.name.as_str());
        let is_done = matches!(stand, Stand::Done(_));
        let main = html! {
            h1 { "First power: " (now.project.name) }
            (cautions(view))
            @match &stand {
                Stand::Going(done, all) => p.wait role="status" { "Every fault is being followed at switch-on: " span data-progress { (progress(*done, *all)) } ". For a whole machine this takes a while; the page fills itself." },
                Stand::Failed(why) => p.answer { (why) },
                Stand::Again(_) => p.wait role="status" { "A drawing has changed since. What stands here is from before it and is being worked out again; do not work by it, nothing is entered against it." },
                Stand::Done(_) => {},
            }
            @if let Some(view) = view {
                @let rows = rows(&now.project, &view.card);
                @let shown = Shown { view, rows: &rows, unit, at: &at, author: &form::author(&head), is_open: is_done && bench.book.closed().is_none() };
                (of_unit(&bench, &shown, units))
                (hazards::sections(&shown, units))
            }
            (switch::section(&bench, &now.project, &form::author(&head)))
        };
        let going = stand.is_going();
        answer(
            Frame {
                pulse: "/pulse/power",
                version: &version(("power", now.stamp, going)),
                refresh: going,
                section: "/power",
                ..Frame::new(&bench, &now.project, "Power-up", main)
            }
            .page(),
        )
    })
    .await
}

/// Where the unit is: no permit and what it still needs, or the open stage.
fn of_unit(bench: &Bench, shown: &Shown<'_>, units: &[UnitName]) -> Markup {
    let index = units.iter().position(|u| u.name == shown.unit);
    let kept = bench.book.read();
    let unit = (shown.unit, index.unwrap_or(usize::MAX));
    let state = permit::state(shown.view, shown.rows, unit, &kept.work, edge::now());
    let plan = shown.view.plan.as_ref();
    html! {
        @if units.len() > 1 {
            nav.units aria-label="Units" {
                @for u in units { a.go href=(checks::here(&u.name, "", "main")) aria-current=[(u.name == shown.unit).then_some("true")] { "Unit " (u.name) } }
            }
        }
        @if let Some(found) = state.permit() {
            @match plan {
                Ok(plan) => (stages::open(shown, &state, plan)),
                Err(why) => p.answer { "There are no stages: " (why) },
            }
            (granted(&state, found))
        } @else {
            section.hold id="permit" aria-labelledby="permit-head" {
                h2 id="permit-head" { small { "Unit " (shown.unit) } "No permit" @if state.ended().is_some() { " any more" } }
                @if let Some(why) = state.ended() { p.figure-words { (why) } }
                p.figure-words { (checks::count(shown.view, &state)) }
            }
            @if let Ok(plan) = plan { (stages::crossed(&state, plan)) }
            (checks::section(shown, &state))
        }
        @match plan {
            Ok(plan) => (stages::all(shown, plan)),
            Err(why) => p { "There are no stages: " (why) },
        }
    }
}

/// What the permit in force rests on.
fn granted(state: &permit::State<'_>, found: &PowerPermit) -> Markup {
    let signed: Vec<_> = found.overrides().collect();
    html! {
        details id="granted" {
            summary { "The permit: " (found.checks().len() - signed.len()) " checks passed, " (signed.len()) " signed for" }
            @if let Some(b) = &state.bring_up { p { a href=(format!("/entry/{}", b.entry.id)) { "Entry " (b.entry.number) } " of " (b.entry.time) @if !b.entry.author.is_empty() { " by " (b.entry.author) } } }
            @if !signed.is_empty() { ul.done { @for (name, by) in &signed { li { (name) ": signed for by " strong { (by.by()) } ", because " (by.reason()) } } } }
            p { "It ends at a move, a pulled or changed board, a crossed limit, and after four weeks." }
        }
    }
}

/// Changes when the page does; below it how far the work is.
pub fn pulse(bench: &Bench) -> String {
    let now = bench.now();
    let stand = bench.work.power(&now.project);
    let version = version(("power", now.stamp, stand.is_going()));
    match stand {
        Stand::Going(done, all) => format!("{version}\n{}", progress(done, all)),
        _ => version,
    }
}

/// The card as CSV.
pub async fn table(State(bench): State<Bench>) -> Response {
    blocking(move || {
        let now = bench.now();
        let view = match bench.work.power(&now.project) {
            Stand::Done(view) => view,
            Stand::Going(..) | Stand::Again(_) => return not_yet(),
            Stand::Failed(why) => {
                return (StatusCode::UNPROCESSABLE_ENTITY, why + "\n").into_response();
            }
        };
        let mut head: Vec<String> = [
            "number",
            "unplugged",
            "kind",
            "red",
            "black",
            "low",
            "high",
            "healthy",
            "rules out",
        ]
        .map(str::to_owned)
        .to_vec();
        for unit in &now.project.units {
            head.push(format!("unit {}", unit.name));
            head.push(format!("unit {} stands", unit.name));
        }
        let fields = |list: &[String]| line(&list.iter().map(String::as_str).collect::<Vec<_>>());
        let mut lines = vec![fields(&head)];
        for (k, r) in rows(&now.project, &view.card).into_iter().enumerate() {
            let mut list = vec![
                (k + 1).to_string(),
                r.unplugged.join(" "),
                r.kind.to_owned(),
                r.red,
                r.black,
                r.low,
                r.high,
                r.expected,
                r.rules_out.join("; "),
            ];
            for cell in r.cells {
                list.push(cell.value);
                list.push(cell.held.words().to_owned());
            }
            lines.push(fields(&list));
        }
        csv(&lines)
    })
    .await
}

/// What stands before everything else, computed or not.
fn cautions(view: Option<&View>) -> Markup {
    let of_plan = |v: &View| -> Vec<String> {
        let Ok(plan) = &v.plan else {
            return v.card.cautions.clone();
        };
        let is_wiring = |c: &String| v.card.wiring.iter().any(|w| w.says == *c);
        let all = plan.cautions.iter();
        all.filter(|c| *c != MAINS && !is_wiring(c))
            .cloned()
            .collect()
    };
    let more = view.map(of_plan).unwrap_or_default();
    html! {
        aside.caution aria-label="Cautions" {
            p { strong { "Caution. " } (MAINS) }
            p { "Local rules stand above this page. It says which checks are drawn and what they showed; it gives nobody leave to switch on." }
            @if !more.is_empty() {
                details id="cautions" { summary { (more.len()) " more before the first lead is set down" } @for c in &more { p { (c) } } }
            }
        }
    }
}
