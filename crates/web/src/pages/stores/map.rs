//! A map of passes and failures over two parameters, drawn with its working point and its margins in words.

use bench::memory::MapView;
use maud::{Markup, html};

const CELL: usize = 22;
const LEFT: usize = 48;
const BOTTOM: usize = 26;

/// One unit's map.
pub fn section(unit: &str, map: &MapView) -> Markup {
    html! {
        h2 id=(format!("map-{unit}")) { "Unit " (unit) ": where it passes" }
        p.answer { (margin(map)) }
        @if let Some((a, b)) = map.drift {
            p { "Since the map before, the middle of the passing region moved by " strong { (signed(a)) " " (map.parameters[0]) } " and " strong { (signed(b)) " " (map.parameters[1]) } "." }
        }
        (drawn(unit, map))
        @if let Some(margins) = &map.margins {
            ul.done {
                @for (name, sides) in map.parameters.iter().zip(margins) {
                    @for (word, (passes, fails)) in ["down", "up"].iter().zip(sides) {
                        li { (name) " " (word) ": passes for " (number(*passes)) ", " @match fails { Some(f) => { "fails at " (number(*f)) }, None => "no failure was met" } }
                    }
                }
            }
        }
    }
}

/// The side that gives way first, against the other side of the same parameter.
fn margin(map: &MapView) -> String {
    let Some(margins) = &map.margins else {
        return "It does not pass at the working point".to_owned();
    };
    let mut least: Option<(f64, String)> = None;
    for (index, sides) in margins.iter().enumerate() {
        let whole = sides[0].0 + sides[1].0;
        for (word, side) in ["below", "above"].iter().zip(sides) {
            let share = if whole > 0.0 { side.0 / whole } else { 0.0 };
            if least.as_ref().is_none_or(|(s, _)| share < *s) {
                let text = format!(
                    "The least margin is {} {} {word} the working point",
                    number(side.0),
                    unit_of(&map.parameters[index])
                );
                least = Some((share, text));
            }
        }
    }
    least.map_or(String::new(), |(_, text)| text)
}

/// `drive mA` is told as `mA of drive`.
fn unit_of(parameter: &str) -> String {
    match parameter.rsplit_once(' ') {
        Some((name, unit)) => format!("{unit} of {name}"),
        None => format!("of {parameter}"),
    }
}

fn number(x: f64) -> String {
    let text = format!("{x:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn signed(x: f64) -> String {
    format!("{}{}", if x > 0.0 { "+" } else { "" }, number(x))
}

fn drawn(unit: &str, map: &MapView) -> Markup {
    let (columns, rows) = (map.settings[0].len(), map.settings[1].len());
    let (width, height) = (LEFT + columns * CELL + 8, rows * CELL + BOTTOM + 20);
    let x = |i: usize| LEFT + i * CELL;
    let y = |j: usize| 20 + (rows - 1 - j) * CELL;
    let near = |list: &[f64], v: f64| list.iter().position(|s| *s == v);
    let point = near(&map.settings[0], map.point.0).zip(near(&map.settings[1], map.point.1));
    let every = |n: usize, most: usize| n.div_ceil(most).max(1);
    html! {
        p.legend { "A dot passes, a cross fails; the ring is the working point. " (map.parameters[1]) " upwards, " (map.parameters[0]) " across." }
        div.scroll {
            svg.pass viewBox=(format!("0 0 {width} {height}")) width=(width) height=(height) role="img" aria-label=(format!("Unit {unit}: {} of {} settings pass around the working point", map.region, columns * rows)) {
                @for (i, j) in &map.inside { rect.band x=(x(*i)) y=(y(*j)) width=(CELL) height=(CELL) {} }
                @for (j, row) in map.outcomes.iter().enumerate() {
                    @for (i, outcome) in row.iter().enumerate() {
                        @if *outcome == "pass" { circle.full cx=(x(i) + CELL / 2) cy=(y(j) + CELL / 2) r="3" {} }
                        @else if *outcome == "fail" { path.line d=(format!("M{} {}l8 8m0 -8l-8 8", x(i) + 7, y(j) + 7)) {} }
                    }
                }
                @if let Some((i, j)) = point { circle.here cx=(x(i) + CELL / 2) cy=(y(j) + CELL / 2) r="9" {} }
                @for (j, setting) in map.settings[1].iter().enumerate().step_by(every(rows, 8)) {
                    text x=(LEFT - 6) y=(y(j) + CELL / 2 + 5) text-anchor="end" { (number(*setting)) }
                }
                @for (i, setting) in map.settings[0].iter().enumerate().step_by(every(columns, 6)) {
                    text x=(x(i) + CELL / 2) y=(height - 8) text-anchor="middle" { (number(*setting)) }
                }
            }
        }
    }
}
