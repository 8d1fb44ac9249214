//! Predictions for the diagnosis: readings of one unit, healthy and under every change, from the circuit.

use std::sync::{Arc, Mutex, OnceLock};

mod about;
mod cells;
mod centre;
mod column;
mod deeds;
mod follow;
mod near;
mod prepare;
mod turn;

use circuit::{Edit, Network, Node};
use diagnose::{Change, Effect, Healthy, Marginal, Near, Predictions, Scale, Slopes, Solved};
use predict::{ChangedBoard, Question, healthy};
use record::{At, Lead, ReadingKind, State};
use sheet::{PartId, Sheet};

use crate::expect;
use crate::places;
use about::{About, Base, Setting};
use cells::Cells;
use centre::{Centre, NEARLY, bend, centre, first_order, marginal, solved, spread, wide};
use column::Column;
use deeds::{Deeds, Done};
use follow::{followed, straight};
use near::Looks;

/// The state of a board and what was done to it.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Condition {
    /// State.
    pub state: State,
    /// Lifted pins.
    pub lifted: Vec<(PartId, usize)>,
}

/// A place: what is read, with what, where.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// What is read.
    pub kind: ReadingKind,
    /// Index of the condition.
    pub condition: usize,
    /// The meter's question.
    pub question: Question,
    /// Red lead.
    pub red: Lead,
    /// Black lead.
    pub black: Lead,
    /// Whether its distribution is only wanted to first order: nothing was read there.
    pub rough: bool,
}

/// Predictions of one unit. Each place's are about a unit near the one that was read, or about the middle of all.
#[derive(Clone)]
pub struct Predictor {
    setting: Arc<Setting>,
    places: Vec<Place>,
    deeds: Arc<Deeds>,
    /// The middle of all units.
    middle: Arc<About>,
    /// The unit that places were turned to last.
    unit: Option<Slopes>,
    /// One a place.
    columns: Vec<Arc<Column>>,
    /// Of each place the effects of the deeds that depend on what was read.
    proposed: Vec<Arc<OnceLock<Cells>>>,
    /// Close looks, kept for the next reading.
    looks: Arc<Mutex<Looks>>,
}

/// A shift of less than this many standard deviations is none.
const UNMOVED: f64 = 0.02;
/// The same where healthy units spread far wider than their slopes tell.
const UNMOVED_WIDE: f64 = 0.2;

impl Predictor {
    /// Prepares the boards; predictions are made when they are first asked for. `always` is what may
    /// be wrong, whatever was read.
    pub fn new(
        sheet: Sheet,
        conditions: Vec<Condition>,
        places: Vec<Place>,
        always: Vec<Change>,
    ) -> Self {
        let deeds = Arc::new(Deeds::new(always, Vec::new(), &sheet));
        let setting = Arc::new(Setting::new(Arc::new(sheet), conditions));
        let middle = Arc::new(About::middle(Arc::clone(&setting)));
        Self::fresh(setting, middle, places, deeds)
    }

    fn fresh(
        setting: Arc<Setting>,
        middle: Arc<About>,
        places: Vec<Place>,
        deeds: Arc<Deeds>,
    ) -> Self {
        let column = |_: &Place| Column::of_middle(Arc::clone(&middle));
        Self {
            columns: places.iter().map(column).collect(),
            proposed: places.iter().map(|_| Arc::default()).collect(),
            setting,
            places,
            deeds,
            middle,
            unit: None,
            looks: Arc::default(),
        }
    }

    /// The sheet of this unit.
    pub fn sheet(&self) -> &Sheet {
        &self.setting.sheet
    }

    /// The board at a place, about the unit that its predictions are about.
    fn about(&self, place: usize) -> &Base {
        self.columns[place].about.base(self.places[place].condition)
    }

    /// The cells in which a deed at a place stands, and its number among them.
    fn cell(&self, place: usize, deed: usize) -> (&Cells, usize) {
        let fixed = self.deeds.fixed;
        match deed.checked_sub(fixed) {
            None => {
                let all = self.columns[place].fixed.get_or_init(|| Cells::new(fixed));
                (all, deed)
            }
            Some(more) => {
                let count = self.deeds.done.len() - fixed;
                let all = self.proposed[place].get_or_init(|| Cells::new(count));
                (all, more)
            }
        }
    }

    /// What is known of a deed at a place.
    fn known(&self, place: usize, deed: usize) -> Option<&Effect> {
        let (cells, at) = self.cell(place, deed);
        cells.get(at)
    }

    /// Says what a deed does at a place.
    fn learn(&self, place: usize, deed: usize, effect: Effect) {
        let (cells, at) = self.cell(place, deed);
        cells.set(at, effect);
    }

    fn base_of(&self, place: usize) -> Option<&(Healthy, Centre)> {
        self.healthy_in(place, &self.columns[place])
    }

    fn healthy_in<'a>(&self, place: usize, column: &'a Column) -> Option<&'a (Healthy, Centre)> {
        column
            .healthy
            .get_or_init(|| self.compute_healthy(place, column))
            .as_ref()
    }

    fn compute_healthy(&self, place: usize, column: &Column) -> Option<(Healthy, Centre)> {
        let at = &self.places[place];
        let base = column.about.base(at.condition);
        let (board, unchanged) = base.board.as_ref()?;
        let leads = self.nodes(at, &board.network)?;
        if let Some(middle) = &column.middle {
            let (healthy, before) = self.healthy_in(place, middle)?;
            let near = Some(&before.shown);
            let here = centre(unchanged, &at.question, leads, &base.names, near)?;
            let mut healthy = healthy.clone();
            let solved = solved(&here, NEARLY);
            healthy.line = solved.map(|s| s.line(healthy.scale, &column.about.unit));
            return Some((healthy, here));
        }
        let mut centre = centre(unchanged, &at.question, leads, &base.names, None)?;
        let scale = self.scale(place);
        let total = spread(&centre);
        let parts: f64 = centre.slopes.iter().map(|s| s.1 * s.1).sum();
        let (nominal, marginal, followed) = if at.rough {
            let told = parts / (total * total);
            (centre.reading, first_order(&centre, total), straight(told))
        } else {
            let mut probe = board.probe(leads.0, leads.1);
            let found = healthy(&mut probe, &at.question, expect::SEED).ok()?;
            let marginal = marginal(&found.distribution, scale);
            let of = (&marginal, &centre);
            let followed = followed(board, &at.question, leads, of, &base.names);
            (found.nominal.reading, marginal, followed)
        };
        let reversed = (!at.rough)
            .then(|| {
                exchanged(
                    unchanged,
                    &at.question,
                    leads,
                    (scale, &centre),
                    &base.names,
                )
            })
            .flatten();
        // The slopes point as they do, and tell as much as they were seen to.
        let size = (followed.told / parts.max(f64::MIN_POSITIVE)).sqrt();
        centre.bends = followed.bends / followed.told.max(0.01);
        centre.wide = wide(&marginal, scale, centre.reading, total);
        let straight = centre.slopes.iter().map(|(v, s)| (*v, s * size));
        let healthy = Healthy {
            scale,
            nominal: nominal.map_or(record::Shown::OverRange, record::Shown::Number),
            marginal,
            slopes: straight.chain(followed.bent).collect(),
            reversed,
            line: None,
        };
        Some((healthy, centre))
    }

    fn nodes(&self, at: &Place, network: &Network) -> Option<(Node, Node)> {
        // Parts that a unit lacks move all that follow them, so places are found again by name.
        let find = |lead: &Lead| {
            let here = record::resolve(&lead.written, self.sheet()).ok()?;
            Some(places::node(&here, self.sheet(), network))
        };
        Some((find(&at.red)?, find(&at.black)?))
    }

    fn compute_effect(&self, place: usize, done: &[&Done]) -> Effect {
        let at = &self.places[place];
        let base = self.about(place);
        let Some((board, unchanged)) = &base.board else {
            return Effect::Unknown;
        };
        let Some(leads) = self.nodes(at, &board.network) else {
            return Effect::Unknown;
        };
        if let [Done::Exchange(a, b)] = done {
            let exchange = |n: Node| match n {
                n if n == *a => *b,
                n if n == *b => *a,
                n => n,
            };
            let there = (exchange(leads.0), exchange(leads.1));
            if there == leads {
                return Effect::Unmoved;
            }
            return self.effect_at(place, unchanged, there);
        }
        let edits = self.edits(&board.network, done);
        if edits.is_empty() {
            return Effect::Unmoved;
        }
        match ChangedBoard::of_unit(board, &edits, base.z.clone()) {
            Ok(changed) => self.effect_at(place, &changed, leads),
            Err(_) => Effect::Unknown,
        }
    }

    /// What faults do to a network, one after another.
    fn edits(&self, network: &Network, done: &[&Done]) -> Vec<Edit> {
        let mut edits = Vec::new();
        let mut so_far: Option<Network> = None;
        for one in done {
            if let Done::Fault(fault) = one {
                let more = fault.edits(self.sheet(), so_far.as_ref().unwrap_or(network));
                if done.len() > 1 {
                    so_far.get_or_insert_with(|| network.clone()).apply(&more);
                }
                edits.extend(more);
            }
        }
        edits
    }

    fn scale(&self, place: usize) -> Scale {
        match self.places[place].kind {
            ReadingKind::Ohms => Scale::Ohms,
            ReadingKind::Diode => Scale::Diode,
            _ => Scale::Volts,
        }
    }

    /// A shift of the reading that is none.
    fn slight(&self, place: usize, before: &Centre) -> f64 {
        let wide = before
            .reading
            .map_or(0.0, |r| before.wide / self.scale(place).at(r).1);
        (UNMOVED * spread(before)).max(UNMOVED_WIDE * wide)
    }

    /// What a changed board does to a place.
    fn effect_at(&self, place: usize, changed: &ChangedBoard, leads: (Node, Node)) -> Effect {
        let at = &self.places[place];
        let names = &self.about(place).names;
        let Some((_, before)) = self.base_of(place) else {
            return Effect::Unknown;
        };
        let near = Some(&before.shown);
        let Some(after) = centre(changed, &at.question, leads, names, near) else {
            return Effect::Unknown;
        };
        match (before.reading, after.reading) {
            (None, None) => Effect::Unmoved,
            (_, None) => Effect::OverRange,
            (Some(b), Some(a)) if (a - b).abs() < self.slight(place, before) => Effect::Unmoved,
            (_, Some(mean)) => {
                // What bends in the healthy reading bends as much in this one.
                let parts: f64 = after.slopes.iter().map(|s| s.1 * s.1).sum();
                let scale = self.scale(place);
                let solved = Solved {
                    mean,
                    slopes: after.slopes,
                    sd: after
                        .sd
                        .hypot((before.bends * parts).sqrt())
                        .hypot(before.wide / scale.at(mean).1),
                    bend: bend(scale, before.reading, mean),
                    border: after.border,
                };
                Effect::Moved(solved.line(scale, &self.columns[place].about.unit))
            }
        }
    }
}

/// The distribution with the leads exchanged, to first order; `None` where that reads the same.
fn exchanged(
    board: &ChangedBoard,
    question: &Question,
    leads: (Node, Node),
    (scale, straight): (Scale, &Centre),
    names: &[u32],
) -> Option<Marginal> {
    /// On the scale: five per cent of a resistance, 50 mV of a junction.
    const OTHER: f64 = 0.05;
    let other = centre(board, question, (leads.1, leads.0), names, None)?;
    let on_scale = |c: &Centre| c.reading.map(|r| scale.at(r).0);
    let same = match (on_scale(straight), on_scale(&other)) {
        (Some(a), Some(b)) => (a - b).abs() < OTHER,
        (a, b) => a.is_none() && b.is_none(),
    };
    (!same).then(|| first_order(&other, spread(&other)))
}

impl Predictions for Predictor {
    fn changes(&self) -> &[Change] {
        &self.deeds.changes
    }

    fn healthy(&self, place: usize) -> Option<&Healthy> {
        self.base_of(place).map(|b| &b.0)
    }

    fn centre(&self, place: usize) -> &[(u32, f64)] {
        &self.columns[place].about.unit
    }

    fn effect(&self, change: usize, variant: usize, place: usize) -> &Effect {
        let deed = self.deeds.of((change, variant));
        let done = &self.deeds.done[deed];
        let (cells, at) = self.cell(place, deed);
        cells.get_or(at, || self.compute_effect(place, &[done]))
    }

    fn together(&self, first: (usize, usize), second: (usize, usize), place: usize) -> Effect {
        let of = |at: (usize, usize)| &self.deeds.done[self.deeds.of(at)];
        self.compute_effect(place, &[of(first), of(second)])
    }

    fn near(
        &self,
        changes: &[(usize, usize)],
        at: &[(u32, f64)],
        places: &[usize],
    ) -> Option<Near> {
        let deeds: Vec<usize> = changes.iter().map(|c| self.deeds.of(*c)).collect();
        Some(self.look(&deeds, at, places))
    }

    fn looked(&self, changes: &[(usize, usize)]) -> Option<Slopes> {
        let deeds: Vec<usize> = changes.iter().map(|c| self.deeds.of(*c)).collect();
        self.looked_at(&deeds)
    }
}

/// The condition that a lead's pin is lifted in.
pub fn lifted(leads: &[Lead], sheet: &Sheet) -> Vec<(PartId, usize)> {
    let mut found: Vec<(PartId, usize)> = leads
        .iter()
        .filter_map(|lead| record::resolve(&lead.written, sheet).ok())
        .filter_map(|lead| match lead.at {
            At::Pin(part, pin) => Some((part, pin)),
            At::Net | At::Point(_) => None,
        })
        .collect();
    found.sort_unstable();
    found.dedup();
    found
}

#[cfg(test)]
mod tests;
