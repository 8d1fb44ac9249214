//! The worst content of a core plane: that in which the half-selected cores add their noise up against the one read.
//!
//! A half-selected core that holds a one disturbs its sense line more than one that holds a zero. The line passes cores
//! in both directions so that equal contents cancel; ones where it passes one way and zeros where it passes the other
//! cannot cancel ("delta noise").

use crate::shape::{Weave, Word};
use crate::wiring::Wiring;

/// The way in which the sense line passes a core.
pub fn passes_forward(weave: Weave, x: u32, y: u32) -> bool {
    match weave {
        Weave::Diagonal => (x + y).is_multiple_of(2),
        Weave::Rows => y.is_multiple_of(2),
        Weave::Columns => x.is_multiple_of(2),
        Weave::Pairs => (x / 2 + y).is_multiple_of(2),
    }
}

/// Words (by address) that set up the worst noise: ones where the line passes forward, or with `inverse` the opposite.
pub fn worst_pattern(wiring: &Wiring, weave: Weave, inverse: bool) -> Vec<Word> {
    let mut words = vec![0; wiring.space()];
    for a in wiring.addresses() {
        let (x, y) = (
            wiring.line(0, *a),
            if wiring.is_coincident() {
                wiring.line(1, *a)
            } else {
                0
            },
        );
        if passes_forward(weave, x, y) != inverse {
            words[*a as usize] = wiring.shape().mask();
        }
    }
    words
}

/// Noise at the sense line of one bit while one word of a coincident-current store is read, in units of the difference
/// between a half-selected one and zero; the core that is read is not counted. Also how many cores are half selected.
pub fn delta_noise(
    wiring: &Wiring,
    weave: Weave,
    words: &[Word],
    bit: u8,
    address: u32,
) -> (i64, usize) {
    let (x, y) = (wiring.line(0, address), wiring.line(1, address));
    let (mut sum, mut count) = (0, 0);
    for other in wiring.addresses() {
        let (ox, oy) = (wiring.line(0, *other), wiring.line(1, *other));
        if (ox == x) == (oy == y) || wiring.sense_segment(*other) != wiring.sense_segment(address) {
            continue;
        }
        count += 1;
        let holds_one = words[*other as usize] >> bit & 1 == 1;
        let sign = if passes_forward(weave, ox, oy) { 1 } else { -1 };
        sum += i64::from(holds_one) * sign;
    }
    (sum, count)
}
