//! Curves of a pin on ordinary axes, as SVG: volts across, amperes up, the band of healthy boards behind.

use std::fmt::Write;

use super::CurveView;
use crate::signal::engineering;

/// Width and height of the drawing, and the room that the figures on the axes take.
const SIZE: [f64; 2] = [760.0, 560.0];
const LEFT: f64 = 150.0;
const RIGHT: f64 = 24.0;
const TOP: f64 = 20.0;
const BOTTOM: f64 = 64.0;
/// Height of the letters.
const LETTERS: f64 = 26.0;

/// Colours of a drawing that stands alone; on a page the page's own are used. Lines differ by width and dashes, too.
const STYLE: &str = "<style>svg{background:#fff;color:#1d1d1b;font-family:sans-serif}.grid{stroke:#ccc;stroke-width:1}.zero{stroke:#1d1d1b;stroke-width:1.5}.band{fill:#d9d4c7;stroke:#a59f90;stroke-width:1}.middle{fill:none;stroke:#6b665a;stroke-width:1.5;stroke-dasharray:7 6}.first{fill:none;stroke:#b4501e;stroke-width:2.5}.second{fill:none;stroke:#1f4e8c;stroke-width:5;stroke-opacity:.75}text{fill:#1d1d1b}</style>";

struct Axis {
    from: f64,
    to: f64,
    step: f64,
}

impl Axis {
    /// Ends and steps of 1, 2 or 5 times a power of ten that take in all of it.
    fn of(low: f64, high: f64) -> Axis {
        let (low, high) = (low.min(0.0), high.max(0.0));
        let whole = (high - low).max(1e-15);
        let rough = whole / 5.0;
        let power = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0]
            .map(|m| m * power)
            .into_iter()
            .find(|s| *s >= rough * 0.999)
            .unwrap_or(10.0 * power);
        let margin = 0.03 * whole;
        Axis {
            from: low - margin,
            to: high + margin,
            step,
        }
    }

    fn share(&self, value: f64) -> f64 {
        (value - self.from) / (self.to - self.from)
    }

    fn ticks(&self) -> Vec<f64> {
        let (first, last) = (
            (self.from / self.step).ceil() as i64,
            (self.to / self.step).floor() as i64,
        );
        (first..=last).map(|k| k as f64 * self.step).collect()
    }
}

/// The drawing. `alone` makes a file of its own, with its colours in it.
pub fn svg(view: &CurveView, alone: bool) -> String {
    let measured = view.curves.iter().flat_map(|c| c.points.iter().copied());
    let expected = view
        .expected
        .iter()
        .flat_map(|e| e.points.iter().map(|p| [p.volts, p.amps]));
    let ends = measured
        .chain(expected)
        .fold([[0f64; 2]; 2], |[low, high], p| {
            [
                [low[0].min(p[0]), low[1].min(p[1])],
                [high[0].max(p[0]), high[1].max(p[1])],
            ]
        });
    let (across, up) = (
        Axis::of(ends[0][0], ends[1][0]),
        Axis::of(ends[0][1], ends[1][1]),
    );
    let x = |v: f64| LEFT + across.share(v).clamp(-0.05, 1.05) * (SIZE[0] - LEFT - RIGHT);
    let y = |i: f64| SIZE[1] - BOTTOM - up.share(i).clamp(-0.05, 1.05) * (SIZE[1] - TOP - BOTTOM);
    let mut text = format!(
        "<svg{} class=\"curve\" viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"Current against volts\">",
        if alone {
            " xmlns=\"http://www.w3.org/2000/svg\" width=\"760\" height=\"560\""
        } else {
            ""
        },
        SIZE[0],
        SIZE[1]
    );
    if alone {
        text += STYLE;
    }
    for v in across.ticks() {
        let class = if v.abs() < 1e-9 * across.step {
            "zero"
        } else {
            "grid"
        };
        let _ = write!(
            text,
            "<path class=\"{class}\" d=\"M{0:.1} {TOP}V{1}\"/><text x=\"{0:.1}\" y=\"{2}\" font-size=\"{LETTERS}\" text-anchor=\"middle\">{3}</text>",
            x(v),
            SIZE[1] - BOTTOM,
            SIZE[1] - BOTTOM + 34.0,
            figure(v, across.step, "V")
        );
    }
    for i in up.ticks() {
        let class = if i.abs() < 1e-9 * up.step {
            "zero"
        } else {
            "grid"
        };
        let _ = write!(
            text,
            "<path class=\"{class}\" d=\"M{LEFT} {0:.1}H{1}\"/><text x=\"{2}\" y=\"{3:.1}\" font-size=\"{LETTERS}\" text-anchor=\"end\">{4}</text>",
            y(i),
            SIZE[0] - RIGHT,
            LEFT - 10.0,
            y(i) + 0.35 * LETTERS,
            figure(i, up.step, "A")
        );
    }
    let ohms = view.span[0] / view.span[1];
    for e in &view.expected {
        let side = |volts: f64, along: f64| [volts, (along * view.span[0] - volts) / ohms];
        let lower = e.points.iter().map(|p| side(p.low, p.along));
        let upper = e.points.iter().rev().map(|p| side(p.high, p.along));
        let band: Vec<[f64; 2]> = lower.chain(upper).collect();
        let _ = write!(
            text,
            "<path class=\"band\" d=\"{}Z\"/>",
            path(&band, &x, &y)
        );
        let middle: Vec<[f64; 2]> = e.points.iter().map(|p| [p.volts, p.amps]).collect();
        let _ = write!(
            text,
            "<path class=\"middle\" d=\"{}\"/>",
            path(&middle, &x, &y)
        );
    }
    // the wide line first, so that the thin one stays seen on it
    for (n, c) in view.curves.iter().enumerate().rev() {
        let class = if n == 0 { "first" } else { "second" };
        let _ = write!(
            text,
            "<path class=\"{class}\" d=\"{}\"/>",
            path(&c.points, &x, &y)
        );
    }
    text + "</svg>"
}

/// A figure on an axis with as many digits as its step deserves.
fn figure(value: f64, step: f64, unit: &str) -> String {
    if value.abs() < 1e-9 * step {
        return "0".to_owned();
    }
    let plain = engineering(value, unit);
    match plain.split_once(' ') {
        Some((number, unit)) if number.contains('.') => {
            let number = number.trim_end_matches('0').trim_end_matches('.');
            format!("{} {unit}", number.replace('-', "\u{2212}"))
        }
        _ => plain.replace('-', "\u{2212}"),
    }
}

fn path(points: &[[f64; 2]], x: &dyn Fn(f64) -> f64, y: &dyn Fn(f64) -> f64) -> String {
    let mut d = String::new();
    for (k, p) in points.iter().enumerate() {
        let _ = write!(
            d,
            "{}{:.1} {:.1}",
            if k == 0 { "M" } else { "L" },
            x(p[0]),
            y(p[1])
        );
    }
    d
}
