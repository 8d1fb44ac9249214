//! Measured figures against closed forms: what an exponential, a Gaussian and a second-order edge must read.

mod invent;

use invent::{Noise, sampled};
use signal::measure::{Measured, measure};

fn wave(samples: usize, value: impl Fn(f64) -> f64) -> Vec<f32> {
    (0..samples).map(|i| value(i as f64) as f32).collect()
}

fn look(samples: Vec<f32>, interval: f64) -> Measured {
    measure(&sampled(samples, interval)).expect("a measurement")
}

/// 10 to 90 % of an exponential edge is ln 9 = 2.19722 time constants.
#[test]
fn an_exponential_edge_takes_2_19722_time_constants() {
    for tau in [7.0, 40.0, 333.0] {
        let found = look(
            wave(40_000, |t| {
                if t < 100.5 {
                    0.0
                } else {
                    5.0 * (1.0 - (-(t - 100.5) / tau).exp())
                }
            }),
            1e-9,
        );
        let rise = found.rise.expect("a rise");
        assert!(
            (rise.value / (tau * 1e-9) - 2.19722).abs() < 2.0e-3 + 0.1 / tau,
            "{tau}: {}",
            rise.value / (tau * 1e-9)
        );
        assert_eq!(found.edges, 1);
        assert!(found.fall.is_none() && found.period.is_none());
        assert_eq!(found.overshoot.map(|o| o.value), Some(0.0));
    }
}

fn error_function(x: f64) -> f64 {
    // Abramowitz and Stegun 7.1.5, the power series, summed to double precision for the small arguments used here
    let (mut term, mut sum) = (x, x);
    for n in 1..200 {
        term *= -x * x / n as f64;
        sum += term / (2 * n + 1) as f64;
    }
    2.0 / std::f64::consts::PI.sqrt() * sum
}

/// 10 to 90 % of a Gaussian step is 2.56310 deviations.
#[test]
fn a_gaussian_step_takes_2_56310_deviations() {
    for sigma in [3.0, 12.0, 50.0] {
        let found = look(
            wave(4000, |t| {
                1.2 + 0.5
                    * (1.0 + error_function(((t - 2000.25) / sigma / 2f64.sqrt()).clamp(-4.5, 4.5)))
            }),
            1e-6,
        );
        let rise = found.rise.expect("a rise").value * 1e6 / sigma;
        assert!(
            (rise - 2.56310).abs() < 0.02 / sigma + 1e-3,
            "{sigma}: {rise}"
        );
    }
}

/// Overshoot of a second-order step is exp(-pi z / sqrt(1 - z^2)).
#[test]
fn overshoot_of_a_second_order_step() {
    for damping in [0.2f64, 0.35, 0.5, 0.7, 0.8] {
        let root = (1.0 - damping * damping).sqrt();
        let step = |t: f64| {
            if t < 0.0 {
                0.0
            } else {
                1.0 - (-damping * t).exp() * ((root * t).cos() + damping / root * (root * t).sin())
            }
        };
        let wanted = 100.0 * (-std::f64::consts::PI * damping / root).exp();
        for (noise, allowed) in [(0.0, 0.05), (0.01, 0.6)] {
            let mut random = Noise(9);
            let one = |t: f64, at: f64| step((t - at) / 8.0);
            let samples = (0..80_000)
                .map(|i| {
                    let t = (i % 2000) as f64;
                    (3.0 * (one(t, 200.3) - one(t, 1200.6)) + 3.0 * noise * random.normal()) as f32
                })
                .collect();
            let found = look(samples, 1e-8);
            let overshoot = found.overshoot.expect("an overshoot");
            assert!(
                (overshoot.value - wanted).abs() < allowed + 0.01 * wanted,
                "{damping} {noise}: {} of {wanted}",
                overshoot.value
            );
            assert_eq!(found.edges, 80);
        }
    }
}

/// Trapezoidal pulses on a negative supply: every figure is known.
#[test]
fn trapezoids_on_a_negative_supply() {
    let trapezoid = |t: f64| {
        let t = t % 500.0;
        -24.0 + 24.0 * (((t - 100.0) / 10.0).clamp(0.0, 1.0) - ((t - 260.0) / 20.0).clamp(0.0, 1.0))
    };
    let found = look(wave(50_000, trapezoid), 2e-6);
    let close = |e: Option<signal::measure::Estimate>, wanted: f64| {
        (e.expect("a figure").value / wanted - 1.0).abs() < 1e-4
    };
    assert!(
        (found.levels.low + 24.0).abs() < 1e-6 && found.levels.high.abs() < 1e-6,
        "{:?}",
        found.levels
    );
    assert!(
        close(found.rise, 8.0 * 2e-6) && close(found.fall, 16.0 * 2e-6),
        "{found:?}"
    );
    assert!(
        close(found.period, 500.0 * 2e-6) && close(found.width, 165.0 * 2e-6),
        "{found:?}"
    );
    assert_eq!(
        (found.edges, found.overshoot.map(|o| o.value)),
        (200, Some(0.0))
    );
}

#[test]
fn a_flat_line_has_levels_and_nothing_else() {
    let found = look(vec![-6.25; 1000], 1e-6);
    assert_eq!(
        (found.levels.low, found.levels.high, found.edges),
        (-6.25, -6.25, 0)
    );
    assert!(
        found.rise.is_none()
            && found.period.is_none()
            && found.width.is_none()
            && found.overshoot.is_none()
    );
}

/// The stated uncertainties hold: over many noisy recordings the error lies within two of them in nine cases of ten or more.
#[test]
fn stated_uncertainties_hold_in_simulation() {
    let mut inside = [0; 4];
    let rounds = 120;
    for n in 0..rounds {
        let mut random = Noise(1000 + n);
        let (rise, period, width) = (
            random.between(8.0, 20.0),
            random.between(150.0, 250.0),
            random.between(50.0, 90.0),
        );
        let start = random.between(30.0, 40.0);
        let mut clean = vec![0.0; 12_000];
        for (i, value) in clean.iter_mut().enumerate() {
            let t = (i as f64 - start).rem_euclid(period);
            *value = ((t + rise / 1.6) / (rise / 0.8)).clamp(0.0, 1.0)
                - ((t - width + rise / 1.6) / (rise / 0.8)).clamp(0.0, 1.0)
                + (((t - period) + rise / 1.6) / (rise / 0.8)).clamp(0.0, 1.0);
        }
        let found = look(
            clean
                .iter()
                .map(|v| (5.0 * v + 0.05 * random.normal()) as f32)
                .collect(),
            1.0,
        );
        let figures = [
            (found.rise, rise),
            (found.fall, rise),
            (found.period, period),
            (found.width, width),
        ];
        for (count, (figure, truth)) in inside.iter_mut().zip(figures) {
            let figure = figure.expect("a figure");
            *count += ((figure.value - truth).abs() <= 2.0 * figure.uncertainty) as usize;
        }
    }
    println!("rise, fall, period, width within two uncertainties: {inside:?} of {rounds}");
    assert!(
        inside.iter().all(|n| *n as f64 >= 0.9 * rounds as f64),
        "{inside:?}"
    );
}
