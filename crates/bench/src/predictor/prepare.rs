//! Many effects at once: what is proven unmoved costs next to nothing, and what moves is laid out once for all places.

use diagnose::Effect;
use predict::ChangedBoard;
use predict::faults::FaultBoard;
use rayon::prelude::*;

use super::centre::spread;
use super::{Done, Predictor, UNMOVED};
use crate::Stop;

impl Predictor {
    /// Computes all that readings at these places need, on all cores.
    ///
    /// `stop` is asked now and then; what was not computed then is computed when asked for.
    pub fn prepare(&self, wanted: &[usize], stop: Stop<'_>) {
        let all: Vec<(usize, usize)> = self
            .done
            .iter()
            .enumerate()
            .flat_map(|(c, list)| (0..list.len()).map(move |v| (c, v)))
            .collect();
        self.prepare_some(wanted, &all, stop);
    }

    /// The same for some variants of changes only.
    pub fn prepare_some(&self, wanted: &[usize], variants: &[(usize, usize)], stop: Stop<'_>) {
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
                self.prepare_condition(condition, &here, variants, stop);
            }
        }
    }

    fn prepare_condition(
        &self,
        condition: usize,
        wanted: &[usize],
        variants: &[(usize, usize)],
        stop: Stop<'_>,
    ) {
        let Some((board, _)) = &self.bases[condition].board else {
            return;
        };
        let faults: Vec<(usize, usize)> = variants
            .iter()
            .copied()
            .filter(|(c, v)| matches!(self.done[*c][*v], Done::Fault(_)))
            .collect();
        let edits: Vec<_> = faults
            .iter()
            .map(|(c, v)| self.edits(&board.network, &[&self.done[*c][*v]]))
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
            .for_each(|((places, (c, v)), edits)| {
                if stop() {
                    return;
                }
                let changed = ChangedBoard::new(board, edits);
                for &place in places {
                    let effect = match (&changed, self.nodes(&self.places[place], &board.network)) {
                        (Ok(changed), Some(leads)) => self.effect_at(place, changed, leads),
                        _ => Effect::Unknown,
                    };
                    let _ = self.effects[place][self.starts[*c] + v].set(effect);
                }
            });
    }

    /// Settles what does not move the place; returns the faults that do, as indices.
    fn screen(
        &self,
        faulty: &FaultBoard<'_>,
        place: usize,
        faults: &[(usize, usize)],
    ) -> Vec<usize> {
        let unknown = |k: &usize| {
            let (c, v) = faults[*k];
            self.effects[place][self.starts[c] + v].get().is_none()
        };
        let asked: Vec<usize> = (0..faults.len()).filter(unknown).collect();
        let at = &self.places[place];
        let base = self.base_of(place);
        let board = self.bases[at.condition].board.as_ref();
        let (Some((_, before)), Some((board, _))) = (base, board) else {
            return asked;
        };
        let Some((red, black)) = self.nodes(at, &board.network) else {
            return asked;
        };
        let Ok(mut engine) = predict::faults::FaultEngine::new(faulty, red, black, &at.question)
        else {
            return asked;
        };
        let slight = UNMOVED * spread(before);
        asked
            .into_iter()
            .filter(|k| {
                let same = engine.answer(&faulty.changes()[*k]).is_ok_and(|answer| {
                    match (before.reading, answer.reading) {
                        (None, None) => true,
                        (Some(b), Some(a)) => (a - b).abs() < slight,
                        _ => false,
                    }
                });
                if same {
                    let (c, v) = faults[*k];
                    let _ = self.effects[place][self.starts[c] + v].set(Effect::Unmoved);
                }
                !same
            })
            .collect()
    }
}
