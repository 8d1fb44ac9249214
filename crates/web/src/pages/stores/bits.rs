//! The bits of a store, drawn: filled where wrong and explained by what is chosen, hollow where wrong and left, a ring where unsteady.

use std::fmt::Write;

use bench::memory::Store;
use bench::memory::picture::{Layout, Run};
use bench::pages::stores::{Cause, Element, Part, Picture, View};
use maud::{Markup, html};

/// Largest cell, in CSS pixels, and the largest side of a panel that a phone still shows whole.
const CELL: u32 = 10;
const SIDE: u32 = 308;
/// Rows of a panel beyond which its cells are smaller, so that both orders of two units fit beside each other.
const TALL: u32 = 40;
/// Largest height of a panel; beyond it the store is not drawn.
const HEIGHT: u32 = 4000;
/// Room for the words before the rows, and above the columns.
const LEFT: u32 = 40;
const TOP: u32 = 20;
/// Panels that are drawn without marks on them; of more only those with marks.
const PANELS: usize = 8;

/// What is chosen in the finding of a number: a cause, and one of its elements or all.
pub type Choice<'c> = &'c dyn Fn(usize) -> Option<(&'c Cause, Option<usize>)>;

/// The pictures of a part, both units side by side.
pub fn section(view: &View, index: usize, part: &Part, chosen: Choice) -> Markup {
    let Some((store, layouts)) = &view.drawn else {
        return html! {};
    };
    let is_marked = |p: &Picture| p.wrong.iter().chain(&p.unsteady).any(|w| *w != 0);
    if !part.pictures.iter().any(is_marked) {
        return html! {};
    }
    // A finding of two units says in which of them its elements would have failed.
    let of_unit = |unit: &str| {
        (0..part.findings.len())
            .filter_map(chosen)
            .find(|(cause, _)| cause.unit.as_deref() == Some(unit))
    };
    let of_picture = |unit: &str| match of_unit(unit) {
        Some((cause, element)) => Taken::Here(cause, element),
        // Two units that differ are one finding: what the other is to blame for is right in this one.
        None if part.findings.len() < part.pictures.len() => {
            chosen(0).map_or(Taken::Open, |(cause, _)| Taken::Right(cause))
        }
        None => Taken::Open,
    };
    let said: Vec<String> = part
        .pictures
        .iter()
        .filter_map(|p| of_unit(&p.unit))
        .map(
            |(cause, element)| match element.and_then(|e| cause.elements.get(e)) {
                Some(e) => e.name.clone(),
                None => super::names(cause),
            },
        )
        .collect();
    html! {
        h3 id=(format!("bits-{index}")) { "Bits" @if !said.is_empty() { ", with what is explained by " (said.join("; ")) } }
        p.legend {
            span { (key("full", "M3 3h10v10h-10z")) (part.verb[0]) ", explained by what is chosen" }
            span { (key("line", "M3 3h10v10h-10z")) (part.verb[0]) ", not explained by it" }
            span { (key("line", "M3 8a5 5 0 1 0 10 0a5 5 0 1 0 -10 0")) "unsteady" }
            span { (key("ground", "M3 3h10v10h-10z")) "nothing to mark" }
        }
        div.orders {
            @for (layout, name) in layouts.iter().zip(["By address, the highest bit of a word at its left", "By position"]) {
                div {
                    h4 { (name) }
                    div.units {
                        @for picture in &part.pictures {
                            figure {
                                figcaption { strong { "Unit " (picture.unit) } }
                                (panels(store, layout, picture, &of_picture(&picture.unit)))
                            }
                        }
                    }
                }
            }
        }
    }
}

/// What is taken of a picture's wrong bits.
enum Taken<'c> {
    /// Explained by a cause in this unit, or by one of its elements.
    Here(&'c Cause, Option<usize>),
    /// Right, because the other unit is where the cause lies.
    Right(&'c Cause),
    /// Nothing explains them.
    Open,
}

fn key(class: &str, path: &str) -> Markup {
    html! { svg.mark viewBox="0 0 16 16" width="20" height="20" aria-hidden="true" { path class=(class) d=(path) {} } }
}

fn panels(store: &Store, layout: &Layout, picture: &Picture, taken: &Taken) -> Markup {
    let largest = if layout.rows > TALL { CELL - 3 } else { CELL };
    let cell = (SIDE / layout.columns.max(1)).clamp(1, largest);
    if layout.rows * cell > HEIGHT {
        return html! { p { "The store has too many words to be drawn in this order." } };
    }
    let whole = |cause: &Cause, a: usize| match cause.leaves {
        0 => u128::MAX,
        _ => touched(cause, a),
    };
    let explained = |a: usize| match taken {
        Taken::Here(cause, None) => whole(cause, a),
        Taken::Here(cause, Some(n)) => cause
            .elements
            .get(*n)
            .and_then(|e| e.touched.get(a))
            .copied()
            .unwrap_or(0),
        Taken::Right(_) | Taken::Open => 0,
    };
    let right = |a: usize| match taken {
        Taken::Right(cause) => whole(cause, a),
        _ => 0,
    };
    let of = |pick: &dyn Fn(usize) -> u128| {
        let words: Vec<u128> = (0..picture.wrong.len()).map(pick).collect();
        store.marked(layout, &words)
    };
    let full = of(&|a| picture.wrong[a] & explained(a));
    let left = of(&|a| picture.wrong[a] & !explained(a) & !right(a));
    let unsteady = of(&|a| picture.unsteady[a]);
    let is_marked =
        |n: usize| !(full[n].is_empty() && left[n].is_empty() && unsteady[n].is_empty());
    let all = layout.panels.len();
    let drawn: Vec<usize> = (0..all)
        .filter(|n| all <= PANELS || is_marked(*n))
        .collect();
    let size = (
        LEFT + layout.columns * cell + 4,
        TOP + layout.rows * cell + 4,
    );
    let count = |runs: &[Run]| runs.iter().map(|r| r.2).sum::<u32>();
    html! {
        div.panels {
            @for n in drawn {
                @let panel = &layout.panels[n];
                @let label = format!("Unit {} {}: {} explained, {} not explained, {} unsteady", picture.unit, panel.name, count(&full[n]), count(&left[n]), count(&unsteady[n]));
                div.panel {
                    @if !panel.name.is_empty() { p.why { (panel.name) } }
                    svg.bits viewBox=(format!("0 0 {} {}", size.0, size.1)) width=(size.0) height=(size.1) role="img" aria-label=(label) {
                        @for (column, words) in &layout.heads { text x=(LEFT + column * cell) y="15" { (words) } }
                        @for (row, words) in &layout.sides { text x=(LEFT - 5) y=(TOP + row * cell + cell.min(8) + 5) text-anchor="end" { (words) } }
                        path.ground d=(bars(&panel.ground, cell)) {}
                        path.full d=(squares(&full[n], cell)) {}
                        path.left d=(squares(&left[n], cell)) {}
                        path.unsteady d=(rings(&unsteady[n], cell)) {}
                    }
                }
            }
        }
        @if all > PANELS { p.why { "Only bits with marks are drawn." } }
    }
}

fn touched(cause: &Cause, a: usize) -> u128 {
    let of = |e: &Element| e.touched.get(a).copied().unwrap_or(0);
    cause.elements.iter().fold(0, |all, e| all | of(e))
}

/// Runs as bars, without a gap.
fn bars(runs: &[Run], cell: u32) -> String {
    let mut path = String::new();
    for (column, row, long) in runs {
        let (x, y, width) = (LEFT + column * cell, TOP + row * cell, long * cell);
        let _ = write!(path, "M{x} {y}h{width}v{cell}h-{width}z");
    }
    path
}

/// One square a cell, with a gap around it; where cells are too small for that, bars.
fn squares(runs: &[Run], cell: u32) -> String {
    if cell < 4 {
        return bars(runs, cell);
    }
    let side = cell - 2;
    each(runs, cell, |path, x, y| {
        let _ = write!(path, "M{} {}h{side}v{side}h-{side}z", x + 1, y + 1);
    })
}

fn rings(runs: &[Run], cell: u32) -> String {
    if cell < 4 {
        return bars(runs, cell);
    }
    let r = f64::from(cell) / 2.0 - 1.0;
    each(runs, cell, |path, x, y| {
        let middle = f64::from(y) + f64::from(cell) / 2.0;
        let d = 2.0 * r;
        let _ = write!(
            path,
            "M{} {middle}a{r} {r} 0 1 0 {d} 0a{r} {r} 0 1 0 -{d} 0",
            x + 1
        );
    })
}

fn each(runs: &[Run], cell: u32, draw: impl Fn(&mut String, u32, u32)) -> String {
    let mut path = String::new();
    for (column, row, long) in runs {
        for n in 0..*long {
            draw(&mut path, LEFT + (column + n) * cell, TOP + row * cell);
        }
    }
    path
}
