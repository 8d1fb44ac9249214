//! Slots and cables: what was where, and whether it is back.

use crate::Digest;

/// Something was seen of, or done to, a slot or a cable.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Connection {
    /// The unit.
    pub unit: String,
    /// A slot or a cable.
    pub kind: ConnectionKind,
    /// Its name, as marked or given.
    pub name: String,
    /// What was seen or done.
    pub step: Step,
    /// For a slot the board that sits in it; for a cable from where to where. May be left out where it was said before.
    pub holds: Option<String>,
    /// Which way round, colours, anything that a person must know to put it back.
    pub note: String,
    /// A photograph of it.
    pub photo: Option<Digest>,
}

/// What kind of connection.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ConnectionKind {
    /// A board's slot.
    Slot,
    /// A cable or plug.
    Cable,
}

impl ConnectionKind {
    /// Both.
    pub const ALL: [ConnectionKind; 2] = [ConnectionKind::Slot, ConnectionKind::Cable];

    /// The word.
    pub fn word(self) -> &'static str {
        match self {
            ConnectionKind::Slot => "slot",
            ConnectionKind::Cable => "cable",
        }
    }
}

/// What was seen of a connection, or done to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Step {
    /// Seen as found.
    Found,
    /// Photographed.
    Photographed,
    /// Board pulled, plug drawn.
    Parted,
    /// Board or plug back in.
    Joined,
    /// Held against the photograph and found right.
    Checked,
}

impl Step {
    /// All of them.
    pub const ALL: [Step; 5] = [
        Step::Found,
        Step::Photographed,
        Step::Parted,
        Step::Joined,
        Step::Checked,
    ];

    /// The word.
    pub fn word(self) -> &'static str {
        match self {
            Step::Found => "found",
            Step::Photographed => "photographed",
            Step::Parted => "parted",
            Step::Joined => "joined",
            Step::Checked => "checked",
        }
    }
}
