//! Small resistor networks with their own solver, so that the diagnosis is tested against circuits it did not solve.

#![allow(dead_code)]

use diagnose::{
    Blame, Change, Effect, Healthy, Marginal, Predictions, Scale, Slopes, Solved, Taken,
};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use record::Shown;

/// A resistor between two nodes; node 0 is ground.
#[derive(Clone, Copy, Debug)]
pub struct Resistor {
    pub nodes: [usize; 2],
    pub ohms: f64,
}

/// Resistors whose values spread independently, each by the same relative standard deviation.
#[derive(Clone, Debug)]
pub struct Network {
    pub resistors: Vec<Resistor>,
    pub sd: f64,
}

/// What has happened to one resistor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fault {
    Open,
    Short,
    Times(f64),
}

/// A reading above this is over range.
pub const FULL_SCALE: f64 = 1e6;
/// The meter's own error, relative and at zero.
const ACCURACY: f64 = 0.0025;
const FLOOR: f64 = 0.05;

pub fn network(list: &[(usize, usize, f64)]) -> Network {
    Network {
        resistors: list
            .iter()
            .map(|(a, b, ohms)| Resistor {
                nodes: [*a, *b],
                ohms: *ohms,
            })
            .collect(),
        sd: 0.025,
    }
}

/// Gaussian elimination with row exchange; `None` if singular.
fn solved(mut a: Vec<Vec<f64>>, mut b: Vec<f64>) -> Option<Vec<f64>> {
    let n = b.len();
    for k in 0..n {
        let p = (k..n).max_by(|i, j| a[*i][k].abs().total_cmp(&a[*j][k].abs()))?;
        if a[p][k].abs() < 1e-13 {
            return None;
        }
        a.swap(k, p);
        b.swap(k, p);
        let pivot = a[k].clone();
        for i in k + 1..n {
            let f = a[i][k] / pivot[k];
            a[i].iter_mut().zip(&pivot).for_each(|(x, p)| *x -= f * p);
            b[i] -= f * b[k];
        }
    }
    for k in (0..n).rev() {
        let rest: f64 = (k + 1..n).map(|j| a[k][j] * b[j]).sum();
        b[k] = (b[k] - rest) / a[k][k];
    }
    Some(b)
}

impl Network {
    pub fn nodes(&self) -> usize {
        let all = self.resistors.iter().flat_map(|r| r.nodes);
        1 + all.max().unwrap_or(0)
    }

    /// True ohms between two nodes when resistors have these values; `None` beyond full scale.
    fn between(&self, conductances: &[f64], red: usize, black: usize) -> Option<f64> {
        let n = self.nodes();
        let mut a = vec![vec![0.0; n]; n];
        for (r, g) in self.resistors.iter().zip(conductances) {
            let [p, q] = r.nodes;
            a[p][p] += g;
            a[q][q] += g;
            a[p][q] -= g;
            a[q][p] -= g;
        }
        // The black lead is held; a path of a thousand megohms keeps loose nodes in place.
        let mut b = vec![0.0; n];
        for (k, row) in a.iter_mut().enumerate() {
            row[k] += 1e-12;
        }
        a[black] = (0..n).map(|k| f64::from(u8::from(k == black))).collect();
        b[red] = 1.0;
        b[black] = 0.0;
        let x = solved(a, b)?;
        (x[red] <= FULL_SCALE).then_some(x[red])
    }

    /// What is read of the unit `z` with some faults.
    pub fn read(
        &self,
        z: &[f64],
        faults: &[(usize, Fault)],
        (red, black): (usize, usize),
    ) -> Option<f64> {
        let g: Vec<f64> = self
            .resistors
            .iter()
            .enumerate()
            .map(|(k, r)| {
                let mut g = 1.0 / (r.ohms * (1.0 + self.sd * z[k]));
                for (_, fault) in faults.iter().filter(|f| f.0 == k) {
                    g = match fault {
                        Fault::Open => 0.0,
                        Fault::Short => g + 10.0,
                        Fault::Times(f) => g / f,
                    };
                }
                g
            })
            .collect();
        self.between(&g, red, black)
    }

    /// The reading in the middle, its slopes and the meter's error.
    fn centre(&self, faults: &[(usize, Fault)], at: (usize, usize)) -> Option<(f64, Slopes, f64)> {
        let n = self.resistors.len();
        let middle = self.read(&vec![0.0; n], faults, at)?;
        let slopes = (0..n)
            .filter_map(|k| {
                let mut z = vec![0.0; n];
                z[k] = 0.1;
                let up = self.read(&z, faults, at)?;
                z[k] = -0.1;
                let down = self.read(&z, faults, at)?;
                Some((k as u32, (up - down) / 0.2))
            })
            .filter(|s| s.1 != 0.0)
            .collect();
        Some((middle, slopes, error(middle)))
    }
}

/// Standard deviation of the meter.
pub fn error(reading: f64) -> f64 {
    ACCURACY * reading + FLOOR
}

/// Predictions of a network at all its places.
pub struct Known {
    pub network: Network,
    pub changes: Vec<Change>,
    pub faults: Vec<Vec<(usize, Fault)>>,
    pub places: Vec<(usize, usize)>,
    healthy: Vec<Option<Healthy>>,
    effects: Vec<Vec<Vec<Effect>>>,
}

/// Open, short and drifted, of every resistor, with the same weight.
pub fn known(network: Network, places: &[(usize, usize)], weight: f64) -> Known {
    let mut changes = Vec::new();
    let mut faults = Vec::new();
    for k in 0..network.resistors.len() {
        let mut add = |name: &str, list: Vec<Fault>, magnitudes| {
            changes.push(Change {
                blame: Blame::Unit,
                part: format!("R{}", k + 1),
                name: name.to_owned(),
                weight,
                magnitudes,
            });
            faults.push(list.into_iter().map(|f| (k, f)).collect());
        };
        add("open", vec![Fault::Open], Vec::new());
        add("short", vec![Fault::Short], Vec::new());
        let grid: Vec<f64> = (0..4).map(|i| 1.7 * 1.35f64.powi(i)).collect();
        let times = grid.iter().map(|f| Fault::Times(*f)).collect();
        add("high", times, grid);
    }
    with(network, places, changes, faults)
}

/// With any changes.
pub fn with(
    network: Network,
    places: &[(usize, usize)],
    changes: Vec<Change>,
    faults: Vec<Vec<(usize, Fault)>>,
) -> Known {
    let centres: Vec<_> = places.iter().map(|p| network.centre(&[], *p)).collect();
    let healthy = centres.iter().map(|c| Some(healthy(c))).collect();
    let effects = faults
        .iter()
        .map(|list| {
            list.iter()
                .map(|fault| {
                    let one = |(p, before): (&(usize, usize), &_)| {
                        effect(before, network.centre(&[*fault], *p))
                    };
                    places.iter().zip(&centres).map(one).collect()
                })
                .collect()
        })
        .collect();
    Known {
        network,
        changes,
        faults,
        places: places.to_vec(),
        healthy,
        effects,
    }
}

type Centre = Option<(f64, Slopes, f64)>;

fn healthy(centre: &Centre) -> Healthy {
    let Some((mean, slopes, sd)) = centre else {
        return Healthy {
            scale: Scale::Ohms,
            nominal: Shown::OverRange,
            marginal: Marginal::new(&[], 1.0),
            slopes: Vec::new(),
            reversed: None,
            line: None,
        };
    };
    let total = (slopes.iter().map(|s| s.1 * s.1).sum::<f64>() + sd * sd).sqrt();
    Healthy {
        scale: Scale::Ohms,
        nominal: Shown::Number(*mean),
        marginal: Marginal::normal(*mean, total),
        slopes: slopes.iter().map(|(v, s)| (*v, s / total)).collect(),
        reversed: None,
        line: None,
    }
}

fn effect(before: &Centre, after: Centre) -> Effect {
    match (before, after) {
        (None, None) => Effect::Unmoved,
        (_, None) => Effect::OverRange,
        (Some((b, slopes, sd)), Some((a, ..)))
            if (a - b).abs()
                < 0.01 * (slopes.iter().map(|s| s.1 * s.1).sum::<f64>() + sd * sd).sqrt() =>
        {
            Effect::Unmoved
        }
        (_, Some((mean, slopes, sd))) => {
            let solved = Solved {
                bend: before.as_ref().map_or(0.05, |(b, ..)| {
                    let away = Scale::Ohms.at(mean).0 - Scale::Ohms.at(*b).0;
                    (0.02 * away.abs()).min(0.05)
                }),
                mean,
                slopes,
                sd,
                border: FULL_SCALE,
            };
            Effect::Moved(solved.line(Scale::Ohms, &[]))
        }
    }
}

impl Predictions for Known {
    fn changes(&self) -> &[Change] {
        &self.changes
    }

    fn healthy(&self, place: usize) -> Option<&Healthy> {
        self.healthy[place].as_ref()
    }

    fn effect(&self, change: usize, variant: usize, place: usize) -> &Effect {
        &self.effects[change][variant][place]
    }

    fn together(&self, first: (usize, usize), second: (usize, usize), place: usize) -> Effect {
        let both = [first, second].map(|(c, v)| self.faults[c][v]);
        let at = self.places[place];
        effect(
            &self.network.centre(&[], at),
            self.network.centre(&both, at),
        )
    }
}

impl Known {
    /// The change of that name.
    pub fn change(&self, part: &str, name: &str) -> usize {
        self.changes
            .iter()
            .position(|c| c.part == part && c.name == name)
            .expect("the change exists")
    }

    /// Readings of the unit `seed` with some faults, meter error included.
    pub fn taken(&self, seed: u64, faults: &[(usize, Fault)], places: &[usize]) -> Vec<Taken> {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
        let z: Vec<f64> = self.network.resistors.iter().map(|_| normal()).collect();
        places
            .iter()
            .map(|&place| {
                let read = self.network.read(&z, faults, self.places[place]);
                let shown = match read {
                    Some(x) => Shown::Number(x + normal() * error(x)),
                    None => Shown::OverRange,
                };
                Taken { place, shown }
            })
            .collect()
    }
}

/// A ladder of four sections with a bridge: eight resistors, five nodes.
pub fn ladder() -> Network {
    network(&[
        (1, 0, 4700.0),
        (1, 2, 1000.0),
        (2, 0, 3300.0),
        (2, 3, 2200.0),
        (3, 0, 10e3),
        (3, 4, 680.0),
        (4, 0, 1500.0),
        (1, 4, 22e3),
    ])
}

/// Every pair of nodes.
pub fn every_pair(network: &Network) -> Vec<(usize, usize)> {
    let n = network.nodes();
    (1..n).flat_map(|a| (0..a).map(move |b| (a, b))).collect()
}
