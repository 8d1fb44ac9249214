//! Curves of a pin: both units on ordinary axes, the band that the sheet predicts behind them.

use bench::pages::signals::Signals;
use bench::signal::curve::{CurveView, svg, told, words};
use bench::signal::engineering;
use maud::{Markup, PreEscaped, html};

use super::address;

/// The curves, their verdicts and what stands out.
pub fn section(name: &str, signals: &Signals) -> Markup {
    let Some(view) = &signals.view.curve else {
        return html! { p.answer { "The curves could not be drawn" } };
    };
    html! {
        p.answer { (told(view)) }
        aside.caution aria-label="Before a curve is taken" {
            p { strong { "Cold, and proven discharged. " } "The source drives a current into the pin: no part in its path may get more volts, current or watts than it is rated for. Begin with the least current, through a resistance that limits it. On transistor circuits stay below 1.5 V until the sheet says that more is borne. Follow the rules of your place." }
        }
        p.legend {
            @if let Some(c) = view.curves.first() { span { (key("first")) (c.name) } }
            @if let Some(c) = view.curves.get(1) { span { (key("second")) (c.name) } }
            @if !view.expected.is_empty() { span { (key("middle")) "healthy boards by the sheet: 95 in 100 in the band" } }
        }
        figure.curves { (PreEscaped(svg(view, false))) figcaption { "Current into the pin against volts at it. " a href=(format!("{}/curve.svg", address(name))) { "As a file" } } }
        (stretches(view))
        @if let Some(e) = view.expected.first() {
            p { "Sheet " (e.sheet) ", red on " strong { (e.red) } ", black on " strong { (e.black) } ", " (e.state) "." }
        } @else if signals.view.known.is_none() {
            p { "Say below where it was taken, and the curve that the sheet predicts for that pin is drawn behind." }
        }
        (slopes(view))
        @if !view.notes.is_empty() { details id="notes" { summary { "What was assumed" } ul.done {
            @for n in &view.notes { li { (n) } }
            li { "Each channel is taken to be right within 3 % of its reading and one step of eight bits of its span." }
        } } }
    }
}

fn key(class: &str) -> Markup {
    html! { svg.key viewBox="0 0 40 16" width="40" height="16" aria-hidden="true" { path class=(format!("curve-{class}")) d="M0 8H40" {} } }
}

fn stretches(view: &CurveView) -> Markup {
    let off: Vec<String> = view
        .curves
        .iter()
        .flat_map(|c| {
            c.stretches
                .iter()
                .map(|s| format!("{} {}", capital(&c.name), words(s, "healthy boards")))
        })
        .collect();
    let parts: Vec<String> = match &view.curves[..] {
        [a, b] => view
            .parts
            .iter()
            .map(|s| format!("{} {}", capital(&b.name), words(s, &a.name)))
            .collect(),
        _ => Vec::new(),
    };
    html! {
        @if !off.is_empty() || !parts.is_empty() {
            h2 id="parting" { "Where they part" }
            ul.done { @for line in off.iter().chain(&parts) { li { (line) "." } } }
        }
    }
}

fn slopes(view: &CurveView) -> Markup {
    let ohms = |o: Option<f64>| o.map_or("-".to_owned(), |o| engineering(o, "\u{2126}"));
    html! {
        details id="slopes" {
            summary { "Verdicts and slope resistances" }
            table.plain {
                thead { tr { th scope="col" { "Curve" } th scope="col" { "Verdict" } th.number scope="col" { "At the lower end" } th.number scope="col" { "At zero" } th.number scope="col" { "At the upper end" } } }
                tbody { @for c in &view.curves { tr {
                    td data-name="" { strong { (capital(&c.name)) } }
                    td data-name="verdict" { (c.verdict) @if let Some(z) = c.z { " (worst point " (format!("{z:+.1}")) " deviations)" } }
                    td.number data-name="lower end" { (ohms(c.slopes[0])) }
                    td.number data-name="at zero" { (ohms(c.slopes[1])) }
                    td.number data-name="upper end" { (ohms(c.slopes[2])) }
                } } }
            }
        }
    }
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters
        .next()
        .map_or(String::new(), |c| c.to_uppercase().chain(letters).collect())
}
