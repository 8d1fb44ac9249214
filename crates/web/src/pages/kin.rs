//! Like parts of a board that has no sheet, the odd ones first.

use bench::pages::alike::{Kin, Member};
use bench::project::UnitName;
use maud::{Markup, html};

use super::bar;

/// The section; it says how to get one where no like parts were read yet.
pub fn section(list: &[Kin], units: &[UnitName]) -> Markup {
    html! {
        section.kin aria-labelledby="kin" {
            h2 id="kin" { "Like parts beside each other" }
            @if list.is_empty() {
                p { "Read the same pins of five like parts or more, named as in " strong { "D7.a" } " and " strong { "D7.k" }
                    ": what is odd among them stands out, without a drawing." }
            } @else {
                p { "A population beats the book: what stands out is more than 3.5 spreads from the middle of its like. Parts of one letter "
                    "may still be of different kinds; then the spread is wide, and nothing stands out." }
            }
            @for kin in list { (one(kin, units)) }
        }
    }
}

fn one(kin: &Kin, units: &[UnitName]) -> Markup {
    let odd: Vec<&Member> = kin.odd().collect();
    let label = format!(
        "{}: {} read, the middle is {}",
        kin.what,
        kin.members.len(),
        kin.middle
    );
    html! {
        article.kin {
            h3 { (kin.what) }
            p.answer {
                @match odd.len() { 0 => "None stands out", 1 => "One stands out", n => { (n) " stand out" } }
                " of " (kin.members.len())
            }
            @for m in &odd {
                p.figure-words { strong { (m.red) " to " (m.black) } ", unit " (units[m.unit].name) ": " strong { (m.value) } ", " (m.far) }
            }
            p { "Middle " (kin.middle) "; 95 of 100 read " (kin.band) "." }
            @if let Some(b) = &kin.bar { (bar::draw(b, units, &label)) }
            details id=(format!("kin-{}", kin.what.replace(' ', "-"))) {
                summary { "All " (kin.members.len()) }
                table.plain {
                    thead { tr { th scope="col" { "Leads" } th scope="col" { "Unit" } th.number scope="col" { "Read" } th scope="col" { "From the middle" } } }
                    tbody {
                        @for m in &kin.members {
                            tr data-row tabindex="-1" {
                                th scope="row" { (m.red) " to " (m.black) }
                                td data-name="unit" { (units[m.unit].name) }
                                td.number data-name="read" { (m.value) }
                                td data-name="from the middle" { (m.far) }
                            }
                        }
                    }
                }
            }
        }
    }
}
