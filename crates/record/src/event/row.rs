//! A reading as it was entered: the columns of a readings file, and the board.

use units::Celsius;

use super::Site;
use crate::{Placement, ReadingKind, State};

/// One row of the readings table. Places are kept as written, because a sheet may change or be missing.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The unit that was measured, and the board.
    pub site: Site,
    /// State of the circuit.
    pub state: State,
    /// What was measured.
    pub kind: ReadingKind,
    /// Where the red lead was: a net, a point or a part pin.
    pub red: String,
    /// Where the black lead was.
    pub black: String,
    /// The value as written: `4k7`, `OL`, `1k8..OL`.
    pub value: String,
    /// Name of the meter profile; none means the one in force.
    pub meter: Option<String>,
    /// Remark; may be empty.
    pub note: String,
    /// Where the board was.
    pub place: Option<Placement>,
    /// Part pins that were lifted.
    pub lifted: Vec<String>,
    /// Connectors that were unplugged.
    pub unplugged: Vec<String>,
    /// Temperature of the room.
    pub celsius: Option<Celsius>,
    /// Minutes since switch-on.
    pub minutes: Option<f64>,
    /// Power cycle.
    pub cycle: Option<String>,
    /// When it was taken, as written; the entry says when it was entered.
    pub time: Option<String>,
}

impl Row {
    /// Whether another row reads the same thing of the same unit in the same circuit: leads, kind, state, place, and
    /// what was lifted or unplugged.
    pub fn same_place(&self, other: &Row) -> bool {
        self.site == other.site
            && self.state == other.state
            && self.kind == other.kind
            && self.red == other.red
            && self.black == other.black
            && self.place == other.place
            && self.lifted == other.lifted
            && self.unplugged == other.unplugged
    }
}
