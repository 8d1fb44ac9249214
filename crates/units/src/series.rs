//! The preferred values of IEC 60063.

/// A series of preferred values: so many a decade.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Series {
    /// 3 a decade.
    E3,
    /// 6 a decade, made for 20 %.
    E6,
    /// 12 a decade, made for 10 %.
    E12,
    /// 24 a decade, made for 5 %.
    E24,
    /// 48 a decade, made for 2 %.
    E48,
    /// 96 a decade, made for 1 %.
    E96,
}

/// E24 as standardised; eight of its values are not the rounded powers (IEC 60063).
const E24: [f64; 24] = [
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6,
    6.2, 6.8, 7.5, 8.2, 9.1,
];

impl Series {
    /// The values of the decade from 1 to 10, rising.
    pub fn values(self) -> Vec<f64> {
        match self {
            Series::E3 => thinned(8),
            Series::E6 => thinned(4),
            Series::E12 => thinned(2),
            Series::E24 => E24.to_vec(),
            Series::E48 => geometric(48),
            Series::E96 => geometric(96),
        }
    }

    /// Whether a value, of any decade, is of the series; its first four digits count.
    pub fn contains(self, value: f64) -> bool {
        self.nearest(value)
            .is_some_and(|near| (value / near - 1.0).abs() < 5e-4)
    }

    /// The value of the series nearest by ratio; none unless `value` is positive and finite.
    pub fn nearest(self, value: f64) -> Option<f64> {
        if !(value > 0.0 && value.is_finite()) {
            return None;
        }
        let decade = value.log10().floor() as i32;
        let distance = |candidate: f64| (value / candidate).ln().abs();
        (decade - 1..=decade + 1)
            .flat_map(|d| self.values().into_iter().map(move |v| at_decade(v, d)))
            .filter(|c| *c > 0.0 && c.is_finite())
            .min_by(|a, b| distance(*a).total_cmp(&distance(*b)))
    }
}

/// Through decimal text, so that 4.7 in the third decade is 4700 and not nearly so.
fn at_decade(value: f64, decade: i32) -> f64 {
    format!("{value}e{decade}").parse().unwrap_or(f64::INFINITY)
}

fn thinned(step: usize) -> Vec<f64> {
    E24.into_iter().step_by(step).collect()
}

fn geometric(count: i32) -> Vec<f64> {
    (0..count)
        .map(|i| (10f64.powf(f64::from(i) / f64::from(count)) * 100.0).round() / 100.0)
        .collect()
}
