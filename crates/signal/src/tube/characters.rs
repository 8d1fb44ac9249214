//! Strokes that belong together as characters, and how each differs between two pictures beside the bend of the whole.

use super::geometry::{Bend, Compared};
use super::strokes::{Picture, Stroke};

/// One character and how B draws it, beside what all of B's picture does.
#[derive(Clone, Debug, PartialEq)]
pub struct Character {
    /// Its strokes in A.
    pub strokes: Vec<usize>,
    /// Middle of it in A.
    pub middle: [f64; 2],
    /// How many of them B lacks.
    pub missing: usize,
    /// How far it lies off in B, in B's units.
    pub off: [f64; 2],
    /// Its width and height in B over what they should be; none where it has none.
    pub scale: [Option<f64>; 2],
    /// Root mean square of what place and size leave, in half sizes of A's picture.
    pub left: f64,
}

/// Strokes nearer than this share of a usual stroke's length belong together; chosen: segments of a character meet or
/// nearly so, characters stand farther apart than that.
const TOGETHER: f64 = 0.25;

/// Numbers of the strokes of each character, from left to right and from the top.
pub fn characters(picture: &Picture) -> Vec<Vec<usize>> {
    let strokes = &picture.strokes;
    let mut lengths: Vec<f64> = strokes.iter().map(Stroke::length).collect();
    lengths.sort_by(f64::total_cmp);
    let bound = TOGETHER * lengths.get(lengths.len() / 2).copied().unwrap_or(0.0);
    let mut group: Vec<usize> = (0..strokes.len()).collect();
    for i in 0..strokes.len() {
        for j in 0..i {
            if group[i] != group[j] && gap(&strokes[i], &strokes[j]) <= bound {
                let (from, to) = (group[i], group[j]);
                group
                    .iter_mut()
                    .filter(|g| **g == from)
                    .for_each(|g| *g = to);
            }
        }
    }
    let mut names = group.clone();
    names.sort_unstable();
    names.dedup();
    let of = |name: &usize| -> Vec<usize> {
        (0..strokes.len()).filter(|i| group[*i] == *name).collect()
    };
    let mut all: Vec<Vec<usize>> = names.iter().map(of).collect();
    // lines of writing: a character begins a new line if its middle lies below the one before by more than its height
    let spot = |c: &Vec<usize>| middle(c.iter().map(|i| &strokes[*i]));
    let [_, y] = picture.extent();
    let height = all
        .iter()
        .map(|c| tall(c, strokes))
        .fold(0.0, f64::max)
        .max(0.05 * (y[1] - y[0]));
    let row = |c: &Vec<usize>| ((y[1] - spot(c)[1]) / height.max(f64::MIN_POSITIVE)) as usize;
    all.sort_by(|a, b| row(a).cmp(&row(b)).then(spot(a)[0].total_cmp(&spot(b)[0])));
    all
}

fn tall(character: &[usize], strokes: &[Stroke]) -> f64 {
    let ys = || {
        character
            .iter()
            .flat_map(|i| strokes[*i].points.map(|p| p[1]))
    };
    ys().fold(f64::MIN, f64::max) - ys().fold(f64::MAX, f64::min)
}

fn gap(a: &Stroke, b: &Stroke) -> f64 {
    // the ends lie half a step beyond the outer places
    let step = 0.5 * (a.length() + b.length()) / a.points.len() as f64;
    let far = |p: &[f64; 2], q: &[f64; 2]| (p[0] - q[0]).hypot(p[1] - q[1]);
    let all = a
        .points
        .iter()
        .flat_map(|p| b.points.iter().map(move |q| far(p, q)));
    (all.fold(f64::MAX, f64::min) - step).max(0.0)
}

fn middle<'s>(strokes: impl Iterator<Item = &'s Stroke>) -> [f64; 2] {
    let middles: Vec<[f64; 2]> = strokes.map(Stroke::middle).collect();
    [0, 1].map(|a| middles.iter().map(|m| m[a]).sum::<f64>() / middles.len().max(1) as f64)
}

/// Each character of A held against B, once the bend of the whole is taken out.
pub fn compare(a: &Picture, b: &Picture, compared: &Compared) -> Vec<Character> {
    let one = |strokes: Vec<usize>| {
        let twins: Vec<(Stroke, &Stroke)> = compared
            .pairs
            .iter()
            .filter(|p| strokes.contains(&p.a))
            .map(|p| (compared.bend.stroke(&a.strokes[p.a]), &b.strokes[p.b]))
            .collect();
        let missing = strokes.len() - twins.len();
        let middle = middle(strokes.iter().map(|i| &a.strokes[*i]));
        let mut square = 0.0;
        let (mut off, mut scale) = ([0.0; 2], [None; 2]);
        for axis in 0..2 {
            let line = line(&twins, axis, &compared.bend);
            off[axis] = line.0;
            scale[axis] = line.1;
            square += line.2;
        }
        Character {
            strokes,
            middle,
            missing,
            off,
            scale,
            left: square.sqrt() / compared.bend.size(),
        }
    };
    characters(a).into_iter().map(one).collect()
}

/// Shift at the middle, factor of size, and mean square of what is left, along one axis.
fn line(twins: &[(Stroke, &Stroke)], axis: usize, bend: &Bend) -> (f64, Option<f64>, f64) {
    let points = || {
        let of = |(s, t): &(Stroke, &Stroke)| {
            let pairs: Vec<(f64, f64)> = s
                .points
                .iter()
                .zip(&t.points)
                .map(|(p, q)| (p[axis], q[axis]))
                .collect();
            pairs
        };
        twins.iter().flat_map(of)
    };
    let n = points().count() as f64;
    if n == 0.0 {
        return (0.0, None, 0.0);
    }
    let mean_p = points().map(|p| p.0).sum::<f64>() / n;
    let mean_q = points().map(|p| p.1).sum::<f64>() / n;
    let wide = points().map(|p| (p.0 - mean_p).powi(2)).sum::<f64>() / n;
    let both = points()
        .map(|p| (p.0 - mean_p) * (p.1 - mean_q))
        .sum::<f64>()
        / n;
    let scale = (wide.sqrt() > 0.02 * bend.half[axis]).then(|| both / wide);
    let factor = scale.unwrap_or(1.0);
    let left = points()
        .map(|p| (p.1 - mean_q - factor * (p.0 - mean_p)).powi(2))
        .sum::<f64>()
        / n;
    (mean_q - mean_p, scale, left)
}
