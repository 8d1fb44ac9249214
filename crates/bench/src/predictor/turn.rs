//! Predictions turned to a unit, and what was worked out before one more reading carried on.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use diagnose::{Change, Slopes};
use record::ReadingKind;
use sheet::Sheet;

use super::about::About;
use super::column::{Column, cells};
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

    /// The same predictions, each place's about the unit whose variables stand at `unit` unless they are about one near it. Where, at
    /// `places`, only some variants are `likely`, the others keep
    /// the lines they have there.
    pub fn turned(
        &self,
        unit: &Slopes,
        places: &[usize],
        likely: Option<&[(usize, usize)]>,
    ) -> Self {
        let about = Arc::new(self.middle.turned(unit));
        let likely: Option<HashSet<usize>> =
            likely.map(|l| l.iter().map(|at| self.deeds.of(*at)).collect());
        let mut found = self.clone();
        found.unit = Some(unit.clone());
        for place in 0..self.places.len() {
            if self.serves(place, unit) {
                continue;
            }
            let column = &self.columns[place];
            let new = column.turned(Arc::clone(&about));
            found.proposed[place] = Arc::default();
            if let Some(likely) = likely.as_ref().filter(|_| places.contains(&place)) {
                self.carry_unlikely(column, &new, likely);
            }
            found.columns[place] = Arc::new(new);
        }
        found
    }

    /// Hands what is known of unlikely deeds on.
    fn carry_unlikely(&self, from: &Column, to: &Column, likely: &HashSet<usize>) {
        let Some(known) = from.fixed.get() else {
            return;
        };
        let all = cells(known.len());
        for (deed, (old, new)) in known.iter().zip(&all).enumerate() {
            if let Some(effect) = old.get().filter(|_| !likely.contains(&deed)) {
                let _ = new.set(Arc::clone(effect));
            }
        }
        let _ = to.fixed.set(all);
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

fn named(place: &Place) -> (ReadingKind, &str, &str) {
    (place.kind, &place.red.written, &place.black.written)
}
