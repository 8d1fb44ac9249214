//! Readings of one particular unit: the one to which what was read points. Lines through it are kept for units near it.

use std::collections::HashMap;
use std::sync::Arc;

use circuit::Node;
use diagnose::{Effect, Near, Slopes};
use predict::ChangedBoard;
use rayon::prelude::*;
use record::ReadingKind;

use super::about::at as value;
use super::centre::{NEARLY, centre, solved};
use super::column::off;
use super::{Condition, Done, Place, Predictor};

/// A line serves for units up to this far from the one it was solved in, in standard deviations of the variables that it
/// follows; chosen because a reading then moves by less than its own error.
const SAME: f64 = 0.1;
/// The same over range, where nothing says what it would follow.
const SAME_BEYOND: f64 = 0.5;

/// A place by what is read there, whatever its number is.
type Name = (ReadingKind, String, String, Condition);

/// A line through one unit.
struct Known {
    place: Place,
    unit: Arc<Slopes>,
    effect: Arc<Effect>,
}

/// Lines of one hypothesis.
#[derive(Default)]
struct Look {
    /// The unit that was asked for last.
    unit: Slopes,
    lines: HashMap<Name, Known>,
    used: u64,
}

/// Close looks at hypotheses, by what they do.
#[derive(Default)]
pub(super) struct Looks {
    by_words: HashMap<Vec<String>, Look>,
    age: u64,
}

impl Looks {
    /// Another reading came: what was not asked for since the last one is forgotten.
    pub fn age(&mut self) {
        let age = self.age;
        self.by_words.retain(|_, look| look.used >= age);
        self.age += 1;
    }
}

impl Known {
    fn serves(&self, place: &Place, unit: &[(u32, f64)]) -> bool {
        let same = match &*self.effect {
            Effect::Moved(line) => off(&line.slopes, unit, &self.unit) <= SAME,
            _ => {
                let names = unit.iter().chain(self.unit.iter()).map(|v| v.0);
                let apart = |v: u32| (value(unit, v) - value(&self.unit, v)).abs();
                names.map(apart).fold(0.0, f64::max) <= SAME_BEYOND
            }
        };
        same && self.place.question == place.question
    }
}

impl Predictor {
    /// The unit in which a hypothesis was looked at last.
    pub(super) fn looked_at(&self, deeds: &[usize]) -> Option<Slopes> {
        let looks = self.looks.lock().unwrap_or_else(|e| e.into_inner());
        let look = looks.by_words.get(&self.words(deeds))?;
        Some(look.unit.clone())
    }

    fn words(&self, deeds: &[usize]) -> Vec<String> {
        deeds.iter().map(|d| self.deeds.words[*d].clone()).collect()
    }

    fn name(&self, place: &Place) -> Name {
        (
            place.kind,
            place.red.written.clone(),
            place.black.written.clone(),
            self.setting.conditions[place.condition].clone(),
        )
    }

    /// Lines of these places through the unit whose variables stand at `unit`, or one near it, with these deeds done.
    pub(super) fn look(&self, deeds: &[usize], unit: &[(u32, f64)], places: &[usize]) -> Near {
        let words = self.words(deeds);
        let mut look = {
            let mut looks = self.looks.lock().unwrap_or_else(|e| e.into_inner());
            looks.by_words.remove(&words).unwrap_or_default()
        };
        let asked: Vec<usize> = places
            .iter()
            .copied()
            .filter(|p| {
                let place = &self.places[*p];
                let line = look.lines.get(&self.name(place));
                line.is_none_or(|l| !l.serves(place, unit))
            })
            .collect();
        let done: Vec<&Done> = deeds.iter().map(|d| &self.deeds.done[*d]).collect();
        let shared = Arc::new(unit.to_vec());
        for (place, effect) in asked.iter().zip(self.read_all(&done, unit, &asked)) {
            let place = &self.places[*place];
            let line = Known {
                place: place.clone(),
                unit: Arc::clone(&shared),
                effect: Arc::new(effect),
            };
            look.lines.insert(self.name(place), line);
        }
        look.unit = unit.to_vec();
        let effects = places
            .iter()
            .map(|p| Arc::clone(&look.lines[&self.name(&self.places[*p])].effect))
            .collect();
        let mut looks = self.looks.lock().unwrap_or_else(|e| e.into_inner());
        look.used = looks.age;
        looks.by_words.insert(words, look);
        Near {
            effects,
            solved: !asked.is_empty(),
        }
    }

    /// What places read in that unit, as lines.
    fn read_all(&self, done: &[&Done], unit: &[(u32, f64)], places: &[usize]) -> Vec<Effect> {
        let wanted = |condition| {
            let here = |p: &usize| self.places[*p].condition == condition;
            places.iter().any(here)
        };
        let units: Vec<Option<ChangedBoard>> = (0..self.setting.conditions.len())
            .map(|condition| {
                let base = wanted(condition).then(|| self.middle.base(condition))?;
                let (board, _) = base.board.as_ref()?;
                let z = base.names.iter().map(|n| value(unit, *n)).collect();
                let edits = self.edits(&board.network, done);
                ChangedBoard::of_unit(board, &edits, z).ok()
            })
            .collect();
        places
            .par_iter()
            .map(|&place| self.read_near(done, &units, unit, place))
            .collect()
    }

    fn read_near(
        &self,
        done: &[&Done],
        units: &[Option<ChangedBoard>],
        at_unit: &[(u32, f64)],
        place: usize,
    ) -> Effect {
        let at = &self.places[place];
        let base = self.middle.base(at.condition);
        let (Some(unit), Some((board, _))) = (&units[at.condition], &base.board) else {
            return Effect::Unknown;
        };
        let Some(leads) = self.nodes(at, &board.network) else {
            return Effect::Unknown;
        };
        let leads = done.iter().fold(leads, |leads, one| exchanged(one, leads));
        let before = self.base_of(place);
        let near = before.map(|(_, before)| &before.shown);
        let Some(found) = centre(unit, &at.question, leads, &base.names, near) else {
            return Effect::Unknown;
        };
        match solved(&found, NEARLY) {
            None => Effect::OverRange,
            Some(solved) => Effect::Moved(solved.line(self.scale(place), at_unit)),
        }
    }
}

/// Where the leads are if nets are exchanged.
fn exchanged(done: &Done, leads: (Node, Node)) -> (Node, Node) {
    let Done::Exchange(a, b) = done else {
        return leads;
    };
    let there = |n: Node| match n {
        n if n == *a => *b,
        n if n == *b => *a,
        n => n,
    };
    (there(leads.0), there(leads.1))
}
