//! The page of a board: is it right, and what does it say?

use bench::pages::board::{Cell, Count, Expected, Mark, View};
use bench::pages::{Caution, Row};
use bench::pages::{advice, unread};
use bench::project::UnitName;
use maud::{Markup, html};

use super::bench::unit_head;
use super::{Waiting, advice as advice_page, bar, marks, progress, remarks, unread as unread_page};
use crate::work::Stand;

/// What stands between header and footer.
pub fn main(
    view: &View,
    waiting: Option<&Waiting>,
    weighed: Option<&Stand<advice::View>>,
    rest: &Stand<unread::View>,
    address: &str,
) -> Markup {
    html! {
        h1 {
            (view.name)
            @if let Some(title) = &view.title { " " span.title { (title) } }
            @if let Some(slot) = &view.slot { " " span.slot { "slot " (slot) } }
        }
        @if let Some(why) = &view.without { p.answer { (why) } }
        (answer(view, waiting))
        (remarks::errors(&view.remarks))
        (cautions(&view.cautions))
        @if let Some(first) = view.rows.iter().find(|r| r.rank() == 0) { (look_first(first, &view.units)) }
        @if view.rows.is_empty() && view.without.is_none() {
            p { "No reading of this board was taken yet. Below stands what a healthy one would read; put readings into "
                code { "readings/" (view.name) ".csv" } "." }
        }
        @if !view.rows.is_empty() { (verdicts(view, address)) }
        @if let Some(weighed) = weighed { (advice_page::section(weighed)) }
        (remarks::doubts(&view.remarks))
        @if view.without.is_none() { (unread_page::folded(rest, address)) }
    }
}

/// How each unit stands, and what to look at first.
fn answer(view: &View, waiting: Option<&Waiting>) -> Markup {
    let read: Vec<(&UnitName, &Count)> = view.units.iter().zip(&view.counts).collect();
    html! {
        @if view.without.is_none() || !view.rows.is_empty() {
            ul.answer {
                @for (unit, count) in read {
                    li { "Unit " (unit.name) ": " (standing(count, view.is_waiting)) }
                }
            }
        }
        @match waiting {
            Some(Waiting::For(done, all)) if view.is_waiting => p.wait role="status" {
                "Expectations are being computed: " span data-progress { (progress(*done, *all)) } ". The page fills itself."
            },
            Some(Waiting::Never(why)) => p.wait { "There are no verdicts: " (why) },
            _ => {}
        }
    }
}

fn standing(count: &Count, is_waiting: bool) -> String {
    let all = count.all();
    if all == 0 {
        return "not looked at".to_owned();
    }
    if is_waiting {
        return format!("{all} readings");
    }
    let mut parts = Vec::new();
    if count.disagree > 0 {
        parts.push(format!("{} of {all} disagree", count.disagree));
    }
    if count.edge > 0 {
        parts.push(format!("{} at the edge", count.edge));
    }
    if count.disagree == 0 {
        parts.push(format!("{} of {all} agree", count.agree));
    }
    if count.without > 0 {
        parts.push(format!("{} without expectation", count.without));
    }
    parts.join(", ")
}

fn look_first(row: &Row, units: &[UnitName]) -> Markup {
    let odd = row
        .cells
        .iter()
        .zip(units)
        .find(|(c, _)| c.mark.disagrees());
    html! {
        @if let Some((cell, unit)) = odd {
            p.next {
                a href="#r0" {
                    "Look first at " strong { (row.red) } " (red), " strong { (row.black) } " (black), " (row.state) " " (row.kind)
                    ": unit " (unit.name) " read " strong { (cell.value) }
                    @if let Some(e) = row.expected.first() { ", healthy boards read " (e.band) }
                    "."
                }
            }
        }
    }
}

fn cautions(list: &[Caution]) -> Markup {
    html! {
        @if !list.is_empty() {
            aside.caution aria-label="Cautions" {
                @for c in list {
                    p { strong { "Caution. " } (c.what) }
                    p.why { (c.why) }
                }
                p { "Local rules stand above this page." }
            }
        }
    }
}

fn verdicts(view: &View, address: &str) -> Markup {
    let heads = [
        "Disagrees",
        "At the edge",
        "Nothing to hold it against",
        "Agrees",
    ];
    let columns = view.units.len() + 3;
    html! {
        div.filter hidden data-filter {
            label { "Filter " input type="search" autocomplete="off" spellcheck="false" data-filter-text; }
            label.only { input type="checkbox" data-filter-odd; " only what does not agree" }
            span role="status" data-filter-count {}
        }
        table.verdicts {
            caption { "Readings and verdicts; meter " (view.meter) " where a reading names none" }
            thead {
                tr {
                    th scope="col" { "Leads" }
                    th scope="col" { "The sheet expects" }
                    @for unit in &view.units { th scope="col" { (unit_head(unit)) } }
                    th scope="col" { "What it means" }
                }
            }
            @for rank in 0..=3u8 {
                @let rows: Vec<(usize, &Row)> = view.rows.iter().enumerate().filter(|(_, r)| r.rank() == rank).collect();
                @if !rows.is_empty() {
                    tbody {
                        tr.group { th scope="rowgroup" colspan=(columns) {
                            @if view.is_waiting { "Being judged" } @else { (heads[usize::from(rank)]) }
                        } }
                        @for (index, r) in rows { (row(r, index, &view.units, view.is_waiting)) }
                    }
                }
            }
        }
        p { a.go href=(format!("{address}/verdicts.csv")) { "Download as CSV" } }
    }
}

fn row(r: &Row, index: usize, units: &[UnitName], is_waiting: bool) -> Markup {
    html! {
        tr id=(format!("r{index}")) data-row tabindex="-1" data-odd=[(r.rank() < 3).then_some("")] {
            th.leads scope="row" {
                span.lead { span.word { "red" } " " strong { (r.red) } }
                span.lead { span.word { "black" } " " strong { (r.black) } }
                span.kind { (r.state) " " (r.kind) }
                @for c in &r.conditions { span.condition { (c) } }
            }
            td.expected { (expected(r, units, is_waiting)) }
            @for (cell, unit) in r.cells.iter().zip(units) { (reading(cell, unit)) }
            td.means data-name="What it means" {
                @if !r.twin.is_empty() { p.twin { (r.twin) } }
                @for m in &r.means { p { (m) } }
                @for e in &r.expected {
                    @if !e.because.is_empty() { p.because { "Expected" @if !e.units.is_empty() { " in " (of_units(e, units)) } ": " (e.because) } }
                }
            }
        }
    }
}

fn expected(r: &Row, units: &[UnitName], is_waiting: bool) -> Markup {
    let label: Vec<String> = r
        .expected
        .iter()
        .map(|e| format!("healthy boards read {}", e.band))
        .chain(
            r.cells
                .iter()
                .zip(units)
                .filter(|(c, _)| !c.value.is_empty())
                .map(|(c, u)| format!("unit {} read {}, {}", u.name, c.value, c.mark.words())),
        )
        .collect();
    html! {
        @if r.expected.is_empty() {
            span.nominal { @if is_waiting { "being computed" } @else { "no expectation" } }
        }
        @for e in &r.expected {
            @if !e.units.is_empty() { span.as-built { (of_units(e, units)) } }
            span.nominal { (e.nominal) }
            span.band-words { (e.band) }
        }
        @if let Some(b) = &r.bar { (bar::draw(b, units, &label.join("; "))) }
    }
}

/// Which units an expectation holds for, if not for all.
fn of_units(e: &Expected, units: &[UnitName]) -> String {
    let names: Vec<&str> = e.units.iter().map(|u| units[*u].name.as_str()).collect();
    match names.as_slice() {
        [] => String::new(),
        [one] => format!("unit {one} as it is built"),
        many => format!("units {} as they are built", many.join(", ")),
    }
}

fn reading(cell: &Cell, unit: &UnitName) -> Markup {
    let (whole, rest) = at_point(&cell.value);
    html! {
        td.reading data-name=(format!("Unit {}", unit.name)) data-odd=[cell.mark.disagrees().then_some("")] {
            @if cell.mark != Mark::NotTaken {
                @if cell.value.len() > 10 {
                    span.figure.long { (cell.value) }
                } @else {
                    span.figure { span.whole { (whole) } span { (rest) } }
                }
            }
            span.verdict { (marks::verdict(cell.mark)) span { (cell.mark.words()) } }
            @if !cell.note.is_empty() { span.note { (cell.note) } }
        }
    }
}

/// Parts a value at its decimal point, so that a column of them lines up there.
fn at_point(value: &str) -> (&str, &str) {
    let end = value.find(['.', ' ']).unwrap_or(value.len());
    value.split_at(end)
}

#[cfg(test)]
mod tests {
    use super::at_point;

    #[test]
    fn values_part_at_the_point_or_at_the_unit() {
        assert_eq!(at_point("1.84 kΩ"), ("1", ".84 kΩ"));
        assert_eq!(at_point("-12 V"), ("-12", " V"));
        assert_eq!(at_point("OL"), ("OL", ""));
    }
}
