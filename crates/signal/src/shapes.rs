//! Courses of matched transitions compared, each around its own crossing: the edge that comes in time but slowly.

use crate::compare::{Prepared, Sampled, chance_bound};
use crate::differences::{Difference, Kind};
use crate::matching::Matching;
use crate::measure::median;

/// Least mean deviation worth a word, as a fraction of the amplitude; chosen above what sampling in other places does to one edge.
const FLOOR: f64 = 0.04;
/// What is left of a deviation after allowing for this much doubt of each crossing, in samples.
const DOUBT: f64 = 0.15;

struct Course {
    pair: usize,
    /// Mean deviation towards slowness: b above a before the crossing, below it after (of a rising edge).
    slow: f64,
    /// Root mean square of the deviation beyond doubt.
    rough: f64,
    count: f64,
}

/// Adds shape differences of transitions that are neither moved nor beside a wrong level.
pub(crate) fn compare(
    a: &Prepared,
    b: &Prepared,
    matched: &Matching,
    moved: &[bool],
    off_levels: &[bool],
    differences: &mut Vec<Difference>,
) {
    let (Some(sa), Some(sb)) = (&a.sampled, &b.sampled) else {
        return;
    };
    let amplitude = a.levels.amplitude();
    let noise = a.levels.noise.hypot(b.levels.noise);
    let bound = chance_bound(matched.pairs.len().max(2) as f64);
    for rising in [true, false] {
        let mut courses = Vec::new();
        for (k, pair) in matched.pairs.iter().enumerate() {
            let beside = moved[k] || off_levels[k] || (k > 0 && off_levels[k - 1]);
            if a.train.rises(pair.a as usize) == rising && !beside {
                courses.extend(course(a, b, sa, sb, (pair.a as usize, pair.b as usize), k));
            }
        }
        if courses.is_empty() {
            continue;
        }
        let mut slows: Vec<f64> = courses.iter().map(|c| c.slow).collect();
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
            let pair = matched.pairs[course.pair];
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
            differences.push(add(&courses[0], true, usual));
        }
        for course in &courses {
            let off = course.slow - usual;
            let own = noise / course.count.sqrt();
            let slow = off.abs() > (FLOOR * amplitude).max(bound * own.hypot(scatter));
            // the mean of n squares of noise scatters by sqrt(2 / n) of itself
            let square = noise
                * noise
                * (1.0 + bound * (2.0 / course.count).sqrt() + bound * bound / course.count);
            let rough = usual == 0.0 || usual.abs() < FLOOR * amplitude;
            let rough = rough
                && course.rough * course.rough > square.max((1.5 * FLOOR * amplitude).powi(2));
            if slow || rough {
                differences.push(add(course, false, off));
            }
        }
    }
}

fn course(
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
        let slow = direction * (sums.before - sums.after) as f64 / count;
        return Some(Course {
            pair: k,
            slow,
            rough: (sums.square as f64 / count).sqrt(),
            count,
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
        pair: k,
        slow: slow / count,
        rough: (square / count).sqrt(),
        count,
    })
}

#[derive(Default)]
struct Sums {
    before: f32,
    after: f32,
    square: f32,
}

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
    let xs = sb.samples.get(m - 1..m + count + 2)?;
    let ys = sa.samples.get(from - 1..to + 1)?;
    let middle = ((at_a.ceil() as usize).saturating_sub(from)).min(count);
    let mut sums = Sums::default();
    for (k, (x, y)) in xs.windows(4).zip(ys.windows(3)).enumerate() {
        let value = x[1] + (x[2] - x[1]) * fraction;
        let slope = (x[2] - x[1]).abs().max((y[2] - y[0]).abs() * 0.5);
        let bend = (x[0] - x[1] - x[2] + x[3]).abs() * 0.125;
        let doubt = (slope * DOUBT as f32 + bend).min(amplitude);
        let off = value - y[1];
        let beyond = (off.abs() - doubt).max(0.0).copysign(off);
        if k < middle {
            sums.before += beyond;
        } else {
            sums.after += beyond;
        }
        sums.square += beyond * beyond;
    }
    Some(sums)
}
