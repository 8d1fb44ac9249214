//! The machine as plain data: its assemblies and boards, what joins them, how each unit differs, and the bring-up order.

mod as_built;
mod join;
mod print;
mod read;

use std::fmt;

use units::Ohms;

use crate::Span;

pub use as_built::as_built;
pub use join::join;
pub use print::print;
pub use read::parse;

/// The design that all units share, and the units.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Machine {
    /// Name, such as `Tamarisk 40`.
    pub name: String,
    /// Assemblies, in the order written.
    pub assemblies: Vec<Assembly>,
    /// Connector pins of different boards that are joined.
    pub joins: Vec<Join>,
    /// Physical examples.
    pub units: Vec<Unit>,
    /// What is brought up in which order, and where to hold; the order of the assemblies if the file does not say.
    pub bring_up: Vec<Step>,
}

/// A group of boards that is brought up together.
#[derive(Clone, Debug, PartialEq)]
pub struct Assembly {
    /// Name.
    pub name: String,
    /// Its boards, in the order written.
    pub boards: Vec<Board>,
    /// Where it stands in the text.
    pub span: Span,
}

/// A board and where its sheet is.
#[derive(Clone, Debug, PartialEq)]
pub struct Board {
    /// Name, such as `A2`; unique in the machine.
    pub name: String,
    /// What it is.
    pub title: Option<String>,
    /// Path of its sheet, relative to the machine file; none while there is no sheet.
    pub sheet: Option<String>,
    /// Slot, as marked.
    pub slot: Option<String>,
    /// Where it stands in the text.
    pub span: Span,
}

/// Two connector pins that touch.
#[derive(Clone, Debug, PartialEq)]
pub struct Join {
    /// The two pins.
    pub pins: [PinPlace; 2],
    /// Where it stands in the text.
    pub span: Span,
}

/// A pin of a connector on a board, written `A1.J1.2`.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct PinPlace {
    /// The board.
    pub board: String,
    /// Designator of the connector.
    pub connector: String,
    /// Name of the pin.
    pub pin: String,
}

impl fmt::Display for PinPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}.{}", self.board, self.connector, self.pin)
    }
}

/// One physical example of the machine.
#[derive(Clone, Debug, PartialEq)]
pub struct Unit {
    /// Name, such as `1`.
    pub name: String,
    /// Serial number, as marked.
    pub serial: Option<String>,
    /// How its boards differ from their sheets, in the order written.
    pub boards: Vec<Differences>,
    /// Where it stands in the text.
    pub span: Span,
}

/// How one board of a unit differs from its sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Differences {
    /// The board.
    pub board: String,
    /// In the order written.
    pub changes: Vec<Change>,
}

/// One difference.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// What is different.
    pub what: Difference,
    /// Where it stands in the text.
    pub span: Span,
}

/// What differs from the sheet.
#[derive(Clone, Debug, PartialEq)]
pub enum Difference {
    /// `replace R4 "2k4" style=film`: another value, another type of a semiconductor, other properties.
    Replace {
        /// Designator.
        part: String,
        /// New value or type, as written; none if only properties differ.
        value: Option<String>,
        /// Properties as a part line has them, as written.
        properties: Vec<(String, String)>,
    },
    /// `absent C9`: not fitted.
    Absent {
        /// Designator.
        part: String,
    },
    /// `bridge N1 N2 "100R"`: joined by a wire or by a resistance.
    Bridge {
        /// The two nets.
        nets: [String; 2],
        /// Resistance; 0R1 when absent.
        ohms: Option<Ohms>,
    },
}

/// One step of the bring-up.
#[derive(Clone, Debug, PartialEq)]
pub enum Step {
    /// An assembly, by name.
    Assembly(String),
    /// A place that may be passed only when its conditions are met, or by a signed override.
    Hold(HoldPoint),
}

/// A hold point.
#[derive(Clone, Debug, PartialEq)]
pub struct HoldPoint {
    /// Name.
    pub name: String,
    /// All of these must be met.
    pub needs: Vec<Need>,
    /// Where it stands in the text.
    pub span: Span,
}

/// A condition of a hold point.
#[derive(Clone, Debug, PartialEq)]
pub struct Need {
    /// The condition, for people.
    pub text: String,
    /// How the program can see that it is met; none if a person says so.
    pub check: Option<Check>,
    /// The board that the check is about; none means every board of the assemblies before the hold point.
    pub board: Option<String>,
}

/// What the program can see by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Check {
    /// Every reading of the cold card was taken and lies on its good side.
    ColdCard,
    /// Every rail was read in this power cycle and agrees.
    Rails,
    /// Every reading that was taken agrees or is explained.
    Readings,
}

impl Machine {
    /// The unit of that name.
    pub fn unit(&self, name: &str) -> Option<&Unit> {
        self.units.iter().find(|u| u.name == name)
    }

    /// The board of that name.
    pub fn board(&self, name: &str) -> Option<&Board> {
        self.boards().find(|b| b.name == name)
    }

    /// All boards, assembly by assembly.
    pub fn boards(&self) -> impl Iterator<Item = &Board> {
        self.assemblies.iter().flat_map(|a| &a.boards)
    }
}

/// A name across boards, taken apart: `A2:R4` is part or net `R4` of board `A2`.
pub fn split_name(name: &str) -> Option<(&str, &str)> {
    name.split_once(':')
        .filter(|(board, rest)| !board.is_empty() && !rest.is_empty())
}

/// The name that a net, part or point of a board has across boards.
pub fn across_boards(board: &str, name: &str) -> String {
    format!("{board}:{name}")
}
