//! Shapes of the usual organisations from a few numbers.

use super::{Axis, DriveMatrix, Organisation, Shape, Weave, Word, mask};

fn bits_for(count: u32) -> u8 {
    count.max(1).next_power_of_two().trailing_zeros() as u8
}

/// The most nearly square drive matrix for `lines` lines, if they divide into one at all.
fn square_matrix(lines: u32, diodes: bool) -> Option<DriveMatrix> {
    let drivers = (2..lines)
        .take_while(|d| d * d <= lines)
        .filter(|d| lines.is_multiple_of(*d))
        .last()?;
    Some(DriveMatrix {
        drivers,
        sinks: lines / drivers,
        diodes,
    })
}

fn one_axis(name: &str, organisation: Organisation, words: u32, bits: u8, matrix: bool) -> Shape {
    let address_bits = bits_for(words);
    Shape {
        name: name.to_owned(),
        organisation,
        address_bits,
        bits,
        idle: false,
        axes: vec![Axis {
            lines: words,
            address: (0..address_bits).collect(),
            matrix: if matrix {
                square_matrix(words, true)
            } else {
                None
            },
        }],
        sense_segments: Vec::new(),
        weave: Weave::Diagonal,
        inhibit_segments: None,
        strobes: halves(bits),
        fields: Vec::new(),
        zero_words: Vec::new(),
        grid: None,
        places: Vec::new(),
        alters: Vec::new(),
    }
}

/// Two strobe groups for words of eight bits and more, else one.
fn halves(bits: u8) -> Vec<Word> {
    let all = mask(bits);
    if bits < 8 {
        vec![all]
    } else {
        vec![mask(bits / 2), all ^ mask(bits / 2)]
    }
}

/// A word-organised core store.
pub fn linear_select(name: &str, words: u32, bits: u8, matrix: bool) -> Shape {
    one_axis(name, Organisation::LinearSelect, words, bits, matrix)
}

/// A woven read-only store, one transformer core a data bit.
pub fn woven(name: &str, words: u32, bits: u8, matrix: bool) -> Shape {
    one_axis(name, Organisation::Woven, words, bits, matrix)
}

/// A diode read-only store, one line a word from the decoder.
pub fn diode_matrix(name: &str, words: u32, bits: u8) -> Shape {
    one_axis(name, Organisation::DiodeMatrix, words, bits, false)
}

/// A coincident-current core store: X from the low address bits, Y from the rest; drive matrices where the numbers
/// allow; sense and inhibit lines in halves of Y if `halved`.
pub fn coincident(name: &str, x: u32, y: u32, bits: u8, matrices: bool, halved: bool) -> Shape {
    let (bits_x, bits_y) = (bits_for(x), bits_for(y));
    let axis = |lines, from: u8, count: u8| Axis {
        lines,
        address: (from..from + count).collect(),
        matrix: if matrices {
            square_matrix(lines, true)
        } else {
            None
        },
    };
    let top = bits_x + bits_y - 1;
    let mut shape = one_axis(name, Organisation::CoincidentCurrent, 1, bits, false);
    shape.address_bits = bits_x + bits_y;
    shape.axes = vec![axis(x, 0, bits_x), axis(y, bits_x, bits_y)];
    let segments = if halved && bits_y > 0 {
        vec![top]
    } else {
        Vec::new()
    };
    shape.sense_segments = segments.clone();
    shape.inhibit_segments = Some(segments);
    shape.strobes = vec![mask(bits)];
    shape
}
