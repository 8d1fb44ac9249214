//! The page of the bench: where is the work, and what is next?

use bench::pages::overview::{Assembly, Cell, Hold, Line, NeedStanding, View};
use bench::project::UnitName;
use maud::{Markup, html};

use super::enter::{held, hidden, line};
use super::{address, marks, remarks};

/// What stands between header and footer.
pub fn main(view: &View, start: Option<&Markup>) -> Markup {
    html! {
        h1 { (view.name) }
        @if view.lines.is_empty() {
            @if start.is_none() { (empty()) }
            (remarks::errors(&view.remarks))
        } @else {
            @if let Some(next) = &view.next {
                p.next { a href=(address(&next.board)) data-key="Enter" { "Continue at " strong { (next.board) } ": " (next.why) } }
            } @else if !view.is_waiting {
                p.answer { "Every board was read in every unit, and no reading disagrees." }
            }
            @if let Some(hold) = &view.hold { (hold_point(hold, start.is_some())) }
            p { a.go href="/power" { "Before first power: the cold card and the stages" } }
            (remarks::errors(&view.remarks))
            (table(view))
        }
        @if let Some(start) = start { (start) }
        (remarks::doubts(&view.remarks))
    }
}

fn empty() -> Markup {
    html! {
        p.answer { "There is no board here yet." }
        p { "Put a circuit sheet into the folder " code { "sheets" } " of this project: one part a line, as in" }
        pre { "sheet A2 title=\"Negative regulator\" {\n    net \"0V\" role=ground\n    resistor R1 \"2k2\" RAW REF\n}" }
        p { "This page shows it as soon as the file is there. Name the machine and its units in " code { "machine.kdl" } "; put readings into " code { "readings/A2.csv" } "." }
    }
}

fn hold_point(hold: &Hold, is_open: bool) -> Markup {
    html! {
        section.hold aria-labelledby="hold" {
            h2 id="hold" { small { "Next hold point" } (hold.name) }
            @if hold.needs.is_empty() {
                p { "The machine file does not say what it needs." }
            }
            ul.needs {
                @for (text, standing) in &hold.needs {
                    li {
                        (marks::need(standing))
                        div {
                            p { (text) }
                            p.figures {
                                @match standing {
                                    NeedStanding::Shown => "what was written down shows it",
                                    NeedStanding::Open(why) => { "open: " (why) }
                                    NeedStanding::Yours(units) => {
                                        "for a person to say"
                                        @match units.as_slice() {
                                            [] => {},
                                            [one] => { "; open on unit " (one) },
                                            many => { "; open on units " (many.join(" and ")) },
                                        }
                                    }
                                }
                            }
                            @if let (NeedStanding::Yours(units), true) = (standing, is_open) {
                                @if !units.is_empty() { (say(text, units)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The forms by which a person says of a unit that a condition is met.
fn say(need: &str, units: &[String]) -> Markup {
    html! {
        details id=(format!("say-{need}")) {
            summary { "Say so" }
            @for unit in units {
                form method="post" action="/entry" data-keep id=(format!("say-{unit}-{need}")) {
                    (hidden("test", "/")) (held("unit", unit)) (held("name", need)) (held("passed", "yes"))
                    div.fields {
                        (line("text", &format!("Unit {unit}: what was seen, and by whom"), ""))
                        button type="submit" { "It is so" }
                    }
                }
            }
        }
    }
}

fn table(view: &View) -> Markup {
    html! {
        table.bench {
            caption { @if view.has_machine { "Assemblies in bring-up order" } @else { "Boards of this folder" } }
            thead {
                tr {
                    th scope="col" { @if view.has_machine { "Assembly" } @else { "Board" } }
                    @for unit in &view.units { th scope="col" { (unit_head(unit)) } }
                    @if view.units.is_empty() { th scope="col" { "Units" } }
                }
            }
            tbody {
                @for line in &view.lines {
                    @match line {
                        Line::Hold(name) => tr.hold-line { th scope="row" colspan=(view.units.len().max(1) + 1) { "Hold: " (name) } },
                        Line::Assembly(a) => (assembly(a)),
                    }
                }
            }
        }
    }
}

/// `Unit 1` with its serial number below.
pub fn unit_head(unit: &UnitName) -> Markup {
    html! {
        span.unit { "Unit " (unit.name) }
        @if let Some(serial) = &unit.serial { span.serial { (serial) } }
    }
}

fn assembly(a: &Assembly) -> Markup {
    html! {
        tr {
            th scope="row" {
                span.assembly { (a.name) }
                ul.boards {
                    @for (name, title, slot) in &a.boards {
                        li {
                            a href=(address(name)) data-row {
                                strong { (name) }
                                @if let Some(title) = title { " " (title) }
                                @if let Some(slot) = slot { span.slot { " slot " (slot) } }
                            }
                        }
                    }
                }
            }
            @for c in &a.cells { (cell(c)) }
            @if a.cells.is_empty() { td { "no readings yet" } }
        }
    }
}

fn cell(c: &Cell) -> Markup {
    html! {
        td {
            span.standing { (marks::standing(c.standing)) span { (c.standing.words()) } }
            @if !c.figures.is_empty() { span.figures { (c.figures) } }
        }
    }
}
