//! Like parts of a board that has no sheet, the odd ones first.

use bench::pages::alike::{Kin, Member};
use bench::pages::bar::Bar;
use bench::pages::board::View;
use bench::pages::harmless::Harmless;
use bench::project::UnitName;
use maud::{Markup, html};

use super::enter::{held, hidden, line};
use super::twins::put_away;

/// The section; it says how to get one where no like parts were read yet.
pub fn section(view: &View, back: &str, is_open: bool) -> Markup {
    let (list, units) = (&view.kin, &view.units);
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
            @for kin in list { (one(kin, units, &Place { board: &view.name, back, is_open })) }
        }
    }
}

/// Where what is dismissed is sent from.
struct Place<'a> {
    board: &'a str,
    back: &'a str,
    is_open: bool,
}

/// The form by which one odd reading is put away.
fn dismiss(kin: &Kin, member: &Member, unit: &UnitName, place: &Place) -> Markup {
    html! {
        details id=(format!("harmless-{}-{}-{}-{}", kin.state, kin.kind, member.red, unit.name)) {
            summary { "It is harmless" }
            form method="post" action="/entry" {
                (hidden("dismissal", place.back)) (held("board", place.board)) (held("unit", &unit.name))
                (held("state", kin.state)) (held("measured", kin.kind)) (held("red", &member.red)) (held("black", &member.black))
                (held("value", &member.written))
                (line("reason", "Because", ""))
                button type="submit" { "Put it away" }
            }
        }
    }
}

fn one(kin: &Kin, units: &[UnitName], place: &Place) -> Markup {
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
                @if place.is_open { (dismiss(kin, m, &units[m.unit], place)) }
            }
            p { "Middle " (kin.middle) "; 95 of 100 read " (kin.band) "." }
            @if let Some(b) = &kin.bar { (strip(b, kin, units, &label)) }
            @let away: Vec<(&Member, &Harmless)> = kin.members.iter().filter_map(|m| Some((m, m.harmless.as_ref()?))).collect();
            @if !away.is_empty() {
                details id=(format!("away-{}", kin.what.replace(' ', "-"))) {
                    summary { (away.len()) " said to be harmless" }
                    @for (m, found) in away {
                        p.figure-words { strong { (m.red) " to " (m.black) } ", unit " (units[m.unit].name) ": " strong { (m.value) } ", " (m.far) }
                        (put_away(found, place.back, place.is_open))
                    }
                }
            }
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

const WIDTH: f64 = 640.0;
/// Room for the unit's name at the left.
const EDGE: f64 = 70.0;
const ROW: f64 = 34.0;

/// All of them along one axis, a line a unit, the band behind; the odd ones are triangles with their names.
fn strip(b: &Bar, kin: &Kin, units: &[UnitName], label: &str) -> Markup {
    let x = |at: f64| EDGE + at * (WIDTH - EDGE - 10.0);
    let height = ROW * units.len() as f64 + 8.0;
    let y = |unit: usize| ROW * (unit as f64 + 0.6) + 4.0;
    html! {
        svg.bar.strip viewBox=(format!("0 0 {WIDTH} {height}")) width=(WIDTH) height=(height) role="img" aria-label=(label) {
            @for band in &b.bands {
                rect.band x=(one_place(x(band.from))) y="2" width=(one_place(x(band.to) - x(band.from))) height=(height - 4.0) {}
                line.nominal x1=(one_place(x(band.nominal))) x2=(one_place(x(band.nominal))) y1="2" y2=(height - 2.0) {}
            }
            @for (index, unit) in units.iter().enumerate() {
                text x="0" y=(one_place(y(index) + 5.0)) { "Unit " (unit.name) }
                line.axis x1=(EDGE) x2=(WIDTH) y1=(one_place(y(index))) y2=(one_place(y(index))) {}
            }
            @for m in kin.members.iter().rev() {
                @if let Some(at) = m.at {
                    @let (cx, cy) = (x(at), y(m.unit));
                    @if m.stands_out {
                        path.full d=(format!("M{cx:.1} {:.1}l8 14h-16z", cy - 8.0)) {}
                        text x=(one_place(cx)) y=(one_place(cy - 11.0)) text-anchor=(if at > 0.8 { "end" } else { "middle" }) { (m.red.split('.').next().unwrap_or("")) }
                    } @else {
                        circle.line.dotless cx=(one_place(cx)) cy=(one_place(cy)) r="5" {}
                    }
                }
            }
        }
    }
}

fn one_place(x: f64) -> String {
    format!("{x:.1}")
}
