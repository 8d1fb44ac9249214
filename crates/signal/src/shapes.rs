//! Courses of matched transitions compared, each around its own crossing: the edge that comes in time but slowly.

use crate::compare::{Prepared, Sampled, chance_bound};
use crate::differences::{Difference, Kind};
use crate::matching::Matching;
use crate::measure::median;

/// Least mean deviation worth a word, as a fraction of the amplitude; chosen above what sampling in other places does to one edge.
const FLOOR: f64 = 0.04;
/// What is left of a deviation after allowing for this much doubt of each crossing, in samples.
const DOUBT: f64 = 0.15;

/// How a transition runs beside its twin.
pub(crate) struct Course {
    pair: u32,
    /// Mean deviation towards slowness: b above a before the crossing, below it after (of a rising edge).
    slow: f32,
    /// Root mean square of the deviation beyond doubt.
    rough: f32,
    count: f32,
}

/// Adds shape differences of transitions that are neither moved nor beside a wrong level.
pub(crate) fn compare(
    a: &Prepared,
    b: &Prepared,
    matched: &Matching,
    moved: &[bool],
    off_levels: &[bool],
    all: &[Course],
    differences: &mut Vec<Difference>,
) {
    let amplitude = a.levels.amplitude();
    let noise = a.levels.noise.hypot(b.levels.noise);
    let bound = chance_bound(matched.pairs.len().max(2) as f64);
    for rising in [true, false] {
        let usable = |c: &&Course| {
            let k = c.pair as usize;
            let beside = moved[k] || off_levels[k] || (k > 0 && off_levels[k - 1]);
            a.train.rises(matched.pairs[k].a as usize) == rising && !beside
        };
        let courses: Vec<&Course> = all.iter().filter(usable).collect();
        if courses.is_empty() {
            continue;
        }
        let mut slows: Vec<f64> = courses.iter().map(|c| c.slow as f64).collect();
        let usual = if slows.len() < 5 {
            0.0
        } else {
            median(&mut slows)
        };
        slows.iter_mut().for_each(|s| *s = (*s - usual).abs());
        let scatter = if slows.len() < 8 {
            0.0
        } else {
            1.4826 * median(&mut slows)
        };
        let add = |course: &Course, whole: bool, amount: f64| {
            let pair = matched.pairs[course.pair as usize];
            let (at_a, at_b) = (
                a.train.times[pair.a as usize],
                b.train.times[pair.b as usize],
            );
            Difference {
                kind: Kind::Shape,
                at_a,
                at_b,
                rises: rising,
                amount: Some(amount),
                whole,
            }
        };
        if usual.abs() > (FLOOR * amplitude).max(4.0 * scatter / (courses.len() as f64).sqrt()) {
            differences.push(add(courses[0], true, usual));
        }
        for course in courses {
            let off = course.slow as f64 - usual;
            let (n, found) = (course.count as f64, course.rough as f64);
            let own = noise / n.sqrt();
            let slow = off.abs() > (FLOOR * amplitude).max(bound * own.hypot(scatter));
            // the mean of n squares of noise scatters by sqrt(2 / n) of itself
            let square = noise * noise * (1.0 + bound * (2.0 / n).sqrt() + bound * bound / n);
            let rough = usual == 0.0 || usual.abs() < FLOOR * amplitude;
            let rough = rough && found * found > square.max((1.5 * FLOOR * amplitude).powi(2));
            if slow || rough {
                differences.push(add(course, false, off));
            }
        }
    }
}

/// The course of pair number `k`, if enough of it was recorded.
pub(crate) fn course(
    a: &Prepared,
    b: &Prepared,
    sa: &Sampled,
    sb: &Sampled,
    pair: (usize, usize),
    k: usize,
) -> Option<Course> {
    let (i, j) = pair;
    let (at_a, at_b) = (a.edges.at[i], b.edges.at[j]);
    let ratio = a.train.unit / b.train.unit;
    let gap = |at: &[f64], i: usize| -> (f64, f64) {
        let before = if i == 0 { f64::MAX } else { at[i] - at[i - 1] };
        (before, at.get(i + 1).map_or(f64::MAX, |next| next - at[i]))
    };
    let (ga, gb) = (gap(&a.edges.at, i), gap(&b.edges.at, j));
    let full = (2.0 * a.rise.min(b.rise / ratio)).clamp(4.0, 4096.0);
    // half-way to the neighbours at most; theirs is the rest
    let before = full.min(0.5 * ga.0).min(0.5 * gb.0 / ratio);
    let after = full.min(0.5 * ga.1).min(0.5 * gb.1 / ratio);
    let from = (at_a - before).ceil().max(1.0) as usize;
    let to = ((at_a + after).floor() as usize + 1).min(sa.samples.len() - 1);
    if to < from + 2 {
        return None;
    }
    let direction = if a.train.rises(i) { 1.0 } else { -1.0 };
    let stride = (to - from).div_ceil(48);
    if let Some(sums) = alike(a, sa, sb, (from, to), (at_a, at_b), ratio).filter(|_| stride == 1) {
        let count = (to - from) as f64;
        let slow = direction * sums.signed as f64 / count;
        return Some(Course {
            pair: k as u32,
            slow: slow as f32,
            rough: (sums.square / count as f32).sqrt(),
            count: count as f32,
        });
    }
    let (mut slow, mut square, mut count) = (0.0, 0.0, 0.0);
    for n in (from..to).step_by(stride) {
        let away = n as f64 - at_a;
        let place = at_b + away * ratio;
        let whole = place.floor();
        let m = whole as usize;
        if place < 1.0 || m + 2 >= sb.samples.len() {
            continue;
        }
        let (x0, x1, x2, x3) = (
            sb.samples[m - 1],
            sb.samples[m],
            sb.samples[m + 1],
            sb.samples[m + 2],
        );
        let value = x1 + (x2 - x1) * (place - whole) as f32;
        let slope = (x2 - x1)
            .abs()
            .max((sa.samples[n + 1] - sa.samples[n - 1]).abs() * 0.5);
        let bend = (x0 - x1 - x2 + x3).abs() * 0.125;
        let doubt = (slope as f64 * DOUBT + bend as f64).min(a.levels.amplitude());
        let off = (value - sa.samples[n]) as f64;
        let beyond = off.signum() * (off.abs() - doubt).max(0.0);
        slow += -away.signum() * direction * beyond;
        square += beyond * beyond;
        count += 1.0;
    }
    (count >= 2.0).then(|| Course {
        pair: k as u32,
        slow: (slow / count) as f32,
        rough: (square / count).sqrt() as f32,
        count: count as f32,
    })
}

struct Sums {
    /// Before the crossing less after it.
    signed: f32,
    square: f32,
}

/// Samples of a course that are taken at once.
const LANES: usize = 8;

/// The sums of a course where both recordings have the same interval, so that every sample falls alike between b's: the usual case,
/// in plain slices that need no index checked. None in any other case.
fn alike(
    a: &Prepared,
    sa: &Sampled,
    sb: &Sampled,
    (from, to): (usize, usize),
    (at_a, at_b): (f64, f64),
    ratio: f64,
) -> Option<Sums> {
    let place = at_b + (from as f64 - at_a);
    if (ratio - 1.0).abs() > 1e-9 || place < 1.0 {
        return None;
    }
    let m = place as usize;
    let count = to - from;
    let (fraction, amplitude) = ((place - m as f64) as f32, a.levels.amplitude() as f32);
    // whole eights are taken, and what lies beyond the course counts nothing
    let padded = count.next_multiple_of(LANES);
    let xs = sb.samples.get(m - 1..m + padded + 2)?;
    let ys = sa.samples.get(from - 1..from + padded + 1)?;
    let middle = ((at_a.ceil() as usize).saturating_sub(from)).min(count);
    let (mut signed, mut square) = ([0f32; LANES], [0f32; LANES]);
    for first in (0..padded).step_by(LANES) {
        let (x, y) = (&xs[first..first + LANES + 3], &ys[first..first + LANES + 2]);
        for lane in 0..LANES {
            let value = x[lane + 1] + (x[lane + 2] - x[lane + 1]) * fraction;
            let slope = greater(
                (x[lane + 2] - x[lane + 1]).abs(),
                (y[lane + 2] - y[lane]).abs() * 0.5,
            );
            let bend = (x[lane] - x[lane + 1] - x[lane + 2] + x[lane + 3]).abs() * 0.125;
            let doubt = lesser(slope * DOUBT as f32 + bend, amplitude);
            let off = value - y[lane + 1];
            let beyond = greater(off.abs() - doubt, 0.0).copysign(off);
            let k = (first + lane) as i32;
            let counts = if k < count as i32 { beyond } else { 0.0 };
            signed[lane] += if k < middle as i32 { counts } else { -counts };
            square[lane] += counts * counts;
        }
    }
    Some(Sums {
        signed: signed.iter().sum(),
        square: square.iter().sum(),
    })
}

#[inline(always)]
fn lesser(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

#[inline(always)]
fn greater(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}
