//! A reading with all parts in the middle of their spread, and the distribution made from it.

use circuit::Node;
use diagnose::{Marginal, Scale, Slopes, Solved};
use predict::{ChangedBoard, Distribution, Question, Shown};

/// A reading with parts in the middle of their spread.
#[derive(Clone)]
pub(super) struct Centre {
    /// `None` is over range.
    pub reading: Option<f64>,
    /// Slopes of the reading by the variables.
    pub slopes: Slopes,
    /// The meter's own error.
    pub sd: f64,
    /// The largest reading that the meter shows.
    pub border: f64,
    /// Variance that bends over the variance that the slopes tell.
    pub bends: f64,
    /// Standard deviation on the place's scale where healthy units spread far wider than the slopes
    /// tell, as where a range or a state is chosen by chance; zero elsewhere.
    pub wide: f64,
    /// The solution, a start for neighbours.
    pub shown: Shown,
}

/// Slopes below this share of the whole are left out.
const SLIGHT: f64 = 1e-3;

/// The reading of a board between two nodes; `None` if it cannot be solved.
///
/// `names` are the numbers of the board's variables, `near` a reading of a board that is nearly so.
pub(super) fn centre(
    board: &ChangedBoard,
    question: &Question,
    leads: (Node, Node),
    names: &[u32],
    near: Option<&Shown>,
) -> Option<Centre> {
    let sensed = board.read(leads, question, near).ok()?;
    let shown = sensed.shown;
    let setup = question.setups[shown.range];
    let border = question.border(&setup);
    let Some(reading) = shown.reading else {
        return Some(Centre {
            reading: None,
            slopes: Vec::new(),
            sd: 1.0,
            border,
            bends: 0.0,
            wide: 0.0,
            shown,
        });
    };
    let by_volts = setup.slope(shown.volts);
    let total: f64 = sensed.slopes.iter().map(|s| s * s).sum::<f64>().sqrt();
    let mut slopes: Slopes = sensed
        .slopes
        .iter()
        .zip(names)
        .filter(|(s, _)| s.abs() > SLIGHT * total)
        .map(|(s, name)| (*name, s * by_volts))
        .collect();
    slopes.sort_by_key(|s| s.0);
    Some(Centre {
        reading: Some(reading),
        slopes,
        sd: setup.error(reading),
        border,
        bends: 0.0,
        wide: 0.0,
        shown,
    })
}

/// One standard deviation of a reading, meter and parts.
pub(super) fn spread(centre: &Centre) -> f64 {
    let parts: f64 = centre.slopes.iter().map(|s| s.1 * s.1).sum();
    (parts + centre.sd * centre.sd).sqrt()
}

/// Standard deviation on the scale by which a straight line about a changed reading errs: the more, the
/// farther the change has moved it. A fiftieth of the way, at most a twentieth of the scale's unit;
/// chosen because that is about what solving at other magnitudes shows.
pub(super) fn bend(scale: Scale, before: Option<f64>, after: f64) -> f64 {
    let away = before.map_or(1.0, |b| (scale.at(after).0 - scale.at(b).0).abs());
    (0.02 * away).min(0.05)
}

/// Standard deviation on the scale by which a line through the unit that was read errs for its
/// neighbours; chosen as a fifth of what a hand-held meter errs.
pub(super) const NEARLY: f64 = 0.002;

/// A reading, of whose line one `bend` is told, as it was solved.
pub(super) fn solved(here: &Centre, bend: f64) -> Option<Solved> {
    Some(Solved {
        mean: here.reading?,
        slopes: here.slopes.clone(),
        sd: here.sd,
        bend,
        border: here.border,
    })
}

/// A normal distribution about the middle, over range beyond the border.
pub(super) fn first_order(centre: &Centre, sd: f64) -> Marginal {
    match centre.reading {
        None => Marginal::new(&[], 1.0),
        Some(mean) => {
            let beyond = (mean - centre.border) / sd;
            let over = circuit::parameter::normal_cdf(beyond);
            Marginal::new(&[(mean - sd, -1.0), (mean + sd, 1.0)], over)
        }
    }
}

/// Standard deviation of healthy units on the scale, if it is far wider than `sd` in the unit of
/// the reading; else zero.
pub(super) fn wide(marginal: &Marginal, scale: Scale, reading: Option<f64>, sd: f64) -> f64 {
    const FAR: f64 = 1.5;
    let at = |score: f64| match marginal.value(score) {
        record::Shown::Number(x) => Some(scale.at(x).0),
        record::Shown::OverRange => None,
    };
    let (Some(reading), Some(low), Some(high)) = (reading, at(-1.0), at(1.0)) else {
        return 0.0;
    };
    let width = 0.5 * (high - low);
    if width > FAR * sd * scale.at(reading).1 {
        width
    } else {
        0.0
    }
}

/// Points of a distribution's normal score.
const KNOTS: usize = 33;

pub(super) fn marginal(distribution: &Distribution, scale: Scale) -> Marginal {
    let over = distribution.over_range();
    let reach = 0.001 * (1.0 - over);
    let ends = distribution
        .quantile(reach)
        .zip(distribution.quantile((1.0 - over - reach).min(0.999)));
    let Some((low, high)) = ends else {
        return Marginal::new(&[], 1.0);
    };
    let (from, to) = (scale.at(low).0, scale.at(high).0);
    let knots: Vec<(f64, f64)> = (0..KNOTS)
        .filter_map(|k| {
            let x = from + (to - from) * k as f64 / (KNOTS - 1) as f64;
            let reading = scale.reading(x);
            distribution.score(reading).map(|score| (reading, score))
        })
        .collect();
    Marginal::new(&knots, over)
}
