//! A picture taken apart into its strokes: each once, however often it was drawn.

use super::beam::Beam;

/// Places along a stroke, equally spaced in time.
pub const POINTS: usize = 16;

/// One stroke: where the beam was in sixteen equal parts of the time for which it was lit.
#[derive(Clone, Debug, PartialEq)]
pub struct Stroke {
    /// Means over each sixteenth of its time; X and Y in the channels' units.
    pub points: [[f64; 2]; POINTS],
    /// Time of its first drawing, seconds.
    pub at: f64,
    /// Seconds that it takes; zero for one that was written down and not recorded.
    pub takes: f64,
    /// How often it was drawn.
    pub times: usize,
    /// What it is called, if somebody named it.
    pub name: Option<String>,
}

/// All strokes of a picture, in the order in which they were first drawn.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Picture {
    /// Its strokes.
    pub strokes: Vec<Stroke>,
}

/// Two strokes nearer than this share of the picture's half size are the same one drawn again; chosen below the width
/// of a usual spot.
const SAME: f64 = 0.02;
/// Samples that a stroke needs.
const LEAST: usize = 3;
/// Different strokes beyond which it is no picture but noise.
const MOST: usize = 3000;

impl Stroke {
    /// A straight or bent line through corners, at even speed; none with fewer than two different corners.
    pub fn along(name: &str, corners: &[[f64; 2]]) -> Option<Stroke> {
        let length = |w: &[[f64; 2]]| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]);
        let total: f64 = corners.windows(2).map(length).sum();
        if total <= 0.0 || !total.is_finite() {
            return None;
        }
        let place = |far: f64| {
            let mut left = far;
            for w in corners.windows(2) {
                let long = length(w);
                if left <= long && long > 0.0 {
                    let f = left / long;
                    return [0, 1].map(|k| w[0][k] + f * (w[1][k] - w[0][k]));
                }
                left -= long;
            }
            corners[corners.len() - 1]
        };
        let points = std::array::from_fn(|k| place(total * (k as f64 + 0.5) / POINTS as f64));
        Some(Stroke {
            points,
            at: 0.0,
            takes: 0.0,
            times: 1,
            name: Some(name.to_owned()),
        })
    }

    /// Samples `from..=to` of a beam.
    fn of(beam: &Beam, from: usize, to: usize) -> Stroke {
        let last = (to - from) as f64;
        let value = |signal: &[f32], at: f64| {
            let k = (at.floor() as usize).min(to - from - 1);
            let f = at - k as f64;
            let (a, b) = (f64::from(signal[from + k]), f64::from(signal[from + k + 1]));
            a + f * (b - a)
        };
        // several places in each sixteenth, as many as there are samples
        let fine = ((to - from) / POINTS).clamp(1, 4096);
        let points = std::array::from_fn(|k| {
            let mut sum = [0.0; 2];
            for s in 0..fine {
                let f = (k as f64 + (s as f64 + 0.5) / fine as f64) / POINTS as f64;
                sum[0] += value(beam.x, f * last);
                sum[1] += value(beam.y, f * last);
            }
            sum.map(|v| v / fine as f64)
        });
        let at = beam.axis.time(from as f64);
        Stroke {
            points,
            at,
            takes: beam.axis.time(to as f64) - at,
            times: 1,
            name: None,
        }
    }

    /// Middle of the stroke.
    pub fn middle(&self) -> [f64; 2] {
        [0, 1].map(|a| self.points.iter().map(|p| p[a]).sum::<f64>() / POINTS as f64)
    }

    /// From its beginning to its end, X and Y: the outer places, carried on to the ends.
    pub fn reach(&self) -> [f64; 2] {
        let wide = POINTS as f64 / (POINTS as f64 - 1.0);
        [0, 1].map(|a| (self.points[POINTS - 1][a] - self.points[0][a]) * wide)
    }

    /// Length of its way.
    pub fn length(&self) -> f64 {
        let steps = self.points.windows(2);
        steps
            .map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]))
            .sum()
    }

    /// Root mean square distance to another, place by place.
    pub fn distance(&self, other: &Stroke) -> f64 {
        let square = |(p, q): (&[f64; 2], &[f64; 2])| (p[0] - q[0]).powi(2) + (p[1] - q[1]).powi(2);
        let sum: f64 = self.points.iter().zip(&other.points).map(square).sum();
        (sum / POINTS as f64).sqrt()
    }

    /// Least distance of a place to any place of this stroke.
    fn nearest(&self, p: &[f64; 2]) -> f64 {
        let far = |q: &[f64; 2]| (p[0] - q[0]).hypot(p[1] - q[1]);
        self.points.iter().map(far).fold(f64::MAX, f64::min)
    }

    fn join(&mut self, other: &Stroke) {
        let (n, sum) = (self.times as f64, self.times as f64 + 1.0);
        for (p, q) in self.points.iter_mut().zip(&other.points) {
            *p = [0, 1].map(|a| (p[a] * n + q[a]) / sum);
        }
        self.takes = (self.takes * n + other.takes) / sum;
        self.times += 1;
    }
}

impl Picture {
    /// Takes a picture apart. None if there are more strokes than any picture has.
    pub fn of(beam: &Beam) -> Option<Picture> {
        let [x, y] = beam.extent();
        let tolerance = SAME * 0.5 * (x[1] - x[0]).max(y[1] - y[0]);
        let mut picture = Picture::default();
        let mut cut = Vec::new();
        let mut from = 0;
        while from < beam.lit.len() {
            let run = beam.lit[from..].iter().take_while(|l| **l).count();
            if run + 1 >= LEAST {
                let stroke = Stroke::of(beam, from, from + run);
                // what the recording cuts off may be a part of one that is there whole
                if from == 0 || from + run == beam.lit.len() {
                    cut.push(stroke);
                } else {
                    picture.add(stroke, tolerance);
                }
            }
            from += run.max(1);
            if picture.strokes.len() > MOST {
                return None;
            }
        }
        for stroke in cut {
            let step = |s: &Stroke| tolerance.max(s.length() / POINTS as f64);
            let is_part = |whole: &Stroke| {
                stroke
                    .points
                    .iter()
                    .all(|p| whole.nearest(p) <= step(whole))
            };
            if !picture.strokes.iter().any(is_part) {
                picture.add(stroke, tolerance);
            }
        }
        picture.strokes.sort_by(|a, b| a.at.total_cmp(&b.at));
        Some(picture)
    }

    fn add(&mut self, stroke: Stroke, tolerance: f64) {
        let same = |s: &&mut Stroke| s.distance(&stroke) <= tolerance;
        match self.strokes.iter_mut().find(same) {
            Some(known) => known.join(&stroke),
            None => self.strokes.push(stroke),
        }
    }

    /// Least and greatest X and Y.
    pub fn extent(&self) -> [[f64; 2]; 2] {
        let mut extent = [[f64::MAX, f64::MIN]; 2];
        for p in self.strokes.iter().flat_map(|s| &s.points) {
            for (e, v) in extent.iter_mut().zip(p) {
                *e = [e[0].min(*v), e[1].max(*v)];
            }
        }
        extent
    }
}
