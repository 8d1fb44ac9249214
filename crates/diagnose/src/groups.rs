//! Suspects that no reading tells apart are one group.

use std::sync::Arc;

use record::Shown;

use crate::fit::shared;
use crate::gauss::Factor;
use crate::predictions::{Effect, Healthy};
use crate::rank::{Suspect, Unit, Weighed};
use crate::rows;

/// Less than this many standard deviations between them, all readings taken jointly, and two
/// suspects cannot be told apart.
const APART: f64 = 2.0;

/// Suspects that readings speak against so clearly stand by themselves.
const NEGLIGIBLE: f64 = 1e-7;

/// One reading as a suspect predicts it, on the scale of its place; `None` is over range.
#[derive(Clone)]
pub(crate) struct Foretold {
    pub middle: Option<f64>,
    slopes: Arc<[(u32, f64)]>,
    own: f64,
}

impl Foretold {
    /// Standard deviations between two, by the mean of theirs; without limit if one alone is over
    /// range.
    pub fn apart(&self, other: &Foretold) -> f64 {
        match (self.middle, other.middle) {
            (Some(a), Some(b)) => {
                (a - b).abs() / (0.5 * (variance(self).sqrt() + variance(other).sqrt()))
            }
            (None, None) => 0.0,
            _ => f64::INFINITY,
        }
    }
}

/// What an effect foretells, its middle shifted on the scale; `None` if it is unknown.
pub(crate) fn foretold(place: &Healthy, effect: &Effect, shift: f64) -> Option<Foretold> {
    match effect {
        Effect::Unmoved => Some(unchanged(place)),
        Effect::OverRange => Some(Foretold {
            middle: None,
            slopes: Arc::default(),
            own: 0.0,
        }),
        Effect::Unknown => None,
        Effect::Moved(line) => Some(Foretold {
            middle: Some(line.middle + shift),
            slopes: Arc::clone(&line.slopes),
            own: line.own,
        }),
    }
}

/// Sorts suspects into groups around the likeliest of each; sets their `group`.
pub(crate) fn of(unit: &Unit<'_>, weighed: &Weighed, suspects: &mut [Suspect]) -> Vec<Vec<usize>> {
    let healthy: Vec<Option<Foretold>> = unit
        .taken
        .iter()
        .map(|t| unit.predictions.healthy(t.place).map(unchanged))
        .collect();
    let of_each: Vec<Option<Vec<Option<Foretold>>>> = suspects
        .iter()
        .map(|s| {
            let unseen = weighed.unseen[s.change][s.variant];
            let told = !unseen && s.probability > NEGLIGIBLE;
            told.then(|| of_suspect(unit, weighed, s, &healthy))
        })
        .collect();
    let alone = |k: usize| {
        let s = &suspects[k];
        s.probability <= NEGLIGIBLE && !weighed.unseen[s.change][s.variant]
    };
    let mut groups: Vec<Vec<usize>> = Vec::new();
    let mut placed = vec![false; suspects.len()];
    for leader in 0..suspects.len() {
        if placed[leader] {
            continue;
        }
        let members: Vec<usize> = (leader..suspects.len())
            .filter(|k| !placed[*k])
            .filter(|&k| {
                k == leader
                    || (!alone(leader)
                        && !alone(k)
                        && alike(&of_each[leader], &of_each[k], &healthy))
            })
            .collect();
        members.iter().for_each(|k| placed[*k] = true);
        groups.push(members);
    }
    let total = |g: &Vec<usize>| g.iter().map(|k| suspects[*k].probability).sum::<f64>();
    groups.sort_by(|a, b| total(b).total_cmp(&total(a)));
    for (index, group) in groups.iter().enumerate() {
        group.iter().for_each(|k| suspects[*k].group = index);
    }
    groups
}

fn unchanged(place: &Healthy) -> Foretold {
    if let Some(line) = &place.line {
        return Foretold {
            middle: (line.middle < line.border).then_some(line.middle),
            slopes: Arc::clone(&line.slopes),
            own: line.own,
        };
    }
    let at = |score: f64| match place.marginal.value(score) {
        Shown::Number(x) => Some(place.scale.at(x).0),
        Shown::OverRange => None,
    };
    let middle = at(0.0);
    // One standard deviation on the scale, from where the score is one either way.
    let sd = match (at(-1.0), middle, at(1.0)) {
        (Some(a), _, Some(b)) => 0.5 * (b - a),
        (Some(a), Some(m), None) => m - a,
        _ => 0.0,
    };
    let told: f64 = place.slopes.iter().map(|s| s.1 * s.1).sum();
    Foretold {
        middle,
        slopes: place.slopes.iter().map(|(v, s)| (*v, s * sd)).collect(),
        own: (1.0 - told).max(1e-6) * sd * sd,
    }
}

/// What a suspect predicts, its magnitude as fitted.
fn of_suspect(
    unit: &Unit<'_>,
    weighed: &Weighed,
    suspect: &Suspect,
    healthy: &[Option<Foretold>],
) -> Vec<Option<Foretold>> {
    let p = unit.predictions;
    let at = (suspect.change, suspect.variant);
    let half_steps = if p.changes()[at.0].magnitudes.is_empty() {
        0.0
    } else {
        let rows = rows::rows(p, &unit.taken, Some(at));
        crate::fit::fit(rows, &weighed.ln_wrong)
            .within()
            .clamp(-2.0, 2.0)
    };
    unit.taken
        .iter()
        .zip(healthy)
        .map(|(t, healthy)| {
            let place = p.healthy(t.place)?;
            match p.effect(at.0, at.1, t.place) {
                Effect::Unmoved => healthy.clone(),
                effect => {
                    let within = rows::within(p, at.0, at.1, t.place);
                    foretold(place, effect, within * half_steps)
                }
            }
        })
        .collect()
}

/// Whether two suspects are closer than [`APART`]; a suspect that no reading sees predicts a
/// healthy unit.
fn alike(
    a: &Option<Vec<Option<Foretold>>>,
    b: &Option<Vec<Option<Foretold>>>,
    healthy: &[Option<Foretold>],
) -> bool {
    let (a, b) = match (a, b) {
        (None, None) => return true,
        (a, b) => (
            a.as_deref().unwrap_or(healthy),
            b.as_deref().unwrap_or(healthy),
        ),
    };
    let mut list: Vec<(f64, &Foretold, &Foretold)> = Vec::new();
    for (a, b) in a.iter().zip(b) {
        let (Some(a), Some(b)) = (a, b) else { continue };
        match (a.middle, b.middle) {
            (Some(x), Some(y)) => {
                let variance = 0.5 * (variance(a) + variance(b));
                if (x - y).powi(2) > APART * APART * variance {
                    return false;
                }
                list.push((x - y, a, b));
            }
            (None, None) => {}
            _ => return false,
        }
    }
    // Readings on which they do not differ still tell what the others share.
    if list.iter().all(|l| l.0.abs() < 1e-12) {
        return true;
    }
    let n = list.len();
    let mut matrix = vec![0.0; n * n];
    for i in 0..n {
        for j in 0..=i {
            let first = shared(&list[i].1.slopes, &list[j].1.slopes);
            let second = shared(&list[i].2.slopes, &list[j].2.slopes);
            matrix[i * n + j] = 0.5 * (first + second);
        }
        matrix[i * n + i] += 0.5 * (list[i].1.own + list[i].2.own) + 1e-12;
    }
    let difference: Vec<f64> = list.iter().map(|l| l.0).collect();
    Factor::new(matrix, n).is_none_or(|factor| {
        let whitened = factor.whiten(&difference);
        whitened.iter().map(|w| w * w).sum::<f64>() <= APART * APART
    })
}

fn variance(f: &Foretold) -> f64 {
    shared(&f.slopes, &f.slopes) + f.own
}
