//! What is known of a set of recordings: figures against what they should be, words in sequence, and the text where that is written down.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use bench::Text;
use bench::pages::board::Mark;
use bench::pages::signals::Signals;
use bench::signal::engineering;
use bench::signal::known::{Known, Seen, sequences_told};
use maud::{Markup, html};

use super::{Set, address, sets};
use crate::entry::see;
use crate::form::Form;
use crate::pages::marks;
use crate::pages::room::framed;
use crate::pages::{Bench, blocking};
use crate::project::Unsaved;

/// Figures that are expected, each unit's beside them.
pub fn judged(signals: &Signals) -> Markup {
    let rows = &signals.view.judged;
    let Some(first) = rows.first() else {
        return html! {};
    };
    let off = rows
        .iter()
        .flat_map(|r| &r.seen)
        .filter(|s| s.verdict == "disagrees")
        .count();
    html! {
        h2 id="expected" { @if off == 0 { "Every figure is as expected" } @else { (off) @if off == 1 { " figure is" } @else { " figures are" } " not as expected" } }
        table.plain {
            thead { tr { th scope="col" { "Channel" } th scope="col" { "Figure" } th.number scope="col" { "Expected" } @for s in &first.seen { th scope="col" { "Unit " (s.unit) } } } }
            tbody { @for r in rows { tr {
                td data-name="" { strong { (r.channel) } @if let Some(net) = &r.net { " at " (net) } }
                td data-name="" { (r.what) }
                td.number data-name="expected" { @if let Some(low) = r.low { (r.figure(low)) " to " (r.figure(r.high)) } @else { "up to " (r.figure(r.high)) } }
                @for s in &r.seen { td data-name=(format!("unit {}", s.unit)) {
                    (mark(s)) " " @if let Some(v) = s.value { (r.figure(v)) ", " } (s.verdict.replace('-', " ")) @if let Some(side) = s.side { ", " (side) }
                } }
            } } }
        }
    }
}

fn mark(s: &Seen) -> Markup {
    marks::verdict(match (s.verdict, s.side) {
        ("agrees", _) => Mark::Agrees,
        ("disagrees", Some("low")) => Mark::Low,
        ("disagrees", _) => Mark::High,
        ("edge", _) => return marks::edge(),
        _ => Mark::NotTaken,
    })
}

/// Words in sequence, both units side by side.
pub fn sequences(signals: &Signals) -> Markup {
    let Some(s) = &signals.view.sequences else {
        return html! {};
    };
    html! {
        p.answer id="words" { (sequences_told(s)) }
        p { "Words at the machine's own clock. Where they part, this does not say which unit is wrong." }
        @if let Some(p) = s.partings.first() && let (Some(a), Some(b)) = (p.at[0], p.at[1]) {
            p.hint { "That is at " (engineering(a, "s")) " of unit " (s.units[0]) " and " (engineering(b, "s")) " of unit " (s.units[1]) "." @if s.partings.len() > 1 { " They part " (s.partings.len()) " times in all." } }
        }
        @if !s.rounds.is_empty() {
            ul.done { @for r in &s.rounds { li {
                "Unit " (r.unit) " goes round " (r.words.len()) " words " (r.turns) " times from word " (r.start) ": " code { @for w in r.words.iter().take(12) { (w) " " } @if r.words.len() > 12 { "..." } }
            } } }
        }
        table.words {
            thead { tr { th.number scope="col" { "No." } th.number scope="col" { "Unit " (s.units[0]) } @if let Some(u) = s.units.get(1) { th.number scope="col" { "Unit " (u) } th.number scope="col" { "No." } th scope="col" { "" } } } }
            tbody { @for row in &s.sides { tr {
                td.number data-name="no." { @if let Some(n) = row.step[0] { (n) } @else { "-" } }
                td.number data-name=(format!("unit {}", s.units[0])) { code { (row.word[0]) } }
                @if let Some(u) = s.units.get(1) {
                    td.number data-name=(format!("unit {u}")) { code { (row.word[1]) } }
                    td.number data-name="no." { @if let Some(n) = row.step[1] { (n) } @else { "-" } }
                    td data-name="" { @if !row.agree { strong { "differ" } } }
                }
            } } }
        }
    }
}

const EXAMPLE: &str = "capture board=A3 {\n    // what a signal should be, 95 in 100 of healthy ones\n    // expect CLOCK net=CLK low=\"-10V\" high=\"0V\" within=\"0.6V\" period=\"14us\" rise=\"<300ns\" timing=\"10%\"\n    // each signal drives the next\n    // flow CLOCK CARRY\n    // channels as bits of words, the most significant first\n    // states B1 B0 clock=CLOCK edge=rising low=\"-7V\" high=\"-3V\" negative=#true\n    // where a volt-ampere curve was taken\n    // curve red=BN black=\"0V\" state=cold\n}\n";

/// The text about a set, to be changed.
pub fn form(set: &Set, typed: Option<&str>, is_open: bool) -> Markup {
    let text = typed
        .or(set.about.as_ref().map(|t| t.text.as_str()))
        .unwrap_or(EXAMPLE);
    html! {
        details id="known" open[typed.is_some()] {
            summary { "What these signals should be, and where they were taken" }
            form.enter method="post" action=(format!("{}/about", address(&set.name))) {
                label.field.wide { span { "The text " code { "captures/" (set.name) ".kdl" } ", a line each: expect, flow, states, curve" }
                    textarea name="text" rows=(text.lines().count().clamp(6, 20)) spellcheck="false" { (text) } }
                @if is_open { button.go type="submit" { "Save" } }
            }
        }
    }
}

/// Saves the text about a set, or gives it back with what is wrong in it.
pub async fn post(State(bench): State<Bench>, Path(name): Path<String>, form: Form) -> Response {
    blocking(move || {
        let now = bench.now();
        let all = sets(&bench, &now);
        let Some(set) = all.iter().find(|s| s.name == name) else {
            return super::unknown(&bench, &now, &name);
        };
        let typed = form.text("text").replace("\r\n", "\n");
        let file = format!("captures/{name}.kdl");
        let text = Text { file: file.clone(), text: typed.clone() };
        let mut wrong: Vec<(String, String)> = match Known::read_strictly(&text) {
            Ok(_) => Vec::new(),
            Err(refused) => {
                let line = |c: &bench::Complaint| c.line.map_or(String::new(), |l| format!("line {l}: "));
                let told = |c: &bench::Complaint| (format!("{}{}", line(c), c.message), c.help.clone().unwrap_or_default());
                refused.complaints().iter().map(told).collect()
            }
        };
        if wrong.is_empty() {
            let before = set.about.as_ref().map(|t| t.text.as_str());
            match bench.current.source.write(&file, before, &typed) {
                Ok(()) => {
                    bench.bell.ring();
                    return see(&address(&name));
                }
                Err(Unsaved::Cannot(why)) => wrong.push((why, "What you typed is still here.".to_owned())),
                Err(Unsaved::Changed) => {
                    bench.current.forget();
                    let what = format!("{file} was saved by somebody else meanwhile.");
                    wrong.push((what, "What you typed is still here; look at the file, and save this again over it.".to_owned()));
                }
            }
        }
        let main = html! {
            h1 { a href=(address(&name)) { "Signals: " (name) } }
            p.answer { "Not saved: " (wrong.len()) @if wrong.len() == 1 { " place is" } @else { " places are" } " to be mended" }
            ul.done { @for (what, help) in &wrong { li role="alert" { (what) " " (help) } } }
            (self::form(set, Some(&typed), true))
        };
        let page = framed(&bench, &now, "/signals", "Not saved", main);
        (StatusCode::UNPROCESSABLE_ENTITY, page).into_response()
    })
    .await
}
