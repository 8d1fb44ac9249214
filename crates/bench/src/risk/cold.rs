//! The cold side: what each permitted reading shows of each hazard, first by the fault engine, and exactly for what comes onto the card.

use circuit::fault::Place;
use circuit::{Edit, Fault, Mode};
use diagnose::card::{ColdReading, Side, Sign};
use predict::faults::{FaultBoard, FaultEngine};
use predict::{Board, Question, healthy};
use record::{ReadingKind, State};
use sheet::{NetId, PartId};

use super::whole::ColdSheet;
use crate::candidates::{self, Candidate, SoFar};
use crate::meters::Meters;
use crate::places::{self, Treatment};
use crate::{expect, refused::Refused};

/// A candidate, what the meter is asked there, and minutes to take it.
pub(super) type Offer = (Candidate, Question, f64);

/// A board that lies cold, with the hazards as changes of it.
pub(super) struct Bench<'a> {
    pub cold: &'a ColdSheet,
    pub board: Board,
    z: Vec<f64>,
    values: Vec<f64>,
    /// Of each hazard what it changes here; empty where it is elsewhere.
    edits: Vec<Vec<Edit>>,
    /// The hazards as faults of this board, where they are on it.
    here: Vec<Option<Fault>>,
}

/// A reading that could be on the card.
pub(super) struct Seen {
    /// Index of the bench.
    pub bench: usize,
    pub candidate: Candidate,
    pub question: Question,
    pub minutes: f64,
    /// Middle of healthy units; `None` is over range.
    pub middle: Option<f64>,
    /// Standard deviation below and above the middle.
    sigma: [f64; 2],
    /// The largest reading that the meter shows.
    border: f64,
    /// Of each hazard that may be told: (hazard, reading with it, its standard deviation, whether that is exact).
    told: Vec<(usize, Option<f64>, f64, bool)>,
    /// Whether the spread of healthy units has been looked at beyond the first order.
    settled: bool,
}

/// Least distance of a hazard from healthy units, in their standard deviations.
const APART: f64 = 4.0;
/// No line is drawn nearer to the middle of healthy units than this: chosen, half of what a hazard is apart.
const NEAREST: f64 = 2.0;
/// Standard deviations that a line keeps from healthy units which read over range, as far as clearness counts: chosen, as
/// their distance is not known.
const OF_OVER_RANGE: f64 = 6.0;

impl<'a> Bench<'a> {
    /// Lays the board out cold and finds out what the hazards change on it.
    pub fn new(cold: &'a ColdSheet, hazards: &[Fault]) -> Result<Self, Refused> {
        let board = places::board(&cold.sheet, State::Cold, &Treatment::default())?;
        let population = &board.network.population;
        let z = vec![0.0; population.variables];
        let values = population.values(&z);
        let here: Vec<Option<Fault>> = hazards.iter().map(|f| moved(f, cold)).collect();
        let edits = here
            .iter()
            .map(|f| {
                let edits = f.as_ref().map(|f| f.edits(&cold.sheet, &board.network));
                edits.unwrap_or_default()
            })
            .collect();
        Ok(Self {
            here,
            cold,
            z,
            values,
            edits,
            board,
        })
    }

    /// The changes of all hazards, ready for any place.
    pub fn faulty(&self) -> FaultBoard<'_> {
        FaultBoard::with_edits(&self.board, &self.values, self.edits.iter().cloned())
    }

    /// Candidates that are permitted here, none with a lead lifted.
    pub fn candidates(&self, meters: &Meters) -> Vec<Offer> {
        let none_yet = SoFar::new(std::iter::empty());
        // A board that is out takes a moment more than one in its place.
        let out = if self.cold.unplugged.is_empty() {
            0.0
        } else {
            0.5
        };
        candidates::all(&self.cold.sheet, false)
            .into_iter()
            .filter(|c| c.lift.is_none())
            .filter_map(|c| {
                let (place, _) = candidates::place(&self.cold.sheet, meters, &c)?;
                let minutes = candidates::cost(&self.cold.sheet, &c, &none_yet).0 + out;
                Some((c, place.question, minutes))
            })
            .collect()
    }

    /// Nets with a role or a point, or of a part that one of the wanted hazards is in.
    pub fn places(&self, wanted: &[bool]) -> Vec<bool> {
        let sheet = &self.cold.sheet;
        let mut places: Vec<bool> = sheet.nets.iter().map(|n| n.role.is_some()).collect();
        sheet
            .points
            .iter()
            .for_each(|p| places[p.net.index()] = true);
        for fault in self
            .here
            .iter()
            .zip(wanted)
            .filter(|f| *f.1)
            .filter_map(|f| f.0.as_ref())
        {
            match &fault.place {
                Place::Part(p) | Place::Piece(p, _) => {
                    let pins = sheet.parts[p.index()].pins();
                    pins.iter().for_each(|(_, net)| places[net.index()] = true);
                }
                Place::Nets(a, b) => [a, b].iter().for_each(|n| places[n.index()] = true),
            }
        }
        places
    }

    /// What a candidate shows of the hazards; `None` if it has no healthy reading.
    pub fn look(
        &self,
        faulty: &FaultBoard<'_>,
        bench: usize,
        (candidate, question, minutes): Offer,
        wanted: &[bool],
    ) -> Option<Seen> {
        let leads = (candidate.red.net.0, candidate.black.net.0);
        let mut engine = FaultEngine::new(faulty, leads.0, leads.1, &question).ok()?;
        let shown = engine.healthy().clone();
        let setup = question.setups[shown.range];
        let parts = match shown.reading {
            Some(_) => norm(&engine.healthy_slopes(&self.z)?) * setup.slope(shown.volts).abs(),
            None => 0.0,
        };
        let sigma = shown.reading.map_or(0.0, |r| parts.hypot(setup.error(r)));
        let mut told = Vec::new();
        for (hazard, change) in faulty.changes().iter().enumerate() {
            if self.edits[hazard].is_empty() || !wanted[hazard] {
                continue;
            }
            let Ok(answer) = engine.answer(change) else {
                continue;
            };
            let near = match (shown.reading, answer.reading) {
                (Some(h), Some(f)) => (h - f).abs() < APART * sigma,
                (None, None) => true,
                _ => false,
            };
            if near {
                continue;
            }
            // As wide as healthy units are, in proportion where ohms rise: enough to choose by; the card is drawn with more.
            let wider = match (candidate.kind, shown.reading, answer.reading) {
                (ReadingKind::Ohms, Some(h), Some(f)) if h > 0.0 => parts * f / h,
                (_, None, Some(f)) => 0.1 * f,
                _ => parts,
            };
            let error = answer
                .reading
                .map_or(0.0, |f| question.setups[answer.range].error(f));
            told.push((hazard, answer.reading, wider.hypot(error), false));
        }
        Some(Seen {
            bench,
            border: question.border(&setup),
            candidate,
            question,
            minutes,
            middle: shown.reading,
            sigma: [sigma; 2],
            told,
            settled: false,
        })
    }

    /// Looks more closely at what is on a card: the healthy spread beyond the first order, and the spread with the hazards
    /// that are counted on. Returns whether anything had to be done.
    pub fn settle(&self, faulty: &FaultBoard<'_>, seen: &mut Seen, counted: &[usize]) -> bool {
        let leads = (seen.candidate.red.net.0, seen.candidate.black.net.0);
        let open = |s: &Seen| {
            let rough = |t: &(usize, Option<f64>, f64, bool)| !t.3 && counted.contains(&t.0);
            !s.settled || s.told.iter().any(rough)
        };
        if !open(seen) {
            return false;
        }
        if !seen.settled {
            seen.settled = true;
            let mut probe = self.board.probe(leads.0, leads.1);
            match healthy(&mut probe, &seen.question, expect::SEED) {
                Ok(found) => seen.widen(&found.distribution),
                Err(_) => seen.told.clear(),
            }
        }
        let question = seen.question.clone();
        let Ok(mut engine) = FaultEngine::new(faulty, leads.0, leads.1, &question) else {
            seen.told.clear();
            return true;
        };
        for told in seen
            .told
            .iter_mut()
            .filter(|t| !t.3 && counted.contains(&t.0))
        {
            told.3 = true;
            let Ok((answer, slopes)) =
                engine.answer_with_slopes(&faulty.changes()[told.0], &self.z)
            else {
                continue;
            };
            let Some(f) = answer.reading else { continue };
            let setup = question.setups[answer.range];
            if let Some(slopes) = slopes {
                told.2 = (norm(&slopes) * setup.slope(answer.volts).abs()).hypot(setup.error(f));
            }
        }
        true
    }
}

impl Seen {
    /// Whether it shows any hazard at all.
    pub fn tells(&self) -> bool {
        !self.told.is_empty()
    }

    /// Takes the middle and the spread of healthy units from their distribution, where that is wider than thought.
    fn widen(&mut self, distribution: &predict::Distribution) {
        const THREE: f64 = 0.00135;
        let over = distribution.over_range();
        let Some(middle) = self.middle else {
            // A unit in a thousand that is not over range spoils the sign.
            if over < 0.9999 {
                self.told.clear();
            }
            return;
        };
        let low = distribution.quantile(THREE);
        let high = distribution.quantile(1.0 - THREE);
        match low {
            Some(low) => self.sigma[0] = self.sigma[0].max((middle - low) / 3.0),
            None => self.told.clear(),
        }
        match high {
            Some(high) => self.sigma[1] = self.sigma[1].max((high - middle) / 3.0),
            None => self.sigma[1] = f64::INFINITY,
        }
    }

    /// The reading as the choice of a card sees it.
    pub fn offered(&self) -> ColdReading {
        ColdReading {
            minutes: self.minutes,
            signs: self.told.iter().filter_map(|t| self.sign(t)).collect(),
        }
    }

    /// Where the line between healthy units and those with a hazard lies; `None` if they are too near.
    fn sign(
        &self,
        &(hazard, reading, spread, _): &(usize, Option<f64>, f64, bool),
    ) -> Option<Sign> {
        let at = |x: f64| self.scale(x);
        let halfway = |a: f64, b: f64| self.unscale(0.5 * (at(a) + at(b)));
        let (side, clear) = match (self.middle, reading) {
            (Some(h), Some(f)) => {
                let sigma = self.sigma[usize::from(f > h)];
                let apart = (f - h).abs();
                if apart < APART * sigma || sigma.is_infinite() {
                    return None;
                }
                let clear = (apart / (sigma + spread)).max(NEAREST);
                if f > h {
                    (Side::Above(h + clear * sigma), clear)
                } else {
                    (Side::Below(h - clear * sigma), clear)
                }
            }
            (Some(h), None) => {
                let sigma = self.sigma[1];
                if self.border - h < APART * sigma || sigma.is_infinite() {
                    return None;
                }
                let line = halfway(h + 3.0 * sigma, self.border).max(h + APART * sigma);
                let line = line.min(self.border);
                (Side::Above(line), (line - h) / sigma.max(f64::MIN_POSITIVE))
            }
            (None, Some(f)) => {
                if self.border - f < APART * spread {
                    return None;
                }
                (
                    Side::Below(halfway(f + 3.0 * spread, self.border)),
                    OF_OVER_RANGE,
                )
            }
            (None, None) => return None,
        };
        Some(Sign {
            hazard,
            side,
            clear,
        })
    }

    /// Ohms are halved by ratio, volts by difference.
    fn scale(&self, x: f64) -> f64 {
        match self.candidate.kind {
            ReadingKind::Ohms => diagnose::Scale::Ohms.at(x).0,
            _ => x,
        }
    }

    fn unscale(&self, x: f64) -> f64 {
        match self.candidate.kind {
            ReadingKind::Ohms => diagnose::Scale::Ohms.reading(x),
            _ => x,
        }
    }
}

fn norm(v: &[f64]) -> f64 {
    v.iter().map(|x| x * x).sum::<f64>().sqrt()
}

/// A fault of the whole as one of a board by itself; `None` if it is not on that board.
fn moved(fault: &Fault, cold: &ColdSheet) -> Option<Fault> {
    let (first_part, first_net) = cold.first;
    let part = |p: PartId| {
        let own = p.0.checked_sub(first_part)?;
        (own < cold.sheet.parts.len() as u32).then_some(PartId(own))
    };
    let net = |n: NetId| {
        let own = n.0.checked_sub(first_net)?;
        (own < cold.sheet.nets.len() as u32).then_some(NetId(own))
    };
    let place = match &fault.place {
        Place::Part(p) => Place::Part(part(*p)?),
        Place::Piece(p, piece) => Place::Piece(part(*p)?, piece.clone()),
        Place::Nets(a, b) => Place::Nets(net(*a)?, net(*b)?),
    };
    let mode: Mode = fault.mode;
    Some(Fault { place, mode })
}
