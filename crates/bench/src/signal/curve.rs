//! `capture curve`: volt-ampere curves of a pin, held against what the sheet predicts for it and against each other.

mod drawn;
mod expected;
mod simulated;
mod text;

use ::signal::Capture;
use ::signal::capture::Trace;
use ::signal::curve::{Curve, Point, Spans, curve, reach, run_at, volts_at};
use serde::Serialize;

use super::{Asked, Recording, take, wanted};
use crate::refused::Refused;

pub use drawn::svg;
pub use expected::{Expected, Pin, expect, pin};
pub use simulated::{Driven, simulate};
pub use text::{plain, told, words};

/// Which channels are what, and how well they were recorded.
#[derive(Clone, Debug, PartialEq)]
pub struct How {
    /// Channel of the volts; by its unit and name if not said.
    pub volts: Option<String>,
    /// Channel of the current.
    pub amps: Option<String>,
    /// The current's channel holds the volts across this many ohms.
    pub shunt: Option<f64>,
    /// Error of either channel as a share of its reading, at 95 %.
    pub accuracy: f64,
}

/// Error of an oscilloscope's channel as a share of the reading: usual for eight bits (common practice).
pub const ACCURACY: f64 = 0.03;
/// Error of a channel as a share of its span: one step of an eight-bit recorder.
const STEP: f64 = 1.0 / 256.0;
/// Two curves without an expectation are alike within this share of the span; chosen as twice the usual error of one.
const ALIKE: f64 = 0.03;
/// Room that two curves get beyond that of two single readings; chosen because a curve has many points, of which some lie far.
const MANY: f64 = 1.5;
/// Points in a row that make a stretch; one alone may be a disturbance.
const RUN: usize = 2;
/// A normal score beyond which a reading disagrees: one healthy reading in a thousand.
const DISAGREES: f64 = 3.29;
/// The same for the edge of the band: one in twenty.
const EDGE: f64 = 1.96;

impl Default for How {
    fn default() -> Self {
        Self {
            volts: None,
            amps: None,
            shunt: None,
            accuracy: ACCURACY,
        }
    }
}

/// Samples of volts at a pin and of the current into it.
pub struct Sweep {
    /// Volts.
    pub volts: Vec<f32>,
    /// Amperes.
    pub amps: Vec<f32>,
    /// What was assumed.
    pub notes: Vec<String>,
}

/// A stretch of a curve that is off.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Stretch {
    /// `more` or `less` current than expected, or than A.
    pub carries: &'static str,
    /// Volts at its two ends.
    pub volts: [f64; 2],
    /// Where it is worst: volts and amperes.
    pub worst: [f64; 2],
    /// What was expected on the same load line, or what A has there: volts and amperes.
    pub instead: [f64; 2],
}

/// A curve of one unit and its verdict.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CurveOf {
    /// Unit or file.
    pub name: String,
    /// Volts and amperes in order.
    pub points: Vec<[f64; 2]>,
    /// `agrees`, `edge`, `disagrees` or `no-expectation`.
    pub verdict: &'static str,
    /// The greatest normal score of any point; absent without an expectation.
    pub z: Option<f64>,
    /// Where it leaves the band.
    pub stretches: Vec<Stretch>,
    /// Slope resistances at the lower end, at zero volts and at the upper end, ohms; absent where it cannot be told.
    pub slopes: [Option<f64>; 3],
}

/// What the curves of one pin say.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CurveView {
    /// The spans that both axes were measured by.
    pub span: [f64; 2],
    /// Curves, one or two.
    pub curves: Vec<CurveOf>,
    /// What healthy boards would show, where a sheet was given.
    pub expected: Vec<Expected>,
    /// `alike`, `differ`; with an expectation `both-agree`, `first-odd`, `second-odd`, `alike-but-off` or `all-differ`. Absent for one.
    pub case: Option<&'static str>,
    /// Where the two curves part.
    pub parts: Vec<Stretch>,
    /// What was assumed.
    pub notes: Vec<String>,
}

/// Reads the samples of one unit's curve. No time base is needed.
///
/// # Errors
/// If the file is at fault, or does not say which channel is in volts and which in amperes.
pub fn read(recording: Recording, asked: &Asked, how: &How) -> Result<Sweep, Refused> {
    let file = recording.file.clone();
    of(&timeless(recording, asked)?, &file, how)
}

/// Reads a capture of which only the order of the samples counts, so that one without a time base will do.
pub(crate) fn timeless(mut recording: Recording, asked: &Asked) -> Result<Capture, Refused> {
    let file = recording.file.clone();
    let mut bytes = Vec::new();
    if let Err(e) = recording.bytes.read_to_end(&mut bytes) {
        return Err(Refused::input(
            format!("`{file}` cannot be read: {e}."),
            "Check that the file may be read.",
        ));
    }
    let again = |asked: &Asked| {
        let recording = Recording {
            file: file.clone(),
            bytes: Box::new(&bytes[..]),
        };
        take(recording, asked)
    };
    match again(asked) {
        Err(_) if asked.interval.is_none() => {
            let counted = Asked {
                interval: Some(1.0),
                ..asked.clone()
            };
            again(&counted)
        }
        other => other,
    }
}

/// Takes volts and current from a capture that was read.
///
/// # Errors
/// If it does not say which channel is which.
pub fn of(capture: &Capture, file: &str, how: &How) -> Result<Sweep, Refused> {
    let mut notes = capture.notes.clone();
    let volts = channel(
        capture,
        file,
        how.volts.as_deref(),
        "V",
        &["v", "volts", "voltage", "u"],
    )?;
    let across = how.shunt.is_some();
    let unit = if across { "V" } else { "A" };
    let amps = match (&how.amps, across) {
        (None, true) => {
            let others: Vec<usize> = (0..capture.channels.len())
                .filter(|k| *k != volts)
                .collect();
            match others[..] {
                [one] => one,
                _ => return Err(which(capture, file, "across the resistance", "--amps NAME")),
            }
        }
        (name, _) => channel(
            capture,
            file,
            name.as_deref(),
            unit,
            &["i", "amps", "current"],
        )?,
    };
    if volts == amps {
        return Err(which(capture, file, "in amperes", "--amps NAME"));
    }
    let [v, i] = [volts, amps].map(|k| &capture.channels[k]);
    for (c, is) in [(v, "V"), (i, unit)] {
        if c.unit != is {
            let other = if c.unit.is_empty() {
                "no unit".to_owned()
            } else {
                c.unit.clone()
            };
            return Err(Refused::input(
                format!(
                    "The channel {} of `{file}` has {other}; {is} is wanted.",
                    c.name
                ),
                format!(
                    "Write the unit behind its name in the heading, as in `{} ({is})`{}.",
                    c.name,
                    if is == "A" {
                        "; or, if it holds the volts across a resistance, give --shunt OHMS"
                    } else {
                        ""
                    }
                ),
            ));
        }
    }
    let (Trace::Sampled { samples: v, .. }, Trace::Sampled { samples: i, .. }) =
        (&v.trace, &i.trace)
    else {
        return Err(Refused::input(
            format!("`{file}` holds changes, not samples."),
            "A curve needs samples of volts and current taken together.",
        ));
    };
    let ohms = how.shunt.unwrap_or(1.0);
    if let Some(shunt) = how.shunt {
        notes.push(format!(
            "The current is the volts of {} divided by {shunt} ohm.",
            capture.channels[amps].name
        ));
    }
    if v.len() < 3 {
        return Err(Refused::input(
            format!("`{file}` holds too little for a curve."),
            "Sweep the source slowly up and down, and record a few hundred samples.",
        ));
    }
    Ok(Sweep {
        volts: v.clone(),
        amps: i.iter().map(|x| x / ohms as f32).collect(),
        notes,
    })
}

/// Whether a recording is a curve by its channels alone: two, one in volts and one in amperes.
pub(crate) fn is_curve(capture: &Capture) -> bool {
    let count = |unit: &str| capture.channels.iter().filter(|c| c.unit == unit).count();
    capture.channels.len() == 2 && count("V") == 1 && count("A") == 1
}

fn channel(
    capture: &Capture,
    file: &str,
    name: Option<&str>,
    unit: &str,
    names: &[&str],
) -> Result<usize, Refused> {
    if let Some(name) = name {
        return Ok(wanted(capture, Some(name), file)?[0]);
    }
    let all = 0..capture.channels.len();
    let of_unit: Vec<usize> = all
        .clone()
        .filter(|&k| capture.channels[k].unit == unit)
        .collect();
    if let [one] = of_unit[..] {
        return Ok(one);
    }
    let named: Vec<usize> = all
        .filter(|&k| names.contains(&capture.channels[k].name.to_lowercase().as_str()))
        .collect();
    match named[..] {
        [one] => Ok(one),
        _ if unit == "V" => Err(which(capture, file, "in volts", "--volts NAME")),
        _ => Err(which(capture, file, "in amperes", "--amps NAME")),
    }
}

fn which(capture: &Capture, file: &str, what: &str, option: &str) -> Refused {
    let names: Vec<&str> = capture.channels.iter().map(|c| c.name.as_str()).collect();
    Refused::input(
        format!("`{file}` does not say which channel is {what}."),
        format!("Give {option}; it has {}.", names.join(", ")),
    )
}

/// The spans of all sweeps together.
fn spans(sweeps: &[(String, Sweep)]) -> Spans {
    let most = |pick: &dyn Fn(&Sweep) -> &[f32]| {
        sweeps
            .iter()
            .map(|s| reach(pick(&s.1)))
            .fold(0.0, f64::max)
            .max(1e-15)
    };
    Spans {
        volts: most(&|s| &s.volts),
        amps: most(&|s| &s.amps),
    }
}

/// Holds sweeps, one or two, against their pin on their sheets (one a sweep) and against each other.
///
/// # Errors
/// If a pin is not on its sheet, or its board has no operating point.
pub fn hold(sweeps: &[(String, Sweep)], pins: &[Pin], how: &How) -> Result<CurveView, Refused> {
    let span = spans(sweeps);
    let found: Vec<Curve> = sweeps
        .iter()
        .map(|(_, s)| curve(&s.volts, &s.amps, span))
        .collect();
    let mut view = CurveView {
        span: [span.volts, span.amps],
        curves: Vec::new(),
        expected: Vec::new(),
        case: None,
        parts: Vec::new(),
        notes: Vec::new(),
    };
    let mut scores: Vec<Option<Vec<(f64, Point, f64)>>> = vec![None; found.len()];
    for (n, pin) in pins.iter().enumerate().take(found.len()) {
        let same = (0..n).find(|k| pins[*k] == *pin);
        if let Some(k) = same {
            view.expected.retain(|e| e.units != [k]);
        }
        let own: Vec<f64> = found[n].points.iter().map(|p| p.along).collect();
        let places: Vec<f64> = match same {
            Some(k) => found[k]
                .points
                .iter()
                .map(|p| p.along)
                .chain(own.iter().copied())
                .collect(),
            None => own,
        };
        let mut expected = expect(pin, &places, span)?;
        expected.units = same.into_iter().chain([n]).collect();
        for &k in &expected.units {
            scores[k] = Some(scored(&found[k], &expected, span, how));
        }
        view.expected.push(expected);
    }
    for ((name, sweep), (curve, scores)) in sweeps.iter().zip(found.iter().zip(&scores)) {
        view.notes
            .extend(sweep.notes.iter().map(|n| format!("{name}: {n}")));
        if curve.open > 0.02 * span.volts {
            view.notes.push(format!(
                "{name}: the way up and the way down lie {} apart; something is charged or heated. Sweep more slowly.",
                super::engineering(curve.open, "V")
            ));
        }
        view.curves
            .push(curve_of(name, curve, scores.as_deref(), span));
    }
    if let [a, b] = &found[..] {
        twins(&mut view, a, b, span, how);
    }
    Ok(view)
}

/// Each point's normal score, with the expectation on its load line.
fn scored(curve: &Curve, expected: &Expected, span: Spans, how: &How) -> Vec<(f64, Point, f64)> {
    let one = |(k, p): (usize, &Point)| {
        let e = expected.at(p.along)?;
        let own = error(p, run_at(curve, k, span), span, how).hypot(p.doubt);
        let side = if p.volts < e.volts {
            e.volts - e.low
        } else {
            e.high - e.volts
        };
        let sd = (side / EDGE).hypot(own).max(1e-12 * span.volts);
        Some(((p.volts - e.volts) / sd, *p, e.volts))
    };
    curve.points.iter().enumerate().filter_map(one).collect()
}

/// Standard deviation along a load line from the two channels' errors.
///
/// Where the curve runs at `r` (0 a short, 1 open), an error a of the volts and b of the current leave `a (1 - r) - b R r`.
fn error(p: &Point, r: f64, span: Spans, how: &How) -> f64 {
    let of = |x: f64, whole: f64| 0.5 * (how.accuracy * x.abs() + STEP * whole);
    let (a, b) = (of(p.volts, span.volts), of(p.amps, span.amps) * span.ohms());
    (a * (1.0 - r)).hypot(b * r)
}

fn curve_of(
    name: &str,
    curve: &Curve,
    scores: Option<&[(f64, Point, f64)]>,
    span: Spans,
) -> CurveOf {
    let mut found = CurveOf {
        name: name.to_owned(),
        points: curve.points.iter().map(|p| [p.volts, p.amps]).collect(),
        verdict: "no-expectation",
        z: None,
        stretches: Vec::new(),
        slopes: slopes(curve, span),
    };
    let Some(scores) = scores.filter(|s| !s.is_empty()) else {
        return found;
    };
    found.z = scores
        .iter()
        .map(|s| s.0)
        .max_by(|a, b| a.abs().total_cmp(&b.abs()));
    let beyond = |least: f64| {
        let off: Vec<(f64, Point, f64)> = scores
            .iter()
            .map(|(z, p, e)| (if z.abs() > least { *z } else { 0.0 }, *p, *e))
            .collect();
        stretches(&off, span)
    };
    found.stretches = beyond(DISAGREES);
    found.verdict = "disagrees";
    if found.stretches.is_empty() {
        found.stretches = beyond(EDGE);
        found.verdict = if found.stretches.is_empty() {
            "agrees"
        } else {
            "edge"
        };
    }
    found
}

/// Runs of points that are off to one side; each point is its score (zero: not off), itself, and the volts expected there.
fn stretches(points: &[(f64, Point, f64)], span: Spans) -> Vec<Stretch> {
    let mut found = Vec::new();
    let mut k = 0;
    while k < points.len() {
        let side = points[k].0.signum();
        let n = points[k..]
            .iter()
            .take_while(|p| p.0 != 0.0 && p.0.signum() == side)
            .count();
        if n >= RUN {
            let run = &points[k..k + n];
            let worst = run
                .iter()
                .max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))
                .expect("a run has points");
            // fewer volts on the same load line is more current
            let more = (side < 0.0) == (worst.1.along > 0.0);
            found.push(Stretch {
                carries: if more { "more" } else { "less" },
                volts: [run[0].1.volts, run[n - 1].1.volts],
                worst: [worst.1.volts, worst.1.amps],
                instead: [worst.2, (worst.1.along - worst.2 / span.volts) * span.amps],
            });
        }
        k += n.max(1);
    }
    found
}

fn slopes(curve: &Curve, span: Spans) -> [Option<f64>; 3] {
    let p = &curve.points;
    if p.len() < 3 {
        return [None; 3];
    }
    let nearest = (0..p.len())
        .min_by(|a, b| p[*a].volts.abs().total_cmp(&p[*b].volts.abs()))
        .unwrap_or(0);
    let inside = |k: usize| k.clamp(1, p.len() - 2);
    [1, inside(nearest), p.len() - 2].map(|k| {
        let run = run_at(curve, k, span);
        // beyond a hundred times the load line's own resistance noise decides
        (run < 0.99 && run > 0.0).then(|| span.ohms() * run / (1.0 - run))
    })
}

fn twins(view: &mut CurveView, a: &Curve, b: &Curve, span: Spans, how: &How) {
    let band = view.expected.iter().find(|e| e.units.len() == 2);
    let one = |(k, p): (usize, &Point)| {
        let other = volts_at(a, p.along)?;
        let room = match band.and_then(|e| e.at(p.along)) {
            // as for readings: the band's width over the root of two, and the recorder's error
            Some(e) => {
                MANY * ((e.high - e.low) / 2f64.sqrt())
                    .hypot(EDGE * error(p, run_at(b, k, span), span, how))
            }
            None => ALIKE * span.volts,
        };
        let off = (p.volts - other) / room.max(4.0 * p.doubt).max(1e-12 * span.volts);
        Some((if off.abs() > 1.0 { off } else { 0.0 }, *p, other))
    };
    let off: Vec<(f64, Point, f64)> = b.points.iter().enumerate().filter_map(one).collect();
    if off.is_empty() {
        view.notes
            .push("The two curves have no stretch in common.".to_owned());
        return;
    }
    view.parts = stretches(&off, span);
    let alike = view.parts.is_empty();
    let wrong = |n: usize| view.curves[n].verdict == "disagrees";
    view.case = Some(if view.expected.is_empty() {
        if alike { "alike" } else { "differ" }
    } else {
        match (wrong(0), wrong(1)) {
            (false, false) => "both-agree",
            (true, false) => "first-odd",
            (false, true) => "second-odd",
            (true, true) if alike => "alike-but-off",
            (true, true) => "all-differ",
        }
    });
}
