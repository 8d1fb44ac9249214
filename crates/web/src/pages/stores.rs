//! Stores: which bits, and which wire; where they lie, what to measure next, and whether a store may be written.

mod bits;
mod files;
mod map;
mod saved;

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use axum::extract::{Path, Query, State};
use axum::response::Response;
use bench::memory::of_hundred;
use bench::pages::stores::{self, Cause, Finding, Part, View};
use bench::stores::{StoreFile, StoreText};
use maud::{Markup, html};
use store::record::Event;

use super::advice::length;
use super::enter::Given;
use super::ledger::coded;
use super::room::{framed, others};
use super::{Bench, blocking, problem, version};
use crate::project::Now;

pub use files::post;
pub use saved::{file, march};

/// How long a store is searched before the page says that it was cut short.
const SEARCH: Duration = Duration::from_secs(20);

/// Views that were computed, each with what it rests on.
#[derive(Default)]
pub struct Shelf {
    by_name: Mutex<HashMap<String, (String, Arc<View>)>>,
    /// Held while one is computed, so that nothing is computed twice.
    pen: Mutex<()>,
}

impl Shelf {
    fn found(&self, name: &str, stamp: &str) -> Option<Arc<View>> {
        let kept = self.by_name.lock().unwrap_or_else(PoisonError::into_inner);
        let (of, view) = kept.get(name)?;
        (of == stamp).then(|| Arc::clone(view))
    }

    fn view(&self, bench: &Bench, now: &Now, text: &StoreText) -> Arc<View> {
        let units = units(now);
        let stamp = version((
            text.shape.as_ref().map(|t| &t.text),
            text.files
                .iter()
                .map(|f| (&f.file, &f.bytes))
                .collect::<Vec<_>>(),
            attached(bench, &text.name)
                .into_iter()
                .map(|(file, sum)| (file, sum.to_string()))
                .collect::<Vec<_>>(),
            &units,
        ));
        if let Some(view) = self.found(&text.name, &stamp) {
            return view;
        }
        let _pen = self.pen.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(view) = self.found(&text.name, &stamp) {
            return view;
        }
        let began = Instant::now();
        let whole = with_ledger(bench, text);
        let view = Arc::new(stores::store(&whole, &units, &|| began.elapsed() < SEARCH));
        let mut kept = self.by_name.lock().unwrap_or_else(PoisonError::into_inner);
        kept.insert(text.name.clone(), (stamp, Arc::clone(&view)));
        view
    }
}

/// Names of the units.
fn units(now: &Now) -> Vec<String> {
    now.project.units.iter().map(|u| u.name.clone()).collect()
}

/// Files of a store that the ledger keeps: what they are called here, and their sums.
fn attached(bench: &Bench, store: &str) -> Vec<(String, store::record::Digest)> {
    let kept = bench.book.read();
    let file = |(entry, event): (&store::record::Entry, &Event)| match event {
        Event::File(f)
            if f.name
                .strip_prefix(store)
                .is_some_and(|r| r.starts_with('/')) =>
        {
            Some((
                format!("entry {}/{}", entry.number, &f.name[store.len() + 1..]),
                f.attachment,
            ))
        }
        _ => None,
    };
    kept.work.events().filter_map(file).collect()
}

/// A store with the files that the ledger keeps of it; they came later than those of the folder.
fn with_ledger(bench: &Bench, text: &StoreText) -> StoreText {
    let mut whole = text.clone();
    for (file, sum) in attached(bench, &text.name) {
        if let Ok(Some(found)) = bench.book.attachment(sum) {
            whole.files.push(StoreFile {
                file,
                bytes: found.bytes.into(),
            });
        }
    }
    whole
}

/// The page of all stores: that of the first, or how to begin.
pub async fn first(bench: State<Bench>, given: Query<Given>) -> Response {
    let now = bench.now();
    match now.project.stores.first() {
        Some(store) => page(bench, Path(store.name.clone()), given).await,
        None => {
            let main = html! {
                h1 { "Stores" }
                p.answer { "No store is described yet" }
                p { "Write how the store is built into a file " code { "stores/NAME.kdl" } " of the project: its organisation, its address and data bits, its lines. It may be as short as this:" }
                pre { "store \"control store\" {\n    organisation woven\n    address bits=7\n    data bits=20\n    word lines=96 address=\"0-6\"\n}" }
                p { "Then read the store twice in each unit, and put the reads beside it: " code { "stores/NAME/1-first.hex" } ", the unit before the hyphen. Or send them here, once the shape file stands." }
                p { "A core store forgets what is written over: read it before anything else." }
            };
            framed(&bench, &now, "/stores", "Stores", main)
        }
    }
}

fn missing(bench: &Bench, now: &Now, name: &str) -> Response {
    problem(
        bench,
        &now.project,
        &format!("There is no store {name} in this project."),
        "A store is named by its shape file, stores/NAME.kdl.",
    )
}

/// The page of one store.
pub async fn page(
    State(bench): State<Bench>,
    Path(name): Path<String>,
    Query(given): Query<Given>,
) -> Response {
    blocking(move || {
        let now = bench.now();
        let Some(text) = now.project.stores.iter().find(|s| s.name == name) else {
            return missing(&bench, &now, &name);
        };
        let view = bench.stores.view(&bench, &now, text);
        let chosen = Chosen::of(given.get("show").map_or("", String::as_str), &view);
        let all: Vec<&str> = now.project.stores.iter().map(|s| s.name.as_str()).collect();
        let main = html! {
            (others("Stores", &all, &name, address))
            h1 { "Store: " (view.name) @if !view.built.is_empty() { " " small { (view.built) } } }
            (saved::kept(&view))
            @if view.parts.is_empty() && view.drawn.is_some() {
                p.answer { "Nothing was read yet" }
                p { "Read the store twice in each unit, and send the reads." }
            }
            @for (index, part) in view.parts.iter().enumerate() { (shown(&view, index, part, &chosen)) }
            (fields(&view))
            @for (unit, map) in &view.maps { (map::section(unit, map)) }
            @if bench.book.closed().is_none() && view.drawn.is_some() { (files::form(&view, &now)) }
            (saved::list(&bench, text))
            (remarks(&view))
        };
        framed(&bench, &now, "/stores", &format!("{name} - {}", now.project.name), main)
    })
    .await
}

/// The address of a store's page.
pub fn address(store: &str) -> String {
    format!("/stores/{}", coded(store))
}

/// Which element is pointed at: part, finding, cause, and an element of it or all.
struct Chosen {
    part: usize,
    finding: usize,
    cause: usize,
    element: Option<usize>,
}

impl Chosen {
    /// `part.finding.cause.element`; else the likeliest cause of the first part that has one.
    fn of(text: &str, view: &View) -> Self {
        let numbers: Vec<usize> = text.split('.').filter_map(|n| n.parse().ok()).collect();
        if let [part, finding, cause, rest @ ..] = &numbers[..]
            && let Some(p) = view.parts.get(*part)
            && p.findings
                .get(*finding)
                .is_some_and(|f| *cause < f.causes.len())
        {
            return Self {
                part: *part,
                finding: *finding,
                cause: *cause,
                element: rest.first().copied(),
            };
        }
        let part = view
            .parts
            .iter()
            .position(|p| p.findings.iter().any(|f| !f.causes.is_empty()))
            .unwrap_or(0);
        Self {
            part,
            finding: 0,
            cause: 0,
            element: None,
        }
    }

    /// What is chosen in a finding, if it is that one; else its likeliest cause, whole.
    fn within<'f>(
        &self,
        part: usize,
        finding: usize,
        f: &'f Finding,
    ) -> Option<(&'f Cause, Option<usize>)> {
        if (self.part, self.finding) == (part, finding) {
            return f.causes.get(self.cause).map(|c| (c, self.element));
        }
        f.causes.first().map(|c| (c, None))
    }
}

fn shown(view: &View, index: usize, part: &Part, chosen: &Chosen) -> Markup {
    html! {
        section aria-labelledby=(format!("part-{index}")) {
            h2 id=(format!("part-{index}")) { (part.title) }
            @for (n, finding) in part.findings.iter().enumerate() { (found(view, (index, n), finding, part.verb, chosen)) }
            (bits::section(view, index, part, &|finding| chosen.within(index, finding, &part.findings[finding])))
            @for finding in &part.findings { (after(finding)) }
        }
    }
}

fn in_unit(unit: Option<&String>) -> String {
    unit.map_or(String::new(), |u| format!("Unit {u}: "))
}

fn names(cause: &Cause) -> String {
    const SAID: usize = 4;
    let said: Vec<&str> = cause
        .elements
        .iter()
        .take(SAID)
        .map(|e| e.name.as_str())
        .collect();
    match cause.elements.len().saturating_sub(SAID) {
        0 => said.join(", and "),
        more => format!("{}, and {more} more", said.join(", ")),
    }
}

fn found(
    view: &View,
    at: (usize, usize),
    finding: &Finding,
    verb: [&str; 2],
    chosen: &Chosen,
) -> Markup {
    let bits = |n: u64| {
        if n == 1 {
            "1 bit".to_owned()
        } else {
            format!("{n} bits")
        }
    };
    html! {
        @if let Some(first) = finding.causes.first() {
            p.answer { (in_unit(first.unit.as_ref())) (names(first)) }
        } @else if finding.wrong > 0 {
            p.answer { "No explanation was found within the time" }
        } @else if let Some(weak) = finding.weak.first() {
            p.answer { (weak.of.as_ref().map_or(String::new(), |o| format!("{o}: "))) (weak.element) }
        } @else if finding.is_alone {
            p.answer { "Nothing is unsteady in " (finding.words) " words; what is wrong shows beside another unit, or a reference" }
        } @else {
            p.answer { "Nothing differs in " (finding.words) " words" }
        }
        p { (finding.title) ": " (finding.words) " words, " @if !finding.is_alone { strong { (bits(finding.wrong)) " " (verb[usize::from(finding.wrong != 1)]) } ", " } strong { (finding.unsteady) " unsteady" } "." }
        @if finding.wrong > 0 && !finding.fewest { p { strong { "The search was cut short: fewer elements than these may do." } } }
        @if !finding.causes.is_empty() {
            ul.shares {
                @for (n, cause) in finding.causes.iter().enumerate() { (row(view, (at.0, at.1, n), cause, finding.causes.len() == 1, chosen)) }
            }
            @if finding.more > 0 { p { (finding.more) " more explanations have as few elements." } }
        }
        @for weak in &finding.weak {
            p.ruled {
                "Unsteady" @if let Some(of) = &weak.of { ", " (of) } ": " strong { (weak.element) } ". "
                (weak.explains) " of the " (weak.could) " bits that it could touch are unsteady."
                @if !weak.alternatives.is_empty() { " The same bits could come from " (weak.alternatives.join(", or ")) "." }
            }
        }
        @if !finding.zero_words.is_empty() {
            p { "Words that read all zeros and should not: " (addresses(&finding.zero_words)) "." }
        }
        @if let Some(note) = &finding.note { p.why { (note) } }
    }
}

fn addresses(list: &[u32]) -> String {
    const SAID: usize = 12;
    let said: Vec<String> = list.iter().take(SAID).map(|a| format!("{a:X}")).collect();
    match list.len().saturating_sub(SAID) {
        0 => said.join(", "),
        more => format!("{} and {more} more", said.join(", ")),
    }
}

fn row(
    view: &View,
    at: (usize, usize, usize),
    cause: &Cause,
    is_only: bool,
    chosen: &Chosen,
) -> Markup {
    let is_chosen = (chosen.part, chosen.finding, chosen.cause) == at;
    let link = |element: Option<usize>| {
        let (part, finding, cause) = at;
        let element = element.map_or(String::new(), |e| format!(".{e}"));
        format!(
            "{}?show={part}.{finding}.{cause}{element}#bits-{part}",
            address(&view.name)
        )
    };
    let current = |is: bool| is.then_some("true");
    html! {
        li {
            (length(cause.probability))
            div {
                p.figure-words {
                    (in_unit(cause.unit.as_ref())) strong { (names(cause)) } ". Explains " (cause.explains) ", leaves " (cause.leaves) ". " strong { (of_hundred(cause.probability)) } "."
                }
                @if !cause.alike.is_empty() { p { "No read tells it from " (cause.alike.join("; or ")) "." } }
                @if cause.elements.len() > 1 {
                    p.point {
                        a.small href=(link(None)) aria-current=[current(is_chosen && chosen.element.is_none())] { "Show all" }
                        @for (n, e) in cause.elements.iter().enumerate().filter(|(_, e)| !e.touched.is_empty()) {
                            " " a.small href=(link(Some(n))) aria-current=[current(is_chosen && chosen.element == Some(n))] { "Show " (e.name) " (" (e.explains) ")" }
                        }
                    }
                } @else if !is_only {
                    p.point { a.small href=(link(None)) aria-current=[current(is_chosen)] { "Show it on the bits" } }
                }
                @for e in cause.elements.iter().filter(|e| !e.place.is_empty()).take(4) {
                    p.why { (e.name) ": " (e.class) "; on the drawing at " (e.place) "." }
                }
            }
        }
    }
}

/// What to measure next, and how the reads fell.
fn after(finding: &Finding) -> Markup {
    html! {
        @if let Some(next) = finding.next.first() {
            div.take {
                p.figure-words { "Next: " (next.what) }
                @for before in &next.before { p { "Before it: " (before) } }
                @if next.outcomes.len() > 1 {
                    p { "It tells apart: " @for (n, (outcome, _)) in next.outcomes.iter().enumerate() { @if n > 0 { "; " } (outcome) } "." }
                }
            }
            @if finding.next.len() > 1 {
                details {
                    summary { "Other measurements" }
                    ul.done { @for m in &finding.next[1..] { li { (m.what) } } }
                }
            }
        }
        @if !finding.votes.is_empty() {
            details {
                summary { "How the reads of the " (finding.votes.len()) " unsteady bits fell" }
                table.plain {
                    thead { tr { th scope="col" { "Address" } th scope="col" { "Bit" } th scope="col" { "Reads" } th scope="col" { "What they say" } } }
                    tbody {
                        @for (address, v) in finding.votes.iter().take(MOST_VOTES) {
                            tr {
                                td data-name="address" { (format!("{address:X}")) }
                                td data-name="bit" { (v.bit) }
                                td data-name="" { (v.of.as_deref().unwrap_or("")) }
                                td data-name="" { (v.words()) "; ones between " (format!("{:.0}", v.low * 100.0)) " and " (format!("{:.0}", v.high * 100.0)) " in 100" }
                            }
                        }
                    }
                }
                @if finding.votes.len() > MOST_VOTES { p { (finding.votes.len() - MOST_VOTES) " more are in " code { "knowngood memory dump --json" } "." } }
            }
        }
    }
}

/// Votes that a page lists.
const MOST_VOTES: usize = 200;

/// Micro-words by their fields.
fn fields(view: &View) -> Markup {
    html! {
        @if let Some(parting) = &view.parting {
            h2 id="follow" { "The captured sequences" }
            p.answer { (parting.says) }
        }
        @if let [first, second, ..] = &view.units[..] && !view.differences.is_empty() {
            details id="fields" {
                summary { (view.differences.len()) " fields of words differ between the units" }
                table.plain {
                    thead { tr { th scope="col" { "Word" } th scope="col" { "Field" } th.number scope="col" { "Unit " (first.name) } th.number scope="col" { "Unit " (second.name) } th scope="col" { "Bits" } } }
                    tbody {
                        @for d in view.differences.iter().take(MOST_VOTES) {
                            tr {
                                td data-name="word" { (format!("{:X}", d.address)) }
                                td data-name="field" { @if d.field.is_empty() { "-" } @else { (d.field) } }
                                td.number data-name=(format!("unit {}", first.name)) { (format!("{:X}", d.values[0])) }
                                td.number data-name=(format!("unit {}", second.name)) { (format!("{:X}", d.values[1])) }
                                td data-name="bits" { (d.bits.iter().map(u8::to_string).collect::<Vec<_>>().join(" ")) @if d.unsteady { " (unsteady)" } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn remarks(view: &View) -> Markup {
    html! {
        @if !view.remarks.is_empty() {
            details.remarks open[view.drawn.is_none()] id="remarks" {
                summary { (view.remarks.len()) @if view.remarks.len() == 1 { " remark" } @else { " remarks" } " on the files of this store" }
                ol { @for r in view.remarks.iter().take(MOST_VOTES) { li {
                    p { strong { @if let Some(file) = &r.file { (file) } @if let Some(line) = r.line { ", line " (line) } @if r.file.is_some() { ": " } } (r.message) }
                    @if let Some(help) = &r.help { p { (help) } }
                } } }
            }
        }
    }
}
