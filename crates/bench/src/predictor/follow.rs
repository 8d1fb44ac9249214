//! How closely a reading follows its slopes: near a knee or a change of range a straight line tells only a part.

use circuit::Node;
use diagnose::{Marginal, Slopes};
use predict::{Board, Question, random};

use super::centre::Centre;

/// Units drawn; chosen so that the part that is not followed is known to a sixth.
const UNITS: u64 = 48;
/// Fixes the units; all places see the same ones.
const SEED: u64 = 9;

/// Variables from this number on stand for the units drawn: what bends in two readings at once is
/// shared between them by how it bent in each unit.
const BENT: u32 = 1 << 24;
/// Share of what bends that is a reading's alone: with so few units drawn, some of what seems shared
/// is chance.
const ALONE: f64 = 0.25;

/// How a reading's normal score follows.
pub(super) struct Followed {
    /// Part of the variance that its slopes tell.
    pub told: f64,
    /// What bends with other readings, by units drawn.
    pub bent: Slopes,
    /// Variance that bends, in all.
    pub bends: f64,
}

/// How closely a reading's normal score follows its slopes; what they do not tell is the meter's
/// own error, and what bends.
///
/// `names` are the numbers of the board's variables.
pub(super) fn followed(
    board: &Board,
    question: &Question,
    leads: (Node, Node),
    (marginal, centre): (&Marginal, &Centre),
    names: &[u32],
) -> Followed {
    let alone = Followed {
        told: 0.0,
        bent: Vec::new(),
        bends: 0.0,
    };
    let total: f64 = centre.slopes.iter().map(|s| s.1 * s.1).sum::<f64>().sqrt();
    let Some(reading) = centre.reading.filter(|_| total > 0.0) else {
        return alone;
    };
    let meter = marginal.score(reading).map_or(0.0, |s| centre.sd * s.1);
    let mut probe = board.probe(leads.0, leads.1);
    let population = &board.network.population;
    let mut pairs: Vec<(u32, f64, f64)> = Vec::new();
    for unit in 0..UNITS as u32 {
        let z = random::normals(
            &mut random::stream(SEED, u64::from(unit)),
            population.variables,
        );
        let Ok(shown) = probe.read(question, &population.values(&z), &board.rest) else {
            continue;
        };
        let along: f64 = z
            .iter()
            .zip(names)
            .map(|(z, name)| {
                let at = centre.slopes.binary_search_by_key(name, |s| s.0);
                at.map_or(0.0, |i| z * centre.slopes[i].1 / total)
            })
            .sum();
        if let Some(score) = shown.reading.and_then(|r| marginal.score(r)) {
            pairs.push((unit, along, score.0));
        }
    }
    if pairs.len() < 8 {
        return alone;
    }
    let count = pairs.len() as f64;
    let mean = |f: fn(&(u32, f64, f64)) -> f64| pairs.iter().map(f).sum::<f64>() / count;
    let (x, y) = (mean(|p| p.1), mean(|p| p.2));
    let (mut xx, mut xy) = (0.0, 0.0);
    for p in &pairs {
        xx += (p.1 - x) * (p.1 - x);
        xy += (p.1 - x) * (p.2 - y);
    }
    let left = |p: &(u32, f64, f64)| p.2 - y - xy / xx * (p.1 - x);
    let degrees = count - 2.0;
    let bends = pairs.iter().map(|p| left(p) * left(p)).sum::<f64>() / degrees;
    let bends = bends.min(1.0);
    let size = ((1.0 - ALONE) / degrees).sqrt();
    let mut bent: Slopes = pairs.iter().map(|p| (BENT + p.0, size * left(p))).collect();
    let told = (1.0 - bends - meter * meter).max(0.0);
    // Nothing tells more than there is.
    let much: f64 = told + bent.iter().map(|b| b.1 * b.1).sum::<f64>();
    if much > 0.999 {
        bent.iter_mut().for_each(|b| b.1 *= (0.999 / much).sqrt());
    }
    Followed {
        told: told.min(0.999),
        bent,
        bends,
    }
}

/// A reading that follows its slopes, which tell so much of its variance.
pub(super) fn straight(told: f64) -> Followed {
    Followed {
        told,
        bent: Vec::new(),
        bends: 0.0,
    }
}
