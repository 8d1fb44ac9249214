//! Pulse parameters as IEEE 181 defines them: states, transition durations, widths, periods, overshoot, each with its uncertainty.

use crate::axis::Axis;

use crate::capture::{Steps, Trace};
use crate::compare::walked;
use crate::edges::{self, Edges};
use crate::levels::Levels;

/// Transitions averaged or ranked for one figure at most; more would not change it.
const MOST: usize = 4000;

/// A figure and its standard uncertainty, in the same unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The figure.
    pub value: f64,
    /// One standard deviation of what it may be wrong by, as far as the record shows.
    pub uncertainty: f64,
}

/// What was measured on one channel. A figure is absent only where the record has nothing to take it from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// The two states; of a signal without transitions, its least and greatest usual value.
    pub levels: Levels,
    /// Number of transitions.
    pub edges: usize,
    /// Median 10 to 90 % duration of rising transitions, seconds.
    pub rise: Option<Estimate>,
    /// Median 90 to 10 % duration of falling transitions, seconds.
    pub fall: Option<Estimate>,
    /// Median time between rising transitions, seconds.
    pub period: Option<Estimate>,
    /// Median width of positive pulses at 50 %, seconds.
    pub width: Option<Estimate>,
    /// Typical overshoot after transitions, per cent of the amplitude.
    pub overshoot: Option<Estimate>,
}

/// Measures one channel; none if it holds no samples to speak of.
pub fn measure(trace: &Trace) -> Option<Measured> {
    match trace {
        Trace::Sampled { axis, samples } => sampled(axis, samples),
        Trace::Stepped(steps) => stepped(steps),
    }
}

fn stepped(steps: &Steps) -> Option<Measured> {
    let levels = edges::step_levels(steps)?;
    let found = edges::step_edges(steps, &levels);
    let instant = |rising: bool| {
        (0..found.at.len().min(2))
            .any(|i| found.rises(i) == rising)
            .then_some(Estimate {
                value: 0.0,
                uncertainty: steps.tick / 12f64.sqrt(),
            })
    };
    let (period, width) = spans(&found, &found.at, steps.tick / 6f64.sqrt());
    let overshoot = (!found.at.is_empty()).then_some(Estimate {
        value: 0.0,
        uncertainty: 0.0,
    });
    Some(Measured {
        levels,
        edges: found.at.len(),
        rise: instant(true),
        fall: instant(false),
        period,
        width,
        overshoot,
    })
}

fn sampled(axis: &Axis, samples: &[f32]) -> Option<Measured> {
    let (_, levels, found) = walked(samples)?;
    let signal = Signal {
        axis,
        samples,
        levels,
        edges: &found,
    };
    let durations = |rising: bool| {
        let picked = signal.picked().filter(|&i| found.rises(i) == rising);
        let (times, noises): (Vec<f64>, Vec<f64>) =
            picked.filter_map(|i| signal.duration(i)).unzip();
        estimate(
            times,
            noises.iter().sum::<f64>() / noises.len().max(1) as f64,
        )
    };
    let times: Vec<f64> = found.at.iter().map(|&i| axis.time(i)).collect();
    let (rise, fall) = (durations(true), durations(false));
    let slowest = [rise, fall]
        .iter()
        .flatten()
        .map(|e| e.value)
        .fold(0.0, f64::max);
    let crossing = crossing_noise(&levels, slowest, axis.interval());
    let (period, width) = spans(&found, &times, crossing * 2f64.sqrt());
    let overshoot = signal.overshoot(slowest / axis.interval().max(f64::MIN_POSITIVE));
    Some(Measured {
        levels,
        edges: found.at.len(),
        rise,
        fall,
        period,
        width,
        overshoot,
    })
}

/// Standard deviation of a crossing from noise over slope, and from the straight line drawn between samples.
fn crossing_noise(levels: &Levels, duration: f64, interval: f64) -> f64 {
    let slope = 0.8 * levels.amplitude() / duration.max(interval);
    let noise = if slope > 0.0 {
        levels.noise / slope
    } else {
        0.0
    };
    noise.hypot(0.05 * interval * (interval / duration.max(interval)))
}

/// Median and its uncertainty: spread over root of number, and never less than one figure's own noise over the same root.
fn estimate(mut values: Vec<f64>, own: f64) -> Option<Estimate> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let value = median(&mut values);
    let mut off: Vec<f64> = values.iter().map(|v| (v - value).abs()).collect();
    let spread = 1.4826 * median(&mut off);
    // the median of a normal sample is 1.2533 times less certain than its mean
    let factor = if n > 2 { 1.2533 } else { 1.0 };
    Some(Estimate {
        value,
        uncertainty: factor * spread.max(own) / (n as f64).sqrt(),
    })
}

/// Median of values, the mean of the middle two if their number is even.
pub(crate) fn median(values: &mut [f64]) -> f64 {
    let (middle, odd) = (values.len() / 2, values.len() % 2 == 1);
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    let upper = *upper;
    if odd {
        return upper;
    }
    let lower = below.iter().copied().fold(f64::MIN, f64::max);
    0.5 * (lower + upper)
}

/// Median 10 to 90 % duration of some two hundred transitions, in samples.
pub(crate) fn typical_duration(samples: &[f32], levels: &Levels, edges: &Edges) -> Option<f64> {
    let axis = Axis::uniform(0.0, 1.0);
    let signal = Signal {
        axis: &axis,
        samples,
        levels: *levels,
        edges,
    };
    let step = (edges.at.len() / 200) | 1;
    let mut found: Vec<f64> = (0..edges.at.len())
        .step_by(step)
        .filter_map(|i| signal.duration(i))
        .map(|d| d.0)
        .collect();
    (!found.is_empty()).then(|| median(&mut found))
}

fn spans(found: &Edges, times: &[f64], own: f64) -> (Option<Estimate>, Option<Estimate>) {
    let first = if found.first_rises { 0 } else { 1 };
    let step = (times.len() / (2 * 100_000)).max(1) * 2;
    let gap = |distance: usize| -> Vec<f64> {
        (first..times.len().saturating_sub(distance))
            .step_by(step)
            .map(|i| times[i + distance] - times[i])
            .collect()
    };
    (estimate(gap(2), own), estimate(gap(1), own))
}

/// Whether four samples lie on a smooth bend; at a corner a cubic would swing and the straight line is right.
fn bends_evenly(w: f64, x: f64, y: f64, z: f64) -> bool {
    let (left, right) = (w - 2.0 * x + y, x - 2.0 * y + z);
    left * right > 0.0 && left.abs() < 3.0 * right.abs() && right.abs() < 3.0 * left.abs()
}

struct Signal<'a> {
    axis: &'a Axis,
    samples: &'a [f32],
    levels: Levels,
    edges: &'a Edges,
}

impl Signal<'_> {
    fn picked(&self) -> impl Iterator<Item = usize> + use<> {
        let n = self.edges.at.len();
        // an odd step picks rising and falling ones alike
        let step = (n / MOST) | 1;
        (0..n).step_by(step)
    }

    /// Samples that belong to transition `i`: to half-way to its neighbours' crossings on either side.
    fn reach(&self, i: usize) -> (usize, usize) {
        let at = &self.edges.at;
        let from = if i == 0 { 0.0 } else { at[i - 1] };
        let to = at
            .get(i + 1)
            .copied()
            .unwrap_or((self.samples.len() - 1) as f64);
        (from.ceil() as usize, to.floor() as usize)
    }

    /// Duration of transition `i` between its 10 and 90 % crossings in seconds, and its standard deviation.
    fn duration(&self, i: usize) -> Option<(f64, f64)> {
        let (from, to) = self.reach(i);
        let middle = self.edges.at[i];
        let rising = self.edges.rises(i);
        let near = self.outward(middle, from, if rising { 0.1 } else { 0.9 }, -1)?;
        let far = self.outward(middle, to, if rising { 0.9 } else { 0.1 }, 1)?;
        let (a, b) = (self.axis.time(near), self.axis.time(far));
        let step = self.axis.interval();
        let slope = 0.8 * self.levels.amplitude() / (b - a).max(step);
        // at the 10 and 90 % crossings most edges have about half their mean slope
        let noise = 2.0 * self.levels.noise / slope;
        Some((
            b - a,
            (2f64.sqrt() * noise).hypot(0.1 * step * step / (b - a).max(step)),
        ))
    }

    /// Crossing of a reference level, sought from half-way outwards; with noise, the mean of its cluster of crossings.
    fn outward(&self, middle: f64, limit: usize, fraction: f64, way: isize) -> Option<f64> {
        let level = self.levels.at(fraction) as f32;
        let below = fraction < 0.5;
        let past = |v: f32| if below { v <= level } else { v >= level };
        let guard = (3.0 * self.levels.noise).min(0.06 * self.levels.amplitude()) as f32;
        let settled = |v: f32| {
            if below {
                v <= level - guard
            } else {
                v >= level + guard
            }
        };
        let mut at = if way < 0 {
            middle.floor()
        } else {
            middle.ceil()
        } as isize;
        let mut before = self.samples[at as usize];
        if past(before) {
            // the whole transition lies between two samples
            return Some(self.between(at - way, at, level));
        }
        let (mut sum, mut count) = (0.0, 0);
        while at != limit as isize {
            at += way;
            let now = self.samples[at as usize];
            if past(now) != past(before) {
                sum += self.between(at - way, at, level);
                count += 1;
            }
            before = now;
            if count > 0 && (settled(now) || guard == 0.0) {
                break;
            }
        }
        (count > 0).then(|| sum / count as f64)
    }

    /// Place between two neighbouring samples where a level is crossed: by the cubic through four samples, since the 10 and 90 %
    /// crossings lie where edges bend; by a straight line where noise would bend the cubic.
    fn between(&self, from: isize, to: isize, level: f32) -> f64 {
        let (x, y) = (
            self.samples[from as usize] as f64,
            self.samples[to as usize] as f64,
        );
        let level = level as f64;
        let straight = (level - x) / (y - x);
        let way = to - from;
        let sample = |i: isize| {
            usize::try_from(i)
                .ok()
                .and_then(|i| self.samples.get(i))
                .map(|v| *v as f64)
        };
        let place = match (sample(from - way), sample(to + way)) {
            (Some(w), Some(z))
                if self.levels.noise < 0.003 * self.levels.amplitude()
                    && bends_evenly(w, x, y, z) =>
            {
                let cubic = |f: f64| {
                    -w * f * (f - 1.0) * (f - 2.0) / 6.0
                        + x * (f + 1.0) * (f - 1.0) * (f - 2.0) / 2.0
                        - y * (f + 1.0) * f * (f - 2.0) / 2.0
                        + z * (f + 1.0) * f * (f - 1.0) / 6.0
                };
                let (mut low, mut high) = (0.0, 1.0);
                for _ in 0..30 {
                    let middle = 0.5 * (low + high);
                    if (cubic(middle) > level) == (y > x) {
                        high = middle
                    } else {
                        low = middle
                    }
                }
                0.5 * (low + high)
            }
            _ => straight,
        };
        from as f64 + way as f64 * place
    }

    /// Typical excursion beyond the state that a transition leads to, per cent of the amplitude.
    fn overshoot(&self, slowest: f64) -> Option<Estimate> {
        if self.edges.at.is_empty() {
            return None;
        }
        let amplitude = self.levels.amplitude();
        let reach = (6.0 * slowest).max(12.0);
        let window = |i: usize| {
            let (_, to) = self.reach(i);
            let before_next = (to as f64 - slowest).max(self.edges.at[i] + 1.0);
            let last = (self.edges.at[i] + reach).min(before_next) as usize;
            (self.edges.at[i].ceil() as usize, last)
        };
        let noisy = self.levels.noise > 0.001 * amplitude;
        let peak = if noisy {
            self.averaged_peak(reach as usize, &window)
        } else {
            self.median_peak(&window)
        };
        let Some(peak) = peak else {
            return Some(Estimate {
                value: 0.0,
                uncertainty: 0.0,
            });
        };
        let uncertainty = peak.uncertainty.hypot(self.levels.uncertainty);
        // an excursion within its own uncertainty is none
        let value = if peak.value > 3.0 * uncertainty {
            peak.value
        } else {
            0.0
        };
        Some(Estimate {
            value: 100.0 * value / amplitude,
            uncertainty: 100.0 * uncertainty / amplitude,
        })
    }

    fn beyond(&self, i: usize, value: f64) -> f64 {
        if self.edges.rises(i) {
            value - self.levels.high
        } else {
            self.levels.low - value
        }
    }

    fn median_peak(&self, window: &dyn Fn(usize) -> (usize, usize)) -> Option<Estimate> {
        let mut peaks = Vec::new();
        for i in self.picked() {
            let (from, to) = window(i);
            let value = |k: usize| self.beyond(i, self.samples[k] as f64);
            let best = (from..to + 1).max_by(|a, b| value(*a).total_cmp(&value(*b)));
            let Some(best) = best.filter(|b| *b > from && *b < to) else {
                continue;
            };
            let (left, top, right) = (value(best - 1), value(best), value(best + 1));
            let bend = left - 2.0 * top + right;
            // a plateau's last sample before the next transition is a corner and no peak
            let rise = if left < top && right < top {
                -(right - left).powi(2) / (8.0 * bend)
            } else {
                0.0
            };
            peaks.push((top + rise).max(0.0));
        }
        estimate(peaks, self.levels.noise)
    }

    /// Peak of the mean course after a transition: the mean takes the noise out that a peak would pick up.
    fn averaged_peak(
        &self,
        reach: usize,
        window: &dyn Fn(usize) -> (usize, usize),
    ) -> Option<Estimate> {
        let reach = reach.min(100_000);
        let (mut sums, mut counts) = (vec![0.0; reach + 1], vec![0u32; reach + 1]);
        for i in self.picked() {
            let (from, to) = window(i);
            for k in from..=to.min(from + reach) {
                sums[k - from] += self.beyond(i, self.samples[k] as f64);
                counts[k - from] += 1;
            }
        }
        let most = *counts.iter().max()?;
        let means: Vec<f64> = (0..=reach)
            .take_while(|&k| counts[k] * 2 > most)
            .map(|k| sums[k] / counts[k] as f64)
            .collect();
        let top = means.iter().copied().fold(f64::MIN, f64::max);
        // the greatest of n normal deviates lies near sqrt(2 ln n) of them
        let own = self.levels.noise / (most as f64).sqrt();
        let allowance = own * (2.0 * (means.len().max(2) as f64).ln()).sqrt();
        let broad = means.iter().filter(|m| **m > 0.5 * top).count().max(1) as f64;
        (top > 0.0).then_some(Estimate {
            value: (top - 0.5 * own / broad.sqrt()).max(0.0),
            uncertainty: own.max(allowance / 3.0),
        })
    }
}
