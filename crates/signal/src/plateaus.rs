//! Plateaus between matched transitions compared: a level that is off by more than noise while its edges are kept.

use crate::blocks::mean;
use crate::compare::{Prepared, Sampled, chance_bound};
use crate::differences::{Difference, Kind};
use crate::matching::Matching;
use crate::measure::median;
use crate::track::Pair;

/// Least difference worth a word, as a fraction of the amplitude: two steps of an eight-bit recorder, and its usual non-linearity
/// (common practice).
const FLOOR: f64 = 0.01;
/// The same for a plateau too short to settle.
const SHORT_FLOOR: f64 = 0.10;
/// A difference of all plateaus alike, as a fraction of the amplitude: the state tolerance of two per cent that goes with IEEE 181
/// (from memory).
const WHOLE_FLOOR: f64 = 0.02;

struct Core {
    mean: f64,
    count: f64,
    settled: bool,
}

/// Mean of the settled part between sample indices `from` and `to`, which are crossings.
fn core(p: &Prepared, from: f64, to: f64, rise: f64) -> Option<Core> {
    let Sampled {
        samples, blocks, ..
    } = p.sampled.as_ref()?;
    let margin = (1.5 * rise).max(1.5);
    let settled = to - from > 2.0 * margin + 2.0;
    let inset = if settled { margin } else { (to - from) / 3.0 };
    let (first, last) = (
        (from + inset).ceil() as usize,
        (to - inset).floor() as usize + 1,
    );
    let last = last.min(samples.len());
    (first < last).then(|| {
        let (mean, count) = mean(samples, blocks, first, last);
        Core {
            mean,
            count: count as f64,
            settled,
        }
    })
}

/// Whether a plateau is off in all its parts, and not just in the tail of a slow transition at one end.
fn throughout(a: &Prepared, b: &Prepared, pair: Pair, rises: (f64, f64), off: f64) -> bool {
    let (i, j) = (pair.a as usize, pair.b as usize);
    let part = |p: &Prepared, at: usize, rise: f64, k: f64| {
        let margin = (1.5 * rise)
            .max(1.5)
            .min(0.25 * (p.edges.at[at + 1] - p.edges.at[at]));
        let (from, to) = (p.edges.at[at] + margin, p.edges.at[at + 1] - margin);
        let third = (to - from) / 3.0;
        let sampled = p.sampled.as_ref()?;
        let (first, last) = (
            (from + k * third).round() as usize,
            (from + (k + 1.0) * third).round() as usize,
        );
        let last = last.max(first + 1).min(sampled.samples.len());
        (first < last).then(|| {
            let (mean, count) = mean(sampled.samples, &sampled.blocks, first, last);
            (mean, p.levels.noise / (count as f64).sqrt())
        })
    };
    let parts: Vec<(f64, f64)> = (0..3)
        .filter_map(|k| {
            let (x, y) = (
                part(a, i, rises.0, k as f64)?,
                part(b, j, rises.1, k as f64)?,
            );
            Some((y.0 - x.0, x.1.hypot(y.1)))
        })
        .collect();
    let (least, greatest) = parts
        .iter()
        .fold((f64::MAX, f64::MIN), |(l, h), p| (l.min(p.0), h.max(p.0)));
    let noise = parts.iter().map(|p| p.1).fold(0.0, f64::max);
    greatest - least < (0.5 * off.abs()).max(3.0 * noise)
}

/// A plateau of both recordings.
pub(crate) struct Step {
    pair: u32,
    off: f32,
    own: f32,
    settled: bool,
}

/// Typical transitions of both in samples of each, the slower one's.
pub(crate) fn rises(a: &Prepared, b: &Prepared) -> (f64, f64) {
    let rise_a = a.rise.max(b.rise * b.train.unit / a.train.unit);
    (rise_a, rise_a * a.train.unit / b.train.unit)
}

/// The plateau between two pairs that follow each other in both, the first of which is number `k`.
pub(crate) fn step(
    a: &Prepared,
    b: &Prepared,
    (now, next): (Pair, Pair),
    rises: (f64, f64),
    k: usize,
) -> Option<Step> {
    if next.a != now.a + 1 || next.b != now.b + 1 {
        return None;
    }
    let ends = |p: &Prepared, i: u32| (p.edges.at[i as usize], p.edges.at[i as usize + 1]);
    let (from, to) = ends(a, now.a);
    let x = core(a, from, to, rises.0)?;
    let (from, to) = ends(b, now.b);
    let y = core(b, from, to, rises.1)?;
    Some(Step {
        pair: k as u32,
        off: (y.mean - x.mean) as f32,
        own: (a.levels.noise * a.levels.noise / x.count + b.levels.noise * b.levels.noise / y.count)
            .sqrt() as f32,
        settled: x.settled && y.settled,
    })
}

/// Adds level differences; marks for each pair whether the plateau after it is off. `steps` are the low and the high plateaus.
pub(crate) fn compare(
    a: &Prepared,
    b: &Prepared,
    matched: &Matching,
    steps: &[Vec<Step>; 2],
    differences: &mut Vec<Difference>,
) -> Vec<bool> {
    let mut marks = vec![false; matched.pairs.len()];
    if a.sampled.is_none() || b.sampled.is_none() {
        return marks;
    }
    let amplitude = a.levels.amplitude();
    let (rise_a, rise_b) = rises(a, b);
    let count = matched.pairs.len().max(2) as f64;
    for high in [false, true] {
        let steps = &steps[usize::from(high)];
        let usual = usual(steps);
        let scatter = scatter(steps, usual);
        let first = steps.first().map(|s| s.pair as usize);
        if let Some(first) = first.filter(|_| {
            usual.abs() > (WHOLE_FLOOR * amplitude).max(4.0 * scatter / (steps.len() as f64).sqrt())
        }) {
            let place = matched.pairs[first];
            differences.push(level(
                a,
                b,
                place.a as usize,
                place.b as usize,
                high,
                usual,
                true,
            ));
        }
        for step in steps {
            let floor = amplitude * if step.settled { FLOOR } else { SHORT_FLOOR };
            let off = step.off as f64 - usual;
            let k = step.pair as usize;
            if off.abs() > floor.max(chance_bound(count) * (step.own as f64).hypot(scatter))
                && throughout(a, b, matched.pairs[k], (rise_a, rise_b), off)
            {
                marks[k] = true;
                let place = matched.pairs[k];
                differences.push(level(
                    a,
                    b,
                    place.a as usize,
                    place.b as usize,
                    high,
                    step.off as f64,
                    false,
                ));
            }
        }
    }
    marks
}

fn level(
    a: &Prepared,
    b: &Prepared,
    i: usize,
    j: usize,
    high: bool,
    off: f64,
    whole: bool,
) -> Difference {
    Difference {
        kind: Kind::Level,
        at_a: a.train.times[i],
        at_b: b.train.times[j],
        rises: high,
        amount: Some(off),
        whole,
    }
}

/// What most plateaus of one state differ by; with few of them nothing can be called usual.
fn usual(steps: &[Step]) -> f64 {
    let mut offs: Vec<f64> = steps.iter().map(|s| s.off as f64).collect();
    if offs.len() < 5 {
        0.0
    } else {
        median(&mut offs)
    }
}

/// Scatter of plateaus beyond their own noise: hum and wander of the base line.
fn scatter(steps: &[Step], usual: f64) -> f64 {
    if steps.len() < 8 {
        return 0.0;
    }
    let mut offs: Vec<f64> = steps.iter().map(|s| (s.off as f64 - usual).abs()).collect();
    let mut own: Vec<f64> = steps.iter().map(|s| s.own as f64).collect();
    let (seen, explained) = (1.4826 * median(&mut offs), median(&mut own));
    (seen * seen - explained * explained).max(0.0).sqrt()
}

/// Time at which transition `i` crosses half-way between its own two plateaus.
pub(crate) fn own_half(p: &Prepared, i: usize) -> Option<f64> {
    let sampled = p.sampled.as_ref()?;
    let at = &p.edges.at;
    let last = (sampled.samples.len() - 1) as f64;
    let before = core(p, if i == 0 { 0.0 } else { at[i - 1] }, at[i], p.rise)?;
    let after = core(p, at[i], at.get(i + 1).copied().unwrap_or(last), p.rise)?;
    let half = (0.5 * (before.mean + after.mean)) as f32;
    let reach = (2.0 * p.rise).max(3.0);
    let (from, to) = (
        (at[i] - reach).max(0.0) as usize,
        ((at[i] + reach).min(last - 1.0)) as usize,
    );
    let crossings =
        (from..to).filter(|&k| (sampled.samples[k] < half) != (sampled.samples[k + 1] < half));
    let places: Vec<f64> = crossings
        .map(|k| {
            let (x, y) = (sampled.samples[k], sampled.samples[k + 1]);
            k as f64 + ((half - x) / (y - x)) as f64
        })
        .collect();
    (!places.is_empty()).then(|| {
        sampled
            .axis
            .time(places.iter().sum::<f64>() / places.len() as f64)
    })
}
