//! Trimmers: marked and measured before they are turned, set in order, and what has to be checked again after.

use maud::{Markup, html};
use store::record::Work;
use store::record::work::TrimmerState;

use super::super::enter::{held, hidden, line, photos};
use super::{Place, units};

/// The trimmers of each unit in set-up order, and the forms.
pub fn section(work: &Work, place: &Place) -> Markup {
    html! {
        h2 id="trimmers" { "Trimmers" }
        p { "Mark where it stands and measure what it sets, before it is turned." }
        @for unit in &place.units {
            @let list = work.trimmers(unit, place.board);
            @if !list.is_empty() { (table(unit, &list, place)) }
        }
        @if place.is_open { (mark(place)) (turn(work, place)) (order(place)) }
    }
}

fn table(unit: &str, list: &[TrimmerState], place: &Place) -> Markup {
    html! {
        table.plain {
            caption { "Unit " (unit) ", in the order of setting up" }
            thead { tr { th scope="col" { "Trimmer" } th scope="col" { "As found" } th scope="col" { "Now" } th scope="col" { "Still to be checked again" } } }
            tbody { @for t in list { (row(t, place)) } }
        }
    }
}

fn row(t: &TrimmerState, place: &Place) -> Markup {
    html! {
        tr data-row tabindex="-1" {
            th scope="row" { @if let Some(number) = t.place { (number) ". " } strong { (t.trimmer) } }
            td data-name="as found" {
                @match t.marks.first() {
                    None => strong { "not marked: do not turn it yet" },
                    Some((entry, mark)) => {
                        (mark.position) "; reads " (mark.measured) " " a href=(format!("/entry/{}", entry.id)) { (entry.number) }
                        @if let Some(sum) = mark.photo { @let at = format!("/photo/{sum}"); " " a href=(at) { img src=(at) alt=(format!("the mark of {}", t.trimmer)) loading="lazy" height="90"; } }
                    }
                }
            }
            td data-name="now" {
                @match t.turns.last() {
                    None => "as found",
                    Some((entry, turn)) => {
                        (turn.position) "; reads " (turn.measured) " " a href=(format!("/entry/{}", entry.id)) { (entry.number) }
                        p.why { "Turned because " (turn.reason) }
                        @if let Some(why) = &turn.unmarked { p.why { "It was not marked: " (why) } }
                    }
                }
                @if t.out_of_order { p { strong { "Turned before one that is set earlier: set it again." } } }
            }
            td data-name="still to be checked again" {
                @if t.owed.is_empty() { "nothing" }
                @for (turn, what) in &t.owed {
                    p { strong { (what) } }
                    @if place.is_open {
                        form.inline method="post" action="/entry" data-keep id=(format!("recheck-{}-{}", turn.id, super::super::ledger::coded(what))) {
                            (hidden("recheck", &format!("{}#trimmers", place.back))) (held("turn", turn.id.as_str())) (held("what", what))
                            (line("result", "It reads", ""))
                            button type="submit" { "Checked" }
                        }
                    }
                }
            }
        }
    }
}

fn named(label: &str) -> Markup {
    html! { label.field { span { (label) } input type="text" name="trimmer" list="parts" required autocomplete="off" spellcheck="false"; } }
}

fn mark(place: &Place) -> Markup {
    html! {
        details id="mark-trimmer" {
            summary { "Mark and measure a trimmer" }
            form method="post" action="/entry" enctype="multipart/form-data" data-keep id="mark-form" {
                (hidden("mark", &format!("{}#trimmers", place.back))) (held("board", place.board))
                div.fields {
                    (units(place, "")) (named("Trimmer"))
                    (line("position", "Where it stands: mark, angle, ohms from wiper to end", ""))
                    (line("measured", "What it sets reads now", ""))
                    (photos("Photograph of the mark"))
                    button type="submit" { "Marked and measured" }
                }
            }
        }
    }
}

fn turn(work: &Work, place: &Place) -> Markup {
    let marked = |unit: &str| {
        work.trimmers(unit, place.board)
            .iter()
            .any(|t| !t.marks.is_empty())
    };
    let any = place.units.iter().any(|u| marked(u));
    html! {
        details id="turn-trimmer" {
            summary { "A trimmer was turned" }
            @if !any { p { "None was marked and measured yet; do that first." } }
            form method="post" action="/entry" data-keep id="turn-form" {
                (hidden("turn", &format!("{}#trimmers", place.back))) (held("board", place.board))
                div.fields {
                    (units(place, "")) (named("Trimmer"))
                    (line("position", "Where it stands now", ""))
                    (line("measured", "What it sets reads now", ""))
                    (line("reason", "Why it was turned", ""))
                    label.field.wide { span { "What has to be checked again because of it, a line each" } textarea name="recheck" rows="3" {} }
                    details id="turn-unmarked" {
                        summary { "It was not marked before" }
                        (line("unmarked", "Why not", ""))
                    }
                    button type="submit" { "Write it" }
                }
            }
        }
    }
}

fn order(place: &Place) -> Markup {
    html! {
        details id="order-trimmers" {
            summary { "The order of setting up" }
            form method="post" action="/entry" data-keep id="order-form" {
                (hidden("order", &format!("{}#trimmers", place.back))) (held("board", place.board))
                div.fields {
                    (units(place, ""))
                    label.field.wide { span { "Trimmers, the first to be set first, a line each" } textarea name="trimmers" rows="4" required spellcheck="false" {} }
                    button type="submit" { "This is the order" }
                }
            }
        }
    }
}
