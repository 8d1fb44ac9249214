//! What healthy boards read at one place, as a normal score: the same scale for every kind of reading.

use record::Shown;

use crate::normal;

/// The distribution of a reading over healthy units, the meter's error included.
///
/// Straight lines between knots (reading, normal score), continued beyond the outer ones; over
/// range counts above every value. Knots ascend in both.
#[derive(Clone, Debug, PartialEq)]
pub struct Marginal {
    knots: Vec<(f64, f64)>,
    over_range: f64,
}

impl Marginal {
    /// From knots (reading, normal score) and the probability of over range; knots that do not
    /// ascend are left out. With fewer than two knots the place is over range on every unit.
    pub fn new(knots: &[(f64, f64)], over_range: f64) -> Self {
        let mut kept: Vec<(f64, f64)> = Vec::with_capacity(knots.len());
        for &(reading, score) in knots {
            let ascends = kept.last().is_none_or(|k| reading > k.0 && score > k.1);
            if reading.is_finite() && score.is_finite() && ascends {
                kept.push((reading, score));
            }
        }
        if kept.len() < 2 {
            kept.clear();
        }
        Self {
            over_range: if kept.is_empty() { 1.0 } else { over_range },
            knots: kept,
        }
    }

    /// A normal distribution that is never over range.
    pub fn normal(mean: f64, sd: f64) -> Self {
        Self::new(&[(mean - sd, -1.0), (mean + sd, 1.0)], 0.0)
    }

    /// Probability of over range.
    pub fn over_range(&self) -> f64 {
        self.over_range
    }

    /// The normal score of a reading and its slope; `None` if no healthy unit gives a reading.
    pub fn score(&self, reading: f64) -> Option<(f64, f64)> {
        if self.knots.is_empty() {
            return None;
        }
        let above = self.knots.partition_point(|k| k.0 < reading);
        let above = above.clamp(1, self.knots.len() - 1);
        let (a, b) = (self.knots[above - 1], self.knots[above]);
        let slope = (b.1 - a.1) / (b.0 - a.0);
        Some((a.1 + slope * (reading - a.0), slope))
    }

    /// The score above which a unit is over range.
    pub fn border(&self) -> f64 {
        if self.over_range <= 0.0 {
            f64::INFINITY
        } else if self.over_range >= 1.0 {
            f64::NEG_INFINITY
        } else {
            normal::quantile(1.0 - self.over_range)
        }
    }

    /// What a unit with that score shows.
    pub fn value(&self, score: f64) -> Shown {
        if score > self.border() || self.knots.is_empty() {
            return Shown::OverRange;
        }
        let above = self.knots.partition_point(|k| k.1 < score);
        let above = above.clamp(1, self.knots.len() - 1);
        let (a, b) = (self.knots[above - 1], self.knots[above]);
        Shown::Number(a.0 + (b.0 - a.0) * (score - a.1) / (b.1 - a.1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_normal_scores_linearly_and_back() {
        let m = Marginal::normal(10.0, 2.0);
        assert_eq!(m.score(13.0), Some((1.5, 0.5)));
        assert_eq!(m.value(-2.0), Shown::Number(6.0));
        assert_eq!(m.border(), f64::INFINITY);
    }

    #[test]
    fn over_range_lies_above_its_border() {
        let m = Marginal::new(&[(1.0, -3.0), (2.0, 1.2)], 0.1);
        assert!((m.border() - 1.281_551_6).abs() < 1e-6);
        assert_eq!(m.value(1.3), Shown::OverRange);
        let always = Marginal::new(&[], 0.0);
        assert_eq!(always.over_range(), 1.0);
        assert_eq!(always.score(5.0), None);
    }
}
