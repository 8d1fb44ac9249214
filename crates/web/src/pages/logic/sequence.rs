//! Rows of both units under each other, as traces: what the sheet gives thin, what was seen heavy, the first difference marked.

use std::fmt::Write;

use bench::pages::logic::{UnitView, View};
use maud::{Markup, html};

/// Width of a row and height of a trace, in CSS pixels.
const STEP: usize = 24;
const HIGH: usize = 22;
/// Rows that are drawn; of more, those around the first that is wrong.
const ROWS: usize = 48;

/// The traces; nothing for a sheet that keeps no state.
pub fn section(view: &View) -> Markup {
    if !view.is_sequence || view.units.is_empty() {
        return html! {};
    }
    let nets: Vec<&str> = view.units[0].nets_seen();
    let rows = view.units.iter().map(|u| u.seen.len()).max().unwrap_or(0);
    let wrong = view
        .units
        .iter()
        .map(UnitView::first_wrong)
        .min()
        .unwrap_or(0);
    let from = if rows > ROWS {
        wrong.saturating_sub(ROWS / 2).min(rows - ROWS)
    } else {
        0
    };
    let to = rows.min(from + ROWS);
    html! {
        h2 { "Rows " (from + 1) " to " (to) ", unit by unit" }
        p.legend { span { "thick: seen" } span { "thin, above it: what the sheet gives where it differs" } }
        div.sheet-drawn tabindex="0" role="region" aria-label="Traces; they scroll sideways" {
            table.traces {
                thead { tr { th scope="col" { "Net" } th scope="col" { "Unit" } th scope="col" { (ruler(from, to)) } } }
                tbody {
                    @for net in &nets {
                        @for (at, unit) in view.units.iter().enumerate() {
                            tr {
                                @if at == 0 { th scope="rowgroup" rowspan=(view.units.len()) { (net) } }
                                th scope="row" { (unit.unit) }
                                td { (trace(net, unit, from, to)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn ruler(from: usize, to: usize) -> Markup {
    let width = (to - from) * STEP;
    html! {
        svg.trace viewBox=(format!("0 0 {width} {HIGH}")) width=(width) height=(HIGH) aria-hidden="true" {
            @for row in (from..to).filter(|r| (r + 1) % 5 == 0) { text x=((row - from) * STEP + STEP / 2) y="16" text-anchor="middle" { (row + 1) } }
        }
    }
}

fn trace(net: &str, unit: &UnitView, from: usize, to: usize) -> Markup {
    let seen = unit.seen_of(net);
    let expected = unit.levels(net);
    let width = (to - from) * STEP;
    let (mut thick, mut thin, mut last) = (String::new(), String::new(), None);
    let mut odd = Vec::new();
    for (row, level) in seen.iter().enumerate().take(to).skip(from) {
        let x = (row - from) * STEP;
        let y = |level: bool| if level { 4 } else { HIGH - 4 };
        let Some(level) = *level else {
            last = None;
            continue;
        };
        let verb = if last.is_some() { 'L' } else { 'M' };
        let _ = write!(thick, "{verb}{x} {}L{} {}", y(level), x + STEP, y(level));
        last = Some(level);
        let should = expected.get(row).copied().unwrap_or('x');
        if should != 'x' && (should == '1') != level {
            odd.push(row + 1);
            let _ = write!(thin, "M{x} {}h{STEP}", y(should == '1'));
        }
    }
    let words = match odd.first() {
        Some(first) => format!(
            "{net}, unit {}: first other than the sheet in row {first}, {} rows in all",
            unit.unit,
            odd.len()
        ),
        None => format!("{net}, unit {}: as the sheet", unit.unit),
    };
    html! {
        svg.trace viewBox=(format!("0 0 {width} {HIGH}")) width=(width) height=(HIGH) role="img" aria-label=(words) {
            path.should d=(thin) {}
            path.seen d=(thick) {}
            @if let Some(first) = odd.first().filter(|f| **f > from) {
                @let x = (first - 1 - from) * STEP;
                path.first d=(format!("M{x} 0v{HIGH}")) {}
            }
        }
    }
}
