//! What happened: the entries, newest first, each with how it stands and a way to correct it.

use std::collections::BTreeSet;

use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use store::record::{Counting, Entry, Event, Id, Work};

use super::enter::{choice, held, hidden, line, photos, text};
use super::{Bench, Frame, answer, blocking, problem, version};
use crate::download::{csv, line as csv_line};
use crate::form::{self, Form};

/// Which entries are wanted; empty means all.
#[derive(Clone, Debug, Default, Deserialize)]
pub struct Wanted {
    #[serde(default)]
    unit: String,
    #[serde(default)]
    board: String,
    #[serde(default)]
    kind: String,
    /// Entries below this number.
    before: Option<u64>,
}

/// Entries on one page.
const PAGE: usize = 100;

impl Wanted {
    /// An entry that was corrected is still found under what it was first.
    fn takes(&self, entry: &Entry) -> bool {
        let event = &entry.event;
        let is = |wanted: &str, has: Option<&str>| wanted.is_empty() || has == Some(wanted);
        is(&self.unit, event.unit())
            && is(&self.board, event.board())
            && is(&self.kind, Some(event.kind()))
    }

    fn query(&self, before: Option<u64>) -> String {
        let mut parts = Vec::new();
        for (name, value) in [
            ("unit", &self.unit),
            ("board", &self.board),
            ("kind", &self.kind),
        ] {
            if !value.is_empty() {
                parts.push(format!("{name}={}", coded(value)));
            }
        }
        parts.extend(before.map(|b| format!("before={b}")));
        parts.join("&")
    }
}

/// A value in an address.
pub fn coded(value: &str) -> String {
    let one = |b: u8| match b {
        b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'_' | b'.' => char::from(b).to_string(),
        _ => format!("%{b:02X}"),
    };
    value.bytes().map(one).collect()
}

/// The page.
pub async fn page(
    State(bench): State<Bench>,
    Query(wanted): Query<Wanted>,
    headers: HeaderMap,
) -> Response {
    let author = form::author(&headers);
    blocking(move || {
        let now = bench.now();
        let is_open = bench.book.closed().is_none();
        let kept = bench.book.read();
        let units: Vec<&str> = now.project.units.iter().map(|u| u.name.as_str()).collect();
        let boards: Vec<&str> = now.project.boards().map(|b| b.name.as_str()).collect();
        let main = html! {
            h1 { "Ledger" }
            (filter(&kept.work, &wanted, &units, &boards))
            (entries(&kept.work, &wanted))
            @if is_open { (add(&units, &boards)) (signature(&author)) }
        };
        answer(
            Frame {
                pulse: "/pulse/ledger",
                version: &version(now.stamp),
                section: "/ledger",
                ..Frame::new(&bench, &now.project, "Ledger", main)
            }
            .page(),
        )
    })
    .await
}

fn filter(work: &Work, wanted: &Wanted, units: &[&str], boards: &[&str]) -> Markup {
    let kinds: BTreeSet<&str> = work.entries().iter().map(|e| e.event.kind()).collect();
    let list = |names: &mut dyn Iterator<Item = &str>| {
        let own = names.map(|n| (n.to_owned(), n.to_owned()));
        let mut list = vec![(String::new(), "all".to_owned())];
        list.extend(own);
        list
    };
    let shown = |name: &str, label: &str, list: Vec<(String, String)>, chosen: &str| {
        let words: Vec<(&str, &str)> = list.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
        choice(name, label, &words, chosen)
    };
    html! {
        form.filter-form method="get" action="/ledger" data-keep id="filter-form" {
            (shown("unit", "Unit", list(&mut units.iter().copied()), &wanted.unit))
            (shown("board", "Board", list(&mut boards.iter().copied()), &wanted.board))
            (shown("kind", "Kind", list(&mut kinds.into_iter()), &wanted.kind))
            button type="submit" { "Show" }
        }
    }
}

fn entries(work: &Work, wanted: &Wanted) -> Markup {
    let all = work.entries();
    let end = wanted.before.map_or(all.len(), |b| {
        usize::try_from(b.saturating_sub(1)).map_or(all.len(), |b| b.min(all.len()))
    });
    let mut list: Vec<&Entry> = all[..end]
        .iter()
        .rev()
        .filter(|e| wanted.takes(e))
        .take(PAGE + 1)
        .collect();
    let more = list.len() > PAGE;
    list.truncate(PAGE);
    html! {
        @if list.is_empty() { p { "Nothing was entered yet that fits." } }
        @for (index, entry) in list.iter().enumerate() {
            @let (date, time) = spoken(entry);
            @if index == 0 || spoken(list[index - 1]).0 != date { h2.day { (date) } }
            (row(work, entry, &time))
        }
        @if more {
            @if let Some(last) = list.last() { p { a.go href=(format!("/ledger?{}", wanted.query(Some(last.number)))) { "Earlier entries" } } }
        }
        p { a.go href=(format!("/ledger.csv?{}", wanted.query(None))) { "Download as CSV" } }
    }
}

/// Day and time of day, in UTC.
fn spoken(entry: &Entry) -> (String, String) {
    let text = entry.time.to_string();
    (text[..10].to_owned(), format!("{} UTC", &text[11..16]))
}

fn row(work: &Work, entry: &Entry, time: &str) -> Markup {
    let note = standing(work, entry);
    html! {
        article.entry data-row tabindex="-1" data-off=[(!note.is_empty()).then_some("")] {
            p.when { a href=(format!("/entry/{}", entry.id)) { (entry.number) } " " (entry.event.kind()) " " (time) @if !entry.author.is_empty() { " " (entry.author) } }
            p.what { (told(work, &entry.event)) }
            @if !note.is_empty() { p.why { (note) } }
            (pictures(&entry.event))
        }
    }
}

/// An event in words, other entries by their numbers.
fn told(work: &Work, event: &Event) -> String {
    let one = |word: &str| {
        let name = word.trim_end_matches([':', ';', ',', '.']);
        let found = Id::new(name).and_then(|id| work.entry(&id));
        found.map_or(word.to_owned(), |e| {
            format!("entry {}{}", e.number, &word[name.len()..])
        })
    };
    let words: Vec<String> = event.words().split(' ').map(one).collect();
    words.join(" ")
}

/// The photographs of an event, small, each leading to itself.
pub fn pictures(event: &Event) -> Markup {
    let sums = match event {
        Event::File(_) => Vec::new(),
        _ => event.attachments(),
    };
    html! {
        @if !sums.is_empty() {
            div.photos {
                @for sum in sums {
                    @let at = format!("/photo/{sum}");
                    a href=(at) { img src=(at) alt=(event.words()) loading="lazy" height="180"; }
                }
            }
        }
    }
}

/// How an entry stands, unless it counts as it was written.
fn standing(work: &Work, entry: &Entry) -> String {
    match work.counting(&entry.id) {
        Some(Counting::Replaced(by)) => format!("Corrected by entry {}.", by.number),
        Some(Counting::Withdrawn(by)) => format!("Withdrawn by entry {}.", by.number),
        Some(Counting::Refused(refusal)) => format!("Does not count: {}", refusal.message),
        Some(Counting::AsWritten) | None => String::new(),
    }
}

/// One entry, and how to correct it.
pub async fn entry(State(bench): State<Bench>, Path(id): Path<String>) -> Response {
    blocking(move || {
        let now = bench.now();
        let kept = bench.book.read();
        let found = Id::new(&id).and_then(|id| kept.work.entry(&id));
        let Some(entry) = found else {
            return problem(&bench, &now.project, "There is no such entry.", "See the ledger.");
        };
        let title = format!("Entry {}", entry.number);
        let note = standing(&kept.work, entry);
        let main = html! {
            h1 { (title) ": " (entry.event.kind()) }
            p.answer { (told(&kept.work, &entry.event)) }
            @if !note.is_empty() { p { (note) } }
            @if let Some(now) = kept.work.event(&entry.id) { @if *now != entry.event { p { "Counts now as: " (now.words()) } } }
            p { "Written " (entry.time) @if !entry.author.is_empty() { " by " (entry.author) } ". Its sum is " code { (entry.hash) } "." }
            (pictures(&entry.event))
            @if bench.book.closed().is_none() && kept.work.event(&entry.id).is_some() { (correct(&kept.work, entry)) }
        };
        let frame = Frame {
            section: "/ledger",
            ..Frame::new(&bench, &now.project, &title, main)
        };
        answer(frame.page())
    })
    .await
}

fn correct(work: &Work, entry: &Entry) -> Markup {
    let back = format!("/entry/{}", entry.id);
    let id = entry.id.as_str();
    html! {
        h2 { "Correct it" }
        p { "The entry stays; a new one says that it no longer counts, or what counts instead." }
        @if let Some(Event::Reading(row)) = work.event(&entry.id) {
            form.enter method="post" action="/entry" {
                (hidden("correction", &back)) (held("entry", id)) (held("instead", "yes"))
                div.fields {
                    (line("value", "Value", &row.value))
                    (line("note", "Note", &row.note))
                    (line("reason", "Why", ""))
                    button.go type="submit" { "This counts instead" }
                }
            }
        }
        form.enter method="post" action="/entry" {
            (hidden("correction", &back)) (held("entry", id))
            div.fields {
                (line("reason", "Why it never happened", ""))
                button.go type="submit" { "Withdraw it" }
            }
        }
    }
}

fn add(units: &[&str], boards: &[&str]) -> Markup {
    let words = |list: &[&str], all: &str| -> Vec<(String, String)> {
        let mut words = vec![(String::new(), all.to_owned())];
        words.extend(list.iter().map(|n| ((*n).to_owned(), (*n).to_owned())));
        words
    };
    let shown = |name: &str, label: &str, list: &[(String, String)]| {
        let words: Vec<(&str, &str)> = list.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
        choice(name, label, &words, "")
    };
    let (units, boards) = (words(units, "the machine"), words(boards, "none"));
    html! {
        details id="add-note" {
            summary { "Write a remark" }
            form method="post" action="/entry" data-keep id="note-form" {
                (hidden("note", "/ledger"))
                div.fields { (shown("unit", "Unit", &units)) (shown("board", "Board", &boards)) (text("text", "Remark")) button type="submit" { "Write it" } }
            }
        }
        details id="add-photo" {
            summary { "Add photographs" }
            form method="post" action="/entry" enctype="multipart/form-data" data-keep id="photo-form" {
                (hidden("photo", "/ledger"))
                div.fields {
                    (shown("unit", "Unit", &units)) (shown("board", "Board", &boards))
                    (choice("face", "Side", &[("component", "component side"), ("solder", "solder side"), ("other", "other")], "other"))
                    (line("caption", "What it shows", ""))
                    (photos("Photographs (JPEG or PNG)"))
                    button type="submit" { "Keep them" }
                }
            }
        }
    }
}

fn signature(author: &str) -> Markup {
    html! {
        form.signature method="post" action="/signature" data-keep id="signature-form" {
            input type="hidden" name="back" value="/ledger";
            div.fields { (line("who", "Entries from this browser are signed", author)) button type="submit" { "Sign so" } }
        }
    }
}

/// Keeps the name with which this browser signs, in a cookie.
pub async fn sign(form: Form) -> Response {
    let who: String = form
        .line("who")
        .unwrap_or_default()
        .chars()
        .take(60)
        .collect();
    let cookie = format!(
        "who={}; Path=/; HttpOnly; SameSite=Strict; Max-Age=31536000",
        coded(&who)
    );
    let head = [
        (header::SET_COOKIE, cookie),
        (header::LOCATION, form.back().to_owned()),
    ];
    (StatusCode::SEE_OTHER, head).into_response()
}

/// The entries that are wanted as CSV, oldest first.
pub async fn table(State(bench): State<Bench>, Query(wanted): Query<Wanted>) -> Response {
    blocking(move || {
        bench.now();
        let kept = bench.book.read();
        let head = [
            "entry", "time", "author", "kind", "unit", "board", "what", "stands",
        ];
        let mut lines = vec![csv_line(&head)];
        for entry in kept.work.entries().iter().filter(|e| wanted.takes(e)) {
            lines.push(csv_line(&[
                &entry.number.to_string(),
                &entry.time.to_string(),
                &entry.author,
                entry.event.kind(),
                entry.event.unit().unwrap_or(""),
                entry.event.board().unwrap_or(""),
                &entry.event.words(),
                &standing(&kept.work, entry),
            ]));
        }
        csv(&lines)
    })
    .await
}
