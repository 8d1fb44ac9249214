//! Photographs, places on them, and other files.

use super::Site;
use crate::{Digest, Id};

/// A photograph.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Photo {
    /// Of what.
    pub site: Site,
    /// Which side of the board.
    pub face: Face,
    /// What it shows.
    pub caption: String,
    /// The picture.
    pub attachment: Digest,
}

/// Which side of a board a photograph shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Face {
    /// Where the parts are.
    Component,
    /// Where the joints are.
    Solder,
    /// Neither, or no board.
    Other,
}

impl Face {
    /// All of them.
    pub const ALL: [Face; 3] = [Face::Component, Face::Solder, Face::Other];

    /// The word.
    pub fn word(self) -> &'static str {
        match self {
            Face::Component => "component",
            Face::Solder => "solder",
            Face::Other => "other",
        }
    }
}

/// Where a net, point or pin is on a photograph; the last place of a name counts.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// The entry of the photograph.
    pub photo: Id,
    /// What is there: a net, a point or a part pin.
    pub name: String,
    /// From the left edge, as a fraction of the width, 0 to 1.
    pub x: f64,
    /// From the upper edge, as a fraction of the height, 0 to 1.
    pub y: f64,
}

/// A capture, dump or other file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct File {
    /// Of what.
    pub site: Site,
    /// Its name, with its ending.
    pub name: String,
    /// What it holds.
    pub caption: String,
    /// The file.
    pub attachment: Digest,
}
