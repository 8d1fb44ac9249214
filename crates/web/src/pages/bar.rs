//! A band with its readings, drawn.

use bench::pages::bar::Bar;
use bench::project::UnitName;
use maud::{Markup, html};

/// Width in CSS pixels; fits a phone of 320.
const WIDTH: f64 = 280.0;
const HEIGHT: f64 = 66.0;
/// The axis; what is above it belongs to the first, third... unit, what is below to the others.
const AXIS: f64 = 33.0;
const EDGE: f64 = 10.0;
/// Half the thickness of a band, and how far a tick reaches.
const BAND: f64 = 7.0;
const TICK: f64 = 16.0;

/// Draws a bar; `label` says in words what it shows.
pub fn draw(bar: &Bar, units: &[UnitName], label: &str) -> Markup {
    let x = |at: f64| EDGE + at * (WIDTH - 2.0 * EDGE);
    html! {
        svg.bar viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) width=(WIDTH) height=(HEIGHT) role="img" aria-label=(label) {
            line.axis x1=(x(0.0)) x2=(x(bar.over_range_from.unwrap_or(1.0))) y1=(AXIS) y2=(AXIS) {}
            @if let Some(from) = bar.over_range_from {
                rect.over x=(x(from) + 4.0) y=(AXIS - 12.0) width=(x(1.0) - x(from) - 4.0) height="24" {}
                text.over-word x=(x(f64::midpoint(from, 1.0)) + 2.0) y=(AXIS + 5.5) text-anchor="middle" { "OL" }
            }
            @for (index, band) in bar.bands.iter().enumerate() {
                // Two builds, two bands: each on the side of its unit.
                @let (top, height) = match (bar.bands.len(), index) {
                    (1, _) => (AXIS - BAND, 2.0 * BAND),
                    (_, 0) => (AXIS - BAND, BAND),
                    _ => (AXIS, BAND),
                };
                rect.band x=(one(x(band.from))) y=(top) width=(one((x(band.to) - x(band.from)).max(3.0))) height=(height) {}
                line.nominal x1=(one(x(band.nominal))) x2=(one(x(band.nominal))) y1=(top) y2=(top + height) {}
            }
            @for tick in &bar.ticks {
                @let up = tick.unit % 2 == 0;
                @let (from, to, word) = if up { (AXIS + 2.0, AXIS - TICK, AXIS - TICK - 3.0) } else { (AXIS - 2.0, AXIS + TICK, AXIS + TICK + 14.0) };
                line.tick x1=(one(x(tick.at))) x2=(one(x(tick.at))) y1=(from) y2=(to) {}
                text.tick-word x=(one(x(tick.at))) y=(word) text-anchor="middle" { (units.get(tick.unit).map_or("", |u| short(&u.name))) }
            }
        }
    }
}

/// A tenth of a pixel is enough.
fn one(x: f64) -> String {
    format!("{x:.1}")
}

/// A long name would cover its neighbours.
fn short(name: &str) -> &str {
    let end = name.char_indices().nth(6).map_or(name.len(), |(i, _)| i);
    &name[..end]
}
