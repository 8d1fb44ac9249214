//! Many effects at once: what is proven unmoved costs next to nothing, and what moves is laid out once for all places.

use diagnose::{Effect, Healthy, Moved, Slopes};
use predict::ChangedBoard;
use predict::faults::FaultBoard;
use rayon::prelude::*;

use super::centre::spread;
use super::{Done, Predictor};
use crate::Stop;

/// A reading that moves by less than this many standard deviations, or this share of itself, follows
/// the variables as the healthy one does.
const SLIGHT: f64 = 0.5;
const SLIGHT_SHARE: f64 = 0.03;

impl Predictor {
    /// Computes all that readings at these places need, on all cores.
    ///
    /// `stop` is asked now and then; what was not computed then is computed when asked for.
    pub fn prepare(&self, wanted: &[usize], stop: Stop<'_>) {
        let all: Vec<usize> = (0..self.deeds.len()).collect();
        self.prepare_deeds(wanted, &all, stop);
    }

    /// The same for some variants of changes only.
    pub fn prepare_some(&self, wanted: &[usize], variants: &[(usize, usize)], stop: Stop<'_>) {
        let mut deeds: Vec<usize> = variants.iter().map(|(c, v)| self.cells[*c][*v]).collect();
        deeds.sort_unstable();
        deeds.dedup();
        self.prepare_deeds(wanted, &deeds, stop);
    }

    fn prepare_deeds(&self, wanted: &[usize], deeds: &[usize], stop: Stop<'_>) {
        wanted.par_iter().for_each(|&place| {
            if !stop() {
                self.base_of(place);
            }
        });
        for condition in 0..self.bases.len() {
            let here: Vec<usize> = wanted
                .iter()
                .copied()
                .filter(|p| self.places[*p].condition == condition)
                .collect();
            if !here.is_empty() {
                self.prepare_condition(condition, &here, deeds, stop);
            }
        }
    }

    fn prepare_condition(
        &self,
        condition: usize,
        wanted: &[usize],
        deeds: &[usize],
        stop: Stop<'_>,
    ) {
        let Some((board, _)) = &self.bases[condition].board else {
            return;
        };
        let faults: Vec<usize> = deeds
            .iter()
            .copied()
            .filter(|d| matches!(self.deeds[*d], Done::Fault(_)))
            .collect();
        let edits: Vec<_> = faults
            .iter()
            .map(|d| self.edits(&board.network, &[&self.deeds[*d]]))
            .collect();
        let population = &board.network.population;
        let values = population.values(&vec![0.0; population.variables]);
        let faulty = FaultBoard::with_edits(board, &values, edits.iter().cloned());
        let moved: Vec<(usize, Vec<usize>)> = wanted
            .par_iter()
            .map(|&place| {
                let list = if stop() {
                    Vec::new()
                } else {
                    self.screen(&faulty, place, &faults)
                };
                (place, list)
            })
            .collect();
        let mut places_of: Vec<Vec<usize>> = vec![Vec::new(); faults.len()];
        for (place, list) in moved {
            list.into_iter().for_each(|k| places_of[k].push(place));
        }
        places_of
            .par_iter()
            .zip(&faults)
            .zip(&edits)
            .filter(|((places, _), _)| !places.is_empty())
            .for_each(|((places, deed), edits)| {
                if stop() {
                    return;
                }
                let changed = ChangedBoard::new(board, edits);
                for &place in places {
                    let effect = match (&changed, self.nodes(&self.places[place], &board.network)) {
                        (Ok(changed), Some(leads)) => self.effect_at(place, changed, leads),
                        _ => Effect::Unknown,
                    };
                    let _ = self.effects[place][*deed].set(effect);
                }
            });
    }

    /// Settles what does not move the place; returns the faults that do, as indices.
    fn screen(&self, faulty: &FaultBoard<'_>, place: usize, faults: &[usize]) -> Vec<usize> {
        let unknown = |k: &usize| self.effects[place][faults[*k]].get().is_none();
        let mut asked: Vec<usize> = (0..faults.len()).filter(unknown).collect();
        asked.sort_by_key(|k| self.bounds[faults[*k]].len());
        let at = &self.places[place];
        let base = self.base_of(place);
        let board = self.bases[at.condition].board.as_ref();
        let (Some((healthy, before)), Some((board, _))) = (base, board) else {
            return asked;
        };
        let Some((red, black)) = self.nodes(at, &board.network) else {
            return asked;
        };
        let Ok(mut engine) = predict::faults::FaultEngine::new(faulty, red, black, &at.question)
        else {
            return asked;
        };
        let sd = spread(before);
        asked
            .into_iter()
            .filter(|k| {
                let cells = &self.effects[place];
                let bounds = &self.bounds[faults[*k]];
                let still = |d: &usize| cells[*d].get() == Some(&Effect::Unmoved);
                if !bounds.is_empty() && bounds.iter().all(still) {
                    let _ = cells[faults[*k]].set(Effect::Unmoved);
                    return false;
                }
                let answer = engine.answer(&faulty.changes()[*k]);
                let known = match (before.reading, answer.map(|a| a.reading)) {
                    (None, Ok(None)) => Some(Effect::Unmoved),
                    (Some(_), Ok(None)) => Some(Effect::OverRange),
                    (Some(b), Ok(Some(a))) => match (a - b).abs() {
                        by if by < self.slight(place, before) => Some(Effect::Unmoved),
                        by if by < SLIGHT * sd || by < SLIGHT_SHARE * b.abs() => {
                            as_healthy(healthy, b).map(|(slopes, sd)| {
                                Effect::Moved(Moved {
                                    mean: a,
                                    slopes,
                                    sd,
                                    border: before.border,
                                })
                            })
                        }
                        _ => None,
                    },
                    _ => None,
                };
                match known {
                    Some(effect) => {
                        let _ = self.effects[place][faults[*k]].set(effect);
                        false
                    }
                    None => true,
                }
            })
            .collect()
    }
}

/// Slopes and own spread of a healthy reading, in its unit.
fn as_healthy(healthy: &Healthy, reading: f64) -> Option<(Slopes, f64)> {
    let (_, slope) = healthy.marginal.score(reading)?;
    let told: f64 = healthy.slopes.iter().map(|s| s.1 * s.1).sum();
    let slopes = healthy
        .slopes
        .iter()
        .map(|(v, s)| (*v, s / slope))
        .collect();
    Some((slopes, (1.0 - told).max(0.0).sqrt() / slope))
}
