//! Many effects at once: what is proven unmoved costs next to nothing, and what moves is laid out once for all places.

use std::sync::Arc;

use diagnose::{Effect, Healthy, Line};
use predict::ChangedBoard;
use predict::faults::FaultBoard;
use rayon::prelude::*;

use super::about::along;
use super::centre::{Centre, NEARLY, bend};
use super::{Done, Predictor};
use crate::focus::Watched;

impl Predictor {
    /// Computes all that readings at these places need, on all cores.
    ///
    /// What was not computed when it was stopped is computed when asked for.
    pub fn prepare(&self, wanted: &[usize], watched: &Watched<'_>) {
        let all: Vec<usize> = (0..self.deeds.done.len()).collect();
        self.prepare_deeds(wanted, &all, watched);
    }

    /// The same for some variants of changes only.
    pub fn prepare_some(&self, wanted: &[usize], variants: &[(usize, usize)]) {
        let mut deeds: Vec<usize> = variants.iter().map(|at| self.deeds.of(*at)).collect();
        deeds.sort_unstable();
        deeds.dedup();
        let quiet = Watched::new(0, &|_, _| {}, &|| false);
        self.prepare_deeds(wanted, &deeds, &quiet);
    }

    fn prepare_deeds(&self, wanted: &[usize], deeds: &[usize], watched: &Watched<'_>) {
        wanted.par_iter().for_each(|&place| {
            if !(watched.stop)() {
                self.base_of(place);
            }
        });
        // Places about one unit in one condition share the work.
        let mut groups: Vec<Vec<usize>> = Vec::new();
        for &place in wanted {
            let alike =
                |group: &&mut Vec<usize>| std::ptr::eq(self.about(group[0]), self.about(place));
            match groups.iter_mut().find(alike) {
                Some(group) => group.push(place),
                None => groups.push(vec![place]),
            }
        }
        for group in groups {
            self.prepare_group(&group, deeds, watched);
        }
    }

    fn prepare_group(&self, wanted: &[usize], deeds: &[usize], watched: &Watched<'_>) {
        let stop = watched.stop;
        let about = self.about(wanted[0]);
        let Some((board, _)) = &about.board else {
            return;
        };
        let missing = |d: &usize| wanted.iter().any(|p| self.known(*p, *d).is_none());
        let faults: Vec<usize> = deeds
            .iter()
            .copied()
            .filter(|d| matches!(self.deeds.done[*d], Done::Fault(_)) && missing(d))
            .collect();
        if faults.is_empty() {
            return;
        }
        let edits: Vec<_> = faults
            .iter()
            .map(|d| self.edits(&board.network, &[&self.deeds.done[*d]]))
            .collect();
        let z = &about.z;
        let values = board.network.population.values(z);
        let faulty = FaultBoard::with_edits(board, &values, edits.iter().cloned());
        let moved: Vec<(usize, Vec<usize>)> = wanted
            .par_iter()
            .map(|&place| {
                let list = if stop() {
                    Vec::new()
                } else {
                    self.screen(&faulty, place, &faults)
                };
                watched.one();
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
                let changed = ChangedBoard::of_unit(board, edits, z.clone());
                for &place in places {
                    let effect = match (&changed, self.nodes(&self.places[place], &board.network)) {
                        (Ok(changed), Some(leads)) => self.effect_at(place, changed, leads),
                        _ => Effect::Unknown,
                    };
                    self.learn(place, *deed, effect);
                }
            });
    }

    /// A reading that a fault moves to `mean`, and that follows the variables as the healthy one does.
    fn as_healthy(
        &self,
        place: usize,
        healthy: &Healthy,
        before: &Centre,
        mean: f64,
    ) -> Option<Effect> {
        let scale = self.scale(place);
        let bend = bend(scale, before.reading, mean);
        // Resistance follows by ratio, so on its scale all follow alike.
        let (slopes, own) = match &healthy.line {
            Some(line) => (Arc::clone(&line.slopes), line.own - NEARLY * NEARLY),
            None => {
                let reading = before.reading?;
                let (_, by_reading) = healthy.marginal.score(reading)?;
                let slope = scale.at(reading).1 / by_reading;
                let told: f64 = healthy.slopes.iter().map(|s| s.1 * s.1).sum();
                let slopes = healthy.slopes.iter().map(|(v, s)| (*v, s * slope));
                (slopes.collect(), (1.0 - told).max(0.0) * slope * slope)
            }
        };
        Some(Effect::Moved(Line {
            middle: scale.at(mean).0 - along(&slopes, &self.columns[place].about.unit),
            slopes,
            own: own + bend * bend,
            border: scale.border(before.border),
        }))
    }

    /// Settles what does not move the place; returns the faults that do, as indices.
    fn screen(&self, faulty: &FaultBoard<'_>, place: usize, faults: &[usize]) -> Vec<usize> {
        let unknown = |k: &usize| self.known(place, faults[*k]).is_none();
        let mut asked: Vec<usize> = (0..faults.len()).filter(unknown).collect();
        asked.sort_by_key(|k| self.deeds.bounds[faults[*k]].len());
        let at = &self.places[place];
        let base = self.base_of(place);
        let board = self.about(place).board.as_ref();
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
        // A difference that is none may as well be left out.
        let setup = at.question.setups[before.shown.range];
        engine.allow(self.slight(place, before) / setup.slope(before.shown.volts).abs());
        let skipped = self.between(faults);
        let mut read: Vec<Option<Option<f64>>> = vec![None; faults.len()];
        let mut left = Vec::new();
        for k in asked.iter().copied().filter(|k| skipped[*k].is_none()) {
            let bounds = &self.deeds.bounds[faults[k]];
            let still = |d: &usize| self.known(place, *d) == Some(&Effect::Unmoved);
            if !bounds.is_empty() && bounds.iter().all(still) {
                read[k] = Some(before.reading);
                self.learn(place, faults[k], Effect::Unmoved);
                continue;
            }
            if let Ok(answer) = engine.answer(&faulty.changes()[k]) {
                read[k] = Some(answer.reading);
            }
            if !self.settle(place, faults[k], (healthy, before), read[k]) {
                left.push(k);
            }
        }
        let scale = self.scale(place);
        for k in asked {
            let Some(among) = &skipped[k] else { continue };
            let mut at = among.map(|k| read[k?]?.map(|r| scale.at(r).0));
            if at[1].is_none() || at[2].is_none() {
                read[k] = engine.answer(&faulty.changes()[k]).ok().map(|a| a.reading);
            } else {
                // Without an outer point its side is taken to be straight.
                let (inner, next) = (at[1].unwrap_or_default(), at[2].unwrap_or_default());
                let (before, after) = (
                    at[0].get_or_insert(2.0 * inner - next).to_owned(),
                    at[3].get_or_insert(2.0 * next - inner).to_owned(),
                );
                let x = (9.0 * (inner + next) - before - after) / 16.0;
                read[k] = Some(Some(scale.reading(x)));
            }
            if !self.settle(place, faults[k], (healthy, before), read[k]) {
                left.push(k);
            }
        }
        left
    }

    /// Of each fault whose reading is taken to lie between those of like faults with other magnitudes:
    /// the two before and the two after, by their place in `faults`.
    fn between(&self, faults: &[usize]) -> Vec<Option<[Option<usize>; 4]>> {
        let mut of_deed = vec![None; self.deeds.done.len()];
        for (k, deed) in faults.iter().enumerate() {
            of_deed[*deed] = Some(k);
        }
        let mut found = vec![None; faults.len()];
        let mut asked = vec![false; faults.len()];
        for (change, deeds) in self.deeds.by_change() {
            let list: Option<Vec<usize>> = deeds.iter().map(|d| of_deed[*d]).collect();
            let Some(list) = list.filter(|l| change.magnitudes.len() > 3 && l.len() > 3) else {
                continue;
            };
            for (i, k) in list.iter().enumerate() {
                let inner = i % 2 == 1 && i + 1 < list.len();
                if !inner || asked[*k] {
                    asked[*k] = true;
                    found[*k] = None;
                    continue;
                }
                let at = |i: Option<usize>| i.and_then(|i| list.get(i)).copied();
                found[*k] = Some([
                    at(i.checked_sub(3)),
                    at(Some(i - 1)),
                    at(Some(i + 1)),
                    at(Some(i + 3).filter(|i| i % 2 == 0)),
                ]);
            }
        }
        found
    }

    /// Sets an effect from what the place reads under a fault; false if that has to be solved whole.
    fn settle(
        &self,
        place: usize,
        deed: usize,
        (healthy, before): (&Healthy, &Centre),
        read: Option<Option<f64>>,
    ) -> bool {
        let known = match (before.reading, read) {
            (None, Some(None)) => Some(Effect::Unmoved),
            (Some(_), Some(None)) => Some(Effect::OverRange),
            (Some(b), Some(Some(a))) if (a - b).abs() < self.slight(place, before) => {
                Some(Effect::Unmoved)
            }
            (Some(_), Some(Some(a))) => self.as_healthy(place, healthy, before, a),
            _ => None,
        };
        let settled = known.is_some();
        if let Some(effect) = known {
            self.learn(place, deed, effect);
        }
        settled
    }
}
