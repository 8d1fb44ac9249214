//! A reading along the line of steepest change through the healthy boards: across ranges, knees
//! and into over range.

use circuit::Population;
use circuit::meter::Choice;

use crate::band::{direction, norm};
use crate::board::Refusal;
use crate::distribution::{Draw, add_share};
use crate::probe::{Probe, Question, Shown, Starts};
use crate::sensitivity::{Neighbourhood, slopes};

/// Outermost point of the line, in standard deviations.
const END: i32 = 4;
/// Shares between two neighbouring points, which lie one standard deviation apart.
const BETWEEN: i32 = 8;
/// A gradient that turns from the line further than this (cosine) is not told by a line.
const TURN: f64 = 0.9;

/// A point of the line, solved.
#[derive(Clone)]
struct Point {
    shown: Shown,
    /// Change of the leads' volts by a step of one standard deviation, along the line and across.
    along: f64,
    across: f64,
}

/// Where the line starts: the middle of the healthy boards.
pub(crate) struct Middle<'a> {
    pub shown: &'a Shown,
    /// All ranges that were tried there.
    pub tried: &'a [Shown],
    pub values: &'a [f64],
    /// Change of the leads' volts by each variable.
    pub gradient: &'a [f64],
}

/// Shares of the healthy units along the gradient; `None` if the gradient turns, so that no one
/// direction tells the spread.
pub(crate) fn shares(
    probe: &mut Probe<'_>,
    question: &Question,
    population: &Population,
    middle: &Middle<'_>,
) -> Result<Option<Vec<Draw>>, Refusal> {
    let sigma = norm(middle.gradient);
    if sigma == 0.0 {
        return Ok(None);
    }
    let direction = direction(middle.gradient);
    let mut points: Vec<Option<Point>> = (-END..=END).map(|_| None).collect();
    points[END as usize] = Some(Point {
        shown: middle.shown.clone(),
        along: sigma,
        across: 0.0,
    });
    let paths = paths(probe, question, middle);
    for sign in [-1, 1] {
        let mut paths = paths.clone();
        let mut guess = middle.shown.range;
        for k in 1..=END {
            // Whoever goes on from two points over range stays over range.
            let at = |k: i32| (END + sign * k) as usize;
            if let (Some(before), Some(last)) = (
                k.checked_sub(2).and_then(|b| points[at(b)].as_ref()),
                &points[at(k - 1)],
            ) && before.shown.reading.is_none()
                && last.shown.reading.is_none()
            {
                points[at(k)] = Some(last.clone());
                continue;
            }
            let t = f64::from(sign * k);
            let z: Vec<f64> = direction.iter().map(|d| t * d).collect();
            let values = population.values(&z);
            let known = starts(probe, &values, &paths);
            let from = Starts {
                guess,
                first: &middle.shown.x,
                known: &known,
            };
            let mut tried = Vec::new();
            let shown = probe.read_from(question, &values, &from, &mut tried)?;
            guess = shown.range;
            step(&mut paths, &known, &tried);
            probe.connect(&question.setups[shown.range]);
            let Some(there) = slopes(probe, &z, &values, &shown.x) else {
                return Ok(None);
            };
            let along: f64 = there.iter().zip(&direction).map(|(a, b)| a * b).sum();
            let size = norm(&there);
            if along.abs() < TURN * size {
                return Ok(None);
            }
            let across = (size * size - along * along).max(0.0).sqrt();
            points[at(k)] = Some(Point {
                shown,
                along,
                across,
            });
        }
    }
    let points: Vec<Point> = points.into_iter().flatten().collect();
    let mut draws = Vec::new();
    for (k, pair) in points.windows(2).enumerate() {
        for step in 0..BETWEEN {
            let part = (f64::from(step) + 0.5) / f64::from(BETWEEN);
            let t = k as f64 - f64::from(END) + part;
            let spot = spot(question, &pair[0], &pair[1], part);
            let setup = &question.setups[spot.range];
            let slope = setup.slope(spot.volts).abs();
            // Uniform over the step it stands for, and whatever lies across the line.
            let step = spot.along / (f64::from(BETWEEN) * 12_f64.sqrt());
            add_share(
                &mut draws,
                setup,
                (-0.5 * t * t).exp(),
                setup.shown(spot.volts),
                slope * step.hypot(spot.across),
            );
        }
    }
    Ok(Some(draws))
}

/// The course of a range's solution along the line: its neighbours by the linearisation in the
/// middle, and how far the last solved point lay from those.
#[derive(Clone)]
struct Path {
    range: usize,
    neighbourhood: std::rc::Rc<Neighbourhood>,
    off: Option<Vec<f64>>,
}

fn paths(probe: &mut Probe<'_>, question: &Question, middle: &Middle<'_>) -> Vec<Path> {
    let mut paths = Vec::new();
    probe.set_values(middle.values);
    for shown in middle.tried {
        probe.connect(&question.setups[shown.range]);
        if let Some(n) = Neighbourhood::new(probe, middle.values, &shown.x) {
            paths.push(Path {
                range: shown.range,
                neighbourhood: std::rc::Rc::new(n),
                off: None,
            });
        }
    }
    paths
}

fn starts(probe: &Probe<'_>, values: &[f64], paths: &[Path]) -> Vec<(usize, Vec<f64>)> {
    paths
        .iter()
        .map(|path| {
            let mut x = path.neighbourhood.predict(probe, values);
            if let Some(off) = &path.off {
                x.iter_mut().zip(off).for_each(|(x, o)| *x += o);
            }
            (path.range, x)
        })
        .collect()
}

/// Notes how far the solved points lay from where they were thought to lie.
fn step(paths: &mut [Path], known: &[(usize, Vec<f64>)], tried: &[Shown]) {
    for (path, (_, start)) in paths.iter_mut().zip(known) {
        if let Some(shown) = tried.iter().find(|s| s.range == path.range) {
            let mut off = path.off.take().unwrap_or_else(|| vec![0.0; start.len()]);
            for ((o, x), s) in off.iter_mut().zip(&shown.x).zip(start) {
                *o += x - s;
            }
            path.off = Some(off);
        }
    }
}

/// A place between two points.
struct Spot {
    range: usize,
    volts: f64,
    along: f64,
    across: f64,
}

/// The range and the volts between two neighbouring points, at the fraction `part` of the way.
fn spot(question: &Question, a: &Point, b: &Point, part: f64) -> Spot {
    let across = (1.0 - part) * a.across + part * b.across;
    let same_side = a.shown.reading.is_some() == b.shown.reading.is_some();
    if a.shown.range == b.shown.range && same_side {
        let (volts, along) = hermite(a, b, part);
        return Spot {
            range: a.shown.range,
            volts,
            along: along.abs(),
            across,
        };
    }
    // Each side is continued with its own slope until its range is left.
    let near = Spot {
        range: a.shown.range,
        volts: a.shown.volts + a.along * part,
        along: a.along.abs(),
        across: a.across,
    };
    let far = Spot {
        range: b.shown.range,
        volts: b.shown.volts - b.along * (1.0 - part),
        along: b.along.abs(),
        across: b.across,
    };
    if takes_over(question, &near, &a.shown, &far, &b.shown) {
        near
    } else {
        far
    }
}

/// Whether the meter would show the first of two continued sides.
fn takes_over(question: &Question, one: &Spot, a: &Shown, other: &Spot, b: &Shown) -> bool {
    let reading = |spot: &Spot, from: &Shown| {
        from.reading
            .and_then(|_| question.setups[spot.range].shown(spot.volts))
    };
    match (reading(one, a), reading(other, b)) {
        (None, _) => a.reading.is_none() && reading(other, b).is_none(),
        (Some(_), None) => true,
        (Some(p), Some(q)) => match question.choice {
            Choice::First => one.range < other.range,
            Choice::NearestMiddle => {
                let off = |range: usize, r| question.setups[range].off_middle(r);
                off(one.range, p) <= off(other.range, q)
            }
        },
    }
}

/// The cubic through two points with their slopes, and its slope.
fn hermite(a: &Point, b: &Point, t: f64) -> (f64, f64) {
    let (y0, y1, m0, m1) = (a.shown.volts, b.shown.volts, a.along, b.along);
    let (t2, t3) = (t * t, t * t * t);
    let value = (2.0 * t3 - 3.0 * t2 + 1.0) * y0
        + (t3 - 2.0 * t2 + t) * m0
        + (3.0 * t2 - 2.0 * t3) * y1
        + (t3 - t2) * m1;
    let slope = (6.0 * t2 - 6.0 * t) * (y0 - y1)
        + (3.0 * t2 - 4.0 * t + 1.0) * m0
        + (3.0 * t2 - 2.0 * t) * m1;
    (value, slope)
}
