//! Two pictures held against each other: which stroke is which, how one picture is bent into the other, and what is left.

use super::fit::{Group, Told, solve};
use super::strokes::{POINTS, Picture, Stroke};

/// Columns of each axis: place, own axis, other axis, own squared, product, other squared, own cubed, ramp.
const COLUMNS: usize = 8;
/// Of these the plain ones: place, scale and lean.
const PLAIN: usize = 3;
/// Least strokes that fit for all columns; with fewer only the plain ones are fitted.
const FULL: usize = 6;
/// Farther than this share of the half size no two strokes are taken for one another; chosen below half a character.
const REACH: f64 = 0.3;
/// A stroke has moved if it lies off by more than this share of the half size; chosen as what an eye sees.
const SEEN: f64 = 0.012;
/// Two lone strokes of one course no farther apart than this share of their length are one that moved; chosen below the
/// distance of the segments of a character.
const MOVES: f64 = 0.8;

/// How B's picture differs from A's as a whole. Places are measured from the middle of A's picture in half sizes of it:
/// u to the right, v upwards, both from -1 to 1.
#[derive(Clone, Debug, PartialEq)]
pub struct Bend {
    /// Middle of A's picture.
    pub middle: [f64; 2],
    /// Half its size, X and Y.
    pub half: [f64; 2],
    /// Factors for X and for Y, in half sizes of that axis; none where the picture does not tell.
    pub factors: [[Option<Told>; COLUMNS]; 2],
}

/// Numbers of the columns, for whoever reads [`Bend::factors`].
pub mod column {
    /// Place of the middle.
    pub const PLACE: usize = 0;
    /// Own axis: the gain.
    pub const OWN: usize = 1;
    /// The other axis: the lean.
    pub const OTHER: usize = 2;
    /// Own axis squared: one side wider.
    pub const SIDE: usize = 3;
    /// Product of both: wider at one end.
    pub const WEDGE: usize = 4;
    /// Other axis squared: lines bent.
    pub const BOW: usize = 5;
    /// Own axis cubed: ends crowded or stretched.
    pub const ENDS: usize = 6;
    /// Ramps that are not straight in time.
    pub const RAMP: usize = 7;
}

/// One stroke of A and its twin in B.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pair {
    /// Its number in A.
    pub a: usize,
    /// Its number in B.
    pub b: usize,
    /// How far its middle lies from where the bend puts it, in B's units.
    pub off: [f64; 2],
    /// Root mean square of what is left, in half sizes of A's picture.
    pub rms: f64,
    /// What is left is more than can be seen and more than the others have.
    pub moved: bool,
}

/// Two pictures compared.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// How B differs as a whole.
    pub bend: Bend,
    /// Strokes in both.
    pub pairs: Vec<Pair>,
    /// Strokes of A that B lacks.
    pub missing: Vec<usize>,
    /// Strokes of B that A lacks.
    pub extra: Vec<usize>,
}

/// Why two pictures cannot be held against each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Apart {
    /// Too few strokes.
    #[error(
        "A picture has only {0} strokes that are there whole; three are the least for a comparison."
    )]
    TooFew(usize),
    /// No way to lay them over each other.
    #[error("The pictures do not lie over each other: {0} of {1} strokes find a twin.")]
    NoFit(usize, usize),
}

/// A way to lay A over B: matrix rows and shift, in A's half sizes.
type Affine = [[f64; 3]; 2];

impl Bend {
    fn plain(middle: [f64; 2], half: [f64; 2], affine: &Affine) -> Bend {
        let told = |value| {
            Some(Told {
                value,
                uncertainty: f64::INFINITY,
            })
        };
        let mut factors = [[None; COLUMNS]; 2];
        for (f, a) in factors.iter_mut().zip(affine) {
            f[0] = told(a[0]);
            f[1] = told(a[1]);
            f[2] = told(a[2]);
        }
        Bend {
            middle,
            half,
            factors,
        }
    }

    fn normal(&self, p: &[f64; 2]) -> [f64; 2] {
        [0, 1].map(|a| (p[a] - self.middle[a]) / self.half[a])
    }

    /// Columns of axis `axis` for point `k` of a stroke of A.
    fn row(&self, stroke: &Stroke, k: usize, axis: usize) -> Vec<f64> {
        let p = self.normal(&stroke.points[k]);
        let (own, other) = (p[axis], p[1 - axis]);
        let f = (k as f64 + 0.5) / POINTS as f64;
        let ramp = stroke.reach()[axis] / self.half[axis] * 4.0 * f * (1.0 - f);
        vec![
            1.0,
            own,
            other,
            own * own,
            own * other,
            other * other,
            own.powi(3),
            ramp,
        ]
    }

    /// Where point `k` of a stroke of A lies in B, in B's units.
    pub fn map(&self, stroke: &Stroke, k: usize) -> [f64; 2] {
        [0, 1].map(|axis| {
            let row = self.row(stroke, k, axis);
            let sum: f64 = row
                .iter()
                .zip(&self.factors[axis])
                .map(|(v, f)| v * f.map_or(0.0, |f| f.value))
                .sum();
            self.middle[axis] + self.half[axis] * sum
        })
    }

    /// A whole stroke of A as it should be in B.
    pub fn stroke(&self, stroke: &Stroke) -> Stroke {
        Stroke {
            points: std::array::from_fn(|k| self.map(stroke, k)),
            ..stroke.clone()
        }
    }

    /// Half of A's larger side: what distances are measured by.
    pub fn size(&self) -> f64 {
        self.half[0].max(self.half[1])
    }
}

/// Compares two pictures.
///
/// # Errors
/// If there are too few strokes, or no way to lay one picture over the other.
pub fn compare(a: &Picture, b: &Picture) -> Result<Compared, Apart> {
    let fewest = a.strokes.len().min(b.strokes.len());
    if fewest < 3 {
        return Err(Apart::TooFew(fewest));
    }
    let [x, y] = a.extent();
    let middle = [0.5 * (x[0] + x[1]), 0.5 * (y[0] + y[1])];
    let size = 0.5 * (x[1] - x[0]).max(y[1] - y[0]);
    // a picture that is a line has no size of its own across
    let half = [x, y].map(|e| (0.5 * (e[1] - e[0])).max(0.05 * size));
    let tried = starts(a, b, middle, half).into_iter().map(|affine| {
        let mut bend = Bend::plain(middle, half, &affine);
        let mut pairs = Vec::new();
        for round in 0..12 {
            pairs = twins(a, b, &bend, REACH * if round < 4 { 2.0 } else { 1.0 });
            let fitted = fitted(a, b, &bend, &pairs, PLAIN);
            // what has collapsed maps everything onto one stroke and fits nothing
            if pairs.len() < 3 || collapsed(&fitted) {
                break;
            }
            bend = fitted;
        }
        let close = rms_all(a, b, &bend, &pairs);
        let good = close.iter().filter(|r| **r < 0.08).count();
        let scatter: f64 = close.iter().filter(|r| **r < 0.08).sum::<f64>() / good.max(1) as f64;
        (bend, good, scatter)
    });
    let best = tried.fold(None, |best: Option<(Bend, usize, f64)>, next| match &best {
        Some(b) if (b.1 as f64 - 5.0 * b.2) >= (next.1 as f64 - 5.0 * next.2) => best,
        _ => Some(next),
    });
    let (mut bend, good, _) = best.ok_or(Apart::NoFit(0, fewest))?;
    if good < 3 || 2 * good < fewest {
        return Err(Apart::NoFit(good, fewest));
    }
    let columns = if good >= FULL { COLUMNS } else { PLAIN };
    let mut pairs = Vec::new();
    for _ in 0..10 {
        pairs = twins(a, b, &bend, REACH);
        bend = fitted(a, b, &bend, &pairs, columns);
    }
    Ok(judged(a, b, bend, &pairs))
}

fn collapsed(bend: &Bend) -> bool {
    let m = |axis: usize, c: usize| bend.factors[axis][c].map_or(0.0, |t| t.value);
    (m(0, 1) * m(1, 1) - m(0, 2) * m(1, 2)).abs() < 0.02
}

/// Ways to begin: as they are, box upon box, and the same with an axis turned round.
fn starts(a: &Picture, b: &Picture, middle: [f64; 2], half: [f64; 2]) -> Vec<Affine> {
    let mut list = vec![[[0.0, 1.0, 0.0], [0.0, 1.0, 0.0]]];
    // the outermost, and the middles of all but a tenth at each side, which a few strange strokes do not shift
    for share in [0.0, 0.1] {
        let inner = |p: &Picture, axis: usize| {
            let mut all: Vec<f64> = p
                .strokes
                .iter()
                .flat_map(|s| s.points.map(|q| q[axis]))
                .collect();
            all.sort_by(f64::total_cmp);
            let cut = (share * all.len() as f64) as usize;
            (all[cut], all[all.len() - 1 - cut])
        };
        for turned in [[1.0, 1.0], [-1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]] {
            list.push([0, 1].map(|axis| {
                let (from, to) = (inner(a, axis), inner(b, axis));
                let wide = from.1 - from.0;
                let gain = if wide > 0.0 {
                    (to.1 - to.0) / wide
                } else {
                    1.0
                };
                let gain = turned[axis] * gain.clamp(0.05, 20.0);
                let centre_a = 0.5 * (from.0 + from.1);
                let centre_b = 0.5 * (to.0 + to.1);
                let place =
                    (centre_b - middle[axis] - gain * (centre_a - middle[axis])) / half[axis];
                [place, gain, 0.0]
            }));
        }
    }
    list
}

/// Strokes that are each other's nearest under a bend, within a reach.
fn twins(a: &Picture, b: &Picture, bend: &Bend, reach: f64) -> Vec<(usize, usize)> {
    let laid: Vec<Stroke> = a.strokes.iter().map(|s| bend.stroke(s)).collect();
    let nearest = |from: &[Stroke], to: &[Stroke]| -> Vec<(usize, f64)> {
        let one = |s: &Stroke| {
            let all = to.iter().map(|t| s.distance(t)).enumerate();
            all.min_by(|x, y| x.1.total_cmp(&y.1))
                .unwrap_or((0, f64::MAX))
        };
        from.iter().map(one).collect()
    };
    let (to_b, to_a) = (nearest(&laid, &b.strokes), nearest(&b.strokes, &laid));
    let bound = reach * bend.size();
    let mutual = |(i, (j, far)): (usize, &(usize, f64))| {
        (to_a[*j].0 == i && *far <= bound).then_some((i, *j))
    };
    to_b.iter().enumerate().filter_map(mutual).collect()
}

fn rms_all(a: &Picture, b: &Picture, bend: &Bend, pairs: &[(usize, usize)]) -> Vec<f64> {
    let one = |(i, j): &(usize, usize)| {
        bend.stroke(&a.strokes[*i]).distance(&b.strokes[*j]) / bend.size()
    };
    pairs.iter().map(one).collect()
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(0.0)
}

/// The bend that fits paired strokes best; strokes that lie far off count little (Tukey's biweight, twice).
fn fitted(a: &Picture, b: &Picture, from: &Bend, pairs: &[(usize, usize)], columns: usize) -> Bend {
    let mut bend = from.clone();
    for _ in 0..2 {
        let off = rms_all(a, b, &bend, pairs);
        let bound = 4.685 * (1.4826 * median(&off)).max(1e-4);
        let weight = |r: f64| (1.0 - (r / bound).powi(2)).max(0.0).powi(2);
        let mut next = bend.clone();
        for axis in 0..2 {
            let group = |((i, j), r): (&(usize, usize), &f64)| Group {
                weight: weight(*r),
                rows: (0..POINTS)
                    .map(|k| {
                        let mut row = bend.row(&a.strokes[*i], k, axis);
                        row.truncate(columns);
                        (row, bend.normal(&b.strokes[*j].points[k])[axis])
                    })
                    .collect(),
            };
            let groups: Vec<Group> = pairs.iter().zip(&off).map(group).collect();
            let mut told = solve(&groups, columns);
            told.resize(COLUMNS, None);
            next.factors[axis].copy_from_slice(&told);
        }
        bend = next;
    }
    bend
}

/// Which pairs are off, and what has no twin. Two that are left over near each other with one course are one that moved.
fn judged(a: &Picture, b: &Picture, bend: Bend, pairs: &[(usize, usize)]) -> Compared {
    let off = rms_all(a, b, &bend, pairs);
    let bound = SEEN.max(6.0 * median(&off));
    let mut all: Vec<(usize, usize)> = Vec::new();
    for (pair, r) in pairs.iter().zip(&off) {
        let (mapped, twin) = (bend.stroke(&a.strokes[pair.0]), &b.strokes[pair.1]);
        // far off and of another course: two strokes, not one that moved
        if *r <= bound || courses_differ(&mapped, twin) < 0.5 {
            all.push(*pair);
        }
    }
    let lone = |of: usize, all: &[(usize, usize)], first: bool| -> Vec<usize> {
        let has = |k: &usize| all.iter().any(|p| *k == if first { p.0 } else { p.1 });
        (0..of).filter(|k| !has(k)).collect()
    };
    let left_over = lone(a.strokes.len(), &all, true);
    let mut near: Vec<(f64, usize, usize)> = Vec::new();
    for &i in &left_over {
        let mapped = bend.stroke(&a.strokes[i]);
        for j in lone(b.strokes.len(), &all, false) {
            let far = mapped.distance(&b.strokes[j]);
            let is_near = far < MOVES * mapped.length().max(bound * bend.size());
            if is_near && courses_differ(&mapped, &b.strokes[j]) < 0.5 {
                near.push((far, i, j));
            }
        }
    }
    near.sort_by(|x, y| x.0.total_cmp(&y.0));
    for (_, i, j) in near {
        if all.iter().all(|p| p.0 != i && p.1 != j) {
            all.push((i, j));
        }
    }
    let missing = lone(a.strokes.len(), &all, true);
    let extra = lone(b.strokes.len(), &all, false);
    let pairs = all.iter().map(|&(i, j)| {
        let (mapped, twin) = (bend.stroke(&a.strokes[i]), &b.strokes[j]);
        let (from, to) = (mapped.middle(), twin.middle());
        let rms = mapped.distance(twin) / bend.size();
        Pair {
            a: i,
            b: j,
            off: [to[0] - from[0], to[1] - from[1]],
            rms,
            moved: rms > bound,
        }
    });
    Compared {
        pairs: pairs.collect(),
        bend,
        missing,
        extra,
    }
}

/// How differently two strokes run, wherever they are, as a share of their length.
fn courses_differ(a: &Stroke, b: &Stroke) -> f64 {
    let (from, to) = (a.middle(), b.middle());
    let mut shifted = a.clone();
    for p in &mut shifted.points {
        *p = [0, 1].map(|k| p[k] - from[k] + to[k]);
    }
    let long = a.length().max(b.length());
    if long > 0.0 {
        4.0 * shifted.distance(b) / long
    } else {
        0.0
    }
}
