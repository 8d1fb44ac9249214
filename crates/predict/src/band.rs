//! Bands: what healthy boards would read, by a quadratic along the steepest direction where that
//! is enough, and by stratified sampling where a range, a knee or over range is near.

use circuit::Population;
use circuit::meter::Choice;

use crate::board::Refusal;
use crate::distribution::{Distribution, Draw, add_share};
use crate::line;
use crate::probe::{Probe, Question, Shown, Starts, off_middle};
use crate::random;
use crate::sensitivity::{Neighbourhood, slopes};
use crate::settings;

/// What healthy boards read at one place.
#[derive(Clone, Debug, PartialEq)]
pub struct Healthy {
    /// With nominal parts and an error-free meter.
    pub nominal: Shown,
    /// Over healthy units and meter error.
    pub distribution: Distribution,
    /// Whether the distribution had to be sampled.
    pub sampled: bool,
}

/// Half-width in standard deviations of the points through which the quadratic goes; chosen
/// because the band's ends lie there.
const REACH: f64 = 2.0;
/// A border of a range or of over range nearer than this many standard deviations is sampled.
const NEAR: f64 = 5.0;
/// The range that is tried first: in circuit most resistances lie on the second and third, and a
/// smaller current is found from a larger one sooner than the other way.
const FIRST_GUESS: usize = 1;
/// A bend of the bend below this share of a standard deviation is no knee: one end tells the other.
const NO_KNEE: f64 = 3e-3;
/// Strata of the sampled distribution, over +-4 standard deviations: as many as the board's size
/// allows, so that small boards get smooth tails and a board of a thousand parts stays usable.
fn strata(unknowns: usize) -> usize {
    (20_000 / unknowns.max(1)).clamp(41, 257)
}

/// The distribution of a reading over healthy units.
///
/// `seed` fixes the sampling; the same seed gives the same band.
pub fn healthy(probe: &mut Probe<'_>, question: &Question, seed: u64) -> Result<Healthy, Refusal> {
    let network = &probe.board.network;
    let population = network.population.clone();
    let start = probe.board.rest.clone();
    let mut tried = Vec::new();
    let (known, same) = probe.remembered(question);
    let starts = Starts {
        guess: same.unwrap_or(FIRST_GUESS.min(question.setups.len() - 1)),
        first: &start,
        known: &known,
    };
    let printed = population.nominal();
    let nominal = probe.read_from(question, &printed, &starts, &mut tried)?;
    probe.remember(question, &tried);
    let z = vec![0.0; population.variables];
    let values = population.values(&z);
    let centre = if values == printed {
        nominal.clone()
    } else {
        let known: Vec<(usize, Vec<f64>)> = tried.drain(..).map(|s| (s.range, s.x)).collect();
        let starts = Starts {
            guess: nominal.range,
            first: &nominal.x,
            known: &known,
        };
        probe.read_from(question, &values, &starts, &mut tried)?
    };
    let gradients: Vec<Vec<f64>> = tried
        .iter()
        .map(|shown| {
            probe.connect(&question.setups[shown.range]);
            slopes(probe, &z, &values, &shown.x).unwrap_or_else(|| vec![0.0; z.len()])
        })
        .collect();
    let gradient = tried
        .iter()
        .position(|shown| shown.range == centre.range)
        .map_or_else(|| vec![0.0; z.len()], |i| gradients[i].clone());
    let border = nearest_border(question, &centre, &tried, &gradients);
    let setup = question.setups[centre.range];
    let spread = centre.reading.map_or(0.0, |r| {
        let parts = norm(&gradient) * setup.slope(centre.volts).abs();
        setup.error(r).hypot(parts)
    });
    if settings::matter(probe, question, &population, &centre, spread)? {
        let draws = settings::sample(probe, question, &population, &centre, seed)?;
        return Ok(Healthy {
            nominal,
            distribution: Distribution::new(draws),
            sampled: true,
        });
    }
    if border > NEAR {
        let smooth = match centre.reading {
            None => Some(vec![Draw {
                weight: 1.0,
                reading: None,
                sd: 0.0,
            }]),
            Some(_) => {
                along_the_gradient(probe, question, &population, &values, &centre, &gradient)?
            }
        };
        if let Some(draws) = smooth {
            return Ok(Healthy {
                nominal,
                distribution: Distribution::new(draws),
                sampled: false,
            });
        }
    }
    let middle = line::Middle {
        shown: &centre,
        tried: &tried,
        values: &values,
        gradient: &gradient,
    };
    if let Some(draws) = line::shares(probe, question, &population, &middle)? {
        return Ok(Healthy {
            nominal,
            distribution: Distribution::new(draws),
            sampled: true,
        });
    }
    let centre = Centre {
        shown: &centre,
        tried: &tried,
        values: &values,
        gradient: &gradient,
        spreads: gradients.iter().map(|g| norm(g)).collect(),
        matters: matters(&gradients, population.variables),
    };
    let draws = sample(probe, question, &population, &centre, seed)?;
    Ok(Healthy {
        nominal,
        distribution: Distribution::new(draws),
        sampled: true,
    })
}

/// The middle of the healthy boards, from which samples set out.
struct Centre<'a> {
    shown: &'a Shown,
    tried: &'a [Shown],
    values: &'a [f64],
    gradient: &'a [f64],
    /// Volts by one standard deviation of the parts on each range that was tried.
    spreads: Vec<f64>,
    /// Which variables are drawn; the others stay in the middle.
    matters: Vec<bool>,
}

/// Volts by one standard deviation near a drawn unit: as in the middle on the same range, and no
/// more there than in proportion where the reading is smaller.
fn smear(centre: &Centre<'_>, drawn: &Shown) -> f64 {
    let middle = centre
        .tried
        .iter()
        .position(|s| s.range == drawn.range)
        .or_else(|| (!centre.tried.is_empty()).then_some(0));
    middle.map_or(0.0, |i| {
        let whole = centre.tried[i].volts.abs();
        let part = if whole > 0.0 {
            (drawn.volts.abs() / whole).min(1.0)
        } else {
            1.0
        };
        centre.spreads[i] * part
    })
}

/// The variables behind all but half a percent of the variance on every range that was tried.
///
/// Drawing the hundreds of others would change no band visibly, and every circuit everywhere.
fn matters(gradients: &[Vec<f64>], variables: usize) -> Vec<bool> {
    let mut kept = vec![false; variables];
    for gradient in gradients {
        let mut order: Vec<usize> = (0..gradient.len()).collect();
        order.sort_by(|a, b| gradient[*b].abs().total_cmp(&gradient[*a].abs()));
        let total: f64 = gradient.iter().map(|g| g * g).sum();
        let mut left = total;
        for variable in order {
            if left <= 0.005 * total {
                break;
            }
            kept[variable] = true;
            left -= gradient[variable] * gradient[variable];
        }
    }
    kept
}

pub(crate) fn norm(v: &[f64]) -> f64 {
    v.iter().map(|x| x * x).sum::<f64>().sqrt()
}

/// Distance in standard deviations to where another range, or over range, would take over.
fn nearest_border(
    question: &Question,
    centre: &Shown,
    tried: &[Shown],
    gradients: &[Vec<f64>],
) -> f64 {
    let mut nearest = f64::INFINITY;
    for (shown, gradient) in tried.iter().zip(gradients) {
        let setup = question.setups[shown.range];
        let sigma = norm(gradient);
        let borders = setup.border_volts();
        for border in borders.into_iter().flatten() {
            let apart = (shown.volts - border).abs();
            // The kink of the clamp lies on the border itself; a unit there is on both sides.
            if sigma > 0.0 {
                nearest = nearest.min(apart / sigma);
            } else if apart == 0.0 {
                nearest = 0.0;
            }
        }
        if question.choice == Choice::NearestMiddle
            && shown.range != centre.range
            && let (Some(r), Some(_)) = (centre.reading, shown.reading)
        {
            let gap = off_middle(question, shown) - off_middle(question, centre);
            let relative = sigma * setup.slope(shown.volts).abs() / r;
            // Both distances move with the reading, in opposite directions between the ranges.
            if relative > 0.0 {
                nearest = nearest.min(gap / (2.0 * relative));
            }
        }
    }
    nearest
}

/// The gradient at length one, without what is lost beside its largest parts: a thousand of those
/// would make a thousandth of the variance, and each would change a part of the circuit.
pub(crate) fn direction(gradient: &[f64]) -> Vec<f64> {
    let least = 1e-3 * norm(gradient);
    let mut kept: Vec<f64> = gradient
        .iter()
        .map(|g| if g.abs() < least { 0.0 } else { *g })
        .collect();
    let length = norm(&kept);
    if length > 0.0 {
        kept.iter_mut().for_each(|g| *g /= length);
    }
    kept
}

/// A point on the line, away from the middle.
struct End {
    reading: f64,
    /// Change of the reading by one standard deviation along the line.
    slope: f64,
    /// Cosine between the gradient and the line.
    straight: f64,
}

/// Shares from a quadratic through three points along the gradient; `None` if the reading bends
/// or its gradient turns too much for that.
fn along_the_gradient(
    probe: &mut Probe<'_>,
    question: &Question,
    population: &Population,
    centre_values: &[f64],
    centre: &Shown,
    gradient: &[f64],
) -> Result<Option<Vec<Draw>>, Refusal> {
    let setup = question.setups[centre.range];
    let middle = centre.reading.unwrap_or(0.0);
    let sigma = norm(gradient);
    let scale = setup.slope(centre.volts).abs() * sigma;
    let error = setup.error(middle);
    // What moves far less than the meter's own error is as good as fixed.
    if scale <= 0.02 * error {
        let mut draws = Vec::new();
        add_share(&mut draws, &setup, 1.0, Some(middle), scale);
        return Ok(Some(draws));
    }
    let direction = direction(gradient);
    probe.set_values(centre_values);
    probe.connect(&setup);
    let Some(neighbourhood) = Neighbourhood::new(probe, centre_values, &centre.x) else {
        return Ok(None);
    };
    let mut end = |t: f64| -> Result<Option<End>, Refusal> {
        let z: Vec<f64> = direction.iter().map(|d| t * d).collect();
        let values = population.values(&z);
        probe.set_values(&values);
        let start = neighbourhood.predict(probe, &values);
        let x = probe.solve(&setup, &values, &start)?;
        let volts = probe.volts(&x);
        let Some(reading) = setup.shown(volts) else {
            return Ok(None);
        };
        let Some(there) = slopes(probe, &z, &values, &x) else {
            return Ok(None);
        };
        let along: f64 = there.iter().zip(&direction).map(|(a, b)| a * b).sum();
        let straight = along / norm(&there);
        // Where the gradient turns, one direction does not tell the spread.
        Ok((straight > 0.95).then_some(End {
            reading,
            slope: along * setup.slope(volts),
            straight,
        }))
    };
    let sign = setup.slope(centre.volts).signum();
    let Some(upper) = end(REACH)? else {
        return Ok(None);
    };
    let smooth = (upper.reading - middle) / REACH - 0.5 * (sign * scale + upper.slope);
    let (a, b) = if smooth.abs() < NO_KNEE * scale && upper.straight > 0.999 {
        let b = (upper.slope - sign * scale) / (2.0 * REACH);
        (scale, b)
    } else {
        let Some(lower) = end(-REACH)? else {
            return Ok(None);
        };
        (
            (upper.reading - lower.reading) / (2.0 * REACH) * sign,
            (upper.reading + lower.reading - 2.0 * middle) / (2.0 * REACH * REACH),
        )
    };
    if (a / scale - 1.0).abs() > 0.1 || b.abs() > 0.06 * scale {
        return Ok(None);
    }
    let step = 0.25;
    let mut draws = Vec::new();
    for k in -20..=20 {
        let t = f64::from(k) * step;
        let reading = middle + sign * a * t + b * t * t;
        let slope = (sign * a + 2.0 * b * t).abs();
        // Shares between the points: half a step keeps the sum smooth.
        let weight = (-0.5 * t * t).exp();
        add_share(
            &mut draws,
            &setup,
            weight,
            Some(reading),
            0.5 * step * slope,
        );
    }
    Ok(Some(draws))
}

/// Shares from whole units, drawn in strata along the gradient.
fn sample(
    probe: &mut Probe<'_>,
    question: &Question,
    population: &Population,
    centre: &Centre<'_>,
    seed: u64,
) -> Result<Vec<Draw>, Refusal> {
    let mut neighbourhoods = Vec::new();
    probe.set_values(centre.values);
    for shown in centre.tried {
        probe.connect(&question.setups[shown.range]);
        if let Some(n) = Neighbourhood::new(probe, centre.values, &shown.x) {
            neighbourhoods.push((shown.range, n));
        }
    }
    let direction = direction(centre.gradient);
    let mut generator = random::stream(seed, 0);
    let strata = strata(probe.board.rest.len());
    let step = 8.0 / (strata - 1) as f64;
    let mut draws: Vec<Draw> = Vec::with_capacity(strata);
    for k in 0..strata {
        let t = -4.0 + step * k as f64;
        let mut z = random::normals(&mut generator, population.variables);
        let along: f64 = z.iter().zip(&direction).map(|(a, b)| a * b).sum();
        for (value, d) in z.iter_mut().zip(&direction) {
            *value += (t - along) * d;
        }
        for (value, matters) in z.iter_mut().zip(&centre.matters) {
            if !matters {
                *value = 0.0;
            }
        }
        let values = population.values(&z);
        let known: Vec<(usize, Vec<f64>)> = neighbourhoods
            .iter()
            .map(|(range, n)| (*range, n.predict(probe, &values)))
            .collect();
        let starts = Starts {
            guess: centre.shown.range,
            first: &centre.shown.x,
            known: &known,
        };
        let shown = probe.read_from(question, &values, &starts, &mut Vec::new())?;
        let setup = question.setups[shown.range];
        let between = 0.5 * step * smear(centre, &shown) * setup.slope(shown.volts).abs();
        let weight = (-0.5 * t * t).exp();
        add_share(&mut draws, &setup, weight, shown.reading, between);
    }
    Ok(draws)
}
