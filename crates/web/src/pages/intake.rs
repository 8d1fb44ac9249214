//! What arrived, and what must not be lost: conditions, photographs, earlier alterations, slots and cables.

use axum::extract::{Query, State};
use axum::response::Response;
use bench::project::Project;
use maud::{Markup, html};
use serde::Deserialize;
use store::record::Work;
use store::record::event::{ConnectionKind, Event, FateWord, Step};
use store::record::work::{AlterationState, ConnectionState};

use super::enter::{choice, held, hidden, line, photos, text};
use super::ledger::{coded, pictures};
use super::{Bench, Frame, answer, blocking, version};

/// Which unit is looked at.
#[derive(Debug, Default, Deserialize)]
pub struct Wanted {
    #[serde(default)]
    unit: String,
}

/// The page.
pub async fn page(State(bench): State<Bench>, Query(wanted): Query<Wanted>) -> Response {
    blocking(move || {
        let now = bench.now();
        let units: Vec<&str> = now.project.units.iter().map(|u| u.name.as_str()).collect();
        let chosen = units.iter().find(|u| **u == wanted.unit).or(units.first());
        let is_open = bench.book.closed().is_none();
        let kept = bench.book.read();
        let main = html! {
            h1 { "Intake" @if let Some(unit) = chosen { ": unit " (unit) " as found" } }
            @match chosen {
                None => {
                    p.answer { "No unit yet" }
                    p { "Add the first unit on the " a href="/" { "bench page" } "; then photograph it before anything moves." }
                }
                Some(unit) => {
                    nav.steps aria-label="Units" {
                        @for other in units.iter().filter(|u| *u != unit) { a.go href=(format!("/intake?unit={}", coded(other))) { "Unit " (other) } }
                    }
                    (sections(&kept.work, &now.project, unit, is_open))
                }
            }
        };
        answer(
            Frame {
                pulse: "/pulse/intake",
                version: &version(now.stamp),
                section: "/intake",
                ..Frame::new(&bench, &now.project, "Intake", main)
            }
            .page(),
        )
    })
    .await
}

fn sections(work: &Work, project: &Project, unit: &str, is_open: bool) -> Markup {
    let back = format!("/intake?unit={}", coded(unit));
    let boards: Vec<&str> = project.boards().map(|b| b.name.as_str()).collect();
    html! {
        (conditions(work, unit))
        @if is_open { (see(unit, &boards, &back)) }
        h2 id="alterations" { "Alterations by earlier owners" }
        @let list = work.alterations(unit);
        @if list.is_empty() { p { "None was seen yet." } }
        @for a in &list { (alteration(a, &back, is_open)) }
        @if is_open { (alter(unit, &boards, &back)) }
        (originals(work, unit))
        h2 id="connections" { "Slots and cables" }
        (connections(&work.connections(unit)))
        @if is_open { (connect(unit, &boards, &back)) (moved(unit, &back)) }
        datalist id="boards" { @for b in &boards { option value=(b) {} } }
    }
}

/// What was seen, and all photographs of the unit, newest first.
fn conditions(work: &Work, unit: &str) -> Markup {
    let seen: Vec<_> = work
        .others()
        .filter(|(_, e)| {
            e.unit() == Some(unit) && matches!(e, Event::Condition(_) | Event::Photo(_))
        })
        .collect();
    html! {
        h2 id="seen" { "What was seen" }
        @if seen.is_empty() { p.answer { "Nothing yet: take the first photograph" } }
        ul.seen {
            @for (entry, event) in seen.iter().rev() {
                li {
                    p.figure-words {
                        @if let Some(board) = event.board() { strong { (board) } " " }
                        @match event { Event::Condition(c) => (c.text), Event::Photo(p) => { (p.caption) @if p.caption.is_empty() { "photograph" } ", " (p.face.word()) " side" }, _ => {} }
                        " " a.small href=(format!("/entry/{}", entry.id)) { "entry " (entry.number) }
                    }
                    (pictures(event))
                }
            }
        }
    }
}

fn board_choice(boards: &[&str]) -> Markup {
    let mut words = vec![("", "the whole unit")];
    words.extend(boards.iter().map(|b| (*b, *b)));
    choice("board", "Board", &words, "")
}

fn see(unit: &str, boards: &[&str], back: &str) -> Markup {
    let back = format!("{back}#seen");
    html! {
        form.enter id="see" method="post" action="/entry" enctype="multipart/form-data" data-keep {
            h2 { "Write down what you see" }
            (hidden("condition", &back)) (held("unit", unit))
            div.fields {
                (board_choice(boards))
                (text("text", "Damage, a missing part, dirt, a smell, a label"))
                (photos("Photographs (JPEG or PNG)"))
                button.go type="submit" { "Write it down" }
            }
        }
        details id="photograph" {
            summary { "Photographs of a board, to place points on" }
            form method="post" action="/entry" enctype="multipart/form-data" data-keep id="photograph-form" {
                (hidden("photo", &back)) (held("unit", unit))
                div.fields {
                    (board_choice(boards))
                    (choice("face", "Side", &[("component", "component side"), ("solder", "solder side"), ("other", "other")], "component"))
                    (line("caption", "What it shows", ""))
                    (photos("Photographs"))
                    button type="submit" { "Keep them" }
                }
            }
        }
    }
}

fn alteration(a: &AlterationState, back: &str, is_open: bool) -> Markup {
    let id = a.entry.id.as_str();
    html! {
        article.finding id=(format!("alteration-{id}")) {
            h3 { @if let Some(board) = &a.alteration.site.board { (board) " " } @if let Some(part) = &a.alteration.part { (part) ": " } (a.alteration.text) }
            p { @match &a.fate {
                None => "Undecided what is to become of it.",
                Some((_, fate)) => { strong { (fated(fate.fate)) } ", because " (fate.reason) },
            } " " a.small href=(format!("/entry/{id}")) { "entry " (a.entry.number) } }
            (pictures(&a.entry.event))
            @if is_open {
                details id=(format!("fate-{id}")) {
                    summary { "Decide" }
                    form method="post" action="/entry" data-keep id=(format!("fate-form-{id}")) {
                        (hidden("fate", &format!("{back}#alteration-{id}"))) (held("alteration", id))
                        (line("reason", "Because", ""))
                        @for word in FateWord::ALL { button type="submit" name="fate" value=(word.word()) { (fated(word)) } }
                    }
                }
            }
        }
    }
}

/// Parts that were changed, and where the originals are.
fn originals(work: &Work, unit: &str) -> Markup {
    let list: Vec<_> = work
        .others()
        .filter_map(|(entry, event)| match event {
            Event::Repair(repair) if repair.site.unit == unit => Some((entry, repair)),
            _ => None,
        })
        .collect();
    html! {
        @if !list.is_empty() {
            h2 id="originals" { "Parts changed, and where the originals are" }
            ul.seen {
                @for (entry, repair) in list.iter().rev() {
                    li {
                        p.figure-words {
                            @if let Some(board) = &repair.site.board { strong { (board) } " " }
                            strong { (repair.part) } ": " (repair.what) ". "
                            @match &repair.kept { Some(place) => { "Kept in " strong { (place) } }, None => "It is not said where the original is" }
                            @if repair.reversible { "; can be undone" }
                            ". " a.small href=(format!("/entry/{}", entry.id)) { "entry " (entry.number) }
                        }
                        (pictures(&entry.event))
                    }
                }
            }
        }
    }
}

fn fated(word: FateWord) -> &'static str {
    match word {
        FateWord::Keep => "It stays",
        FateWord::Undo => "It is to be undone",
        FateWord::Undone => "It has been undone",
    }
}

fn alter(unit: &str, boards: &[&str], back: &str) -> Markup {
    html! {
        details id="alter" {
            summary { "Write down an alteration" }
            form method="post" action="/entry" enctype="multipart/form-data" data-keep id="alter-form" {
                (hidden("alteration", &format!("{back}#alterations"))) (held("unit", unit))
                div.fields {
                    (board_choice(boards))
                    (line("part", "Part, if it is one", ""))
                    (text("text", "What was altered"))
                    (photos("Photographs"))
                    button type="submit" { "Write it down" }
                }
            }
        }
    }
}

fn connections(list: &[ConnectionState]) -> Markup {
    html! {
        @if list.is_empty() { p { "None was noted yet. Photograph each before it is drawn." } }
        @else {
            table.plain {
                thead { tr { th scope="col" { "Slot or cable" } th scope="col" { "As found" } th scope="col" { "Now" } th scope="col" { "Still to do" } th scope="col" { "Notes" } } }
                tbody {
                    @for c in list {
                        tr data-row tabindex="-1" {
                            th scope="row" { (c.kind.word()) " " strong { (c.name) } }
                            td data-name="as found" { (c.found.unwrap_or("not said")) }
                            td data-name="now" { @if c.parted { "parted" } @else { (c.holds.unwrap_or("not said")) } }
                            td data-name="still to do" { @if c.is_owed() { strong { "hold it against its photograph" } } @else { "nothing" } }
                            td data-name="notes" {
                                @for (entry, step) in &c.steps { p.why { (step.step.word()) @if !step.note.is_empty() { ": " (step.note) } " " a href=(format!("/entry/{}", entry.id)) { (entry.number) } } }
                                @for sum in &c.photos { @let at = format!("/photo/{sum}"); a href=(at) { img src=(at) alt=(format!("{} {}", c.kind.word(), c.name)) loading="lazy" height="90"; } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn connect(unit: &str, boards: &[&str], back: &str) -> Markup {
    html! {
        details id="connect" {
            summary { "Note a slot or a cable" }
            form method="post" action="/entry" enctype="multipart/form-data" data-keep id="connect-form" {
                (hidden("connection", &format!("{back}#connections"))) (held("unit", unit))
                div.fields {
                    label.field { span { "Kind" } select name="what" { @for k in ConnectionKind::ALL { option value=(k.word()) { (k.word()) } } } }
                    (line("name", "Its name, as marked", ""))
                    label.field { span { "What was done" } select name="step" { @for s in Step::ALL { option value=(s.word()) { (s.word()) } } } }
                    label.field { span { "Board in it, or from where to where" } input type="text" name="holds" list=[(!boards.is_empty()).then_some("boards")] autocomplete="off"; }
                    (line("note", "Which way round, colours", ""))
                    (photos("Photograph"))
                    button type="submit" { "Write it down" }
                }
            }
        }
    }
}

fn moved(unit: &str, back: &str) -> Markup {
    html! {
        details id="moved" {
            summary { "The unit was moved" }
            form method="post" action="/entry" data-keep id="moved-form" {
                (hidden("move", back)) (held("unit", unit))
                p { "What was proven on it has to be proven again." }
                (line("text", "From where to where", ""))
                button type="submit" { "Write it down" }
            }
        }
    }
}
