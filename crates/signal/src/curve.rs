//! Volt-ampere curves: samples of voltage and current gathered along the lines on which a source behind a resistance would hold them.
//!
//! A junction is nearly a vertical line and a resistance nearly a slope, so neither axis alone orders the points of every curve. The sum of
//! both, each as a share of its span, does for anything that carries more current at more voltage: points of one sum lie on one load line.

/// What counts as the whole of each axis: a source of `volts` behind `volts / amps` reaches from one end to the other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spans {
    /// Volts.
    pub volts: f64,
    /// Amperes.
    pub amps: f64,
}

impl Spans {
    /// The resistance of the load lines, ohms.
    pub fn ohms(self) -> f64 {
        self.volts / self.amps
    }

    /// Which load line a point lies on, as a share of the span.
    pub fn along(self, volts: f64, amps: f64) -> f64 {
        volts / self.volts + amps / self.amps
    }
}

/// A point of a curve: the middle of the samples near one load line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Its load line: open-circuit volts of the source, as a share of the span.
    pub along: f64,
    /// Volts.
    pub volts: f64,
    /// Amperes.
    pub amps: f64,
    /// Standard uncertainty of the volts along the load line.
    pub doubt: f64,
}

/// A curve, its points in order along the load lines.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curve {
    /// Points.
    pub points: Vec<Point>,
    /// How far the way up and the way down lie apart, volts along a load line, in the mean; zero where only one way was taken.
    pub open: f64,
}

/// Load lines on which samples are gathered; chosen so that a knee gets several.
const CELLS: usize = 72;
/// Share of the samples left out at each end when a span is found: lone disturbances.
const LEFT_OUT: f64 = 0.002;

/// Greatest size of a quantity, without lone disturbances.
pub fn reach(samples: &[f32]) -> f64 {
    let mut sizes: Vec<f32> = samples.iter().map(|v| v.abs()).collect();
    if sizes.is_empty() {
        return 0.0;
    }
    let at = ((1.0 - LEFT_OUT) * (sizes.len() - 1) as f64).round() as usize;
    *sizes.select_nth_unstable_by(at, f32::total_cmp).1 as f64
}

#[derive(Clone, Copy, Default)]
struct Sums {
    count: f64,
    u: f64,
    w: f64,
    uu: f64,
    uw: f64,
    ww: f64,
}

impl Sums {
    fn add(&mut self, u: f64, w: f64) {
        self.count += 1.0;
        self.u += u;
        self.w += w;
        self.uu += u * u;
        self.uw += u * w;
        self.ww += w * w;
    }

    /// Where the samples of a cell lie: the straight line through them at the cell's middle, and the doubt of that.
    fn at(&self, middle: f64, width: f64) -> Option<(f64, f64, f64)> {
        if self.count < 1.0 {
            return None;
        }
        let n = self.count;
        let (u, w) = (self.u / n, self.w / n);
        let (uu, uw, ww) = (
            self.uu / n - u * u,
            self.uw / n - u * w,
            self.ww / n - w * w,
        );
        // too few, or all at one place: the place itself
        if n < 4.0 || uu < 0.01 * width * width || (u - middle).abs() > 0.3 * width {
            let scatter = (ww / n.max(2.0)).max(0.0).sqrt();
            return Some((u, w, scatter));
        }
        let slope = uw / uu;
        let rest = (ww - slope * uw).max(0.0) * n / (n - 2.0);
        let doubt = (rest / n * (1.0 + (middle - u).powi(2) / uu)).sqrt();
        Some((middle, w + slope * (middle - u), doubt))
    }
}

/// Gathers samples into a curve. Both slices must be of one length; spans above zero.
pub fn curve(volts: &[f32], amps: &[f32], spans: Spans) -> Curve {
    let along = |k: usize| spans.along(volts[k] as f64, amps[k] as f64);
    let count = volts.len().min(amps.len());
    let (low, high) = (0..count)
        .map(along)
        .fold((f64::MAX, f64::MIN), |(l, h), u| (l.min(u), h.max(u)));
    if count == 0 || low >= high {
        return Curve::default();
    }
    let width = (high - low) / CELLS as f64;
    let mut cells = [Sums::default(); CELLS];
    let mut ways = [[Sums::default(); CELLS]; 2];
    // the way is told over enough samples that noise does not turn it
    let lag = (count / 200).clamp(1, 5000);
    for k in 0..count {
        let (v, i) = (volts[k] as f64 / spans.volts, amps[k] as f64 / spans.amps);
        let (u, w) = (v + i, v - i);
        let cell = (((u - low) / width) as usize).min(CELLS - 1);
        cells[cell].add(u, w);
        let (before, after) = (k.saturating_sub(lag), (k + lag).min(count - 1));
        let turn = along(after) - along(before);
        if turn.abs() > 0.2 * width {
            ways[usize::from(turn < 0.0)][cell].add(u, w);
        }
    }
    let middle = |c: usize| low + (c as f64 + 0.5) * width;
    let point = |(c, sums): (usize, &Sums)| {
        let (u, w, doubt) = sums.at(middle(c), width)?;
        Some(Point {
            along: u,
            volts: 0.5 * (u + w) * spans.volts,
            amps: 0.5 * (u - w) * spans.amps,
            doubt: 0.5 * doubt * spans.volts,
        })
    };
    let apart: Vec<f64> = (0..CELLS)
        .filter_map(|c| {
            let [up, down] = [0, 1].map(|way: usize| {
                let sums = &ways[way][c];
                (sums.count >= 4.0).then(|| sums.at(middle(c), width))?
            });
            Some(0.5 * (up?.1 - down?.1) * spans.volts)
        })
        .collect();
    let open = if apart.len() < CELLS / 4 {
        0.0
    } else {
        (apart.iter().sum::<f64>() / apart.len() as f64).abs()
    };
    Curve {
        points: cells.iter().enumerate().filter_map(point).collect(),
        open,
    }
}

/// Volts of a curve on a load line, straight between its points; none beyond its ends or in a wide gap.
pub fn volts_at(curve: &Curve, along: f64) -> Option<f64> {
    let p = &curve.points;
    let k = p.partition_point(|q| q.along < along);
    let near = |a: f64, b: f64| (a - b).abs() < 1e-9;
    if k < p.len() && near(p[k].along, along) {
        return Some(p[k].volts);
    }
    if k == 0 || k == p.len() {
        return None;
    }
    let (a, b) = (&p[k - 1], &p[k]);
    let whole = p[p.len() - 1].along - p[0].along;
    if b.along - a.along > 0.1 * whole {
        return None;
    }
    let share = (along - a.along) / (b.along - a.along);
    Some(a.volts + share * (b.volts - a.volts))
}

/// How a curve runs on a load line: change of volts by change of the source's volts, from 0 (a short) to 1 (an open pin).
pub fn run_at(curve: &Curve, k: usize, spans: Spans) -> f64 {
    let p = &curve.points;
    let (a, b) = (k.saturating_sub(1), (k + 1).min(p.len() - 1));
    let source = (p[b].along - p[a].along) * spans.volts;
    if source > 0.0 {
        ((p[b].volts - p[a].volts) / source).clamp(0.0, 1.0)
    } else {
        0.5
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sweep(amps: impl Fn(f64) -> f64) -> (Vec<f32>, Vec<f32>) {
        // a triangle of 5 V behind 1 kilohm, up and down; the pin's volts by bisection
        let mut pairs = (Vec::new(), Vec::new());
        for k in 0..8000 {
            let phase = k as f64 / 8000.0 * 4.0;
            let source = 5.0 * (1.0 - ((phase + 1.0) % 4.0 - 2.0).abs());
            let (mut low, mut high) = (-6.0, 6.0);
            for _ in 0..60 {
                let v = 0.5 * (low + high);
                if amps(v) < (source - v) / 1000.0 {
                    low = v;
                } else {
                    high = v;
                }
            }
            pairs.0.push(low as f32);
            pairs.1.push(((source - low) / 1000.0) as f32);
        }
        pairs
    }

    /// Shockley's law and a resistance are given back to the curve's own curvature within a cell.
    #[test]
    fn a_junction_and_a_resistance_come_back() {
        let diode = |v: f64| 1e-9 * ((v / 0.05).exp() - 1.0);
        let resistor = |v: f64| v / 2200.0;
        for (law, limit) in [
            (&diode as &dyn Fn(f64) -> f64, 4e-3),
            (&resistor as &dyn Fn(f64) -> f64, 1e-4),
        ] {
            let (v, i) = sweep(law);
            let spans = Spans {
                volts: reach(&v),
                amps: reach(&i),
            };
            let found = curve(&v, &i, spans);
            assert!(found.points.len() > 50 && found.open < 1e-3, "{found:?}");
            for p in &found.points {
                // the exact volts on the same load line
                let (mut low, mut high) = (-6.0, 6.0);
                for _ in 0..60 {
                    let v = 0.5 * (low + high);
                    if spans.along(v, law(v)) < p.along {
                        low = v;
                    } else {
                        high = v;
                    }
                }
                assert!((p.volts - low).abs() < limit * spans.volts, "{p:?} {low}");
            }
        }
    }

    #[test]
    fn a_way_up_beside_a_way_down_shows_as_an_opening() {
        let (mut v, i) = sweep(|v| v / 1000.0);
        let half = v.len() / 4;
        v[..half].iter_mut().for_each(|x| *x += 0.2);
        v[3 * half..].iter_mut().for_each(|x| *x += 0.2);
        let found = curve(
            &v,
            &i,
            Spans {
                volts: 2.5,
                amps: 2.5e-3,
            },
        );
        // on a load line of the same slope half of a shift of the volts is seen
        assert!((found.open - 0.1).abs() < 0.02, "{}", found.open);
    }
}
