//! How a store is built: which address bits drive which lines, and what reads, inhibits and strobes each data bit.

mod generate;
mod print;
mod read;

pub use generate::{coincident, diode_matrix, linear_select, woven};
pub use print::print_shape;
pub use read::read_shape;

/// One stored word, data bit 0 in bit 0; up to [`WIDEST_WORD`] bits.
pub type Word = u128;

/// The widest word, in bits, that a store may have.
pub const WIDEST_WORD: usize = 128;

/// The most address bits that a store may have: a million words, far beyond the machines of the time.
pub const MOST_ADDRESS_BITS: usize = 20;

/// How words are selected and what holds their bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Organisation {
    /// One line a word; read and written a whole word at a time (core, word-organised).
    LinearSelect,
    /// Two half currents meet in one core a plane.
    CoincidentCurrent,
    /// One wire a word, threaded through or past one transformer core a data bit; read only.
    Woven,
    /// A diode joins a word line to a bit line where a one is stored; read only.
    DiodeMatrix,
}

impl Organisation {
    /// The word that a shape file uses.
    pub fn word(self) -> &'static str {
        match self {
            Self::LinearSelect => "linear-select",
            Self::CoincidentCurrent => "coincident-current",
            Self::Woven => "woven",
            Self::DiodeMatrix => "diode-matrix",
        }
    }

    /// Whether the machine writes it, so that test patterns can be stored in it.
    pub fn is_writable(self) -> bool {
        matches!(self, Self::LinearSelect | Self::CoincidentCurrent)
    }
}

/// A two-dimensional drive matrix: line = driver x sinks + sink.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DriveMatrix {
    /// Drivers, one end of the lines.
    pub drivers: u32,
    /// Sinks, the other end.
    pub sinks: u32,
    /// Whether each line has a selection diode in series.
    pub diodes: bool,
}

/// A set of parallel lines of which the decoder selects one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Axis {
    /// Lines in the set.
    pub lines: u32,
    /// The address bits that make the line's number, least significant first.
    pub address: Vec<u8>,
    /// The drive matrix, if lines are not driven one by one.
    pub matrix: Option<DriveMatrix>,
}

/// A named group of data bits of a micro-word.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Field {
    /// What the drawing calls it.
    pub name: String,
    /// Its data bits, least significant first.
    pub bits: Vec<u8>,
}

/// How the sense line runs through a core plane: along which cores it passes forward, along which backward.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Weave {
    /// Direction changes from core to core: with X + Y.
    #[default]
    Diagonal,
    /// Direction changes from one Y line to the next.
    Rows,
    /// Direction changes from one X line to the next.
    Columns,
    /// Direction changes with Y and with every second X line.
    Pairs,
}

impl Weave {
    /// All weaves with the words of the shape file.
    pub const ALL: [(Weave, &'static str); 4] = [
        (Self::Diagonal, "diagonal"),
        (Self::Rows, "rows"),
        (Self::Columns, "columns"),
        (Self::Pairs, "pairs"),
    ];
}

/// Where lines and cores lie on a drawing or a photograph.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    /// Place of line 0 (and bit 0), in the picture's own units.
    pub origin: (f64, f64),
    /// Step from one X line (or bit) to the next, and from one Y line (or word) to the next.
    pub pitch: (f64, f64),
    /// Step from one bit plane to the next; only where every bit has its own plane.
    pub plane: (f64, f64),
}

/// One element's own place, where the grid does not hold.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// The element's name, such as `X line 3`.
    pub element: String,
    /// Its place.
    pub at: (f64, f64),
}

/// How much likelier than its class an element is to fail, by the restorer's own experience.
#[derive(Clone, Debug, PartialEq)]
pub struct Alter {
    /// The beginning of the names that it touches, such as `selection diode`.
    pub element: String,
    /// The factor.
    pub prior: f64,
}

/// The whole description of one store.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// What the drawing calls the store.
    pub name: String,
    /// How it is selected.
    pub organisation: Organisation,
    /// Address lines.
    pub address_bits: u8,
    /// Data bits of a word.
    pub bits: u8,
    /// What a bit reads where nothing is sensed.
    pub idle: bool,
    /// One axis of word lines, or X then Y.
    pub axes: Vec<Axis>,
    /// Address bits that tell which segment of a sense line a word lies on; empty: one segment.
    pub sense_segments: Vec<u8>,
    /// How the sense lines of core planes run.
    pub weave: Weave,
    /// Address bits that tell the segment of an inhibit line; `None`: the store has none.
    pub inhibit_segments: Option<Vec<u8>>,
    /// Data bits that share a strobe, strobe 0 first.
    pub strobes: Vec<Word>,
    /// Named fields of a word.
    pub fields: Vec<Field>,
    /// Words in which all zeros is what was meant.
    pub zero_words: Vec<u32>,
    /// Places by rule.
    pub grid: Option<Grid>,
    /// Places one by one.
    pub places: Vec<Place>,
    /// Experience that overrides the book.
    pub alters: Vec<Alter>,
}

impl Shape {
    /// All data bits of a word.
    pub fn mask(&self) -> Word {
        mask(self.bits)
    }
}

/// A word with its lowest `bits` bits set.
pub fn mask(bits: u8) -> Word {
    if bits as usize >= WIDEST_WORD {
        Word::MAX
    } else {
        (1 << bits) - 1
    }
}
