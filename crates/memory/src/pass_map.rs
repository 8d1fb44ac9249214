//! A map of passes and failures over two parameters, such as drive current and strobe time: the passing region, how far
//! the working point is from its edge, and how the region moved since the last map.

use crate::diagnostic::Diagnostic;

/// What happened at one pair of settings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// No errors.
    Pass,
    /// Errors, and how many.
    Fail(u64),
    /// Not tried.
    NotTried,
}

/// Outcomes over a grid of settings.
#[derive(Clone, Debug, PartialEq)]
pub struct PassMap {
    /// Names of the two parameters, with their units as written.
    pub names: [String; 2],
    /// Settings of the first, rising.
    pub across: Vec<f64>,
    /// Settings of the second, rising.
    pub up: Vec<f64>,
    /// Outcomes, `[up][across]`.
    pub outcomes: Vec<Vec<Outcome>>,
}

/// How far a working point is from failing, in the units of the parameters. `None`: no failure was met on that side, so
/// the margin is at least to the edge of the map, which is given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Side {
    /// Distance to the last passing setting.
    pub passes_to: f64,
    /// Distance to the first failing one, if one was met.
    pub fails_at: Option<f64>,
}

/// Margins of a working point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Margins {
    /// Downward and upward along the first parameter.
    pub across: [Side; 2],
    /// Downward and upward along the second.
    pub up: [Side; 2],
}

impl PassMap {
    /// Reads a CSV of three columns: the two parameters (any names) and `errors`.
    pub fn read(text: &str) -> (Option<PassMap>, Vec<Diagnostic>) {
        let mut found = Vec::new();
        let mut lines = text
            .lines()
            .enumerate()
            .filter(|(_, l)| !l.trim().is_empty() && !l.starts_with('#'));
        let header: Vec<&str> = lines
            .next()
            .map_or(Vec::new(), |(_, l)| l.split(',').map(str::trim).collect());
        let [first, second, "errors"] = header[..] else {
            found.push(Diagnostic::at(
                1,
                1,
                "The header is not two parameters and `errors`.",
                "Begin the file with a line such as `drive mA,strobe ns,errors`.",
            ));
            return (None, found);
        };
        let mut points: Vec<(f64, f64, u64)> = Vec::new();
        for (number, line) in lines {
            let cells: Vec<&str> = line.split(',').map(str::trim).collect();
            let number_at = |at: usize| {
                cells
                    .get(at)
                    .and_then(|c| c.parse::<f64>().ok())
                    .filter(|x| x.is_finite())
            };
            let errors = cells.get(2).and_then(|c| c.parse::<u64>().ok());
            match (number_at(0), number_at(1), errors) {
                (Some(a), Some(u), Some(e)) if cells.len() == 3 => points.push((a, u, e)),
                _ => found.push(Diagnostic::at(
                    number + 1,
                    1,
                    "This row is not two numbers and a count of errors.",
                    "Write a row such as `380,210,0`.",
                )),
            }
        }
        if points.is_empty() {
            found.push(Diagnostic::at(
                1,
                1,
                "The map holds no points.",
                "Write a row for every pair of settings tried.",
            ));
            return (None, found);
        }
        (
            Some(Self::of([first.to_owned(), second.to_owned()], &points)),
            found,
        )
    }

    /// The working point that a map names in a remark: `# at 380,210`.
    pub fn working_point(text: &str) -> Option<(f64, f64)> {
        let remark = |l: &str| {
            l.trim()
                .strip_prefix('#')?
                .trim()
                .strip_prefix("at ")
                .map(str::to_owned)
        };
        let (a, b) = text
            .lines()
            .find_map(remark)?
            .split_once(',')
            .map(|(a, b)| (a.trim().parse::<f64>().ok(), b.trim().parse::<f64>().ok()))?;
        Some((a?, b?)).filter(|(a, b)| a.is_finite() && b.is_finite())
    }

    /// A map from points tried; where a pair was tried more than once, any failure counts.
    pub fn of(names: [String; 2], points: &[(f64, f64, u64)]) -> Self {
        let axis = |pick: &dyn Fn(&(f64, f64, u64)) -> f64| {
            let mut settings: Vec<f64> = points.iter().map(pick).collect();
            settings.sort_by(f64::total_cmp);
            settings.dedup();
            settings
        };
        let (across, up) = (axis(&|p| p.0), axis(&|p| p.1));
        let mut outcomes = vec![vec![Outcome::NotTried; across.len()]; up.len()];
        for (a, u, errors) in points {
            let (Some(i), Some(j)) = (
                across.iter().position(|x| x == a),
                up.iter().position(|x| x == u),
            ) else {
                continue;
            };
            let before = match outcomes[j][i] {
                Outcome::Fail(n) => n,
                _ => 0,
            };
            outcomes[j][i] = if before + errors == 0 {
                Outcome::Pass
            } else {
                Outcome::Fail(before + errors)
            };
        }
        Self {
            names,
            across,
            up,
            outcomes,
        }
    }

    fn passes(&self, i: usize, j: usize) -> bool {
        self.outcomes[j][i] == Outcome::Pass
    }

    /// The passing settings that hang together with the one nearest to a working point, as `(across, up)` places; empty
    /// if that one does not pass.
    pub fn region(&self, point: (f64, f64)) -> Vec<(usize, usize)> {
        let start = (nearest(&self.across, point.0), nearest(&self.up, point.1));
        if !self.passes(start.0, start.1) {
            return Vec::new();
        }
        let mut region = vec![start];
        let mut at = 0;
        while at < region.len() {
            let (i, j) = region[at];
            at += 1;
            let sideways = [
                (i.wrapping_sub(1), j),
                (i + 1, j),
                (i, j.wrapping_sub(1)),
                (i, j + 1),
            ];
            for (a, b) in sideways {
                if a < self.across.len()
                    && b < self.up.len()
                    && self.passes(a, b)
                    && !region.contains(&(a, b))
                {
                    region.push((a, b));
                }
            }
        }
        region.sort_unstable();
        region
    }

    /// Margins of a working point along both parameters; `None` if the setting nearest to it does not pass.
    pub fn margins(&self, point: (f64, f64)) -> Option<Margins> {
        let (i, j) = (nearest(&self.across, point.0), nearest(&self.up, point.1));
        if !self.passes(i, j) {
            return None;
        }
        let row = |n: usize| self.passes(n, j);
        let column = |n: usize| self.passes(i, n);
        Some(Margins {
            across: [
                side(&self.across, i, point.0, false, row),
                side(&self.across, i, point.0, true, row),
            ],
            up: [
                side(&self.up, j, point.1, false, column),
                side(&self.up, j, point.1, true, column),
            ],
        })
    }

    /// Mean of the settings of the region around a working point.
    pub fn centre(&self, point: (f64, f64)) -> Option<(f64, f64)> {
        let region = self.region(point);
        let count = region.len() as f64;
        let sum = region.iter().fold((0.0, 0.0), |s, (i, j)| {
            (s.0 + self.across[*i], s.1 + self.up[*j])
        });
        (count > 0.0).then(|| (sum.0 / count, sum.1 / count))
    }

    /// How far the centre of the region moved since an earlier map, in the units of the parameters; only settings tried
    /// in both maps count, so that a map of other reach does not look like drift.
    pub fn drift(&self, earlier: &PassMap, point: (f64, f64)) -> Option<(f64, f64)> {
        let (now, then) = (self.within(earlier), earlier.within(self));
        let (now, then) = (now.centre(point)?, then.centre(point)?);
        Some((now.0 - then.0, now.1 - then.1))
    }

    fn within(&self, other: &PassMap) -> PassMap {
        let mut points = Vec::new();
        for (j, u) in self.up.iter().enumerate() {
            for (i, a) in self.across.iter().enumerate() {
                let errors = match self.outcomes[j][i] {
                    Outcome::NotTried => continue,
                    Outcome::Pass => 0,
                    Outcome::Fail(n) => n,
                };
                let there = other
                    .across
                    .iter()
                    .position(|x| x == a)
                    .zip(other.up.iter().position(|x| x == u));
                if there.is_some_and(|(oi, oj)| other.outcomes[oj][oi] != Outcome::NotTried) {
                    points.push((*a, *u, errors));
                }
            }
        }
        PassMap::of(self.names.clone(), &points)
    }
}

fn nearest(settings: &[f64], wanted: f64) -> usize {
    let distance = |n: &usize| (settings[*n] - wanted).abs();
    (0..settings.len())
        .min_by(|a, b| distance(a).total_cmp(&distance(b)))
        .unwrap_or(0)
}

fn side(
    settings: &[f64],
    from: usize,
    point: f64,
    upward: bool,
    passes: impl Fn(usize) -> bool,
) -> Side {
    let mut last = from;
    loop {
        let next = if upward {
            last + 1
        } else {
            last.wrapping_sub(1)
        };
        let Some(setting) = settings.get(next) else {
            return Side {
                passes_to: (settings[last] - point).abs(),
                fails_at: None,
            };
        };
        if !passes(next) {
            return Side {
                passes_to: (settings[last] - point).abs(),
                fails_at: Some((setting - point).abs()),
            };
        }
        last = next;
    }
}
