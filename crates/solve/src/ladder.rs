//! The convergence ladder: plain Newton, then three ways of starting from an easier system.

use crate::newton::{Homotopy, Settings, Solution, Stopped, Workspace, iterate};
use crate::system::{Law, System};

/// A rung of the ladder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// Newton's method on the system itself.
    Newton,
    /// Newton's method with a conductance from every unknown to zero that fades whenever the iteration is calm.
    FadingLeak,
    /// A conductance from every unknown to zero, taken away by decades.
    LeakStepping,
    /// All fixed flows and biases grown from zero.
    SourceStepping,
    /// Pulled towards the last point with a pull that weakens, as in time.
    PseudoTransient,
}

/// What a rung did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Attempt {
    /// The rung.
    pub method: Method,
    /// Newton iterations spent on it.
    pub iterations: usize,
    /// Whether it reached a solution.
    pub solved: bool,
}

/// The record of a solve.
pub type Ladder = Vec<Attempt>;

/// No rung reached a solution.
#[derive(Clone, Debug, PartialEq)]
pub struct Failure {
    /// Unknown with the worst imbalance in the last attempt.
    pub unknown: u32,
    /// Its imbalance, in units of flow; `None` when the numbers overflowed or a pivot vanished.
    pub imbalance: Option<f64>,
    /// What was tried.
    pub ladder: Ladder,
}

/// Solves `system` from `start`, climbing the ladder as far as needed.
pub fn solve<L: Law>(
    system: &System<L>,
    workspace: &mut Workspace,
    start: &[f64],
    settings: &Settings,
) -> Result<(Solution, Ladder), Failure> {
    let mut ladder = Ladder::new();
    let mut failure = Failure {
        unknown: 0,
        imbalance: None,
        ladder: Vec::new(),
    };
    for method in [
        Method::Newton,
        Method::FadingLeak,
        Method::LeakStepping,
        Method::SourceStepping,
        Method::PseudoTransient,
    ] {
        let mut spent = 0;
        let outcome = match method {
            Method::Newton => iterate(system, workspace, start, settings, Homotopy::NONE)
                .inspect(|s| spent = s.iterations)
                .inspect_err(|_| spent = settings.iterations),
            Method::FadingLeak => {
                let fading = Homotopy {
                    leak: 1e-2,
                    fading: 0.02,
                    ..Homotopy::NONE
                };
                iterate(system, workspace, start, settings, fading)
                    .inspect(|s| spent = s.iterations)
                    .inspect_err(|_| spent = settings.iterations)
            }
            Method::LeakStepping => leak_stepping(system, workspace, settings, &mut spent),
            Method::SourceStepping => source_stepping(system, workspace, settings, &mut spent),
            Method::PseudoTransient => {
                pseudo_transient(system, workspace, start, settings, &mut spent)
            }
        };
        ladder.push(Attempt {
            method,
            iterations: spent,
            solved: outcome.is_ok(),
        });
        match outcome {
            Ok(solution) => return Ok((solution, ladder)),
            Err(Stopped::Singular(s)) => (failure.unknown, failure.imbalance) = (s.unknown, None),
            Err(Stopped::NotFinite) => failure.imbalance = None,
            Err(Stopped::OutOfIterations { unknown, imbalance }) => {
                (failure.unknown, failure.imbalance) = (unknown, Some(imbalance));
            }
        }
    }
    failure.ladder = ladder;
    Err(failure)
}

/// Runs Newton under a homotopy and counts what it cost.
fn counted<L: Law>(
    system: &System<L>,
    workspace: &mut Workspace,
    start: &[f64],
    settings: &Settings,
    homotopy: Homotopy<'_>,
    spent: &mut usize,
) -> Result<Vec<f64>, Stopped> {
    let outcome = iterate(system, workspace, start, settings, homotopy);
    *spent += outcome
        .as_ref()
        .map_or(settings.iterations, |s| s.iterations);
    outcome.map(|s| s.x)
}

fn finish<L: Law>(
    system: &System<L>,
    workspace: &mut Workspace,
    x: &[f64],
    settings: &Settings,
    spent: &mut usize,
) -> Result<Solution, Stopped> {
    let x = counted(system, workspace, x, settings, Homotopy::NONE, spent)?;
    Ok(Solution {
        x,
        iterations: *spent,
    })
}

fn leak_stepping<L: Law>(
    system: &System<L>,
    workspace: &mut Workspace,
    settings: &Settings,
    spent: &mut usize,
) -> Result<Solution, Stopped> {
    let mut x = vec![0.0; system.unknowns];
    let mut factor = 10.0;
    let mut leak = 1e-1;
    let mut failures = 0;
    while leak > 1e-15 {
        let homotopy = Homotopy {
            leak,
            ..Homotopy::NONE
        };
        match counted(system, workspace, &x, settings, homotopy, spent) {
            Ok(next) => {
                x = next;
                factor = f64::min(factor * 1.5, 10.0);
                leak /= factor;
            }
            Err(stopped) => {
                failures += 1;
                if failures > 12 {
                    return Err(stopped);
                }
                leak *= factor;
                factor = factor.sqrt();
                leak /= factor;
            }
        }
    }
    finish(system, workspace, &x, settings, spent)
}

fn source_stepping<L: Law>(
    system: &System<L>,
    workspace: &mut Workspace,
    settings: &Settings,
    spent: &mut usize,
) -> Result<Solution, Stopped> {
    let mut x = vec![0.0; system.unknowns];
    let (mut reached, mut step) = (0.0, 0.1);
    while reached < 1.0 {
        let scale = f64::min(reached + step, 1.0);
        let homotopy = Homotopy {
            scale,
            ..Homotopy::NONE
        };
        match counted(system, workspace, &x, settings, homotopy, spent) {
            Ok(next) => {
                x = next;
                reached = scale;
                step *= 1.5;
            }
            Err(stopped) => {
                step /= 4.0;
                if step < 1e-6 {
                    return Err(stopped);
                }
            }
        }
    }
    finish(system, workspace, &x, settings, spent)
}

/// Pseudo-transient continuation after Kelley and Keyes, SIAM J. Numer. Anal. 35 (1998).
fn pseudo_transient<L: Law>(
    system: &System<L>,
    workspace: &mut Workspace,
    start: &[f64],
    settings: &Settings,
    spent: &mut usize,
) -> Result<Solution, Stopped> {
    let mut x = start.to_vec();
    let mut pull = 1e-2;
    let mut failures = 0;
    for _ in 0..300 {
        let homotopy = Homotopy {
            leak: pull,
            anchor: Some(&x),
            ..Homotopy::NONE
        };
        match counted(system, workspace, &x, settings, homotopy, spent) {
            Ok(next) => {
                let moved = next
                    .iter()
                    .zip(&x)
                    .fold(0.0_f64, |m, (a, b)| m.max((a - b).abs()));
                x = next;
                if moved < 1e-6 && pull < 1e-9 {
                    break;
                }
                pull = f64::max(pull * if moved < 0.1 { 0.3 } else { 0.7 }, 1e-14);
            }
            Err(stopped) => {
                failures += 1;
                if failures > 20 {
                    return Err(stopped);
                }
                pull *= 16.0;
            }
        }
    }
    finish(system, workspace, &x, settings, spent)
}
