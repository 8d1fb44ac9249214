//! The likelihood against numerical integration over the shared variables, which knows no matrices.

use std::borrow::Cow;

use super::{Follows, Row, WIDTHS, WRONG, fit, fit_widths};
use crate::normal::{below, ln_density, ln_sum};

/// A reading that follows two shared variables.
#[derive(Clone, Copy)]
struct Witness {
    slopes: [f64; 2],
    own: f64,
    /// Residual of a number, or the border of one that is over range.
    at: f64,
    over_range: bool,
    ln_wrong: f64,
}

fn number(slopes: [f64; 2], own: f64, at: f64) -> Witness {
    Witness {
        slopes,
        own,
        at,
        over_range: false,
        ln_wrong: -5.0,
    }
}

fn over_range(slopes: [f64; 2], own: f64, at: f64) -> Witness {
    Witness {
        over_range: true,
        ln_wrong: 0.2f64.ln(),
        ..number(slopes, own, at)
    }
}

fn row(w: &Witness) -> Row<'static> {
    let follows = Follows {
        shared: Cow::Owned(vec![(3, w.slopes[0]), (8, w.slopes[1])]),
        ..Follows::only(&[])
    };
    if w.over_range {
        Row::Beyond {
            border: w.at,
            follows,
            own: w.own,
        }
    } else {
        Row::Number {
            residual: w.at,
            follows,
            own: w.own,
            ln_slope: 0.0,
        }
    }
}

/// Integrates over both variables by the midpoint rule on +-7, every reading right or wrong by itself.
fn integrated(list: &[Witness], widths: &[(f64, f64)], wrong: f64) -> f64 {
    const STEPS: i32 = 700;
    let step = 14.0 / f64::from(STEPS);
    let mut sum = 0.0;
    for (width, share) in widths {
        for i in 0..STEPS {
            for j in 0..STEPS {
                let z = [i, j].map(|k| -7.0 + step * (f64::from(k) + 0.5));
                let mut p = share * step * step * ln_density(z[0], 1.0).exp();
                p *= ln_density(z[1], 1.0).exp();
                for w in list {
                    let middle = width * (w.slopes[0] * z[0] + w.slopes[1] * z[1]);
                    let sd = width * w.own.sqrt();
                    let right = if w.over_range {
                        below((middle - w.at) / sd)
                    } else {
                        ln_density(w.at - middle, sd * sd).exp()
                    };
                    p *= (1.0 - wrong) * right + wrong * w.ln_wrong.exp();
                }
                sum += p;
            }
        }
    }
    sum.ln()
}

fn check(list: &[Witness], widths: &[(f64, f64)], allowed: f64) {
    let ln_wrong: Vec<f64> = list.iter().map(|w| w.ln_wrong).collect();
    let found = fit_widths(list.iter().map(row).collect(), &ln_wrong, widths);
    let want = integrated(list, widths, WRONG);
    let got = found.evidence.total();
    assert!((got - want).abs() < allowed, "{got} is not {want}");
}

#[test]
fn numbers_that_share_their_spread() {
    let list = [
        number([0.9, 0.1], 0.04, 0.8),
        number([0.8, -0.3], 0.05, 0.5),
        number([0.2, 1.1], 0.09, -1.2),
        number([0.5, 0.5], 0.02, -0.1),
    ];
    check(&list, &WIDTHS, 0.01);
}

#[test]
fn one_reading_far_out_is_taken_for_wrong() {
    let list = [
        number([0.9, 0.1], 0.04, 0.1),
        number([0.8, -0.3], 0.05, 0.2),
        number([0.2, 1.1], 0.09, 7.0),
        number([0.5, 0.5], 0.02, -0.1),
        number([-0.4, 0.6], 0.03, 0.1),
    ];
    check(&list, &WIDTHS, 0.01);
    let ln_wrong: Vec<f64> = list.iter().map(|w| w.ln_wrong).collect();
    let found = fit(list.iter().map(row).collect(), &ln_wrong);
    assert_eq!(found.removed, [2]);
    assert!(found.evidence.wrong > found.evidence.right + 3.0);
}

#[test]
fn two_wrong_readings_are_both_found() {
    let list = [
        number([0.9, 0.1], 0.04, 0.1),
        number([0.8, -0.3], 0.05, 0.2),
        number([0.2, 1.1], 0.09, 7.0),
        number([0.5, 0.5], 0.02, -6.0),
        number([-0.4, 0.6], 0.03, 0.1),
        number([0.1, 0.6], 0.03, 0.0),
    ];
    // Sets that do not hold the likeliest wrong reading are not summed beyond one.
    check(&list, &WIDTHS, 0.02);
}

#[test]
fn over_range_readings_are_inequalities_that_share_their_spread() {
    let list = [
        number([0.9, 0.1], 0.04, 0.8),
        over_range([0.8, -0.3], 0.05, 0.9),
        over_range([0.7, 0.6], 0.05, 1.5),
        number([0.5, 0.5], 0.02, 0.6),
    ];
    // The sequential truncation is an approximation; a twentieth in the logarithm is far below
    // what evidence is judged by.
    check(&list, &[(1.0, 1.0)], 0.05);
}

#[test]
fn the_density_of_all_readings_integrates_to_one() {
    // Every value of two readings that share a variable, summed: 1, whatever the mixture.
    let step = 0.1;
    let mut sum = 0.0;
    for i in -150..150 {
        for j in -150..150 {
            let rows = [i, j]
                .map(|k| f64::from(k) * step)
                .map(|at| row(&number([0.9, 0.4], 0.2, at)));
            let found = fit(rows.to_vec(), &[f64::NEG_INFINITY; 2]);
            sum += step * step * (found.evidence.right - 2.0 * (1.0 - WRONG).ln()).exp();
        }
    }
    assert!((sum - 1.0).abs() < 1e-3, "{sum}");
}

#[test]
fn what_is_told_of_a_shared_variable_is_its_conditional() {
    // Closed form: y = z + e with variances 1 and v gives z | y normal, middle y / (1 + v),
    // variance v / (1 + v).
    let v = 0.25;
    let list = [number([1.0, 0.0], v, 2.0)];
    let rows: Vec<Row<'_>> = list.iter().map(row).collect();
    let found = fit_widths(rows, &[-60.0], &[(1.0, 1.0)]);
    let (middle, variance) = found.given(&Follows::only(&[(3, 1.0)]), 0.0);
    assert!((middle - 2.0 / 1.25).abs() < 1e-12);
    assert!((variance - v / 1.25).abs() < 1e-12);
    let none = ln_sum([f64::NEG_INFINITY; 2].into_iter());
    assert_eq!(none, f64::NEG_INFINITY);
}
