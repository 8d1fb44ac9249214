//! Predictions turned to a unit, and what was worked out before one more reading carried on.

use std::collections::HashMap;
use std::sync::{Arc, OnceLock};

use diagnose::{Change, Effect, Line, Slopes};
use rayon::prelude::*;
use record::ReadingKind;
use sheet::Sheet;

use super::about::{About, along};
use super::cells::Cells;
use super::column::Column;
use super::{Condition, Place, Predictor};

/// A column serves for units up to this far from the one it is about, in standard deviations of any variable; chosen because the close look follows them that far by itself.
const NEAR: f64 = 0.6;

impl Predictor {
    /// The unit that places were turned to last, if any were.
    pub fn turned_to(&self) -> Option<&Slopes> {
        self.unit.as_ref()
    }

    /// Whether the predictions of a place are about a unit near this one.
    pub fn serves(&self, place: usize, unit: &[(u32, f64)]) -> bool {
        let column = &self.columns[place];
        column.middle.is_some() && column.off(unit) <= NEAR
    }

    /// The same predictions for another unit: it shares what all units share, and no close look.
    pub fn of_another(&self) -> Self {
        Self {
            looks: Arc::default(),
            ..self.clone()
        }
    }

    /// The same predictions, each place's about the unit whose variables stand at `unit` unless they are about one near it;
    /// what deeds do there is not known yet.
    pub fn turned(&self, unit: &Slopes) -> Self {
        let about = Arc::new(self.middle.turned(unit));
        let mut found = self.clone();
        found.unit = Some(unit.clone());
        for place in 0..self.places.len() {
            if !self.serves(place, unit) {
                found.columns[place] = Arc::new(self.columns[place].turned(Arc::clone(&about)));
                found.proposed[place] = Arc::default();
            }
        }
        found
    }

    /// The same, where at `places` all deeds that `before` knew, but for those of `variants`, are taken to move the healthy
    /// reading as far as they did there, but for a share `errs` of it.
    pub fn carried(
        &self,
        before: &Self,
        places: &[usize],
        variants: &[(usize, usize)],
        errs: f64,
    ) -> Self {
        let fixed = self.deeds.fixed;
        let mut anew = vec![false; self.deeds.done.len()];
        variants
            .iter()
            .for_each(|at| anew[self.deeds.of(*at)] = true);
        let has_moved = |p: &&usize| !Arc::ptr_eq(&before.columns[**p], &self.columns[**p]);
        let carried: Vec<(usize, Column, Option<Cells>)> = places
            .par_iter()
            .filter(has_moved)
            .filter_map(|&place| {
                self.base_of(place)?;
                let carry = Carry::new(&before.columns[place], &self.columns[place], errs)?;
                let column = self.columns[place]
                    .with(carry.cells(&before.columns[place].fixed, &anew[..fixed]));
                let proposed = carry.cells(&before.proposed[place], &anew[fixed..]);
                Some((place, column, proposed))
            })
            .collect();
        let mut found = self.clone();
        for (place, column, proposed) in carried {
            found.columns[place] = Arc::new(column);
            found.proposed[place] = Arc::new(proposed.map_or_else(OnceLock::new, OnceLock::from));
        }
        found
    }

    /// Predictions of other places of the same unit, with all that was worked out already. `None` if the drawing or
    /// what may always be wrong is not the same.
    pub fn after(
        earlier: &Self,
        sheet: &Sheet,
        conditions: &[Condition],
        places: &[Place],
        always: &[Change],
    ) -> Option<Self> {
        if earlier.sheet() != sheet || earlier.deeds.always() != always {
            return None;
        }
        let same = earlier.setting.conditions == conditions;
        let (setting, middle) = if same {
            (Arc::clone(&earlier.setting), Arc::clone(&earlier.middle))
        } else {
            let setting = Arc::new(earlier.setting.with(conditions.to_vec()));
            let middle = Arc::new(About::middle(Arc::clone(&setting)));
            (setting, middle)
        };
        let deeds = Arc::clone(&earlier.deeds);
        let mut found = Self::fresh(setting, middle, places.to_vec(), deeds);
        let pairs = conditions.iter().zip(&earlier.setting.conditions);
        let shared = pairs.take_while(|(a, b)| a == b).count();
        let mut known: HashMap<_, Vec<usize>> = HashMap::new();
        for (k, place) in earlier.places.iter().enumerate() {
            known.entry(named(place)).or_default().push(k);
        }
        for (place, at) in places.iter().enumerate() {
            let before = known.get(&named(at)).into_iter().flatten();
            let before = before.copied().find(|k| earlier.places[*k] == *at);
            if let Some(before) = before.filter(|_| at.condition < shared) {
                found.columns[place] = Arc::clone(&earlier.columns[before]);
                found.proposed[place] = Arc::clone(&earlier.proposed[before]);
            }
        }
        found.unit.clone_from(&earlier.unit);
        found.looks = Arc::clone(&earlier.looks);
        found.looks.lock().unwrap_or_else(|e| e.into_inner()).age();
        Some(found)
    }

    /// Says what else may be wrong, because of what was read.
    pub fn propose(&mut self, changes: Vec<Change>) {
        if self.deeds.proposed() != changes {
            self.deeds = Arc::new(self.deeds.with(changes, self.sheet()));
            self.proposed = self.places.iter().map(|_| Arc::default()).collect();
        }
    }
}

/// From a place about one unit to the same about another.
struct Carry<'a> {
    /// The healthy lines, and what they say of their units; none over range.
    lines: Option<[(&'a Line, f64); 2]>,
    units: [&'a Slopes; 2],
    /// The share of what a deed moves by which that may be off.
    errs: f64,
}

impl<'a> Carry<'a> {
    /// `None` if one is not known, or if a healthy unit is over range in one alone.
    fn new(from: &'a Column, to: &'a Column, errs: f64) -> Option<Self> {
        let line = |c: &'a Column| {
            let healthy = &c.healthy.get()?.as_ref()?.0;
            Some(
                healthy
                    .line
                    .as_ref()
                    .map(|l| (l, l.middle + along(&l.slopes, &c.about.unit))),
            )
        };
        let lines = match (line(from)?, line(to)?) {
            (Some(a), Some(b)) => Some([a, b]),
            (None, None) => None,
            _ => return None,
        };
        Some(Self {
            lines,
            errs,
            units: [&from.about.unit, &to.about.unit],
        })
    }

    /// All that is known, but for what is to be found anew; `None` if nothing is.
    fn cells(&self, known: &OnceLock<Cells>, anew: &[bool]) -> Option<Cells> {
        let known = known.get()?;
        let all = Cells::new(known.len());
        for deed in (0..known.len()).filter(|d| !anew[*d]) {
            if let Some(effect) = known.get(deed).and_then(|e| self.effect(e)) {
                all.set(deed, effect);
            }
        }
        Some(all)
    }

    fn effect(&self, effect: &Effect) -> Option<Effect> {
        let line = match effect {
            Effect::Unmoved | Effect::OverRange => return Some(effect.clone()),
            Effect::Unknown => return None,
            Effect::Moved(line) => line,
        };
        let Some([(old, old_at), (new, new_at)]) = self.lines else {
            return Some(effect.clone());
        };
        let by = line.middle + along(&line.slopes, self.units[0]) - old_at;
        let slopes = match Arc::ptr_eq(&line.slopes, &old.slopes) {
            true => &new.slopes,
            false => &line.slopes,
        };
        let moved = Line {
            middle: new_at + by - along(slopes, self.units[1]),
            slopes: Arc::clone(slopes),
            own: line.own + (self.errs * by).powi(2),
            border: line.border,
        };
        Some(Effect::Moved(moved))
    }
}

fn named(place: &Place) -> (ReadingKind, &str, &str) {
    (place.kind, &place.red.written, &place.black.written)
}
