//! What each reading says under one hypothesis, on a scale on which it is nearly normal.

use std::borrow::Cow;

use record::Shown;

use crate::fit::shared;
use crate::normal;
use crate::predictions::{Change, Effect, Healthy, Line, Predictions, Scale};

/// A reading that was taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taken {
    /// Index of its place.
    pub place: usize,
    /// What was shown.
    pub shown: Shown,
}

/// What a row follows: the shared variables, and where the magnitudes of up to two faults lie between their
/// neighbours.
#[derive(Clone, Debug)]
pub(crate) struct Follows<'a> {
    /// Slopes by the shared variables, ascending.
    pub shared: Cow<'a, [(u32, f64)]>,
    /// Slopes by the place of the first and of the second fault's magnitude.
    pub within: [f64; 2],
    /// Whether the shared slopes are those of a healthy unit.
    pub alike: bool,
}

impl<'a> Follows<'a> {
    /// Only shared variables, not those of a healthy unit.
    pub fn only(slopes: &'a [(u32, f64)]) -> Self {
        Self {
            shared: Cow::Borrowed(slopes),
            within: [0.0; 2],
            alike: false,
        }
    }

    /// Only the place of the first magnitude.
    pub fn magnitude() -> Self {
        Self {
            within: [1.0, 0.0],
            ..Self::only(&[])
        }
    }

    /// Covariance with another.
    pub fn with(&self, other: &Self) -> f64 {
        shared(&self.shared, &other.shared) + self.by_magnitudes(other)
    }

    /// Covariance by the magnitudes alone.
    pub fn by_magnitudes(&self, other: &Self) -> f64 {
        self.within[0] * other.within[0] + self.within[1] * other.within[1]
    }

    /// Variance.
    pub fn variance(&self) -> f64 {
        self.shared.iter().map(|s| s.1 * s.1).sum::<f64>() + self.by_magnitudes(self)
    }

    fn owned<'b>(self) -> Follows<'b> {
        Follows {
            shared: Cow::Owned(self.shared.into_owned()),
            within: self.within,
            alike: self.alike,
        }
    }
}

/// One reading under one hypothesis.
#[derive(Clone, Debug)]
pub(crate) enum Row<'a> {
    /// A number: residual from the middle, slopes, own variance, and the logarithm of the scale's
    /// slope, which makes a density on the scale one of the reading.
    Number {
        residual: f64,
        follows: Follows<'a>,
        own: f64,
        ln_slope: f64,
    },
    /// Over range where it might have been a number: the border, counted from the middle.
    Beyond {
        border: f64,
        follows: Follows<'a>,
        own: f64,
    },
    /// Over range, as it must be.
    Certain,
    /// What cannot be unless the reading is wrong.
    Impossible,
    /// Nothing is known of this reading under the hypothesis.
    Blind,
}

impl Row<'_> {
    /// The same, borrowing nothing.
    pub fn owned<'b>(self) -> Row<'b> {
        match self {
            Row::Number {
                residual,
                follows,
                own,
                ln_slope,
            } => Row::Number {
                residual,
                follows: follows.owned(),
                own,
                ln_slope,
            },
            Row::Beyond {
                border,
                follows,
                own,
            } => Row::Beyond {
                border,
                follows: follows.owned(),
                own,
            },
            Row::Certain => Row::Certain,
            Row::Impossible => Row::Impossible,
            Row::Blind => Row::Blind,
        }
    }
}

/// Shares below this count as never.
const NEVER: f64 = 1e-9;

/// The reading of a healthy unit.
pub(crate) fn healthy<'a>(place: &'a Healthy, shown: Shown) -> Row<'a> {
    let shared: f64 = place.slopes.iter().map(|s| s.1 * s.1).sum();
    let own = (1.0 - shared).max(1e-6);
    if let Some(line) = &place.line {
        return by_line(place.scale, line, shown);
    }
    let over = place.marginal.over_range();
    match shown {
        Shown::Number(reading) => match place.marginal.score(reading) {
            Some((score, slope)) if over < 1.0 - NEVER => Row::Number {
                residual: score,
                follows: as_healthy(&place.slopes),
                own,
                ln_slope: slope.ln(),
            },
            _ => Row::Impossible,
        },
        Shown::OverRange if over > 1.0 - NEVER => Row::Certain,
        Shown::OverRange if over < NEVER => Row::Impossible,
        Shown::OverRange => Row::Beyond {
            border: place.marginal.border(),
            follows: as_healthy(&place.slopes),
            own,
        },
    }
}

/// The reading of a healthy unit near the one that the line goes through.
fn by_line(scale: Scale, line: &Line, shown: Shown) -> Row<'_> {
    match shown {
        Shown::Number(reading) => {
            let (at, slope) = scale.at(reading);
            Row::Number {
                residual: at - line.middle,
                follows: as_healthy(&line.slopes),
                own: line.own,
                ln_slope: slope.ln(),
            }
        }
        Shown::OverRange => {
            let follows = as_healthy(&line.slopes);
            beyond(line.border - line.middle, follows, line.own)
        }
    }
}

fn as_healthy(slopes: &[(u32, f64)]) -> Follows<'_> {
    Follows {
        alike: true,
        ..Follows::only(slopes)
    }
}

/// Over range beyond a border that is counted from the middle.
fn beyond(border: f64, follows: Follows<'_>, own: f64) -> Row<'_> {
    let sd = (follows.variance() + own).sqrt();
    match normal::below(-border / sd) {
        share if share < NEVER => Row::Impossible,
        share if share > 1.0 - NEVER => Row::Certain,
        _ => Row::Beyond {
            border,
            follows,
            own,
        },
    }
}

/// The middle of what the place reads under an effect, on its scale; `None` is over range.
pub(crate) fn middle(place: &Healthy, effect: &Effect) -> Option<f64> {
    match effect {
        Effect::Moved(line) => Some(line.middle),
        Effect::Unmoved if place.line.is_some() => place.line.as_ref().map(|l| l.middle),
        Effect::Unmoved => match place.marginal.value(0.0) {
            Shown::Number(x) => Some(place.scale.at(x).0),
            Shown::OverRange => None,
        },
        Effect::OverRange | Effect::Unknown => None,
    }
}

/// The reading where an effect has moved it; `within` is how far the middle moves over half the way
/// to the next magnitude of the first fault and of the second.
pub(crate) fn changed<'a>(
    place: &'a Healthy,
    effect: &'a Effect,
    within: [f64; 2],
    shown: Shown,
) -> Row<'a> {
    match (effect, shown) {
        (Effect::Unmoved, _) => healthy(place, shown),
        (Effect::OverRange, Shown::OverRange) => Row::Certain,
        (Effect::OverRange, Shown::Number(_)) => Row::Impossible,
        (Effect::Unknown, _) => Row::Blind,
        (Effect::Moved(line), _) => along(place, line, within, shown),
    }
}

/// A reading by a line; `within` is how far its middle moves with magnitudes.
pub(crate) fn along<'a>(
    place: &Healthy,
    line: &'a Line,
    within: [f64; 2],
    shown: Shown,
) -> Row<'a> {
    let of_healthy = place.line.as_ref().map(|l| &l.slopes);
    let follows = Follows {
        within,
        alike: of_healthy.is_some_and(|s| std::ptr::eq(&s[..], &line.slopes[..])),
        ..Follows::only(&line.slopes)
    };
    match shown {
        Shown::Number(reading) => {
            let (at, slope) = place.scale.at(reading);
            Row::Number {
                residual: at - line.middle,
                follows,
                own: line.own,
                ln_slope: slope.ln(),
            }
        }
        Shown::OverRange => beyond(line.border - line.middle, follows, line.own),
    }
}

/// What the place reads under an effect in the unit that the predictions are about, on its scale;
/// `None` is over range.
pub(crate) fn in_unit(
    predictions: &dyn Predictions,
    (number, place): (usize, &Healthy),
    effect: &Effect,
) -> Option<f64> {
    let centre = predictions.centre(number);
    let middle = middle(place, effect)?;
    let way = match (effect, &place.line) {
        _ if centre.is_empty() => 0.0,
        (Effect::Moved(line), _) => shared(&line.slopes, centre),
        (Effect::Unmoved, Some(line)) => shared(&line.slopes, centre),
        _ => 0.0,
    };
    Some(middle + way)
}

/// How far the middle of a reading moves over half the way to the next magnitude.
pub(crate) fn within(
    predictions: &dyn Predictions,
    change: usize,
    variant: usize,
    place: usize,
) -> f64 {
    let all = predictions.changes()[change].variants();
    let Some(healthy) = predictions.healthy(place).filter(|_| all > 1) else {
        return 0.0;
    };
    let at = |v: usize| {
        in_unit(
            predictions,
            (place, healthy),
            predictions.effect(change, v, place),
        )
    };
    let here = at(variant);
    let before = variant.checked_sub(1).and_then(at);
    let after = (variant + 1 < all).then(|| at(variant + 1)).flatten();
    let step = match (before, here, after) {
        (Some(b), _, Some(a)) => 0.5 * (a - b),
        (Some(b), Some(h), None) => h - b,
        (None, Some(h), Some(a)) => a - h,
        _ => 0.0,
    };
    0.5 * step
}

/// A variant of a change, or nothing wrong at all.
pub(crate) type Hypothesis = Option<(usize, usize)>;

/// All readings under a hypothesis.
pub(crate) fn rows<'a>(
    predictions: &'a dyn Predictions,
    taken: &[Taken],
    hypothesis: Hypothesis,
) -> Vec<Row<'a>> {
    taken
        .iter()
        .map(|t| row(predictions, t, hypothesis))
        .collect()
}

/// One reading under a hypothesis.
pub(crate) fn row<'a>(
    predictions: &'a dyn Predictions,
    taken: &Taken,
    hypothesis: Hypothesis,
) -> Row<'a> {
    let Some(place) = predictions.healthy(taken.place) else {
        return Row::Blind;
    };
    let Some((change, variant)) = hypothesis else {
        return healthy(place, taken.shown);
    };
    match predictions.effect(change, variant, taken.place) {
        Effect::Unmoved => healthy(place, taken.shown),
        effect => {
            let within = within(predictions, change, variant, taken.place);
            changed(place, effect, [within, 0.0], taken.shown)
        }
    }
}

/// True if a variant moves a reading that was taken.
pub(crate) fn moves(
    predictions: &dyn Predictions,
    taken: &[Taken],
    (change, variant): (usize, usize),
) -> bool {
    taken
        .iter()
        .any(|t| *predictions.effect(change, variant, t.place) != Effect::Unmoved)
}

/// Share of wrong readings that are the healthy one with its point misplaced, or with the leads
/// exchanged; half each where both can be.
const SLIPS: f64 = 0.5;
/// Share of wild readings that are over range: a probe that touches nothing.
const NOTHING_TOUCHED: f64 = 0.2;

/// Logarithm of the density of a reading that is wrong: leads exchanged, a misplaced decimal
/// point, or anything at all.
pub(crate) fn wrong(place: &Healthy, shown: Shown) -> f64 {
    let wild = match shown {
        Shown::OverRange => NOTHING_TOUCHED,
        Shown::Number(x) => (1.0 - NOTHING_TOUCHED) * anything(place.scale, x),
    };
    let exchanged = place.reversed.as_ref().map(|m| density(m, shown));
    let decimal = match shown {
        Shown::Number(x) => [10.0, 0.1]
            .iter()
            .map(|f| 0.5 * f * density(&place.marginal, Shown::Number(f * x)))
            .sum(),
        Shown::OverRange => 0.0,
    };
    let slip = match exchanged {
        Some(e) => 0.5 * (e + decimal),
        None => decimal,
    };
    ((1.0 - SLIPS) * wild + SLIPS * slip)
        .max(f64::MIN_POSITIVE)
        .ln()
}

fn density(marginal: &crate::marginal::Marginal, shown: Shown) -> f64 {
    match shown {
        Shown::OverRange => marginal.over_range(),
        Shown::Number(x) => marginal
            .score(x)
            .map_or(0.0, |(score, slope)| normal::density(score) * slope),
    }
}

/// Evenly by ratio over what a meter can show: 0R1 to 20M, 1 mV to 3 V, 1 mV to 1 kV of either sign.
fn anything(scale: Scale, x: f64) -> f64 {
    match scale {
        Scale::Ohms => 1.0 / (x.abs().max(0.1) * (20e6_f64 / 0.1).ln()),
        Scale::Diode => 1.0 / (x.abs().max(1e-3) * 3e3_f64.ln()),
        Scale::Volts => 0.5 / (x.abs().max(1e-3) * 1e6_f64.ln()),
    }
}

/// A magnitude moved by `by` half-steps, on the logarithmic grid of its change.
pub(crate) fn magnitude(change: &Change, variant: usize, by: f64) -> Option<f64> {
    let list = &change.magnitudes;
    let here = *list.get(variant)?;
    if list.len() < 2 {
        return Some(here);
    }
    let step = (list[1] / list[0]).ln();
    let low = list[0].min(list[list.len() - 1]);
    let high = list[0].max(list[list.len() - 1]);
    let reach = (0.5 * step.abs()).exp();
    Some((here * (0.5 * step * by).exp()).clamp(low / reach, high * reach))
}
