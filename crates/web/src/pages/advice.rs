//! What would explain the readings of a board, and where the probe goes next.

use bench::entered::Ruled;
use bench::pages::advice::{Next, Share, Suspect, Unit, View};
use maud::{Markup, html};

use super::enter::{held, hidden, line};
use crate::work::Stand;

/// The section below the verdicts.
pub fn section(stand: &Stand<View>, board: &str, address: &str, is_open: bool) -> Markup {
    let place = Place {
        board,
        back: &format!("{address}#advice"),
        is_open,
    };
    html! {
        section.advice aria-labelledby="advice" {
            h2 id="advice" { "What would explain it" }
            @match stand {
                Stand::Going(..) => p.wait { "Being weighed: every fault against every reading. The page fills itself." },
                Stand::Failed(why) => p { "It cannot be said: " (why) },
                Stand::Again(view) => { p.wait { "Being weighed again, with the last entry; this is from before it." } (weighed(view, &place)) },
                Stand::Done(view) => (weighed(view, &place)),
            }
        }
    }
}

/// Where a ruling goes.
struct Place<'a> {
    board: &'a str,
    back: &'a str,
    is_open: bool,
}

fn weighed(view: &View, place: &Place) -> Markup {
    html! {
        @if view.units.is_empty() { p { "No reading says anything yet." } }
        @for unit in &view.units { (one(unit, place)) }
        @if !view.doubts.is_empty() {
            h3 { "The drawing" }
            ul.shares { @for d in &view.doubts { (share(d)) } }
            p { "Both units share the drawing. If both are off alike, look at the part itself: its value, its bands, its way round." }
        }
    }
}

fn one(unit: &Unit, place: &Place) -> Markup {
    html! {
        h3 { "Unit " (unit.name) }
        ul.shares {
            @for s in &unit.suspects { (suspect(s, &unit.name, place)) }
            @for s in &unit.standing { (share(s)) }
        }
        @for r in &unit.ruled { (ruled(r, place)) }
        @for a in &unit.again { p { "Read again, leads nulled, point and range checked: " (a) "." } }
        @if let Some(why) = &unit.stop { p { (why) } }
        @if let Some(next) = &unit.next { (reading(next, unit.stop.is_some())) }
    }
}

/// A length with its figure; the words say the same.
fn share(s: &Share) -> Markup {
    html! {
        li {
            (length(s.probability))
            div { p { (s.what) ": " strong { (s.words) } } }
        }
    }
}

fn suspect(s: &Suspect, unit: &str, place: &Place) -> Markup {
    html! {
        li {
            (length(s.share.probability))
            div {
                p.figure-words { strong { (s.share.what) } ": " strong { (s.share.words) } }
                @if !s.alike.is_empty() { p { "What was read cannot tell it from " (s.alike.join(", ")) "." } }
                @for r in &s.reasons { p.why { (r) } }
                @if place.is_open { (rule(s, unit, place)) }
            }
        }
    }
}

/// The form by which a person rules a suspect in or out.
fn rule(s: &Suspect, unit: &str, place: &Place) -> Markup {
    let key = format!("rule-{unit}-{}", s.name.replace(' ', "-"));
    html! {
        details id=(key) {
            summary { "Rule it out or in by hand" }
            form method="post" action="/entry" data-keep id=(format!("{key}-form")) {
                (hidden("ruling", place.back)) (held("unit", unit)) (held("board", place.board)) (held("suspect", &s.name))
                (line("reason", "Because", ""))
                button type="submit" name="out" value="yes" { "Rule it out" }
                button type="submit" name="out" value="no" { "It is this" }
            }
        }
    }
}

/// A ruling that is in force: the shares above rest on it.
fn ruled(r: &Ruled, place: &Place) -> Markup {
    html! {
        div.ruled {
            p { strong { (r.suspect) " was ruled " @if r.out { "out" } @else { "in" } " by hand" } ", because " (r.reason)
                ". The shares above take that for certain. " a href=(format!("/entry/{}", r.entry)) { "the entry" } }
            @if place.is_open {
                form.inline method="post" action="/entry" {
                    (hidden("correction", place.back)) (held("entry", &r.entry)) (held("reason", "no longer ruled by hand"))
                    button type="submit" { "Take the ruling back" }
                }
            }
        }
    }
}

/// A probability as a length.
pub fn length(probability: f64) -> Markup {
    let width = format!("{:.1}", 100.0 * probability.clamp(0.0, 1.0));
    html! {
        svg.length viewBox="0 0 100 12" width="100" height="12" preserveAspectRatio="none" aria-hidden="true" {
            rect.line x="0.5" y="0.5" width="99" height="11" {}
            rect.full x="0" y="0" width=(width) height="12" {}
        }
    }
}

fn reading(next: &Next, may_stop: bool) -> Markup {
    html! {
        div.take {
            p.figure-words {
                @if may_stop { "If you go on: " } @else { "Next: " }
                (next.what) ", red on " strong { (next.red) } ", black on " strong { (next.black) } "."
            }
            @for need in &next.needs { p { "Before it: " (need) "." } }
            @if !next.outcomes.is_empty() {
                table.plain {
                    caption { "What may come" }
                    tbody {
                        @for (near, means) in &next.outcomes {
                            tr { th scope="row" { (near) } td data-name="" { (means) } }
                        }
                    }
                }
            }
        }
    }
}
