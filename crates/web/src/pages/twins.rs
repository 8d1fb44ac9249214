//! Where the units differ: every pair of readings, odd ones first, what is harmless said once and put away.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;
use bench::pages::Row;
use bench::pages::board::{Mark, View};
use bench::pages::harmless::{self, Harmless};
use bench::project::UnitName;
use maud::{Markup, html};
use store::record::Work;

use super::bench::unit_head;
use super::enter::{held, hidden, line};
use super::{Bench, Frame, address, answer, bar, blocking, marks, version};
use crate::work::Stand;

/// How a pair stands, in the order in which it is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Group {
    /// One is odd, both are, or they differ where nothing is expected.
    Odd,
    /// Alike, and off: a shared fault, or a wrong drawing.
    AlikeButOff,
    /// Nothing to see.
    Alike,
    /// Said to be harmless.
    Harmless,
}

/// A pair of readings.
struct Pair<'a> {
    board: &'a View,
    row: &'a Row,
    group: Group,
    dismissal: Option<Harmless>,
}

/// The page.
pub async fn page(State(bench): State<Bench>) -> Response {
    blocking(move || {
        let now = bench.now();
        let judged = |b| {
            bench
                .work
                .judged(&now.project, b, std::time::Duration::ZERO)
        };
        let going = now.project.boards().any(|b| judged(b).is_going());
        let views: Vec<_> = now
            .project
            .boards()
            .filter_map(|b| match judged(b) {
                Stand::Done(view) | Stand::Again(view) => {
                    Some(settled(view, &bench.book.read().work))
                }
                Stand::Going(..) | Stand::Failed(_) => None,
            })
            .collect();
        let is_open = bench.book.closed().is_none();
        let kept = bench.book.read();
        let list: Vec<Pair> = views.iter().flat_map(|v| pairs(v, &kept.work)).collect();
        let main = html! {
            h1 { "Where the units differ" }
            @if going { p.wait role="status" { "Boards are being judged; the page fills itself." } }
            (groups(&list, &now.project.units, is_open))
        };
        answer(
            Frame {
                pulse: "/pulse/twins",
                version: &version(("twins", now.stamp, going)),
                refresh: going,
                section: "/twins",
                ..Frame::new(&bench, &now.project, "Twins", main)
            }
            .page(),
        )
    })
    .await
}

/// Changes when the page does.
pub fn pulse(bench: &Bench) -> String {
    let now = bench.now();
    let going = now.project.boards().any(|b| {
        let stand = bench
            .work
            .judged(&now.project, b, std::time::Duration::ZERO);
        stand.is_going()
    });
    version(("twins", now.stamp, going))
}

fn pairs<'a>(view: &'a View, work: &'a Work) -> Vec<Pair<'a>> {
    let dismissals = work.dismissals(&view.name);
    let read_twice = |r: &&Row| r.cells.iter().filter(|c| c.mark != Mark::NotTaken).count() > 1;
    let rows = view.rows.iter().filter(read_twice);
    rows.map(|row| {
        let found = harmless::difference(row, &dismissals);
        let group = match (&found, row.twin.as_str()) {
            (Some(_), _) => Group::Harmless,
            (None, "alike, but off") => Group::AlikeButOff,
            (None, "both agree" | "alike" | "") => Group::Alike,
            (None, _) => Group::Odd,
        };
        Pair {
            board: view,
            row,
            group,
            dismissal: found,
        }
    })
    .collect()
}

/// A board without a sheet as it is shown: what was said to be harmless is not odd any more.
pub fn settled(view: Arc<View>, work: &Work) -> Arc<View> {
    let dismissals = work.dismissals(&view.name);
    if view.without.is_none() || dismissals.is_empty() {
        return view;
    }
    Arc::new(harmless::settled(&view, &dismissals))
}

fn groups(list: &[Pair], units: &[UnitName], is_open: bool) -> Markup {
    let of = |group: Group| -> Vec<&Pair> { list.iter().filter(|p| p.group == group).collect() };
    let odd = of(Group::Odd);
    html! {
        @if list.is_empty() {
            p.answer { "Nothing was read on two units yet" }
            p { "Take like readings on both: the probe page of a board offers what the other unit has." }
        } @else {
            p.answer { @match odd.len() { 0 => "No pair is odd", 1 => "One pair is odd", _ => { (odd.len()) " pairs are odd" } } }
            p { "They differ; which one is wrong, the model or a test has to say. Boards stand in bring-up order." }
            (table(&odd, "Odd ones", units, is_open))
            (table(&of(Group::AlikeButOff), "Alike, but off: one fault twice, or the drawing", units, is_open))
            (scatter(list, units))
            details id="alike" { summary { (of(Group::Alike).len()) " alike" } (table(&of(Group::Alike), "Alike", units, false)) }
            details id="harmless" { summary { (of(Group::Harmless).len()) " said to be harmless" } (table(&of(Group::Harmless), "Harmless", units, is_open)) }
        }
    }
}

fn table(list: &[&Pair], head: &str, units: &[UnitName], is_open: bool) -> Markup {
    html! {
        @if !list.is_empty() {
            table.verdicts.twins {
                caption { (head) }
                thead { tr { th scope="col" { "Leads" } th scope="col" { "The sheet expects" } @for u in units { th scope="col" { (unit_head(u)) } } th scope="col" { "How they stand" } } }
                tbody { @for pair in list { (row(pair, units, is_open)) } }
            }
        }
    }
}

fn row(pair: &Pair, units: &[UnitName], is_open: bool) -> Markup {
    let r = pair.row;
    html! {
        tr data-row tabindex="-1" data-odd=[(pair.group == Group::Odd).then_some("")] {
            th.leads scope="row" {
                a href=(address(&pair.board.name)) { (pair.board.name) } " "
                span.lead { span.word { "red" } " " strong { (r.red) } }
                span.lead { span.word { "black" } " " strong { (r.black) } }
                span.kind { (r.state) " " (r.kind) }
                @for c in &r.conditions { span.condition { (c) } }
            }
            td.expected {
                @for e in &r.expected { span.nominal { (e.nominal) } span.band-words { (e.band) } }
                @if r.expected.is_empty() { span.nominal { "no expectation" } }
                @if let Some(b) = &r.bar { (bar::draw(b, units, &format!("the readings of {} units on the band", units.len()))) }
            }
            @for (cell, unit) in r.cells.iter().zip(units) {
                td.reading data-name=(format!("Unit {}", unit.name)) data-odd=[cell.mark.disagrees().then_some("")] {
                    @if cell.mark != Mark::NotTaken { span.figure.long { (cell.value) } }
                    span.verdict { (marks::verdict(cell.mark)) span { (cell.mark.words()) } }
                }
            }
            td.means data-name="How they stand" {
                p.twin { (r.twin) }
                @for m in &r.means { p { (m) } }
                @if let Some(found) = &pair.dismissal { (put_away(found, "/twins", is_open)) }
                @if is_open && matches!(pair.group, Group::Odd | Group::AlikeButOff) { (dismiss(pair)) }
            }
        }
    }
}

/// What was said to be harmless, and the way back.
pub fn put_away(found: &Harmless, back: &str, is_open: bool) -> Markup {
    html! {
        p { "Harmless, because " (found.reason) ". " a href=(format!("/entry/{}", found.entry)) { "The entry" } }
        @if is_open {
            details id=(format!("back-{}", found.entry)) {
                summary { "Take that back" }
                form method="post" action="/entry" {
                    (hidden("correction", back)) (held("entry", &found.entry))
                    (line("reason", "Why it counts after all", ""))
                    button type="submit" { "Take it back" }
                }
            }
        }
    }
}

fn dismiss(pair: &Pair) -> Markup {
    let r = pair.row;
    html! {
        details {
            summary { "It is harmless" }
            form method="post" action="/entry" {
                (hidden("dismissal", "/twins")) (held("board", &pair.board.name))
                (held("state", r.state)) (held("measured", r.kind)) (held("red", &r.red)) (held("black", &r.black))
                (line("reason", "Because", ""))
                button type="submit" { "Put it away" }
            }
        }
    }
}

const SIZE: f64 = 360.0;
const EDGE: f64 = 44.0;

/// Ohms of the first unit against those of the second, with the model's band as a cross; on the diagonal they are alike.
fn scatter(list: &[Pair], units: &[UnitName]) -> Markup {
    let points: Vec<(&Pair, f64, f64)> = list
        .iter()
        .filter(|p| p.row.kind == "ohms")
        .filter_map(|p| {
            let of = |k: usize| p.row.cells.get(k)?.number.filter(|x| *x > 0.0);
            Some((p, of(0)?.log10(), of(1)?.log10()))
        })
        .collect();
    let all = || points.iter().flat_map(|(_, x, y)| [*x, *y]);
    let (low, high) = (
        all().fold(f64::INFINITY, f64::min),
        all().fold(f64::NEG_INFINITY, f64::max),
    );
    let (low, high) = (low.floor(), high.ceil().max(low.floor() + 1.0));
    let at = |v: f64| EDGE + (v.clamp(low, high) - low) / (high - low) * (SIZE - EDGE - 8.0);
    let up = |v: f64| SIZE - at(v);
    let decades = || (low as i32..=high as i32).map(f64::from);
    html! {
        @if points.len() > 1 && units.len() > 1 {
            figure.scatter {
                figcaption { "Ohms of unit " (units[0].name) " to the right, of unit " (units[1].name) " upwards; a line across each point is the model's band. On the diagonal they are alike." }
                svg viewBox=(format!("0 0 {SIZE} {SIZE}")) width=(SIZE) height=(SIZE) role="img" aria-label=(format!("{} pairs of ohms; {} off the diagonal", points.len(), points.iter().filter(|(p, ..)| p.group == Group::Odd).count())) {
                    @for d in decades() {
                        line.axis x1=(one(at(d))) x2=(one(at(d))) y1=(one(up(low))) y2=(one(up(high))) {}
                        line.axis x1=(one(at(low))) x2=(one(at(high))) y1=(one(up(d))) y2=(one(up(d))) {}
                        text.axis-word x=(one(at(d))) y=(SIZE - 20.0) text-anchor="middle" { (decade(d)) }
                        @if d > low { text.axis-word x=(EDGE - 6.0) y=(one(up(d) + 5.0)) text-anchor="end" { (decade(d)) } }
                    }
                    line.nominal x1=(one(at(low))) x2=(one(at(high))) y1=(one(up(low))) y2=(one(up(high))) {}
                    @for (pair, x, y) in &points {
                        @if let Some([Some(from), Some(to)]) = pair.row.expected.first().map(|e| e.span) {
                            @if from > 0.0 { line.spread x1=(one(at(from.log10()))) x2=(one(at(to.log10()))) y1=(one(up(*y))) y2=(one(up(*y))) {} line.spread x1=(one(at(*x))) x2=(one(at(*x))) y1=(one(up(from.log10()))) y2=(one(up(to.log10()))) {} }
                        }
                        @if pair.group == Group::Odd { path.full d=(format!("M{} {}l6 10h-12z", one(at(*x)), one(up(*y) - 6.0))) {} }
                        @else { circle.full cx=(one(at(*x))) cy=(one(up(*y))) r="4" {} }
                    }
                }
            }
        }
    }
}

fn one(x: f64) -> String {
    format!("{x:.1}")
}

fn decade(d: f64) -> String {
    let words = ["1", "10", "100", "1k", "10k", "100k", "1M", "10M", "100M"];
    match usize::try_from(d as i64) {
        Ok(k) if k < words.len() => words[k].to_owned(),
        _ => format!("1e{d}"),
    }
}
