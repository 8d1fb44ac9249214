//! First power: what a cold meter has to show before it, what no reading shows, and the stages with their limits.

mod stages;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use bench::pages::power::{Cell, MAINS, Row, View, rows};
use bench::project::{Project, UnitName};
use maud::{Markup, html};
use store::record::Event;

use super::bench::unit_head;
use super::enter::{held, hidden, line as line_field};
use super::ledger::coded;
use super::{Bench, Frame, address, answer, blocking, marks, progress, version};
use crate::download::{csv, line, not_yet};
use crate::work::Stand;

/// The page.
pub async fn page(State(bench): State<Bench>) -> Response {
    blocking(move || {
        let now = bench.now();
        let stand = bench.work.power(&now.project);
        let view = match &stand {
            Stand::Done(view) | Stand::Again(view) => Some(view.as_ref()),
            Stand::Going(..) | Stand::Failed(_) => None,
        };
        let main = html! {
            h1 { "Before first power: " (now.project.name) }
            (cautions(view))
            @match &stand {
                Stand::Going(done, all) => p.wait role="status" { "Every fault is being followed at switch-on: " span data-progress { (progress(*done, *all)) } ". For a whole machine this takes a while; the page fills itself." },
                Stand::Failed(why) => p.answer { (why) },
                Stand::Again(_) => p.wait role="status" { "A drawing has changed since. What stands here is from before it and is being worked out again; do not work by it." },
                Stand::Done(_) => {},
            }
            @if let Some(view) = view { (shown(view, &now.project)) }
            (switched(&bench, &now.project.units))
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

/// Whether each unit is on, and the forms that say so: what rests on rails and logic levels holds for one power cycle.
fn switched(bench: &Bench, units: &[UnitName]) -> Markup {
    let is_open = bench.book.closed().is_none();
    let kept = bench.book.read();
    let count = |unit: &str| {
        let of_unit = |e: &Event| matches!(e, Event::Power(p) if p.on && p.unit == unit);
        kept.work.others().filter(|(_, e)| of_unit(e)).count()
    };
    html! {
        h2 id="switched" { "Power on and off" }
        p { "What rests on rails and logic levels holds for one power cycle; it is named in each reading taken in it." }
        @for unit in units {
            @let cycle = kept.work.cycle(&unit.name);
            p.figure-words { "Unit " (unit.name) ": " strong { @match cycle { Some(cycle) => { "on, power cycle " (cycle) }, None => "not said to be on" } } }
            @if is_open {
                form.inline method="post" action="/entry" data-keep id=(format!("power-{}", coded(&unit.name))) {
                    (hidden("power", "/power#switched")) (held("unit", &unit.name)) (held("on", if cycle.is_some() { "no" } else { "yes" }))
                    div.fields {
                        @match cycle {
                            Some(cycle) => (held("cycle", cycle)),
                            None => (line_field("cycle", "Power cycle", &format!("{}-{}", unit.name, count(&unit.name) + 1))),
                        }
                        (line_field("note", "Stage, lamp, load", ""))
                        button type="submit" { @if cycle.is_some() { "It is off" } @else { "It is on" } }
                    }
                }
            }
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
    html! {
        aside.caution aria-label="Cautions" {
            p { strong { "Caution. " } (MAINS) }
            @for c in view.map(of_plan).unwrap_or_default() { p { (c) } }
            p { "Local rules stand above this page. It says which checks are drawn and what they showed; it gives nobody leave to switch on." }
        }
    }
}

fn shown(view: &View, project: &Project) -> Markup {
    let rows = rows(project, &view.card);
    html! {
        (card(view, &rows, &project.units))
        (uncovered(view))
        (wiring(view))
        (stages::section(view))
        (rest(view))
    }
}

fn card(view: &View, rows: &[Row], units: &[UnitName]) -> Markup {
    let found = &view.card;
    let count =
        |k: usize, is: &dyn Fn(&Cell) -> bool| rows.iter().filter(|r| is(&r.cells[k])).count();
    html! {
        h2 id="card" { "Cold card" }
        @if found.hazards.is_empty() {
            p.answer { "No single fault that was followed destroys anything else" }
            p { (found.faults) " were followed at switch-on. Faults that come in pairs, wiring and what is not drawn were not looked at." }
        } @else if rows.is_empty() {
            p.answer { "No cold reading rules out any of the " (found.hazards.len()) " faults that would destroy something" }
        } @else {
            p.answer { (rows.len()) @if rows.len() == 1 { " cold reading" } @else { " cold readings" } " before first power, about " (format!("{:.0}", found.minutes.ceil())) " minutes" }
            @for (k, unit) in units.iter().enumerate() {
                p.figure-words {
                    "Unit " (unit.name) ": " strong { (count(k, &|c| c.held.is_beyond())) " beyond a line" } ", "
                    (count(k, &|c| !c.held.is_beyond() && !c.value.is_empty())) " within, " (count(k, &|c| c.value.is_empty())) " not taken"
                }
            }
            p { (found.faults) " single faults were followed at switch-on, for the boards as drawn; " (found.hazards.len()) " of them destroy something else. Each reading rules out those beside it, if it lies within its lines; beyond one it speaks for one of them, and nothing is switched on before it is found. Faults in pairs and what is not drawn were not looked at." }
            table.plain.card {
                thead { tr {
                    th scope="col" { "No." }
                    th scope="col" { "Read" }
                    th scope="col" { "Red" }
                    th scope="col" { "Black" }
                    th.number scope="col" { "Low" }
                    th.number scope="col" { "High" }
                    @for u in units { th scope="col" { (unit_head(u)) } }
                    th scope="col" { "Rules out" }
                } }
                tbody {
                    @for (k, r) in rows.iter().enumerate() {
                        @if k == 0 || rows[k - 1].unplugged != r.unplugged {
                            tr { th colspan=(units.len() + 7) scope="rowgroup" { strong { @if r.unplugged.is_empty() { "With all in its place" } @else { "With " (r.unplugged.join(", ")) " unplugged" } } } }
                        }
                        (row(k + 1, r, units))
                    }
                }
            }
            p { a.go href="/power.csv" { "Download as CSV" } }
        }
    }
}

fn row(number: usize, r: &Row, units: &[UnitName]) -> Markup {
    let none = |text: &str| {
        if text.is_empty() {
            "-".to_owned()
        } else {
            text.to_owned()
        }
    };
    html! {
        tr data-row tabindex="-1" {
            td data-name="No." { (number) }
            td data-name="read" {
                (r.kind)
                @if let Some(p) = &r.place {
                    " " a.small href=(probe(r.kind, p, !r.unplugged.is_empty())) aria-label=(format!("Take reading {number} on board {}", p.board)) { "Take it" }
                }
            }
            td data-name="red" { strong { (r.red) } }
            td data-name="black" { strong { (r.black) } }
            td.number data-name="low" { (none(&r.low)) }
            td.number data-name="high" { (none(&r.high)) }
            @for (cell, unit) in r.cells.iter().zip(units) {
                td data-name=(format!("unit {}", unit.name)) data-odd=[cell.held.is_beyond().then_some("")] {
                    @if !cell.value.is_empty() { strong { (cell.value) } }
                    span.verdict { (marks::verdict(cell.held.mark())) span { (cell.held.words()) } }
                    @if !cell.note.is_empty() { span.note { (cell.note) } }
                }
            }
            td data-name="rules out" { (r.rules_out.join(", ")) }
        }
    }
}

fn probe(kind: &str, place: &bench::pages::power::Place, is_out: bool) -> String {
    format!(
        "{}/probe?state=cold&measured={kind}&red={}&black={}{}",
        address(&place.board),
        coded(&place.red),
        coded(&place.black),
        if is_out { "&place=board-out" } else { "" }
    )
}

fn uncovered(view: &View) -> Markup {
    let found = &view.card;
    html! {
        @if !found.hazards.is_empty() { h2 id="uncovered" { "What no cold reading rules out" } }
        @if found.uncovered.is_empty() && !found.hazards.is_empty() {
            p { "Of the faults that were followed and destroy something, each is ruled out by a reading of the card." }
        } @else if !found.hazards.is_empty() {
            table.plain {
                thead { tr { th scope="col" { "Fault" } th scope="col" { "Destroys" } th scope="col" { "What stands against it" } } }
                tbody {
                    @for u in &found.uncovered {
                        @let hazard = &found.hazards[u.hazard];
                        @let victims: Vec<&str> = hazard.victims.iter().map(|v| v.part.as_str()).collect();
                        tr data-row tabindex="-1" {
                            td data-name="fault" { strong { (hazard.with) } }
                            td data-name="destroys" { (victims.join(", ")) }
                            td data-name="" { @if u.limit.is_none() { strong { "Do not power. " } } (u.says) }
                        }
                    }
                }
            }
        }
        @if !found.refused.is_empty() {
            details id="refused" {
                summary { (found.refused.len()) " faults could not be followed: nothing is known of what they do" }
                ul { @for r in &found.refused { li { (r.part) " " (r.fault) ": " (r.why) } } }
            }
        }
    }
}

fn wiring(view: &View) -> Markup {
    html! {
        @if !view.card.wiring.is_empty() {
            h2 id="wiring" { "What hands do wrong and no reading shows" }
            ul.done { @for w in &view.card.wiring { li { (w.says) } } }
        }
    }
}

/// What the answer rests on, and what it leaves out.
fn rest(view: &View) -> Markup {
    let found = &view.card;
    html! {
        @if !found.doubtful.is_empty() {
            h2 { "Beyond their rating when all is well" }
            p { "Look at the part, or at the drawing." }
            ul.done { @for d in &found.doubtful { li { (d.part) " " (d.why) } } }
        }
        @if !found.left_out.is_empty() {
            p.why { "Supplies left out, as another board feeds their rail: " (found.left_out.join(", ")) "." }
        }
        @if !found.skipped.is_empty() {
            aside.caution aria-label="Lines left out" {
                p { strong { "Some lines cannot be used, and what they draw is missing here." } }
                @for c in &found.skipped { p { @if let Some(file) = &c.file { (file) } @if let Some(at) = c.line { ", line " (at) } ": " (c.message) } }
            }
        }
    }
}
