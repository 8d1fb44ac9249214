//! The distribution of a reading over healthy units, the meter's own error included.

use circuit::meter::Setup;
use circuit::parameter::normal_cdf;

/// A share of the healthy units and what the meter shows on them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Draw {
    /// Its share; all shares sum to 1.
    pub weight: f64,
    /// What the meter would show without error; `None` is over range.
    pub reading: Option<f64>,
    /// Standard deviation about it, by meter error and by what the share lumps together.
    pub sd: f64,
}

/// Adds a share whose true reading spreads by `between` about `reading`, with the meter's error.
pub(crate) fn add_share(
    draws: &mut Vec<Draw>,
    setup: &Setup,
    weight: f64,
    reading: Option<f64>,
    between: f64,
) {
    let Some(reading) = reading else {
        draws.push(Draw {
            weight,
            reading: None,
            sd: 0.0,
        });
        return;
    };
    if setup.errs_normally() {
        draws.push(Draw {
            weight,
            reading: Some(reading),
            sd: setup.error(reading).hypot(between),
        });
        return;
    }
    // Strata of the error a quarter of a standard deviation wide, each smoothed by half of that.
    let step = 0.25;
    let total: f64 = (-16..=16).map(|k| bell(f64::from(k) * step)).sum();
    for k in -16..=16 {
        let deviate = f64::from(k) * step;
        let at = |d: f64| setup.misread(reading, d);
        let width = match (at(deviate - 0.5 * step), at(deviate + 0.5 * step)) {
            (Some(a), Some(b)) => 0.5 * (a - b).abs(),
            _ => 0.0,
        };
        let shown = at(deviate);
        let slope = shown.map_or(0.0, |r| setup.error(r) / setup.error(reading));
        draws.push(Draw {
            weight: weight * bell(deviate) / total,
            reading: shown,
            sd: width.hypot(between * slope),
        });
    }
}

fn bell(x: f64) -> f64 {
    (-0.5 * x * x).exp()
}

/// A mixture of normal distributions and a share that is over range.
#[derive(Clone, Debug, PartialEq)]
pub struct Distribution {
    draws: Vec<Draw>,
    over_range: f64,
}

/// Beyond this many standard deviations the tail is continued as a normal one.
const TAIL: f64 = 4.5;

impl Distribution {
    /// Makes a distribution of shares, whose weights are normalised here.
    pub fn new(mut draws: Vec<Draw>) -> Self {
        let total: f64 = draws.iter().map(|d| d.weight).sum();
        for d in &mut draws {
            d.weight /= total;
        }
        let over_range = draws
            .iter()
            .filter(|d| d.reading.is_none())
            .map(|d| d.weight)
            .sum();
        draws.retain(|d| d.reading.is_some());
        Self { draws, over_range }
    }

    /// Probability of over range.
    pub fn over_range(&self) -> f64 {
        self.over_range
    }

    /// Probability of a reading up to `x`; over range counts above every value.
    pub fn cdf(&self, x: f64) -> f64 {
        self.draws
            .iter()
            .map(|d| {
                let reading = d.reading.unwrap_or(f64::INFINITY);
                let s = (x - reading) / d.sd.max(f64::MIN_POSITIVE);
                d.weight * normal_cdf(s)
            })
            .sum()
    }

    /// The reading below which a share `p` lies; `None` if that quantile is over range.
    pub fn quantile(&self, p: f64) -> Option<f64> {
        if self.draws.is_empty() || p >= 1.0 - self.over_range {
            return None;
        }
        let reach = |sign: f64| {
            self.draws
                .iter()
                .filter_map(move |d| d.reading.map(|r| r + sign * 9.0 * d.sd))
        };
        let mut low = reach(-1.0).fold(f64::INFINITY, f64::min);
        let mut high = reach(1.0).fold(f64::NEG_INFINITY, f64::max);
        for _ in 0..100 {
            let middle = 0.5 * (low + high);
            if middle <= low || middle >= high {
                break;
            }
            if self.cdf(middle) < p {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(0.5 * (low + high))
    }

    /// The normal score of a reading; `None` if no unit would give a reading at all.
    pub fn score(&self, x: f64) -> Option<f64> {
        let below = self.cdf(x);
        let above = (1.0 - self.over_range - below).max(0.0) + self.over_range;
        let z = if below < 0.5 {
            -normal_tail(below)
        } else {
            normal_tail(above)
        };
        if z.abs() < TAIL {
            return Some(z);
        }
        // Far out the mixture has no mass left; its outer half-width continues the scale.
        let (middle, low) = (self.quantile(0.5), self.quantile(0.00135)?);
        let middle = middle.or_else(|| self.quantile(0.5 * (1.0 - self.over_range)))?;
        let high = self
            .quantile(0.99865)
            .unwrap_or(2.0 * middle - low)
            .max(middle);
        let sd = if x < middle {
            middle - low
        } else {
            high - middle
        } / 3.0;
        let linear = (x - middle) / sd.max(f64::MIN_POSITIVE);
        Some(if x < middle {
            linear.min(-TAIL)
        } else {
            linear.max(TAIL)
        })
    }
}

/// The standard normal quantile of `p`, between -9 and 9.
pub(crate) fn normal_quantile(p: f64) -> f64 {
    if p < 0.5 {
        -normal_tail(p)
    } else {
        normal_tail(1.0 - p)
    }
}

/// How many standard deviations cut off a tail of probability `p`, at most 9.
fn normal_tail(p: f64) -> f64 {
    let (mut low, mut high) = (0.0, 9.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if 0.5 * libm::erfc(middle * std::f64::consts::FRAC_1_SQRT_2) > p {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn normal() -> Distribution {
        Distribution::new(vec![Draw {
            weight: 1.0,
            reading: Some(10.0),
            sd: 2.0,
        }])
    }

    #[test]
    fn a_normal_has_the_tabulated_quantiles() {
        // Standard normal table: 97.5 % at 1.959964.
        let d = normal();
        assert!((d.quantile(0.975).unwrap() - 10.0 - 2.0 * 1.959964).abs() < 1e-5);
        assert!((d.score(10.0 - 2.0 * 3.2905).unwrap() + 3.2905).abs() < 1e-6);
        assert!((d.score(30.0).unwrap() - 10.0).abs() < 0.05);
    }

    #[test]
    fn a_needle_errs_in_arc() {
        // Closed form: at mid-scale the arc is 0.5 +- 1.96 x 0.025, R = source (1/d - 1).
        let setup = Setup::SeriesOhms {
            source: 1500.0,
            open: 1.5,
            full_scale: 150e3,
            reversed: false,
            accuracy: 0.05,
        };
        let mut draws = Vec::new();
        add_share(&mut draws, &setup, 1.0, Some(1500.0), 0.0);
        let d = Distribution::new(draws);
        let at = |arc: f64| 1500.0 * (1.0 / arc - 1.0);
        assert!((d.quantile(0.025).unwrap() / at(0.549) - 1.0).abs() < 5e-3);
        assert!((d.quantile(0.975).unwrap() / at(0.451) - 1.0).abs() < 5e-3);
        // Thirty times mid-scale the needle may fall below the end of the scale.
        let mut draws = Vec::new();
        add_share(&mut draws, &setup, 1.0, Some(45e3), 0.0);
        assert_eq!(Distribution::new(draws).quantile(0.975), None);
    }

    #[test]
    fn over_range_lies_above_every_value() {
        let d = Distribution::new(vec![
            Draw {
                weight: 0.9,
                reading: Some(1.0),
                sd: 0.1,
            },
            Draw {
                weight: 0.1,
                reading: None,
                sd: 0.0,
            },
        ]);
        assert!((d.over_range() - 0.1).abs() < 1e-12);
        assert_eq!(d.quantile(0.975), None);
        assert!(d.quantile(0.025).unwrap() < 1.0);
        // The largest reading is still below a tenth of all units.
        assert!((d.score(5.0).unwrap() - 1.2816).abs() < 1e-3);
    }
}
