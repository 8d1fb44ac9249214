//! The page of a board: is it right, and what does it say?

use bench::pages::board::{Cell, Count, Expected, Mark, View};
use bench::pages::{Caution, Row};
use bench::pages::{advice, unread};
use bench::project::UnitName;
use maud::{Markup, html};

use store::record::Work;

use super::bench::unit_head;
use super::enter::{self, Given};
use super::ledger::coded;
use super::{
    Waiting, advice as advice_page, bar, finding, kin, marks, progress, remarks,
    unread as unread_page,
};
use crate::work::Stand;

/// All that the page shows.
pub struct Shown<'a> {
    /// The board with its verdicts.
    pub view: &'a View,
    /// What is still lacking.
    pub waiting: Option<&'a Waiting>,
    /// Suspects and the next reading.
    pub weighed: Option<&'a Stand<advice::View>>,
    /// Expectations where nothing was read.
    pub rest: &'a Stand<unread::View>,
    /// Where the next reading's leads go, on the board's pictures.
    pub map: Option<&'a Markup>,
    /// The page's own address.
    pub address: &'a str,
    /// The state of the work.
    pub work: &'a Work,
    /// Entries can be written.
    pub is_open: bool,
    /// What the form for a reading starts with.
    pub given: &'a Given,
}

/// What stands between header and footer.
pub fn main(shown: &Shown) -> Markup {
    let Shown {
        view,
        waiting,
        weighed,
        rest,
        address,
        is_open,
        ..
    } = *shown;
    html! {
        h1 {
            (view.name)
            @if let Some(title) = &view.title { " " span.title { (title) } }
            @if let Some(slot) = &view.slot { " " span.slot { "slot " (slot) } }
        }
        nav.steps aria-label="This board" {
            @if is_open { a.go href=(format!("{address}/probe")) data-key="t" { "Take readings one by one" } }
            a.go href=(format!("{address}/map")) data-key="m" { "Map" }
            a.go href=(format!("{address}/trust")) data-key="a" { "Trust, tests, trimmers, capacitors" }
            a.go href=(format!("{address}/sheet")) data-key="d" { @if view.without.is_some() { "Type its sheet" } @else { "Its sheet" } }
            a.go href=(format!("/ledger?board={}", coded(&view.name))) { "What happened to it" }
        }
        @if let Some(why) = &view.without { p.answer { (why) } }
        (answer(view, waiting))
        (remarks::errors(&view.remarks))
        @if let Some(first) = view.rows.iter().find(|r| r.rank() == 0) { (look_first(first, &view.units)) }
        (cautions(&view.cautions))
        @if view.rows.is_empty() && view.without.is_none() {
            p { "No reading of this board was taken yet. Below stands what a healthy one would read; enter what you read, or put readings into "
                code { "readings/" (view.name) ".csv" } "." }
        }
        @if is_open { (enter::reading(view, address, shown.given)) }
        @if view.without.is_some() { (kin::section(view, &format!("{address}#kin"), is_open)) }
        @if !view.rows.is_empty() { (verdicts(view, address, is_open)) }
        @if let Some(weighed) = weighed { (advice_page::section(weighed, &view.name, address, is_open)) }
        @if let Some(map) = shown.map { (map) }
        (finding::section(shown.work, &place(shown)))
        (remarks::doubts(&view.remarks))
        @if view.without.is_none() { (unread_page::folded(rest, address)) }
    }
}

fn place<'a>(shown: &Shown<'a>) -> finding::Place<'a> {
    let suspects = match shown.weighed {
        Some(Stand::Done(view) | Stand::Again(view)) => {
            let all = view.units.iter().flat_map(|u| &u.suspects);
            all.map(|s| s.name.clone()).collect()
        }
        _ => Vec::new(),
    };
    finding::Place {
        board: &shown.view.name,
        units: shown.view.units.iter().map(|u| u.name.as_str()).collect(),
        back: shown.address,
        parts: &shown.view.parts,
        suspects,
        is_open: shown.is_open,
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
    if count.disagree == 0 && count.without < all {
        parts.push(format!("{} of {all} agree", count.agree));
    }
    if count.without == all {
        parts.push(format!("{all} readings"));
    }
    if count.odd > 0 {
        parts.push(format!("{} odd among like ones", count.odd));
    }
    if count.without > 0 && count.without < all {
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
                @for c in list { p { strong { "Caution. " } (c.what) } }
                p { "Local rules stand above this page." }
                (reasons(list))
            }
        }
    }
}

/// Why each caution is one, folded: what is to be done stands without it.
pub fn reasons(list: &[Caution]) -> Markup {
    html! {
        @if !list.is_empty() {
            details id="why" {
                summary { "Why" }
                @for c in list { p { (c.what) } p.why { (c.why) } }
            }
        }
    }
}

fn verdicts(view: &View, address: &str, is_open: bool) -> Markup {
    // Where nothing is expected, like readings may still say that something is odd.
    let groups: [(&str, u8, bool); 5] = [
        ("Disagrees", 0, false),
        ("At the edge", 1, false),
        ("Odd among like readings", 2, true),
        ("Nothing to hold it against", 2, false),
        ("Agrees", 3, false),
    ];
    let is_of = |r: &Row, (_, rank, odd): (&str, u8, bool)| {
        r.rank() == rank && (rank != 2 || r.is_odd() == odd)
    };
    // Without a sheet nothing is expected anywhere, and nothing is said of it in each row.
    let is_drawn = view.without.is_none();
    let columns = view.units.len() + if is_drawn { 3 } else { 2 };
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
                    @if is_drawn { th scope="col" { "The sheet expects" } }
                    @for unit in &view.units { th scope="col" { (unit_head(unit)) } }
                    th scope="col" { "What it means" }
                }
            }
            @for group in groups {
                @let rows: Vec<(usize, &Row)> = view.rows.iter().enumerate().filter(|(_, r)| is_of(r, group)).collect();
                @if !rows.is_empty() {
                    tbody {
                        tr.group { th scope="rowgroup" colspan=(columns) {
                            @if view.is_waiting { "Being judged" } @else { (group.0) }
                        } }
                        @for (index, r) in rows { (row(r, index, view, address, is_open)) }
                    }
                }
            }
        }
        p { a.go href=(format!("{address}/verdicts.csv")) { "Download as CSV" } }
    }
}

fn row(r: &Row, index: usize, view: &View, address: &str, is_open: bool) -> Markup {
    let (units, is_waiting) = (&view.units, view.is_waiting);
    html! {
        tr id=(format!("r{index}")) data-row tabindex="-1" data-odd=[(r.rank() < 2 || r.is_odd()).then_some("")] {
            th.leads scope="row" {
                span.lead { span.word { "red" } " " strong { (r.red) } }
                span.lead { span.word { "black" } " " strong { (r.black) } }
                span.kind { (r.state) " " (r.kind) }
                @for c in &r.conditions { span.condition { (c) } }
            }
            @if view.without.is_none() { td.expected { (expected(r, units, is_waiting)) } }
            @for (cell, unit) in r.cells.iter().zip(units) { (reading(cell, unit, view.without.is_none())) }
            td.means data-name="What it means" {
                @if !r.twin.is_empty() { p.twin { (r.twin) } }
                @for m in &r.means { p { (m) } }
                @for e in &r.expected {
                    @if !e.because.is_empty() { p.because { "Expected" @if !e.units.is_empty() { " in " (of_units(e, units)) } ": " (e.because) } }
                }
                @if is_open {
                    @for (cell, unit) in r.cells.iter().zip(units) {
                        @if cell.mark.disagrees() || cell.stands_out || (r.is_odd() && cell.mark != Mark::NotTaken && r.cells.iter().all(|c| !c.stands_out)) { (open_finding(r, cell, unit, view, address)) }
                    }
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

fn reading(cell: &Cell, unit: &UnitName, is_drawn: bool) -> Markup {
    let (whole, rest) = at_point(&cell.value);
    html! {
        td.reading data-name=(format!("Unit {}", unit.name)) data-odd=[(cell.mark.disagrees() || cell.stands_out).then_some("")] {
            @if cell.mark != Mark::NotTaken {
                @if cell.value.len() > 10 {
                    span.figure.long { (cell.value) }
                } @else {
                    span.figure { span.whole { (whole) } span { (rest) } }
                }
            }
            @if cell.stands_out { span.verdict { (marks::out()) span { "stands out among like parts" } } }
            @else if is_drawn || cell.mark != Mark::NoExpectation { span.verdict { (marks::verdict(cell.mark)) span { (cell.mark.words()) } } }
            @if !cell.note.is_empty() { span.note { (cell.note) } }
            @if let Some(entry) = &cell.entry { a.small href=(format!("/entry/{entry}")) { "correct" } }
        }
    }
}

/// A finding by a verdict; a reading of a file is sent along, so that it can be entered first.
fn open_finding(r: &Row, cell: &Cell, unit: &UnitName, view: &View, address: &str) -> Markup {
    let band = r.expected.first().map_or(String::new(), |e| {
        format!(", healthy boards read {}", e.band)
    });
    let what = format!(
        "{} {} {} to {} read {}{band}",
        r.state, r.kind, r.red, r.black, cell.value
    );
    html! {
        form.inline method="post" action="/entry" {
            (enter::hidden("finding", &format!("{address}#findings")))
            (enter::held("board", &view.name)) (enter::held("unit", &unit.name))
            (enter::held("verdict", cell.mark.words())) (enter::held("text", &what))
            @match &cell.entry {
                Some(entry) => (enter::held("reading", entry)),
                None => {
                    @for (name, value) in [("state", r.state), ("measured", r.kind), ("red", &r.red), ("black", &r.black), ("value", &cell.written), ("note", &cell.note)] {
                        (enter::held(name, value))
                    }
                }
            }
            button type="submit" { "Open a finding on unit " (unit.name) }
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
