//! Time bases: evenly spaced runs of samples, found from rounded time columns without keeping the column.

/// A run of evenly spaced samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Run {
    /// Index of its first sample.
    pub first: usize,
    /// Time of its first sample, seconds.
    pub start: f64,
    /// Seconds from one sample to the next.
    pub interval: f64,
}

/// The times of the samples of a capture: never empty, runs in order.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    runs: Vec<Run>,
}

impl Axis {
    /// One run: sample 0 at `start`, one every `interval` seconds.
    pub fn uniform(start: f64, interval: f64) -> Axis {
        Axis {
            runs: vec![Run {
                first: 0,
                start,
                interval,
            }],
        }
    }

    /// The runs, in order.
    pub fn runs(&self) -> &[Run] {
        &self.runs
    }

    /// Whether all samples are evenly spaced.
    pub fn is_uniform(&self) -> bool {
        self.runs.len() == 1
    }

    /// Seconds a sample in the longest run.
    pub fn interval(&self) -> f64 {
        let longest = |i: usize| {
            self.runs.get(i + 1).map_or(usize::MAX, |next| next.first) - self.runs[i].first
        };
        let best = (0..self.runs.len())
            .max_by_key(|&i| (longest(i), std::cmp::Reverse(i)))
            .unwrap_or(0);
        self.runs[best].interval
    }

    /// Time in seconds of a whole sample.
    fn whole(&self, index: usize) -> f64 {
        let at = self.runs.partition_point(|run| run.first <= index).max(1) - 1;
        let run = self.runs[at];
        run.start + (index - run.first) as f64 * run.interval
    }

    /// Time in seconds at a fractional sample index.
    pub fn time(&self, index: f64) -> f64 {
        if let [run] = self.runs[..] {
            return run.start + index * run.interval;
        }
        let below = index.max(0.0).floor();
        let (a, b) = (self.whole(below as usize), self.whole(below as usize + 1));
        a + (b - a) * (index - below)
    }

    /// Fractional sample index at a time in seconds.
    pub fn index(&self, time: f64) -> f64 {
        let at = self.runs.partition_point(|run| run.start <= time).max(1) - 1;
        let run = self.runs[at];
        let index = run.first as f64
            + if run.interval > 0.0 {
                (time - run.start) / run.interval
            } else {
                0.0
            };
        match self.runs.get(at + 1) {
            Some(next) if index > next.first as f64 - 1.0 => {
                let last = next.first - 1;
                let (a, b) = (self.whole(last), next.start);
                last as f64
                    + if b > a {
                        ((time - a) / (b - a)).clamp(0.0, 1.0)
                    } else {
                        0.0
                    }
            }
            _ => index,
        }
    }
}

/// Builds an [`Axis`] from time stamps as they come, each known to its last printed digit.
///
/// A run goes on as long as one straight line passes within the rounding of every stamp; its start and interval are then the
/// least-squares line, which is finer than any single rounded stamp.
#[derive(Debug, Default)]
pub struct AxisBuilder {
    runs: Vec<Run>,
    count: usize,
    last: f64,
    run: OpenRun,
}

#[derive(Debug, Default)]
struct OpenRun {
    first: usize,
    count: usize,
    start: f64,
    guess: f64,
    low: f64,
    high: f64,
    sum: f64,
    weighted: f64,
    exact: bool,
    stamps: Vec<f64>,
}

impl OpenRun {
    fn new(first: usize, start: f64) -> OpenRun {
        OpenRun {
            first,
            count: 1,
            start,
            low: f64::NEG_INFINITY,
            high: f64::INFINITY,
            exact: true,
            stamps: vec![start],
            ..OpenRun::default()
        }
    }

    fn take(&mut self, time: f64, quantum: f64) -> bool {
        let k = self.count as f64;
        let slack = 1.01 * quantum + 1e-14 * time.abs();
        // a bound moves seldom, and only then is there something to divide
        let (below, above) = (time - slack - self.start, time + slack - self.start);
        let low = if below > self.low * k {
            below / k
        } else {
            self.low
        };
        let high = if above < self.high * k {
            above / k
        } else {
            self.high
        };
        if low > high {
            return false;
        }
        if self.guess == 0.0 {
            self.guess = (time - self.start) / k;
        }
        let residue = time - self.start - k * self.guess;
        self.exact &= residue.abs() <= 4e-16 * (time.abs() + self.start.abs());
        self.sum += residue;
        self.weighted += k * residue;
        if self.stamps.len() < SHORT {
            self.stamps.push(time);
        }
        (self.low, self.high) = (low, high);
        self.count += 1;
        true
    }

    /// Adds the run to the others. A short one may be even only by chance, and keeps its stamps as they are.
    fn close(&self, next: Option<f64>, runs: &mut Vec<Run>) {
        let n = self.count as f64;
        let (first, start) = (self.first, self.start);
        if self.exact || self.count < 3 {
            let interval = if self.count > 1 {
                self.guess
            } else {
                next.map_or(0.0, |t| t - start)
            };
            return runs.push(Run {
                first,
                start,
                interval,
            });
        }
        if self.count < SHORT && (next.is_some() || !runs.is_empty()) {
            let after = |k: usize| {
                self.stamps
                    .get(k + 1)
                    .copied()
                    .or(next)
                    .unwrap_or(self.stamps[k])
            };
            return runs.extend(self.stamps.iter().enumerate().map(|(k, t)| Run {
                first: first + k,
                start: *t,
                interval: after(k) - t,
            }));
        }
        let (s1, s2) = (n * (n - 1.0) / 2.0, n * (n - 1.0) * (2.0 * n - 1.0) / 6.0);
        let slope = (n * self.weighted - s1 * self.sum) / (n * s2 - s1 * s1);
        let level = (self.sum - slope * s1) / n;
        runs.push(Run {
            first,
            start: start + level,
            interval: self.guess + slope,
        });
    }
}

/// Runs shorter than this keep every stamp.
const SHORT: usize = 16;

impl AxisBuilder {
    /// Takes the next stamp, in seconds; `quantum` is the worth of its last printed digit. False if time goes back.
    pub fn push(&mut self, time: f64, quantum: f64) -> bool {
        if self.count == 0 {
            self.run = OpenRun::new(0, time);
        } else if time < self.last {
            return false;
        } else if !self.run.take(time, quantum) {
            self.run.close(Some(time), &mut self.runs);
            self.run = OpenRun::new(self.count, time);
        }
        self.last = time;
        self.count += 1;
        true
    }

    /// The last stamp taken, in seconds.
    pub fn last(&self) -> f64 {
        self.last
    }

    /// The axis of all stamps taken; none if there were fewer than two different ones.
    pub fn finish(mut self) -> Option<Axis> {
        if self.count < 2 {
            return None;
        }
        self.run.close(None, &mut self.runs);
        self.runs
            .iter()
            .any(|run| run.interval > 0.0)
            .then_some(Axis { runs: self.runs })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn build(stamps: &[f64], quantum: f64) -> Axis {
        let mut builder = AxisBuilder::default();
        assert!(stamps.iter().all(|&t| builder.push(t, quantum)));
        builder.finish().expect("an axis")
    }

    #[test]
    fn rounded_stamps_give_a_finer_interval_than_they_print() {
        let stamps: Vec<f64> = (0..20_000)
            .map(|k| (k as f64 * 3.7e-7 / 1e-6).round() * 1e-6)
            .collect();
        let axis = build(&stamps, 1e-6);
        assert!(axis.is_uniform());
        assert!(
            (axis.interval() - 3.7e-7).abs() < 1e-12,
            "{}",
            axis.interval()
        );
        assert!(axis.time(0.0).abs() < 1e-7);
    }

    #[test]
    fn a_gap_starts_a_second_run_and_both_directions_agree() {
        let stamps: Vec<f64> = (0..100)
            .map(|k| k as f64 + if k < 50 { 0.0 } else { 1000.0 })
            .collect();
        let axis = build(&stamps, 1e-9);
        assert_eq!(axis.runs().len(), 2);
        for index in [0.0, 3.25, 48.5, 49.5, 50.0, 77.75] {
            assert!(
                (axis.index(axis.time(index)) - index).abs() < 1e-9,
                "{index}"
            );
        }
    }

    #[test]
    fn time_that_goes_back_is_refused() {
        let mut builder = AxisBuilder::default();
        assert!(builder.push(1.0, 0.01) && builder.push(2.0, 0.01));
        assert!(!builder.push(1.5, 0.01));
    }
}
