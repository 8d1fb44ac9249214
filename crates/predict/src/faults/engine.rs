//! Readings of a board with any one fault, each found from the healthy reading at the same place.

use circuit::meter::Choice;
use circuit::network::Concrete;
use circuit::{Edit, Fault, Law, Network, Node, Population};
use sheet::Sheet;

use super::change::{Change, Piece, Pieces};
use super::curve::Curve;
use super::layout::{Flow, Layout};
use super::nearness::Nearness;
use super::plain::{read_anew, slopes_anew};
use super::point::Point;
use super::reduced::Room;
use super::tangent::Tangents;
use super::whole::Whole;
use crate::board::{Board, Refusal};
use crate::probe::{Probe, Question, Shown, Starts, rising};
use crate::sensitivity::slopes;

/// Current in amperes that is none: what the solver leaves unbalanced anyway.
const NONE_AMPS: f64 = 1e-13;
/// Potentials that differ by less are the same: a thousandth of what a reading is compared to.
const EQUAL_VOLTS: f64 = 1e-9;

/// A board with its faults worked out as changes, for any number of places.
#[derive(Clone, Debug)]
pub struct FaultBoard<'a> {
    pub(super) board: &'a Board,
    pub(super) layout: Layout,
    pub(super) values: Vec<f64>,
    changes: Vec<Change>,
    /// Nothing drives the board: no source stands in it, so that by itself it rests at zero.
    is_passive: bool,
}

impl<'a> FaultBoard<'a> {
    /// Works out `faults` on a board of `sheet` whose parts have `values`.
    pub fn new(board: &'a Board, sheet: &Sheet, values: &[f64], faults: &[Fault]) -> Self {
        let edits = faults.iter().map(|f| f.edits(sheet, &board.network));
        Self::with_edits(board, values, edits)
    }

    /// The same for changes of the network, one list a fault.
    pub fn with_edits(
        board: &'a Board,
        values: &[f64],
        edits: impl IntoIterator<Item = Vec<Edit>>,
    ) -> Self {
        let mut layout = Layout::new(&board.network, values);
        let changes = edits
            .into_iter()
            .map(|e| Change::new(&mut layout, &board.network, values, e))
            .collect();
        let drives = |branch: &circuit::Branch| match branch.concrete(values) {
            Concrete::Battery(_, volts) | Concrete::Voltage(volts) => volts != 0.0,
            Concrete::Current(amps) => amps != 0.0,
            Concrete::OnePort(law) => matches!(law, Law::Source(_)),
            Concrete::Conductance(_) | Concrete::Transistor(..) => false,
        };
        Self {
            is_passive: !board.network.branches.iter().any(drives)
                && board.rest.iter().all(|x| *x == 0.0),
            board,
            layout,
            values: values.to_vec(),
            changes,
        }
    }

    /// The faults as changes, in the order they were given in.
    pub fn changes(&self) -> &[Change] {
        &self.changes
    }
}

/// How an answer was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// The fault cannot move the reading: proven without solving.
    Unmoved,
    /// By the healthy tangents and their first correction, with a bound on what is left out.
    Linear,
    /// By the currents that bend, on the healthy tangents of all others.
    Reduced,
    /// By Newton's method on the whole circuit, from the healthy solution.
    Whole,
    /// The leads stand on two sides that nothing joins any more: proven without solving the circuit.
    Parted,
    /// The whole circuit was laid out and solved anew.
    Anew,
}

/// What the meter shows with a fault.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Answer {
    /// Range, an index into [`Question::setups`].
    pub range: usize,
    /// Volts from red to black.
    pub volts: f64,
    /// Reading in ohms or volts; `None` is over range.
    pub reading: Option<f64>,
    /// How it was found.
    pub way: Way,
}

/// One range of the meter: its healthy solution, and the whole circuit where that was needed.
#[derive(Debug)]
struct Range {
    /// `None` if the healthy solution has no linearisation.
    point: Option<Point>,
    tangents: Option<Tangents>,
    whole: Option<Whole>,
}

/// One place on a board: what the meter shows there with each fault.
///
/// The leads stand on nodes of the healthy board. A fault that lifts the very pin under a lead needs
/// [`read_anew`] on the lifted node.
#[derive(Debug)]
pub struct FaultEngine<'a> {
    faulty: &'a FaultBoard<'a>,
    question: &'a Question,
    probe: Probe<'a>,
    healthy: Shown,
    /// Every range that was tried for it, the one below included.
    tried: Vec<Shown>,
    /// One a setup of the question, filled when first needed.
    ranges: Vec<Option<Range>>,
    room: Room,
    near: Nearness,
}

impl<'a> FaultEngine<'a> {
    /// Takes the healthy reading and prepares for faults.
    ///
    /// # Errors
    /// If no certified solution is found.
    pub fn new(
        faulty: &'a FaultBoard<'a>,
        red: Node,
        black: Node,
        question: &'a Question,
    ) -> Result<Self, Refusal> {
        let mut probe = faulty.board.probe(red, black);
        let starts = Starts {
            guess: 0,
            first: &faulty.board.rest,
            known: &[],
        };
        let mut tried = Vec::new();
        let healthy = probe.read_from(question, &faulty.values, &starts, &mut tried)?;
        Ok(Self {
            tried,
            faulty,
            question,
            probe,
            healthy,
            ranges: question.setups.iter().map(|_| None).collect(),
            room: Room::default(),
            near: Nearness::EXACT,
        })
    }

    /// From here on answers may be off by about so many volts at the leads: enough to sort faults by,
    /// and no more. What is proven unmoved stays exact; balances are summed all the same.
    pub fn allow(&mut self, volts: f64) {
        self.near = Nearness::of(volts);
    }

    /// The healthy reading.
    pub fn healthy(&self) -> &Shown {
        &self.healthy
    }

    /// Derivative of the volts between the leads by each standard normal variable at the healthy reading; `None` if its
    /// linearisation is singular.
    pub fn healthy_slopes(&mut self, z: &[f64]) -> Option<Vec<f64>> {
        self.probe
            .connect(&self.question.setups[self.healthy.range]);
        slopes(&mut self.probe, z, &self.faulty.values, &self.healthy.x)
    }

    /// What the meter shows with a fault.
    ///
    /// # Errors
    /// If the faulty circuit has no certified solution, by no way.
    pub fn answer(&mut self, change: &Change) -> Result<Answer, Refusal> {
        let (red, black) = self.probe.leads();
        let pieces = match (&change.pieces, &change.sides) {
            (Pieces::None, _) => return Ok(self.unmoved()),
            (_, Some(sides)) if !sides.joined_by(red, black) => return Ok(self.unmoved()),
            (_, Some(_)) if self.faulty.is_passive => return self.of_nothing(),
            (_, Some(_)) | (Pieces::Anew, _) => return self.anew(&change.edits),
            (Pieces::Some(pieces), None) if !self.faulty.layout.whole => {
                return match self.moves_nothing(pieces) {
                    true => Ok(self.unmoved()),
                    false => self.anew(&change.edits),
                };
            }
            (Pieces::Some(pieces), None) => pieces,
        };
        match self.search(pieces)? {
            Some(answer) => Ok(answer),
            None => self.anew(&change.edits),
        }
    }

    /// The same with the derivative of the volts between the leads by each standard normal variable at
    /// the faulty solution, where it has one; `z` are the variables at which the values were made.
    ///
    /// # Errors
    /// If the faulty circuit has no certified solution, by no way.
    pub fn answer_with_slopes(
        &mut self,
        change: &Change,
        z: &[f64],
    ) -> Result<(Answer, Option<Vec<f64>>), Refusal> {
        let answer = self.answer(change)?;
        let values = &self.faulty.values;
        if answer.way == Way::Unmoved {
            self.probe.connect(&self.question.setups[answer.range]);
            let slopes = slopes(&mut self.probe, z, values, &self.healthy.x);
            return Ok((answer, slopes));
        }
        let leads = self.probe.leads();
        let board = self.faulty.board;
        let at = (z, &values[..]);
        let near = &self.healthy;
        let (_, slopes) = slopes_anew(board, &change.edits, at, leads, self.question, near)?;
        Ok((answer, slopes))
    }

    /// Lays the faulty circuit out anew and solves it from the engine's own `answer`, on its range: a certificate, and the way to tell the two states of a circuit that can rest in two.
    ///
    /// # Errors
    /// If no certified solution is found.
    pub fn confirm(&mut self, change: &Change, answer: &Answer) -> Result<Shown, Refusal> {
        let mut near = self.healthy.clone();
        // What was solved last may have been a neighbouring range.
        if let Pieces::Some(pieces) = &change.pieces {
            self.on_range(answer.range, pieces)?;
        }
        if let Some(Some(range)) = self.ranges.get(answer.range)
            && let Some(point) = &range.point
        {
            near.x.clone_from(&point.x);
            let step = match (answer.way, &range.whole) {
                (Way::Reduced, _) => self.room.step(),
                (Way::Whole, Some(whole)) => whole.step(),
                _ => &[],
            };
            near.x.iter_mut().zip(step).for_each(|(x, step)| *x += step);
        }
        let question = Question {
            setups: vec![self.question.setups[answer.range]],
            ..self.question.clone()
        };
        let values = &self.faulty.values;
        let leads = self.probe.leads();
        let board = self.faulty.board;
        read_anew(board, &change.edits, values, leads, &question, &near).map(|shown| Shown {
            range: answer.range,
            ..shown
        })
    }

    /// The range as the instrument finds it, or the person; `None` if a range has no answer here.
    fn search(&mut self, pieces: &[Piece]) -> Result<Option<Answer>, Refusal> {
        if self.question.setups.len() > 1 && self.question.choice == Choice::NearestMiddle {
            let mut best: Option<Answer> = None;
            for range in 0..self.question.setups.len() {
                let Some(answer) = self.on_range(range, pieces)? else {
                    return Ok(None);
                };
                if best.is_none_or(|b| self.off_middle(&b) > self.off_middle(&answer)) {
                    best = Some(answer);
                }
            }
            return Ok(best);
        }
        // With rising ranges, all above one that shows a reading show one, too; else from the first.
        let neighbours = rising(&self.question.setups);
        let mut range = if neighbours { self.healthy.range } else { 0 };
        let Some(mut shown) = self.on_range(range, pieces)? else {
            return Ok(None);
        };
        let upward = shown.reading.is_none() || !neighbours;
        loop {
            let last = range + 1 == self.question.setups.len();
            let next = match (upward, shown.reading.is_some()) {
                (true, true) => return Ok(Some(shown)),
                (true, false) if last => return Ok(Some(shown)),
                (true, false) => range + 1,
                (false, _) if range == 0 => return Ok(Some(shown)),
                (false, _) => range - 1,
            };
            let Some(other) = self.on_range(next, pieces)? else {
                return Ok(None);
            };
            if !upward && other.reading.is_none() {
                return Ok(Some(shown));
            }
            (range, shown) = (next, other);
        }
    }

    fn off_middle(&self, answer: &Answer) -> f64 {
        answer.reading.map_or(f64::INFINITY, |r| {
            self.question.setups[answer.range].off_middle(r)
        })
    }

    /// What one range shows; `None` if it has to be laid out anew.
    fn on_range(&mut self, index: usize, pieces: &[Piece]) -> Result<Option<Answer>, Refusal> {
        let layout = &self.faulty.layout;
        let near = &self.near;
        let setup = &self.question.setups[index];
        if self.ranges[index].is_none() {
            let (values, start) = (&self.faulty.values, &self.healthy.x);
            let point = Point::new(layout, &mut self.probe, setup, values, start)?;
            self.ranges[index] = Some(Range {
                tangents: point.as_ref().map(|p| Tangents::new(layout, p)),
                point,
                whole: None,
            });
        }
        let Some(Range {
            point: Some(point),
            tangents: Some(tangents),
            whole,
        }) = &mut self.ranges[index]
        else {
            return Ok(None);
        };
        let answer = |volts: f64, way: Way| {
            Some(Answer {
                range: index,
                volts,
                reading: setup.shown(volts),
                way,
            })
        };
        if no_current(point, pieces) {
            return Ok(answer(point.volts, Way::Unmoved));
        }
        if let Some(volts) = tangents.answer(layout, point, pieces, near.left_out) {
            return Ok(answer(volts, Way::Linear));
        }
        if self.question.setups.len() > 1 {
            self.probe.connect(setup);
        }
        let pattern = self.probe.workspace.pattern();
        let system = &self.probe.assembly.system;
        if let Some(volts) = self
            .room
            .solve(layout, point, pattern, system, pieces, near)
        {
            return Ok(answer(volts, Way::Reduced));
        }
        if whole.is_none() {
            *whole = Whole::new(layout, point, pattern, system);
        }
        let start = self.room.approach();
        let found = whole.as_mut().and_then(|w| {
            let found = start
                .and_then(|s| w.solve(layout, point, pattern, system, pieces, (Some(s), near)));
            found.or_else(|| w.solve(layout, point, pattern, system, pieces, (None, near)))
        });
        Ok(found.and_then(|volts| answer(volts, Way::Whole)))
    }

    fn unmoved(&self) -> Answer {
        Answer {
            range: self.healthy.range,
            volts: self.healthy.volts,
            reading: self.healthy.reading,
            way: Way::Unmoved,
        }
    }

    /// Whether the fault changes no current at the healthy solution of any range that was tried, which then solve the
    /// faulty circuit, too; whatever laws the other parts follow.
    fn moves_nothing(&self, pieces: &[Piece]) -> bool {
        let flows = &self.faulty.layout.flows;
        self.tried.iter().all(|shown| {
            let across = |f: &Flow| shown.x[f.from as usize] - shown.x[f.to as usize] + f.bias;
            pieces.iter().all(|piece| {
                let before = piece.instead_of.map_or(0.0, |index| {
                    let flow = &flows[index];
                    flow.curve.at(across(flow)).0
                });
                is_unmoved(piece, across(&piece.flow), before)
            })
        })
    }

    /// The leads stand on two sides that nothing joins any more, and nothing drives either: no current can flow through the
    /// meter (Kirchhoff's current law), so it shows what it shows of nothing.
    fn of_nothing(&self) -> Result<Answer, Refusal> {
        let bare = Board::new(Network {
            nodes: 2,
            nets: 0,
            ground: None,
            branches: Vec::new(),
            population: Population::default(),
            pins: Vec::new(),
        })?;
        let shown = bare.probe(0, 1).read(self.question, &[], &bare.rest)?;
        Ok(Answer {
            range: shown.range,
            volts: shown.volts,
            reading: shown.reading,
            way: Way::Parted,
        })
    }

    /// Lays the faulty circuit out anew and climbs the whole ladder.
    fn anew(&self, edits: &[Edit]) -> Result<Answer, Refusal> {
        let shown = read_anew(
            self.faulty.board,
            edits,
            &self.faulty.values,
            self.probe.leads(),
            self.question,
            &self.healthy,
        )?;
        Ok(Answer {
            range: shown.range,
            volts: shown.volts,
            reading: shown.reading,
            way: Way::Anew,
        })
    }
}

/// Whether the fault changes no current at the healthy solution, which then solves the faulty
/// circuit, too.
fn no_current(point: &Point, pieces: &[Piece]) -> bool {
    pieces.iter().all(|piece| {
        let (before, u) = match piece.instead_of {
            Some(index) => (point.rest[index].i, point.rest[index].u),
            None => (0.0, point.difference(&piece.flow)),
        };
        is_unmoved(piece, u, before)
    })
}

/// Whether a piece brings in no other current than flowed `before` it, at a voltage `u`.
fn is_unmoved(piece: &Piece, u: f64, before: f64) -> bool {
    if let Curve::Conductance(g) = piece.flow.curve
        && g > 0.0
        && u.abs() <= EQUAL_VOLTS
    {
        // Joining equal potentials moves nothing by more than what they differ by.
        return true;
    }
    (piece.flow.curve.at(u).0 - before).abs() <= NONE_AMPS
}
