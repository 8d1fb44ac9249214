//! How far a board is trusted and on what ground: tests, capacitors, trimmers, and what took trust away.

mod capacitors;
mod tests;
mod trimmers;

use axum::extract::{Path, State};
use axum::response::Response;
use bench::pages::overview::Said;
use maud::{Markup, html};
use store::record::event::{Lasts, Level, Row};
use store::record::work::{FindingWord, Standing};
use store::record::{Entry, Event, Moment, Work};

use super::enter::{choice, hidden};
use super::{Bench, Frame, PATIENCE, address, answer, blocking, missing, version};
use crate::edge;

/// What the sections need to know.
struct Place<'a> {
    /// The board.
    board: &'a str,
    /// The units, by name.
    units: Vec<&'a str>,
    /// This page's address.
    back: &'a str,
    /// Designators, in the order drawn; empty without a sheet.
    parts: &'a [String],
    /// Entries can be written.
    is_open: bool,
}

/// The page.
pub async fn page(State(bench): State<Bench>, Path(name): Path<String>) -> Response {
    blocking(move || {
        let now = bench.now();
        let Some(board) = now.project.board(&name) else {
            return missing(&bench, &now.project, &name);
        };
        let (view, _) = bench.board(&now, board, PATIENCE);
        let back = format!("{}/trust", address(&name));
        let place = Place {
            board: &name,
            units: view.units.iter().map(|u| u.name.as_str()).collect(),
            back: &back,
            parts: &view.parts,
            is_open: bench.book.closed().is_none(),
        };
        let kept = bench.book.read();
        let main = html! {
            h1 { a href=(address(&name)) { (name) } " trust and settings" }
            @if place.units.is_empty() { p.answer { "No unit yet" } p { "Add the first unit on the " a href="/" { "bench page" } "." } }
            @else {
                (standings(&kept.work, &place, edge::now()))
                (lapsed(&kept.work, &place, edge::now()))
                (tests::section(&kept.work, &place))
                (trimmers::section(&kept.work, &place))
                (capacitors::section(&kept.work, &place))
                datalist id="parts" { @for part in place.parts { option value=(part) {} } }
            }
        };
        let title = format!("{name} trust and settings");
        answer(
            Frame {
                here: Some(&name),
                pulse: "/pulse/trust",
                version: &version(now.stamp),
                ..Frame::new(&bench, &now.project, &title, main)
            }
            .page(),
        )
    })
    .await
}

fn standings(work: &Work, place: &Place, now: Moment) -> Markup {
    html! {
        @for unit in &place.units {
            @let standing = work.trust(unit, place.board, now);
            p.answer { "Unit " (unit) ": " (words(&standing)) }
            @if let Some(ground) = ground(&standing, now) { p { (ground) " " (entry_link(&standing)) } }
            @if let Some(lapse) = standing.lapse { p { strong { (lapse.words()) } " What was shown before has to be shown again." } }
        }
        @if place.is_open { (form(work, place)) }
        p.hint { "Trust is earned by a test, and lost when the unit is moved, the board is pulled or changed, or after four weeks; what rests on rails or logic levels holds for one power cycle." }
    }
}

/// Readings of one unit that are looked at for whether they still hold, newest first; chosen: more than a board has places.
const NEWEST: usize = 500;
/// Places that are listed; the others are counted.
const LISTED: usize = 12;

/// Readings of the ledger that no longer say how the board is: what has to be taken again.
fn lapsed(work: &Work, place: &Place, now: Moment) -> Markup {
    let of_unit = |unit: &str| {
        let mut list: Vec<_> = work
            .readings(Some(place.board))
            .filter(|(_, row)| row.site.unit == unit)
            .collect();
        list.reverse();
        // The newest of a place is the one that counts.
        let mut newest: Vec<(&Entry, &Row)> = Vec::new();
        for (entry, row) in list.into_iter().take(NEWEST) {
            if !newest.iter().any(|(_, other)| other.same_place(row)) {
                newest.push((entry, row));
            }
        }
        let why =
            |(entry, row): (&Entry, _)| Some((work.reading_lapse(&entry.id, now)?.words(), row));
        let all = newest.len();
        let gone: Vec<(String, &Row)> = newest.into_iter().filter_map(why).collect();
        (all, gone)
    };
    html! {
        @for unit in &place.units {
            @let (all, gone) = of_unit(unit);
            @if let Some((why, _)) = gone.first() {
                h3 { "Unit " (unit) ": " (gone.len()) " of " (all) " readings no longer hold" }
                p { (why) " To be taken again:" }
                ul { @for (_, row) in gone.iter().take(LISTED) {
                    li { (row.state.word()) " " (row.kind.word()) ", red " strong { (row.red) } ", black " strong { (row.black) } ": read " (row.value) }
                } }
                @if gone.len() > LISTED { p { "and " (gone.len() - LISTED) " more." } }
            }
        }
    }
}

/// Whether the last test of a unit by the name of a condition was passed, and nothing has taken that away: a move, a pulled
/// or changed board, four weeks.
pub fn is_met(work: &Work, unit: &str, need: &str, now: Moment) -> bool {
    let last = work.others().rev().find_map(|(entry, event)| match event {
        Event::Test(t) if t.site.unit == unit && t.site.board.is_none() && t.name == need => {
            Some((entry, t.passed))
        }
        _ => None,
    });
    last.is_some_and(|(entry, passed)| passed && work.check_lapse(&entry.id, now).is_none())
}

/// What the ledger says of each board of each unit, for the page of the bench.
pub fn said(work: &Work, now: Moment) -> impl Fn(&str, &str) -> Said {
    let findings: Vec<(&str, Option<&str>, FindingWord)> = work
        .findings()
        .into_iter()
        .map(|f| {
            (
                f.finding.site.unit.as_str(),
                f.finding.site.board.as_deref(),
                f.word,
            )
        })
        .collect();
    move |unit, board| {
        let count = |is: &dyn Fn(FindingWord) -> bool| {
            let here = findings
                .iter()
                .filter(|(u, b, _)| *u == unit && *b == Some(board));
            here.filter(|(.., word)| is(*word)).count()
        };
        let standing = work.trust(unit, board, now);
        let proven = standing
            .trust
            .filter(|(_, t)| standing.lapse.is_none() && t.level == Level::Proven);
        Said {
            open: count(&|w| w == FindingWord::Open),
            mended: count(&|w| w == FindingWord::Mended),
            proven: proven.map(|(_, t)| t.test.clone()),
        }
    }
}

/// In a word or two.
pub fn words(standing: &Standing) -> &'static str {
    match (standing.trust, standing.lapse) {
        (None, _) => "unknown",
        (Some((_, t)), None) => t.level.word(),
        (Some((_, t)), Some(_)) => match t.level {
            Level::Unknown => "unknown",
            Level::Consistent => "unknown again; it was consistent",
            Level::Proven => "unknown again; it was proven",
        },
    }
}

fn ground(standing: &Standing, now: Moment) -> Option<String> {
    let (entry, trust) = standing.trust?;
    let ago = match now.days_since(entry.time) {
        0 => "today".to_owned(),
        1 => "yesterday".to_owned(),
        days => format!("{days} days ago"),
    };
    let by = match trust.level {
        Level::Proven => "Proven by",
        Level::Consistent => "Consistent by",
        Level::Unknown => "Unknown, because of",
    };
    let lasts = match trust.lasts {
        Lasts::Weeks => "for four weeks at most",
        Lasts::Cycle => "for one power cycle",
    };
    let test = if trust.test.is_empty() {
        "nothing that was written"
    } else {
        &trust.test
    };
    Some(format!("{by} {test}, {ago}, {lasts}."))
}

fn entry_link(standing: &Standing) -> Markup {
    html! {
        @if let Some((entry, _)) = standing.trust { a.small href=(format!("/entry/{}", entry.id)) { "entry " (entry.number) } }
    }
}

fn form(work: &Work, place: &Place) -> Markup {
    html! {
        details id="say-trust" {
            summary { "Say how far it is trusted" }
            form method="post" action="/entry" data-keep id="trust-form" {
                (hidden("trust", place.back)) input type="hidden" name="board" value=(place.board);
                div.fields {
                    (units(place, ""))
                    (choice("level", "Trusted", &[("consistent", "consistent: nothing contradicts it"), ("proven", "proven: it passed a test that it could have failed"), ("unknown", "unknown")], "consistent"))
                    label.field { span { "By which test, or on what ground" } input type="text" name="test" list="tests" autocomplete="off"; }
                    (choice("lasts", "It holds for", &[("weeks", "four weeks"), ("cycle", "this power cycle")], "weeks"))
                    button type="submit" { "Write it" }
                }
                datalist id="tests" { @for name in tests::names(work, place.board) { option value=(name) {} } }
            }
        }
    }
}

/// The choice of a unit.
fn units(place: &Place, chosen: &str) -> Markup {
    let words: Vec<(&str, &str)> = place.units.iter().map(|u| (*u, *u)).collect();
    choice("unit", "Unit", &words, chosen)
}
