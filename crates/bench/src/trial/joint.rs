//! How likely readings are under a known fault, by solving the faulty circuit for the unit that fits best; shares nothing with the diagnosis.
//!
//! Laplace's approximation about the end of Gauss and Newton's method, with dense algebra.

use circuit::{Edit, Node};
use diagnose::Scale;
use predict::{Board, ChangedBoard, Question};

/// One reading that was taken.
#[derive(Clone, Copy)]
pub(super) struct Read<'a> {
    pub question: &'a Question,
    pub leads: (Node, Node),
    /// On the scale; `None` is over range.
    pub at: Option<f64>,
    pub scale: Scale,
}

/// A unit's readings, and how they follow its variables.
struct Line {
    misfit: f64,
    residuals: Vec<f64>,
    slopes: Vec<Vec<f64>>,
    own: Vec<f64>,
}

/// Steps towards the unit that fits best.
const STEPS: usize = 20;

/// Logarithm of the density of readings, on their scales, of a board with these changes; the search
/// begins at each of `starts`. Minus infinity if over range comes or goes in all of them.
pub(super) fn ln_density(
    board: &Board,
    edits: &[Edit],
    reads: &[Read<'_>],
    starts: &[&[f64]],
) -> f64 {
    starts
        .iter()
        .map(|start| from(board, edits, reads, start))
        .fold(f64::NEG_INFINITY, f64::max)
}

fn from(board: &Board, edits: &[Edit], reads: &[Read<'_>], start: &[f64]) -> f64 {
    let Some(mut here) = line(board, edits, reads, start) else {
        return f64::NEG_INFINITY;
    };
    let mut z = start.to_vec();
    let mut best = f64::NEG_INFINITY;
    for _ in 0..STEPS {
        let (ln, target) = laplace(&here, &z);
        best = ln;
        let mut share = 1.0;
        let mut next = None;
        while share > 0.05 {
            let there: Vec<f64> = z
                .iter()
                .zip(&target)
                .map(|(a, b)| a + share * (b - a))
                .collect();
            match line(board, edits, reads, &there) {
                Some(l) if l.misfit < here.misfit - 1e-3 => {
                    next = Some((there, l));
                    break;
                }
                _ => share *= 0.4,
            }
        }
        match next {
            Some((there, l)) => (z, here) = (there, l),
            None => break,
        }
    }
    best
}

/// `None` if a reading is over range that was not, or the other way about, or is not solved.
fn line(board: &Board, edits: &[Edit], reads: &[Read<'_>], z: &[f64]) -> Option<Line> {
    let unit = ChangedBoard::of_unit(board, edits, z.to_vec()).ok()?;
    let mut found = Line {
        misfit: z.iter().map(|z| z * z).sum(),
        residuals: Vec::new(),
        slopes: Vec::new(),
        own: Vec::new(),
    };
    for read in reads {
        let sensed = unit.read(read.leads, read.question, None).ok()?;
        let (reading, at) = match (sensed.shown.reading, read.at) {
            (None, None) => continue,
            (Some(reading), Some(at)) => (reading, at),
            _ => return None,
        };
        let setup = read.question.setups[sensed.shown.range];
        let (here, slope) = read.scale.at(reading);
        let by_volts = slope * setup.slope(sensed.shown.volts);
        let own = (slope * setup.error(reading)).powi(2).max(1e-12);
        found.misfit += (at - here).powi(2) / own;
        found.residuals.push(at - here);
        found
            .slopes
            .push(sensed.slopes.iter().map(|s| s * by_volts).collect());
        found.own.push(own);
    }
    Some(found)
}

/// Of each list of changes whether the nearest in it reads, in the unit at `z`, within `sigmas` joint
/// standard deviations of what `truth` reads there: then no reading tells them apart.
pub(super) fn alike(
    board: &Board,
    truth: &[Edit],
    others: &[Vec<Vec<Edit>>],
    reads: &[Read<'_>],
    (z, sigmas): (&[f64], f64),
) -> Vec<bool> {
    let without_error = |read: &Read<'_>| {
        let unit = ChangedBoard::of_unit(board, truth, z.to_vec()).ok()?;
        let shown = unit.read(read.leads, read.question, None).ok()?.shown;
        Some(shown.reading.map(|r| read.scale.at(r).0))
    };
    let expected: Option<Vec<Read<'_>>> = reads
        .iter()
        .map(|read| {
            Some(Read {
                at: without_error(read)?,
                ..*read
            })
        })
        .collect();
    let there = expected.and_then(|reads| Some((line(board, truth, &reads, z)?, reads)));
    let Some((there, reads)) = there else {
        return vec![false; others.len()];
    };
    let factor = factor(&there);
    let near = |edits: &Vec<Edit>| {
        line(board, edits, &reads, z).is_some_and(|other| {
            let whitened = whiten(&factor, other.residuals);
            whitened.iter().map(|w| w * w).sum::<f64>() <= sigmas * sigmas
        })
    };
    others.iter().map(|list| list.iter().any(near)).collect()
}

/// Logarithm of the density by straight lines through the unit at `z`, and the unit that fits best
/// by them.
fn laplace(line: &Line, z: &[f64]) -> (f64, Vec<f64>) {
    let n = line.residuals.len();
    let factor = factor(line);
    let off = |i: usize| line.residuals[i] + dot(&line.slopes[i], z);
    let mut right = whiten(&factor, (0..n).map(off).collect());
    let mut ln = -0.5 * n as f64 * (2.0 * std::f64::consts::PI).ln();
    for i in 0..n {
        ln -= 0.5 * right[i] * right[i] + factor[i][i].ln();
    }
    for i in (0..n).rev() {
        let later: f64 = (i + 1..n).map(|k| factor[k][i] * right[k]).sum();
        right[i] = (right[i] - later) / factor[i][i];
    }
    let mut target = vec![0.0; z.len()];
    for (pull, slopes) in right.iter().zip(&line.slopes) {
        target
            .iter_mut()
            .zip(slopes)
            .for_each(|(t, s)| *t += pull * s);
    }
    (ln, target)
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Lower triangle of Cholesky's factor of the readings' covariance.
fn factor(line: &Line) -> Vec<Vec<f64>> {
    let n = line.residuals.len();
    let mut factor = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let mut sum = dot(&line.slopes[i], &line.slopes[j]);
            if i == j {
                sum += line.own[i];
            }
            sum -= dot(&factor[i][..j], &factor[j][..j]);
            factor[i][j] = if i == j {
                sum.max(1e-300).sqrt()
            } else {
                sum / factor[j][j]
            };
        }
    }
    factor
}

fn whiten(factor: &[Vec<f64>], mut right: Vec<f64>) -> Vec<f64> {
    for i in 0..right.len() {
        right[i] = (right[i] - dot(&factor[i][..i], &right[..i])) / factor[i][i];
    }
    right
}
