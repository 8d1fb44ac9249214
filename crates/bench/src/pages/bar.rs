//! A band with readings on it, as lengths along one axis: agreement is seen before it is read.

/// Positions along a bar, each from 0 (left end) to 1 (right end).
#[derive(Clone, Debug, PartialEq)]
pub struct Bar {
    /// How the axis runs.
    pub axis: Axis,
    /// Bands, each with the units it holds for; most boards have one for all.
    pub bands: Vec<Band>,
    /// One a reading, in the order of the units.
    pub ticks: Vec<Tick>,
    /// Where over range begins; none if nothing on this bar is over range.
    pub over_range_from: Option<f64>,
}

/// How an axis runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Axis {
    /// Equal lengths are equal factors.
    Logarithmic,
    /// Equal lengths are equal differences.
    Linear,
}

/// Where healthy boards read.
#[derive(Clone, Debug, PartialEq)]
pub struct Band {
    /// Left end.
    pub from: f64,
    /// Right end.
    pub to: f64,
    /// With nominal parts.
    pub nominal: f64,
    /// Indices of the units it holds for; empty means all.
    pub units: Vec<usize>,
}

/// A reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Tick {
    /// Index of the unit.
    pub unit: usize,
    /// Where it is.
    pub at: f64,
}

/// A band in SI units; `None` is over range.
#[derive(Clone, Debug, PartialEq)]
pub struct Expected {
    /// 2.5 % quantile.
    pub low: Option<f64>,
    /// 97.5 % quantile.
    pub high: Option<f64>,
    /// With nominal parts.
    pub nominal: Option<f64>,
    /// Indices of the units it holds for; empty means all.
    pub units: Vec<usize>,
}

/// Resistances below this are all drawn here; chosen below what any lead leaves.
const SMALLEST: f64 = 1e-2;
/// Where over range begins on a bar that has it; chosen to leave room for the letters.
const OVER_RANGE: f64 = 0.86;
/// Room at each end, as a fraction of what is shown.
const MARGIN: f64 = 0.12;

/// Lays out a bar. `readings` are (unit, value), `None` being over range. None if there is nothing to draw.
pub fn bar(axis: Axis, expected: &[Expected], readings: &[(usize, Option<f64>)]) -> Option<Bar> {
    if expected.is_empty() && readings.is_empty() {
        return None;
    }
    let along = |x: f64| match axis {
        Axis::Logarithmic => x.max(SMALLEST).log10(),
        Axis::Linear => x,
    };
    let all = || {
        let of_bands = expected.iter().flat_map(|e| [e.low, e.high, e.nominal]);
        of_bands.chain(readings.iter().map(|r| r.1))
    };
    let finite: Vec<f64> = all().flatten().map(along).collect();
    let is_over = all().any(|x| x.is_none());
    let end = if is_over { OVER_RANGE } else { 1.0 };
    let low = finite.iter().copied().fold(f64::INFINITY, f64::min);
    let high = finite.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    // At least a tenth of a decade, or a hundredth of the voltage: noise must not fill the bar.
    let least = match axis {
        Axis::Logarithmic => 0.1,
        Axis::Linear => (0.01 * low.abs().max(high.abs())).max(1e-3),
    };
    let span = (high - low).max(least);
    let middle = f64::midpoint(low, high);
    let at = |x: Option<f64>| match x {
        Some(x) => {
            let fraction = 0.5 + (along(x) - middle) / (span * (1.0 + 2.0 * MARGIN));
            fraction * end
        }
        None => f64::midpoint(OVER_RANGE, 1.0),
    };
    let bands = expected
        .iter()
        .map(|e| Band {
            from: e.low.map_or(OVER_RANGE, |l| at(Some(l))),
            to: e.high.map_or(1.0, |h| at(Some(h))),
            nominal: at(e.nominal),
            units: e.units.clone(),
        })
        .collect();
    let ticks = readings
        .iter()
        .map(|(unit, value)| Tick {
            unit: *unit,
            at: at(*value),
        })
        .collect();
    Some(Bar {
        axis,
        bands,
        ticks,
        over_range_from: is_over.then_some(OVER_RANGE),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ohms(low: f64, high: f64) -> Expected {
        Expected {
            low: Some(low),
            high: Some(high),
            nominal: Some((low * high).sqrt()),
            units: Vec::new(),
        }
    }

    fn check(bar: &Bar) {
        for tick in &bar.ticks {
            assert!((0.0..=1.0).contains(&tick.at), "{bar:?}");
        }
        for band in &bar.bands {
            assert!(
                0.0 <= band.from && band.from < band.to && band.to <= 1.0,
                "{bar:?}"
            );
            assert!((band.from..=band.to).contains(&band.nominal), "{bar:?}");
        }
    }

    #[test]
    fn equal_factors_are_equal_lengths_on_ohms() {
        let bar = bar(
            Axis::Logarithmic,
            &[ohms(100.0, 10_000.0)],
            &[(0, Some(1000.0))],
        )
        .expect("a bar");
        check(&bar);
        let (from, to) = (bar.bands[0].from, bar.bands[0].to);
        assert!((bar.ticks[0].at - f64::midpoint(from, to)).abs() < 1e-9);
    }

    #[test]
    fn equal_differences_are_equal_lengths_on_volts() {
        let band = Expected {
            low: Some(-12.6),
            high: Some(-11.4),
            nominal: Some(-12.0),
            units: Vec::new(),
        };
        let bar = bar(Axis::Linear, &[band], &[(0, Some(-11.7)), (1, Some(-14.0))]).expect("a bar");
        check(&bar);
        let width = bar.bands[0].to - bar.bands[0].from;
        assert!(((bar.ticks[0].at - bar.bands[0].from) / width - 0.75).abs() < 1e-9);
        assert!(bar.ticks[1].at < bar.bands[0].from);
    }

    #[test]
    fn over_range_has_a_place_of_its_own() {
        let bar = bar(
            Axis::Logarithmic,
            &[ohms(100.0, 200.0)],
            &[(0, None), (1, Some(150.0))],
        )
        .expect("a bar");
        check(&bar);
        let from = bar.over_range_from.expect("a place for over range");
        assert!(bar.ticks[0].at > from && bar.bands[0].to < from);
    }

    #[test]
    fn a_band_open_to_over_range_reaches_the_end() {
        let open = Expected {
            low: Some(1e5),
            high: None,
            nominal: None,
            units: Vec::new(),
        };
        let bar = bar(Axis::Logarithmic, &[open], &[(0, None)]).expect("a bar");
        check(&bar);
        assert!((bar.bands[0].to - 1.0).abs() < 1e-12);
    }

    #[test]
    fn zero_and_negative_ohms_are_drawn_at_the_left() {
        let bar = bar(
            Axis::Logarithmic,
            &[ohms(100.0, 200.0)],
            &[(0, Some(0.0)), (1, Some(-3.0))],
        )
        .expect("a bar");
        check(&bar);
        assert!((bar.ticks[0].at - bar.ticks[1].at).abs() < 1e-12);
    }
}
