//! A stretch of a trace for the screen: each sample while they are few, least and greatest of each column beyond.

use ::signal::align::Alignment;
use ::signal::capture::{Steps, Trace};
use ::signal::pyramid::{FINEST, Pyramid};

use super::Drawn;

/// Extents of a sampled trace at all scales.
pub fn pyramid(trace: &Trace) -> Option<Pyramid> {
    let Trace::Sampled { samples, .. } = trace else {
        return None;
    };
    let mut pyramid = Pyramid::default();
    pyramid.push(samples);
    pyramid.finish();
    Some(pyramid)
}

/// Least and greatest of a whole trace.
pub fn extent(trace: &Trace, pyramid: Option<&Pyramid>) -> (f32, f32) {
    let none = (f32::INFINITY, f32::NEG_INFINITY);
    match (trace, pyramid) {
        (Trace::Sampled { .. }, Some(p)) => {
            let all = p.view(0, p.samples(), 1);
            all[0].map_or(none, |e| (e.low, e.high))
        }
        (Trace::Sampled { .. }, None) => none,
        (Trace::Stepped(steps), _) => {
            let values = steps.values.iter().flatten();
            values.fold(none, |e, v| (e.0.min(*v), e.1.max(*v)))
        }
    }
}

/// What to draw of a trace between two times of A; `lies` says how it lies over A, if it is B's.
pub fn drawn(
    trace: &Trace,
    pyramid: Option<&Pyramid>,
    lies: Option<&Alignment>,
    ends: [f64; 2],
    columns: usize,
) -> Drawn {
    let to_own = |t: f64| lies.map_or(t, |l| l.map(t));
    let to_a = |t: f64| lies.map_or(t, |l| l.back(t));
    let own = ends.map(to_own);
    match trace {
        Trace::Stepped(steps) => stepped(steps, own, columns, &to_a),
        Trace::Sampled { axis, samples } => {
            let [first, last] = own.map(|t| axis.index(t));
            let inside = (
                first.floor().max(0.0) as usize,
                ((last.ceil() + 1.0).max(0.0) as usize).min(samples.len()),
            );
            if inside.1.saturating_sub(inside.0) <= 2 * columns {
                let range = inside.0..inside.1.max(inside.0);
                return Drawn::Points {
                    t: range.clone().map(|k| to_a(axis.time(k as f64))).collect(),
                    v: samples[range].to_vec(),
                    steps: false,
                };
            }
            let (mut low, mut high) = (Vec::with_capacity(columns), Vec::with_capacity(columns));
            for (l, h) in extents(samples, pyramid, [first, last], columns) {
                low.push(l.is_finite().then_some(l));
                high.push(h.is_finite().then_some(h));
            }
            Drawn::Columns { low, high }
        }
    }
}

/// Least and greatest of equal columns between two fractional indices. Each takes in the sample before it, so that
/// neighbours meet.
fn extents(
    samples: &[f32],
    pyramid: Option<&Pyramid>,
    ends: [f64; 2],
    columns: usize,
) -> Vec<(f32, f32)> {
    let width = (ends[1] - ends[0]) / columns as f64;
    let none = (f32::INFINITY, f32::NEG_INFINITY);
    let bounds = |c: usize| {
        let place = |k: usize| (ends[0] + k as f64 * width).clamp(0.0, samples.len() as f64);
        let (a, b) = (place(c), place(c + 1));
        (
            a.floor() as usize,
            (b.ceil() as usize).max(a.floor() as usize),
        )
    };
    // the coarse levels only where a column holds many of their values
    let coarse = pyramid.filter(|_| width >= 4.0 * FINEST as f64);
    let one = |c: usize| {
        let (from, to) = bounds(c);
        if from >= to || to > samples.len() {
            return none;
        }
        match coarse {
            Some(p) => p.view(from, to, 1)[0].map_or(none, |e| (e.low, e.high)),
            None => {
                let from = from.saturating_sub(1);
                samples[from..to]
                    .iter()
                    .fold(none, |e, v| (e.0.min(*v), e.1.max(*v)))
            }
        }
    };
    (0..columns).map(one).collect()
}

fn stepped(steps: &Steps, own: [f64; 2], columns: usize, to_a: &dyn Fn(f64) -> f64) -> Drawn {
    let first = steps
        .times
        .partition_point(|t| *t <= own[0])
        .saturating_sub(1);
    let last = steps.times.partition_point(|t| *t <= own[1]);
    let known = |k: usize| steps.values[k].unwrap_or(f32::NAN);
    if last.saturating_sub(first) <= 2 * columns {
        let range = first..last;
        let shown = range.clone().filter(|k| steps.values[*k].is_some());
        return Drawn::Points {
            t: shown
                .clone()
                .map(|k| to_a(steps.times[k].max(own[0])))
                .collect(),
            v: shown.map(known).collect(),
            steps: true,
        };
    }
    let width = (own[1] - own[0]) / columns as f64;
    let (mut low, mut high) = (Vec::new(), Vec::new());
    for c in 0..columns {
        let (a, b) = (own[0] + c as f64 * width, own[0] + (c + 1) as f64 * width);
        let from = steps.times.partition_point(|t| *t <= a).saturating_sub(1);
        let to = steps.times.partition_point(|t| *t <= b);
        let values = || steps.values[from..to.max(from)].iter().flatten().copied();
        low.push(values().reduce(f32::min));
        high.push(values().reduce(f32::max));
    }
    Drawn::Columns { low, high }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ::signal::axis::Axis;
    use std::sync::Arc;

    fn trace(samples: Vec<f32>) -> Trace {
        Trace::Sampled {
            axis: Arc::new(Axis::uniform(0.0, 1.0)),
            samples,
        }
    }

    #[test]
    fn a_spike_shows_at_every_scale_and_in_its_own_column() {
        let mut samples = vec![0f32; 2_000_000];
        samples[1_234_567] = 7.0;
        let trace = trace(samples);
        let pyramid = pyramid(&trace);
        for (from, to) in [(0.0, 2e6), (1.2e6, 1.3e6), (1_234_000.0, 1_236_500.0)] {
            let Drawn::Columns { high, .. } =
                drawn(&trace, pyramid.as_ref(), None, [from, to], 500)
            else {
                panic!("columns")
            };
            let at = high
                .iter()
                .position(|h| *h == Some(7.0))
                .expect("the spike shows") as f64;
            let wanted = (1_234_567.0 - from) / (to - from) * 500.0;
            assert!((at - wanted).abs() <= 1.5, "{at} {wanted}");
            assert!(high.iter().filter(|h| **h == Some(7.0)).count() <= 3);
        }
        let Drawn::Points { t, v, .. } = drawn(
            &trace,
            pyramid.as_ref(),
            None,
            [1_234_500.0, 1_234_600.0],
            500,
        ) else {
            panic!("points")
        };
        assert_eq!(
            v[t.iter().position(|t| *t == 1_234_567.0).expect("there")],
            7.0
        );
        // beyond the end nothing was recorded
        let Drawn::Columns { high, .. } =
            drawn(&trace, pyramid.as_ref(), None, [1.5e6, 2.5e6], 100)
        else {
            panic!("columns")
        };
        assert!(high[40] == Some(0.0) && high[60].is_none());
    }

    #[test]
    fn levels_that_hold_are_steps() {
        let steps = Steps {
            times: vec![0.0, 1.0, 2.0, 5.0],
            values: vec![Some(0.0), Some(1.0), None, Some(0.0)],
            end: 9.0,
            tick: 1.0,
        };
        let Drawn::Points { t, v, steps } =
            drawn(&Trace::Stepped(steps), None, None, [0.5, 6.0], 100)
        else {
            panic!("points")
        };
        assert!(steps);
        assert_eq!((t, v), (vec![0.5, 1.0, 5.0], vec![0.0, 1.0, 0.0]));
    }
}
