//! Potentiometers whose setting nobody wrote down: anywhere on the track, and so no matter for slopes.

use circuit::{Population, Variation};

use crate::board::Refusal;
use crate::distribution::{Draw, add_share, normal_quantile};
use crate::probe::{Probe, Question, Shown, Starts};
use crate::random;

/// Units drawn where a setting matters.
const UNITS: u32 = 256;
/// Settings at which it is tried whether a potentiometer matters.
const TRIED: [f64; 2] = [0.02, 0.98];

/// Whether a reading depends on a setting that is not known: over range appears or goes, or the
/// reading moves by more than a third of `spread`, one standard deviation of all else.
pub(crate) fn matter(
    probe: &mut Probe<'_>,
    question: &Question,
    population: &Population,
    centre: &Shown,
    spread: f64,
) -> Result<bool, Refusal> {
    for variable in unknown(population) {
        for setting in TRIED {
            let mut z = vec![0.0; population.variables];
            z[variable] = normal_quantile(setting);
            let shown = read(probe, question, &population.values(&z), centre)?;
            let moved = match (shown.reading, centre.reading) {
                (Some(a), Some(b)) => (a - b).abs() > spread / 3.0,
                (None, None) => false,
                _ => true,
            };
            if moved {
                return Ok(true);
            }
        }
    }
    Ok(false)
}

/// Draws of equal weight whose settings fill the tracks evenly (Halton, Numer. Math. 2, 1960).
pub(crate) fn sample(
    probe: &mut Probe<'_>,
    question: &Question,
    population: &Population,
    centre: &Shown,
    seed: u64,
) -> Result<Vec<Draw>, Refusal> {
    const PRIMES: [u32; 6] = [2, 3, 5, 7, 11, 13];
    let mut generator = random::stream(seed, 1);
    let settings = unknown(population);
    let mut draws = Vec::new();
    for k in 0..UNITS {
        let mut z = random::normals(&mut generator, population.variables);
        // Beyond six unknown settings the rest stay random.
        for (variable, base) in settings.iter().zip(PRIMES) {
            z[*variable] = normal_quantile(radical_inverse(k + 1, base));
        }
        let shown = read(probe, question, &population.values(&z), centre)?;
        add_share(
            &mut draws,
            &question.setups[shown.range],
            1.0,
            shown.reading,
            0.0,
        );
    }
    Ok(draws)
}

fn read(
    probe: &mut Probe<'_>,
    question: &Question,
    values: &[f64],
    centre: &Shown,
) -> Result<Shown, Refusal> {
    let starts = Starts {
        guess: centre.range,
        first: &centre.x,
        known: &[],
    };
    probe.read_from(question, values, &starts, &mut Vec::new())
}

/// The variables of unknown settings.
fn unknown(population: &Population) -> Vec<usize> {
    population
        .parameters
        .iter()
        .filter_map(|p| match p.variation {
            Variation::Uniform { variable } => Some(variable as usize),
            _ => None,
        })
        .collect()
}

/// The digits of `k` in a base, mirrored about the point.
fn radical_inverse(mut k: u32, base: u32) -> f64 {
    let (mut value, mut digit) = (0.0, 1.0);
    while k > 0 {
        digit /= f64::from(base);
        value += digit * f64::from(k % base);
        k /= base;
    }
    value
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_fill_the_track_evenly() {
        let mut seen: Vec<f64> = (1..=64).map(|k| radical_inverse(k, 2)).collect();
        seen.sort_by(f64::total_cmp);
        let gap = seen.windows(2).map(|w| w[1] - w[0]).fold(0.0, f64::max);
        assert!(gap <= 1.0 / 32.0, "{gap}");
        assert_eq!(radical_inverse(1, 3), 1.0 / 3.0);
    }
}
