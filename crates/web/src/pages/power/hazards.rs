//! What would be destroyed, board by board; what no reading rules out; the whole card; and what the answer leaves out.

use std::collections::BTreeMap;

use bench::pages::power::{Row, View};
use bench::project::UnitName;
use bench::risk::HazardView;
use maud::{Markup, html};

use super::Shown;
use crate::pages::bench::unit_head;
use crate::pages::marks;

/// Everything that is looked up, folded.
pub fn sections(shown: &Shown<'_>, units: &[UnitName]) -> Markup {
    html! {
        (card(shown.view, shown.rows, units))
        (uncovered(shown.view))
        (by_board(shown.view))
        (wiring(shown.view))
        (rest(shown.view))
    }
}

fn card(view: &View, rows: &[Row], units: &[UnitName]) -> Markup {
    let found = &view.card;
    html! {
        @if !rows.is_empty() {
            details id="card" {
                summary { "The whole card: " (rows.len()) @if rows.len() == 1 { " reading" } @else { " readings" } ", all units" }
                p { (found.faults) " single faults were followed at switch-on, for the boards as drawn; " (found.hazards.len()) " of them destroy something else. Each reading rules out those beside it, if it lies within its lines. Faults in pairs and what is not drawn were not looked at." }
                table.plain.card {
                    thead { tr {
                        th scope="col" { "No." } th scope="col" { "Read" } th scope="col" { "Red" } th scope="col" { "Black" }
                        th.number scope="col" { "Low" } th.number scope="col" { "High" }
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
}

fn row(number: usize, r: &Row, units: &[UnitName]) -> Markup {
    let none = |text: &str| match text.is_empty() {
        true => "-".to_owned(),
        false => text.to_owned(),
    };
    html! {
        tr data-row tabindex="-1" {
            td data-name="No." { (number) }
            td data-name="read" { (r.kind) }
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

fn uncovered(view: &View) -> Markup {
    let found = &view.card;
    let late = view.plan.as_ref().map(|p| p.late()).unwrap_or_default();
    html! {
        @if !found.hazards.is_empty() {
            details id="uncovered" open[!found.uncovered.is_empty() && found.uncovered.len() <= 5] {
                summary { (found.uncovered.len()) " of " (found.hazards.len()) " dangerous faults are ruled out by no cold reading" }
                @if found.uncovered.is_empty() {
                    p { "Of the faults that were followed and destroy something, each is ruled out by a reading of the card." }
                } @else {
                    ul.checks {
                        @for u in &found.uncovered {
                            @let hazard = &found.hazards[u.hazard];
                            li { div {
                                p { strong { (hazard.with) } " would destroy " (victims(hazard).join(", ")) }
                                p { @if u.limit.is_none() { strong { "Do not power. " } } (u.says) }
                            } }
                        }
                    }
                }
            }
        }
        @if !late.is_empty() {
            details id="late" {
                summary { (late.len()) " faults destroy something before a stage shows them" }
                ul.done { @for (fault, says) in &late { li { strong { (fault) } ": " (says) } } }
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

fn victims(hazard: &HazardView) -> Vec<&str> {
    hazard.victims.iter().map(|v| v.part.as_str()).collect()
}

/// The dangerous faults, those of one board together, worst first.
fn by_board(view: &View) -> Markup {
    let mut boards: BTreeMap<&str, Vec<&HazardView>> = BTreeMap::new();
    for hazard in &view.card.hazards {
        let board = hazard.part.split_once(':').map_or("", |(board, _)| board);
        boards.entry(board).or_default().push(hazard);
    }
    html! {
        @if view.card.hazards.is_empty() {
            p { "No single fault that was followed destroys anything else; " (view.card.faults) " were followed at switch-on. Faults that come in pairs, wiring and what is not drawn were not looked at." }
        } @else {
            details id="hazards" {
                summary { "What would be destroyed, by board" }
                @for (board, list) in &boards {
                    details id=(format!("hazards-{board}")) {
                        summary { @if board.is_empty() { "This board" } @else { (board) } ": " (list.len()) @if list.len() == 1 { " fault" } @else { " faults" } }
                        ul.done {
                            @for h in list {
                                li { strong { (h.with) } ": "
                                    @for (k, v) in h.victims.iter().enumerate() { @if k > 0 { "; " } (v.part) " " (v.why) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn wiring(view: &View) -> Markup {
    html! {
        @if !view.card.wiring.is_empty() {
            details id="wiring" {
                summary { "What hands do wrong and no reading shows" }
                ul.done { @for w in &view.card.wiring { li { (w.says) } } }
            }
        }
    }
}

/// What the answer rests on, and what it leaves out.
fn rest(view: &View) -> Markup {
    let found = &view.card;
    html! {
        @if !found.doubtful.is_empty() {
            details id="doubtful" {
                summary { (found.doubtful.len()) " parts bear more than their rating when all is well" }
                p { "Look at the part, or at the drawing." }
                ul.done { @for d in &found.doubtful { li { (d.part) " " (d.why) } } }
            }
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
