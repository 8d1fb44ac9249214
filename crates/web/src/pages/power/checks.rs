//! The checks before power: the next one large, what failed and what it speaks for, the rest folded, and the permit.

use bench::pages::permit::{Check, State, What};
use bench::pages::power::{Row, View};
use maud::{Markup, html};
use store::record::event::Stand;

use super::Shown;
use crate::pages::enter::{held, hidden, line};
use crate::pages::marks;
use crate::pages::{address, ledger::coded};
use bench::pages::board::Mark;

/// What is still to be checked, the next of it first.
pub fn section(shown: &Shown<'_>, state: &State<'_>) -> Markup {
    let of = |is: fn(&Stand) -> bool| -> Vec<usize> {
        let list = state.checks.iter().enumerate();
        list.filter(|(_, c)| is(&c.stand)).map(|(k, _)| k).collect()
    };
    let owed = of(|s| *s == Stand::Owed);
    let failed = of(|s| matches!(s, Stand::Failed(_)));
    let passed = of(|s| matches!(s, Stand::Passed(_)));
    let chosen = shown.at.check.filter(|k| *k < state.checks.len());
    let next = chosen.or_else(|| state.next());
    html! {
        @for k in &failed { (stop(shown, &state.checks[*k])) }
        @if let Some(k) = next { (one(shown, state, k)) }
        @if !owed.is_empty() {
            details id="owed" {
                summary { (owed.len()) " still to be made" }
                ul.checks { @for k in &owed { (listed(shown, state, *k)) } }
            }
        }
        @if !failed.is_empty() {
            details id="failed" {
                summary { (failed.len()) " failed; make them again when mended" }
                ul.checks { @for k in &failed { (listed(shown, state, *k)) } }
            }
        }
        @if !passed.is_empty() {
            details id="made" {
                summary { (passed.len()) " made and passed" }
                ul.checks { @for k in &passed { (listed(shown, state, *k)) } }
            }
        }
        (permit(shown, state))
    }
}

fn listed(shown: &Shown<'_>, state: &State<'_>, k: usize) -> Markup {
    let check = &state.checks[k];
    html! {
        li {
            (mark(&check.stand))
            div {
                a href=(shown.here(&format!("check={k}"), "check")) { (check.name) }
                @if !check.value.is_empty() { " " strong { (check.value) } }
                @if !check.note.is_empty() { " " span.note { (check.note) } }
            }
        }
    }
}

/// The shape of a check.
pub fn mark(stand: &Stand) -> Markup {
    marks::verdict(match stand {
        Stand::Owed => Mark::NotTaken,
        Stand::Failed(_) => Mark::High,
        Stand::Passed(_) => Mark::Agrees,
        Stand::Overridden(_) => Mark::NoExpectation,
    })
}

/// A reading beyond its line, or a check that was failed: what it speaks for and what is done now.
fn stop(shown: &Shown<'_>, check: &Check) -> Markup {
    let hazards: Vec<(&str, Vec<&str>)> = match &check.what {
        What::Card(k) => {
            let card = &shown.view.card;
            let of = |h: &usize| {
                let hazard = &card.hazards[*h];
                let victims = hazard.victims.iter().map(|v| v.part.as_str()).collect();
                (hazard.with.as_str(), victims)
            };
            card.card[*k].rules_out.iter().map(of).collect()
        }
        What::Hand(_) | What::Crossed(_) => Vec::new(),
    };
    let board = match &check.what {
        What::Card(k) => shown.rows[*k].place.as_ref().map(|p| p.board.as_str()),
        _ => None,
    };
    html! {
        aside.caution aria-label="Stop" {
            p.answer { "Stop: " (check.value) @if check.value.is_empty() { "failed" } ", " (check.name) }
            @if !hazards.is_empty() {
                p { "Beyond its line it speaks for one of these, each of which would destroy something at switch-on:" }
                ul.done { @for (with, victims) in &hazards { li { strong { (with) } " would destroy " (victims.join(", ")) } } }
            }
            p { "Nothing is switched on. Read it once more with fresh contacts and the leads nulled; if it stays so, find the part with the power off"
                @if let Some(board) = board { ": " a href=(address(board)) { "what explains the readings of board " (board) } }
                ". Mended, the check is made again." }
        }
    }
}

/// A check, large, with the place where its outcome is entered.
fn one(shown: &Shown<'_>, state: &State<'_>, k: usize) -> Markup {
    let check = &state.checks[k];
    let number = k + 1;
    html! {
        section.probe id="check" aria-labelledby="check-head" {
            h2 id="check-head" { "Check " (number) " of " (state.checks.len()) }
            @match &check.what {
                What::Card(row) => (card(shown, check, &shown.rows[*row], k)),
                What::Hand(says) => {
                    p.figure-words { strong { (check.name) } }
                    @for s in says { p { (s) } }
                    (ticked(shown, check, k))
                },
                What::Crossed(words) => {
                    p.figure-words { strong { (check.name) } }
                    p { "It was: " (words) ". Write what it was and what was done; a reading that was mistyped is withdrawn on its page of the ledger instead." }
                    (ticked(shown, check, k))
                },
            }
            @if !check.note.is_empty() { p.note { (check.note) } }
        }
    }
}

fn card(shown: &Shown<'_>, check: &Check, row: &Row, k: usize) -> Markup {
    let kind = if row.kind == "diode" {
        "Diode test"
    } else {
        "Ohms"
    };
    html! {
        p.expect { (kind) ", power off and discharged"
            @if row.unplugged.is_empty() { ", all boards in their places" } @else { ", with " (row.unplugged.join(", ")) " unplugged" } }
        div.leads {
            p { span.word { "Red on" } strong.lead-on { (row.red) } }
            p { span.word { "Black on" } strong.lead-on { (row.black) } }
        }
        p.expect { "Healthy reads " strong { (row.expected) } span.band-words { (should(row)) } }
        @if shown.is_open {
            form.take-value method="post" action=(if row.place.is_some() { "/entry" } else { "/power" }) data-keep id=(format!("take-{k}")) {
                (hidden(if row.place.is_some() { "reading" } else { "across" }, &shown.here("", "check")))
                (held("unit", shown.unit))
                @if let Some(place) = &row.place {
                    (held("board", &place.board)) (held("red", &place.red)) (held("black", &place.black))
                    (held("state", "cold")) (held("measured", row.kind))
                    (held("place", if row.unplugged.is_empty() { "chassis" } else { "board-out" }))
                } @else {
                    (held("check", &check.name))
                }
                label.field { span { "It read" } input.value type="text" name="value" required autocomplete="off" spellcheck="false" autofocus; }
                button type="submit" { "Enter" }
            }
            p.hint { "4k7, 2R2, 0.62, OL; 1k8..OL if it wandered." }
        }
        p { "It rules out " (row.rules_out.join(", ")) "." }
    }
}

fn should(row: &Row) -> String {
    match (row.low.is_empty(), row.high.is_empty()) {
        (false, false) => format!("stop below {} or above {}", row.low, row.high),
        (false, true) => format!("stop below {}", row.low),
        (true, false) => format!("stop above {}", row.high),
        (true, true) => String::new(),
    }
}

/// A check of hand and eye: passed or not, and what was seen.
fn ticked(shown: &Shown<'_>, check: &Check, k: usize) -> Markup {
    html! {
        @if shown.is_open {
            form.enter method="post" action="/entry" data-keep id=(format!("tick-{k}")) {
                (hidden("test", &shown.here("", "check")))
                (held("unit", shown.unit)) (held("name", &check.name))
                label.field.wide { span { "What was seen or read" } textarea name="text" rows="2" {} }
                button.go type="submit" name="passed" value="yes" { "As it should be" }
                " "
                button type="submit" name="passed" value="no" { "Not as it should be" }
            }
        }
    }
}

/// The permit is given when all is passed, or signed for.
fn permit(shown: &Shown<'_>, state: &State<'_>) -> Markup {
    let is_open = |c: &&Check| matches!(c.stand, Stand::Owed | Stand::Failed(_));
    let open: Vec<&Check> = state.checks.iter().filter(is_open).collect();
    html! {
        @if shown.is_open {
            @if open.is_empty() {
                form.enter method="post" action="/power" data-keep id="permit-form" {
                    h2 { "Permit for unit " (shown.unit) }
                    p { "Every check was made and lies on its good side. That is all it says: what they do not look at is listed below. The permit ends at a move, a pulled or changed board, a crossed limit, and after four weeks." }
                    (hidden("permit", &shown.here("", "stage"))) (held("unit", shown.unit))
                    button.go type="submit" { "Give the permit" }
                }
            } @else {
                details id="override" {
                    summary { "Sign for what was not passed" }
                    form.enter method="post" action="/power" data-keep id="override-form" {
                        p { "A signature stands in the ledger under each check that it passes over, with name and reason. It protects nothing; it says who decided." }
                        (hidden("permit", &shown.here("", "stage"))) (held("unit", shown.unit))
                        (line("by", "Name", shown.author))
                        @for check in &open {
                            label.field.wide { span { (check.name) @if matches!(check.stand, Stand::Failed(_)) { " (failed: " (check.value) ")" } }
                                input type="text" name=(format!("reason:{}", check.name)) placeholder="reason" autocomplete="off"; }
                        }
                        button type="submit" { "Sign, and give the permit" }
                    }
                }
            }
        }
    }
}

/// The address of this page with a fragment, for a unit.
pub fn here(unit: &str, more: &str, fragment: &str) -> String {
    let more = if more.is_empty() {
        String::new()
    } else {
        format!("&{more}")
    };
    format!("/power?unit={}{more}#{fragment}", coded(unit))
}

/// How many checks stand how, in words.
pub fn count(view: &View, state: &State<'_>) -> String {
    let count = |is: fn(&Stand) -> bool| state.checks.iter().filter(|c| is(&c.stand)).count();
    let owed = count(|s| *s == Stand::Owed);
    let failed = count(|s| matches!(s, Stand::Failed(_)));
    let passed = count(|s| matches!(s, Stand::Passed(_)));
    let minutes = view.card.minutes.ceil();
    let failed = if failed > 0 {
        format!("{failed} failed, ")
    } else {
        String::new()
    };
    format!(
        "{failed}{owed} to be made, {passed} passed; the meter's part takes about {minutes:.0} minutes"
    )
}
