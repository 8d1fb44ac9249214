//! Predictions for the diagnosis: readings of one unit, healthy and under every change, from the circuit.

use std::collections::HashMap;
use std::sync::{Arc, OnceLock};

mod centre;
mod follow;
mod near;
mod prepare;

use circuit::{Edit, Fault, Network, Node};
use diagnose::{Change, Deed, Effect, Healthy, Moved, Predictions, Scale, Slopes, deed};
use predict::{Board, ChangedBoard, Question, healthy};
use record::{At, Lead, ReadingKind, State};
use sheet::{PartId, Sheet};

use crate::places::{self, Treatment};
use crate::{expect, variables};
use centre::{Centre, bend, centre, drawn_back, first_order, line, marginal, spread, wide};
use follow::{followed, straight};

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

/// What a variant of a change does, found on this sheet.
#[derive(Clone, Debug)]
enum Done {
    Fault(Fault),
    Exchange(Node, Node),
    /// This unit has not the part.
    Nothing,
}

/// A board in one condition.
#[derive(Clone)]
struct Base {
    /// The board, and the unit that the predictions are about; `None` if it has no operating point.
    board: Option<(Board, ChangedBoard)>,
    /// Numbers of its variables, which all conditions share.
    names: Vec<u32>,
    /// Variables of that unit.
    z: Vec<f64>,
}

/// Predictions of one unit.
pub struct Predictor {
    sheet: Sheet,
    changes: Vec<Change>,
    bases: Vec<Base>,
    places: Vec<Place>,
    /// The unit that the predictions are about; empty for the middle of all.
    centre: Slopes,
    /// Predictions about the middle of all units.
    middle: Option<Arc<Predictor>>,
    healthy: Vec<OnceLock<Option<(Healthy, Centre)>>>,
    /// Each variant's number among all different deeds.
    cells: Vec<Vec<usize>>,
    /// The different deeds.
    deeds: Vec<Done>,
    /// Of each deed those that do the same and more, one to either side: where they move nothing,
    /// it does not, as a reading of parts that only take power falls or rises with each of them.
    bounds: Vec<Vec<usize>>,
    effects: Vec<Vec<OnceLock<Effect>>>,
}

/// A shift of less than this many standard deviations is none.
const UNMOVED: f64 = 0.02;
/// The same where healthy units spread far wider than their slopes tell.
const UNMOVED_WIDE: f64 = 0.2;

impl Predictor {
    /// Prepares the boards; predictions are made when they are first asked for.
    pub fn new(sheet: Sheet, conditions: Vec<Condition>, places: Vec<Place>) -> Self {
        let mut numbers = HashMap::new();
        let bases = conditions
            .iter()
            .map(|c| base(&sheet, c, &mut numbers))
            .collect();
        Self {
            healthy: places.iter().map(|_| OnceLock::new()).collect(),
            cells: Vec::new(),
            deeds: Vec::new(),
            bounds: Vec::new(),
            effects: Vec::new(),
            sheet,
            changes: Vec::new(),
            bases,
            places,
            centre: Slopes::new(),
            middle: None,
        }
    }

    /// The same predictions as straight lines through the unit whose variables stand at `unit`.
    pub fn around(self: &Arc<Self>, unit: Slopes) -> Self {
        let middle = self.middle.as_ref().unwrap_or(self);
        let of = |name: &u32| {
            let found = unit.binary_search_by_key(name, |a| a.0);
            found.map_or(0.0, |i| unit[i].1)
        };
        let bases = middle.bases.iter().map(|base| {
            let z: Vec<f64> = base.names.iter().map(of).collect();
            let board = base.board.as_ref().and_then(|(board, _)| {
                let there = ChangedBoard::of_unit(board, &[], z.clone()).ok()?;
                Some((board.clone(), there))
            });
            Base {
                board,
                z,
                names: base.names.clone(),
            }
        });
        let unknown = || self.deeds.iter().map(|_| OnceLock::new()).collect();
        Self {
            healthy: self.places.iter().map(|_| OnceLock::new()).collect(),
            effects: self.places.iter().map(|_| unknown()).collect(),
            cells: self.cells.clone(),
            deeds: self.deeds.clone(),
            bounds: self.bounds.clone(),
            sheet: self.sheet.clone(),
            changes: self.changes.clone(),
            bases: bases.collect(),
            places: self.places.clone(),
            middle: Some(Arc::clone(middle)),
            centre: unit,
        }
    }

    /// Says what may be wrong. Variants that do the same to a circuit share their effects.
    pub fn set_changes(&mut self, changes: Vec<Change>) {
        let mut known: HashMap<String, usize> = HashMap::new();
        let mut deeds = Vec::new();
        self.cells = changes
            .iter()
            .map(|change| {
                let magnitudes = change.magnitudes.iter().map(|m| Some(*m));
                let each: Vec<Option<f64>> = match change.magnitudes.len() {
                    0 => vec![None],
                    _ => magnitudes.collect(),
                };
                each.into_iter()
                    .map(|magnitude| {
                        let deed = deed(change, magnitude);
                        *known.entry(format!("{deed:?}")).or_insert_with(|| {
                            deeds.push(done(&deed, &self.sheet));
                            deeds.len() - 1
                        })
                    })
                    .collect()
            })
            .collect();
        self.bounds = bounds(&known, deeds.len());
        self.changes = changes;
        let unknown = || deeds.iter().map(|_| OnceLock::new()).collect();
        self.effects = self.places.iter().map(|_| unknown()).collect();
        self.deeds = deeds;
    }

    /// The sheet of this unit.
    pub fn sheet(&self) -> &Sheet {
        &self.sheet
    }

    fn base_of(&self, place: usize) -> Option<&(Healthy, Centre)> {
        self.healthy[place]
            .get_or_init(|| self.compute_healthy(place))
            .as_ref()
    }

    fn compute_healthy(&self, place: usize) -> Option<(Healthy, Centre)> {
        let at = &self.places[place];
        let base = &self.bases[at.condition];
        let (board, unchanged) = base.board.as_ref()?;
        let leads = self.nodes(at, &board.network)?;
        if let Some(middle) = &self.middle {
            let (healthy, before) = middle.base_of(place)?;
            let near = Some(&before.shown);
            let here = centre(unchanged, &at.question, leads, &base.names, near)?;
            let mut healthy = healthy.clone();
            healthy.line = line(&here, healthy.scale, &self.centre);
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
            reversed: None,
            line: None,
        };
        Some((healthy, centre))
    }

    fn nodes(&self, at: &Place, network: &Network) -> Option<(Node, Node)> {
        // Parts that a unit lacks move all that follow them, so places are found again by name.
        let find = |lead: &Lead| {
            let here = record::resolve(&lead.written, &self.sheet).ok()?;
            Some(places::node(&here, &self.sheet, network))
        };
        Some((find(&at.red)?, find(&at.black)?))
    }

    fn compute_effect(&self, place: usize, done: &[&Done]) -> Effect {
        let at = &self.places[place];
        let base = &self.bases[at.condition];
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
                let more = fault.edits(&self.sheet, so_far.as_ref().unwrap_or(network));
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
        let names = &self.bases[at.condition].names;
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
                let moved = Moved {
                    mean,
                    slopes: after.slopes,
                    sd: after
                        .sd
                        .hypot((before.bends * parts).sqrt())
                        .hypot(before.wide / scale.at(mean).1),
                    bend: bend(scale, before.reading, mean),
                    border: after.border,
                };
                Effect::Moved(drawn_back(moved, scale, &self.centre))
            }
        }
    }
}

impl Predictions for Predictor {
    fn changes(&self) -> &[Change] {
        &self.changes
    }

    fn healthy(&self, place: usize) -> Option<&Healthy> {
        self.base_of(place).map(|b| &b.0)
    }

    fn centre(&self) -> &[(u32, f64)] {
        &self.centre
    }

    fn effect(&self, change: usize, variant: usize, place: usize) -> &Effect {
        let deed = self.cells[change][variant];
        let cell = &self.effects[place][deed];
        cell.get_or_init(|| self.compute_effect(place, &[&self.deeds[deed]]))
    }

    fn together(&self, first: (usize, usize), second: (usize, usize), place: usize) -> Effect {
        let of = |at: (usize, usize)| &self.deeds[self.cells[at.0][at.1]];
        self.compute_effect(place, &[of(first), of(second)])
    }

    fn near(
        &self,
        changes: &[(usize, usize)],
        at: &[(u32, f64)],
        places: &[usize],
    ) -> Option<Vec<Effect>> {
        let done: Vec<&Done> = changes
            .iter()
            .map(|at| &self.deeds[self.cells[at.0][at.1]])
            .collect();
        Some(self.unit_near(&done, at, places))
    }
}

fn base(sheet: &Sheet, condition: &Condition, numbers: &mut HashMap<String, u32>) -> Base {
    let treatment = Treatment {
        faults: Vec::new(),
        lifted: condition.lifted.clone(),
    };
    let board = places::board(sheet, condition.state, &treatment)
        .ok()
        .and_then(|b| {
            let unchanged = ChangedBoard::new(&b, &[]).ok()?;
            Some((b, unchanged))
        });
    let names = board.as_ref().map_or(Vec::new(), |(b, _)| {
        variables::keys(sheet, &b.network)
            .into_iter()
            .map(|key| {
                let next = numbers.len() as u32;
                *numbers.entry(key).or_insert(next)
            })
            .collect()
    });
    let z = vec![0.0; names.len()];
    Base { board, names, z }
}

/// A drift lies between open and short, a leak short of a short.
fn bounds(known: &HashMap<String, usize>, count: usize) -> Vec<Vec<usize>> {
    let mut found = vec![Vec::new(); count];
    for (text, deed) in known {
        let fault = text
            .strip_prefix("Fault(\"")
            .and_then(|t| t.strip_suffix("\")"));
        let Some((part, mode)) = fault.and_then(|t| t.split_once(' ')) else {
            continue;
        };
        let wider: &[&str] = match mode.split_once('=') {
            Some(("high" | "low", _)) => &["open", "short"],
            Some(("leaky", _)) => &["short"],
            _ => continue,
        };
        let all: Option<Vec<usize>> = wider
            .iter()
            .map(|m| {
                known
                    .get(&format!("{:?}", Deed::Fault(format!("{part} {m}"))))
                    .copied()
            })
            .collect();
        found[*deed] = all.unwrap_or_default();
    }
    found
}

fn done(deed: &Deed, sheet: &Sheet) -> Done {
    match deed {
        Deed::Fault(text) => Fault::parse(text, sheet).map_or(Done::Nothing, Done::Fault),
        Deed::Exchange(a, b) => match (sheet.net(a), sheet.net(b)) {
            (Some(a), Some(b)) => Done::Exchange(a.0, b.0),
            _ => Done::Nothing,
        },
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
