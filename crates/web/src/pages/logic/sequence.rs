//! Rows of both units under each other, as traces: what the sheet gives thin, what was seen heavy, the first difference marked.

use std::fmt::Write;

use bench::pages::logic::{UnitView, View};
use maud::{Markup, html};

/// Width of a row, height of a trace with its room, and how high a trace rises, in CSS pixels.
const STEP: usize = 20;
const LINE: usize = 28;
const HIGH: usize = 16;
/// Room for the names of nets and units, and above the traces.
const LEFT: usize = 104;
const TOP: usize = 26;
/// Rows that are drawn; of more, those around the first that is wrong.
const ROWS: usize = 48;

/// The traces; nothing for a sheet that keeps no state.
pub fn section(view: &View) -> Markup {
    if !view.is_sequence || view.units.is_empty() {
        return html! {};
    }
    let mut nets: Vec<&str> = Vec::new();
    for net in view.units.iter().flat_map(UnitView::nets_seen) {
        if !nets.contains(&net) {
            nets.push(net);
        }
    }
    let rows = view.units.iter().map(|u| u.seen.len()).max().unwrap_or(0);
    let is_wrong = |u: &&UnitView| u.result.first.is_some();
    let wrong = view
        .units
        .iter()
        .filter(is_wrong)
        .map(UnitView::first_wrong)
        .min();
    let from = match wrong {
        Some(wrong) if rows > ROWS => wrong.saturating_sub(ROWS / 2).min(rows - ROWS),
        _ => 0,
    };
    let to = rows.min(from + ROWS);
    let group = view.units.len() * LINE + 8;
    let size = (LEFT + (to - from) * STEP + 8, TOP + nets.len() * group);
    html! {
        h2 { "Rows " (from + 1) " to " (to) ", unit by unit" }
        p.legend { span { "heavy: seen" } span { "broken: what the sheet gives where it differs" } }
        div.sheet-drawn tabindex="0" role="region" aria-label="Traces; they scroll sideways" {
            svg viewBox=(format!("0 0 {} {}", size.0, size.1)) width=(size.0) height=(size.1) role="img" aria-label="Levels of both units, row by row" {
                @for row in (from..to).filter(|r| (r + 1) % 5 == 0) { text.number x=(LEFT + (row - from) * STEP + STEP / 2) y="17" text-anchor="middle" { (row + 1) } }
                @for (at, net) in nets.iter().enumerate() {
                    @let top = TOP + at * group;
                    path.hair d=(format!("M0 {top}h{}", size.0)) {}
                    text.part x="6" y=(top + 20) { (net.chars().take(8).collect::<String>()) }
                    @for (line, unit) in view.units.iter().enumerate() { (trace(net, unit, (from, to), top + 4 + line * LINE)) }
                }
            }
        }
    }
}

fn trace(net: &str, unit: &UnitView, (from, to): (usize, usize), top: usize) -> Markup {
    let seen = unit.seen_of(net);
    let expected = unit.levels(net);
    let y = |level: bool| top + if level { 4 } else { 4 + HIGH };
    let (mut heavy, mut broken, mut is_joined) = (String::new(), String::new(), false);
    let mut odd = Vec::new();
    for (row, level) in seen.iter().enumerate().take(to).skip(from) {
        let x = LEFT + (row - from) * STEP;
        let Some(level) = *level else {
            is_joined = false;
            continue;
        };
        let verb = if is_joined { 'L' } else { 'M' };
        let _ = write!(heavy, "{verb}{x} {}H{}", y(level), x + STEP);
        is_joined = true;
        let should = expected.get(row).copied().unwrap_or('x');
        if should != 'x' && (should == '1') != level {
            odd.push(row + 1);
            let _ = write!(broken, "M{x} {}h{STEP}", y(should == '1'));
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
        g {
            title { (words) }
            text x=(LEFT - 8) y=(top + 18) text-anchor="end" { (unit.unit) }
            path.should d=(broken) {}
            path.seen d=(heavy) {}
            @if let Some(first) = odd.first() { path.first d=(format!("M{} {}v{LINE}", LEFT + (first - 1 - from) * STEP, top - 2)) {} }
        }
    }
}
