//! Readings of a board with any one fault, each found from the healthy reading at the same place.

use circuit::{Edit, Fault, Node};
use sheet::Sheet;

use super::change::{Change, Piece, Pieces};
use super::curve::Curve;
use super::layout::Layout;
use super::plain::read_anew;
use super::point::Point;
use super::reduced::Room;
use super::whole::Whole;
use crate::board::{Board, Refusal};
use crate::probe::{Probe, Question, Shown};

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
        Self {
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
    /// By the currents that bend, on the healthy tangents of all others.
    Reduced,
    /// By Newton's method on the whole circuit, from the healthy solution.
    Whole,
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

/// One place on a board: what the meter shows there with each fault.
#[derive(Debug)]
pub struct FaultEngine<'a> {
    faulty: &'a FaultBoard<'a>,
    question: &'a Question,
    probe: Probe<'a>,
    healthy: Shown,
    point: Option<Point>,
    room: Room,
    whole: Option<Whole>,
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
        let healthy = probe.read(question, &faulty.values, &faulty.board.rest)?;
        let setup = &question.setups[healthy.range];
        let point = Point::new(
            &faulty.layout,
            &mut probe,
            setup,
            &faulty.values,
            &healthy.x,
        )?;
        Ok(Self {
            faulty,
            question,
            probe,
            healthy,
            point,
            room: Room::default(),
            whole: None,
        })
    }

    /// The healthy reading.
    pub fn healthy(&self) -> &Shown {
        &self.healthy
    }

    /// What the meter shows with a fault.
    ///
    /// # Errors
    /// If the faulty circuit has no certified solution, by no way.
    pub fn answer(&mut self, change: &Change) -> Result<Answer, Refusal> {
        if let Some(point) = &self.point {
            let pieces = match (&change.pieces, &change.sides) {
                (Pieces::None, _) => return Ok(self.unmoved()),
                (_, Some(sides)) => {
                    let (red, black) = self.probe.leads();
                    if !sides.joined_by(red, black) {
                        return Ok(self.unmoved());
                    }
                    None
                }
                (Pieces::Anew, _) => None,
                (Pieces::Some(pieces), _) => Some(pieces),
            };
            if let Some(pieces) = pieces {
                if no_current(point, pieces) {
                    return Ok(self.unmoved());
                }
                let (layout, workspace) = (&self.faulty.layout, &self.probe.workspace);
                let system = &self.probe.assembly.system;
                let found = self
                    .room
                    .solve(layout, point, workspace, system, pieces)
                    .map(|volts| (volts, Way::Reduced))
                    .or_else(|| {
                        let pattern = workspace.pattern();
                        if self.whole.is_none() {
                            self.whole = Whole::new(layout, point, pattern, system);
                        }
                        let whole = self.whole.as_mut()?;
                        let volts = whole.solve(layout, point, pattern, system, pieces)?;
                        Some((volts, Way::Whole))
                    });
                if let Some((volts, way)) = found {
                    return Ok(Answer {
                        range: self.healthy.range,
                        volts,
                        reading: point.setup.shown(volts),
                        way,
                    });
                }
            }
        }
        self.anew(&change.edits)
    }

    fn unmoved(&self) -> Answer {
        Answer {
            range: self.healthy.range,
            volts: self.healthy.volts,
            reading: self.healthy.reading,
            way: Way::Unmoved,
        }
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
        let (after, _) = piece.flow.curve.at(u);
        if let Curve::Conductance(g) = piece.flow.curve
            && g > 0.0
            && u.abs() <= EQUAL_VOLTS
        {
            // Joining equal potentials moves nothing by more than what they differ by.
            return true;
        }
        (after - before).abs() <= NONE_AMPS
    })
}
