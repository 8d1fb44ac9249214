//! Tables made from a shape: which line each address drives, which word lies where lines meet, which segment it is on.

use crate::shape::{Axis, Organisation, Shape, Word};

/// No word lies here.
pub const NO_WORD: u32 = u32::MAX;

/// A shape with its tables; the wiring as it should be.
#[derive(Clone, Debug)]
pub struct Wiring {
    shape: Shape,
    line_of: Vec<Vec<u32>>,
    word_at: Vec<u32>,
    sense: Vec<u16>,
    inhibit: Vec<u16>,
    addresses: Vec<u32>,
}

impl Wiring {
    /// The tables of a shape.
    pub fn new(shape: Shape) -> Self {
        let space = 1usize << shape.address_bits;
        let line_of: Vec<Vec<u32>> = shape
            .axes
            .iter()
            .map(|axis| {
                (0..space)
                    .map(|a| gather(a as u32, &axis.address))
                    .collect()
            })
            .collect();
        let cells: usize = shape.axes.iter().map(|a| a.lines as usize).product();
        let mut word_at = vec![NO_WORD; cells];
        let mut addresses = Vec::new();
        for a in 0..space as u32 {
            let lines: Vec<u32> = line_of.iter().map(|l| l[a as usize]).collect();
            if lines
                .iter()
                .zip(&shape.axes)
                .all(|(l, axis)| *l < axis.lines)
            {
                word_at[crossing(&shape.axes, &lines)] = a;
                addresses.push(a);
            }
        }
        let segments = |by: &[u8]| (0..space).map(|a| gather(a as u32, by) as u16).collect();
        let sense = segments(&shape.sense_segments);
        let inhibit = segments(shape.inhibit_segments.as_deref().unwrap_or(&[]));
        Self {
            line_of,
            word_at,
            sense,
            inhibit,
            addresses,
            shape,
        }
    }

    /// The shape that the tables were made from.
    pub fn shape(&self) -> &Shape {
        &self.shape
    }

    /// The addresses at which there is a word, in order.
    pub fn addresses(&self) -> &[u32] {
        &self.addresses
    }

    /// Number of addresses that the address lines can express.
    pub fn space(&self) -> usize {
        1 << self.shape.address_bits
    }

    /// The line of an axis that an address selects; may lie beyond the last line.
    pub fn line(&self, axis: usize, address: u32) -> u32 {
        self.line_of[axis][address as usize]
    }

    /// The address of the word where these lines meet, or [`NO_WORD`].
    pub fn word_where(&self, lines: &[u32]) -> u32 {
        self.word_at[crossing(&self.shape.axes, lines)]
    }

    /// The sense segment of a word.
    pub fn sense_segment(&self, address: u32) -> u16 {
        self.sense[address as usize]
    }

    /// The inhibit segment of a word.
    pub fn inhibit_segment(&self, address: u32) -> u16 {
        self.inhibit[address as usize]
    }

    /// Whether words are selected by two half currents.
    pub fn is_coincident(&self) -> bool {
        self.shape.organisation == Organisation::CoincidentCurrent
    }

    /// Stored words as they are sensed: a one where a pulse comes. Its own inverse.
    pub fn sensed(&self, word: Word) -> Word {
        if self.shape.idle {
            word ^ self.shape.mask()
        } else {
            word
        }
    }
}

fn crossing(axes: &[Axis], lines: &[u32]) -> usize {
    axes.iter().zip(lines).fold(0, |at, (axis, line)| {
        at * axis.lines as usize + *line as usize
    })
}

/// The number made of some address bits, the first listed least significant.
fn gather(address: u32, bits: &[u8]) -> u32 {
    bits.iter()
        .enumerate()
        .fold(0, |n, (place, bit)| n | (address >> bit & 1) << place)
}
