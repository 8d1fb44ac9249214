//! The sheet as a graph: boxes with their pins and levels, suspects in a heavy frame, the next net in the colour of what to do next.

use std::fmt::Write;

use bench::pages::logic::{Graph, Node, Pin, UnitView, View};
use maud::{Markup, html};

use super::{Chosen, address};

/// Width of a box, of the way between columns, and height of a line, in CSS pixels.
const BOX: usize = 150;
const WAY: usize = 56;
const LINE: usize = 22;
const EDGE: usize = 28;

/// What a net shows in the chosen row.
struct Levels<'v> {
    unit: Option<&'v UnitView>,
    row: usize,
    next: Option<&'v str>,
}

impl Levels<'_> {
    /// The level that a healthy sheet gives, and the other one if it was seen.
    fn of(&self, net: &str) -> (char, Option<char>) {
        let Some(unit) = self.unit else {
            return (' ', None);
        };
        let expected = unit.levels(net).get(self.row).copied().unwrap_or('x');
        let seen = unit
            .seen_of(net)
            .get(self.row)
            .copied()
            .flatten()
            .map(|l| if l { '1' } else { '0' });
        (expected, seen.filter(|s| *s != expected))
    }
}

/// The drawing, with the levels of the chosen row.
pub fn section(view: &View, chosen: &Chosen) -> Markup {
    let Some(graph) = &view.graph else {
        return html! {};
    };
    let unit = view.units.get(chosen.unit);
    let next = unit.and_then(|u| u.next.candidates.first());
    let levels = Levels {
        unit,
        row: chosen.row,
        next: next.map(|c| c.net.as_str()),
    };
    let suspects: Vec<&str> = unit.map_or(Vec::new(), |u| {
        u.result.gates.iter().map(|g| g.gate.as_str()).collect()
    });
    let size = (
        graph.columns * (BOX + WAY) - WAY + 2 * EDGE,
        graph.height * LINE + 2 * EDGE,
    );
    html! {
        h2 id="sheet" { "The sheet" @if let Some(u) = unit { ", unit " (u.unit) ", " (u.row_name(chosen.row, view.is_sequence)) } }
        @if let Some(u) = unit { (rows(view, u, chosen)) }
        p.legend {
            span { "0 1 x: what the sheet gives" }
            span { strong { "0!" } " seen, and not what the sheet gives" }
            span { "heavy frame: would explain it" }
            @if let Some(best) = next { span.now { "look next, in " @if view.is_sequence { "row " (best.row) } @else { (best.run) } ": " (best.net) } }
        }
        div.sheet-drawn tabindex="0" role="region" aria-label="The sheet as a graph; it scrolls sideways" {
            svg viewBox=(format!("0 0 {} {}", size.0, size.1)) width=(size.0) height=(size.1) role="img" aria-label=(format!("{} boxes in {} columns", graph.nodes.len(), graph.columns)) {
                @for (class, path) in wires(graph, &levels) { path class=(class) d=(path) {} }
                @for node in &graph.nodes { (boxed(node, suspects.contains(&node.part.as_str()), &levels)) }
            }
        }
    }
}

fn rows(view: &View, unit: &UnitView, chosen: &Chosen) -> Markup {
    let to = |row: usize| {
        format!(
            "{}?show={}&row={row}#sheet",
            address(&view.name),
            chosen.unit
        )
    };
    html! {
        nav.steps aria-label="Rows" {
            @if chosen.row > 0 { a.go href=(to(chosen.row)) { "Before: " (unit.row_name(chosen.row - 1, view.is_sequence)) } }
            @if chosen.row + 1 < unit.seen.len() { a.go href=(to(chosen.row + 2)) { "After: " (unit.row_name(chosen.row + 1, view.is_sequence)) } }
            @for (at, other) in view.units.iter().enumerate().filter(|(at, _)| *at != chosen.unit) {
                a.go href=(format!("{}?show={at}&row={}#sheet", address(&view.name), chosen.row + 1)) { "Unit " (other.unit) }
            }
        }
    }
}

/// Left edge of a box, and the middle of a line in it.
fn place(node: &Node, line: usize) -> (usize, usize) {
    (
        EDGE + node.column * (BOX + WAY),
        EDGE + (node.top + line) * LINE + LINE / 2,
    )
}

fn wires(graph: &Graph, levels: &Levels) -> Vec<(&'static str, String)> {
    let mut plain = String::new();
    let mut now = String::new();
    for wire in &graph.wires {
        let (x, y) = place(&graph.nodes[wire.from.0], wire.from.1 + 1);
        let (u, v) = place(&graph.nodes[wire.to.0], wire.to.1 + 1);
        let x = x + BOX;
        let path = if levels.next == Some(wire.net.as_str()) {
            &mut now
        } else {
            &mut plain
        };
        let _ = write!(
            path,
            "M{x} {y}C{} {y} {} {v} {u} {v}",
            x + WAY / 2,
            u - WAY / 2
        );
    }
    vec![("wire", plain), ("wire now", now)]
}

fn boxed(node: &Node, is_suspect: bool, levels: &Levels) -> Markup {
    let (x, y) = place(node, 0);
    let top = y - LINE / 2;
    let class = if is_suspect { "box suspect" } else { "box" };
    html! {
        g {
            title { (node.part) ", " (node.title) @if is_suspect { ": would explain what was seen" } }
            rect class=(class) x=(x) y=(top) width=(BOX) height=(node.height() * LINE) {}
            text.part x=(x + BOX / 2) y=(y + 5) text-anchor="middle" { (node.part) @if is_suspect { " ?" } }
            @for (line, pin) in node.inputs.iter().enumerate() { (label(node, line, pin, true, levels)) }
            @for (line, pin) in node.outputs.iter().enumerate() { (label(node, line, pin, false, levels)) }
        }
    }
}

fn label(node: &Node, line: usize, pin: &Pin, is_input: bool, levels: &Levels) -> Markup {
    let (x, y) = place(node, line + 1);
    let (expected, seen) = levels.of(&pin.net);
    // A pin that has a name and no number is known by its net.
    let number = if pin.pin.chars().count() <= 2 && pin.pin != pin.net {
        pin.pin.as_str()
    } else {
        ""
    };
    let net: String = pin.net.chars().take(7).collect();
    let level = match seen {
        Some(seen) => format!("{seen}!"),
        None => expected.to_string(),
    };
    let class = match (levels.next == Some(pin.net.as_str()), seen) {
        (true, _) => "pin now",
        (false, Some(_)) => "pin odd",
        (false, None) => "pin",
    };
    html! {
        @if is_input {
            text.number x=(x - 3) y=(y - 3) text-anchor="end" { (number) }
            text class=(class) x=(x + 4) y=(y + 5) { (net) " " (level) }
        } @else {
            text.number x=(x + BOX + 3) y=(y - 3) { (number) }
            text class=(class) x=(x + BOX - 4) y=(y + 5) text-anchor="end" { (level) " " (net) }
        }
    }
}
