//! What can fail in a store, as a change of the path from an address to the word that is read.

use crate::shape::Organisation;
use crate::wiring::Wiring;

/// One failed physical element, by what it does. Elements that fail with one and the same effect on every read share
/// a fault (a word wire and the decoder output that drives it); [`crate::element`] gives their names.
///
/// A read passes these stages in order: address lines (stuck, bridged, exchanged), decoders and drivers, lines, the
/// bits themselves, sense lines, strobes, data bits (exchanged, bridged, stuck).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Fault {
    /// An address line holds one level.
    AddressStuck(u8, bool),
    /// Two address lines touch; with `low_wins` both are low if either is, else both high if either is.
    AddressBridged {
        /// The lower of the two lines.
        first: u8,
        /// The other.
        second: u8,
        /// Wired AND, else wired OR.
        low_wins: bool,
    },
    /// Two address lines are exchanged.
    AddressExchanged(u8, u8),
    /// A line is never driven.
    LineDead(u8, u32),
    /// A line is driven with every other.
    LineOn(u8, u32),
    /// This line and the next touch: with coincident current neither gets enough, else both are driven.
    LinesBridged(u8, u32),
    /// A driver of the axis never drives.
    DriverDead(u8, u32),
    /// A driver always drives.
    DriverOn(u8, u32),
    /// A sink of the axis never conducts.
    SinkDead(u8, u32),
    /// A sink always conducts.
    SinkOn(u8, u32),
    /// The selection diode of a line is shorted: the sneak path through it robs every line that shares neither its
    /// driver nor its sink.
    DiodeShorted(u8, u32),
    /// One bit of one word (address, bit) always gives a pulse, or never.
    Bit(u32, u8, bool),
    /// The diode of word and bit is shorted: a word that pulls the bit line also pulls the word line behind it.
    CrossingShorted(u32, u8),
    /// The inhibit line of a data bit and segment is open: only ones are written.
    InhibitDead(u8, u16),
    /// The inhibit line always inhibits: only zeros are written.
    InhibitOn(u8, u16),
    /// The sense line of a data bit and segment is open.
    SenseDead(u8, u16),
    /// A strobe never comes.
    StrobeDead(u8),
    /// Two data bits are exchanged.
    BitsExchanged(u8, u8),
    /// Two data bits touch.
    BitsBridged {
        /// The lower of the two bits.
        first: u8,
        /// The other.
        second: u8,
        /// Wired AND, else wired OR.
        low_wins: bool,
    },
    /// A data bit holds one level.
    BitStuck(u8, bool),
}

impl Fault {
    /// Whether two faults can be in one store together: an element fails in one way at a time, and a line takes part
    /// in one exchange and one bridge at most.
    pub fn goes_with(self, other: Fault) -> bool {
        use Fault::*;
        let apart = |a: u8, b: u8, c: u8, d: u8| a != c && a != d && b != c && b != d;
        match (self, other) {
            (AddressStuck(a, _), AddressStuck(b, _)) | (BitStuck(a, _), BitStuck(b, _)) => a != b,
            (AddressExchanged(a, b), AddressExchanged(c, d))
            | (BitsExchanged(a, b), BitsExchanged(c, d)) => apart(a, b, c, d),
            (
                AddressBridged {
                    first: a,
                    second: b,
                    ..
                },
                AddressBridged {
                    first: c,
                    second: d,
                    ..
                },
            )
            | (
                BitsBridged {
                    first: a,
                    second: b,
                    ..
                },
                BitsBridged {
                    first: c,
                    second: d,
                    ..
                },
            ) => apart(a, b, c, d),
            (LineDead(a, b), LineOn(c, d))
            | (LineOn(a, b), LineDead(c, d))
            | (DriverDead(a, b), DriverOn(c, d))
            | (DriverOn(a, b), DriverDead(c, d))
            | (SinkDead(a, b), SinkOn(c, d))
            | (SinkOn(a, b), SinkDead(c, d)) => (a, b) != (c, d),
            (Bit(a, b, _), Bit(c, d, _)) => (a, b) != (c, d),
            (InhibitDead(a, b), InhibitOn(c, d)) | (InhibitOn(a, b), InhibitDead(c, d)) => {
                (a, b) != (c, d)
            }
            (a, b) => a != b,
        }
    }
}

/// Every fault that the store can have, except those of single bits, of which there are too many to list.
pub fn line_faults(wiring: &Wiring) -> Vec<Fault> {
    let shape = wiring.shape();
    let mut all = Vec::new();
    pairs(shape.address_bits, |a, b| {
        all.extend([
            Fault::AddressBridged {
                first: a,
                second: b,
                low_wins: true,
            },
            Fault::AddressBridged {
                first: a,
                second: b,
                low_wins: false,
            },
            Fault::AddressExchanged(a, b),
        ]);
    });
    all.extend(
        (0..shape.address_bits)
            .flat_map(|a| [Fault::AddressStuck(a, false), Fault::AddressStuck(a, true)]),
    );
    for (number, axis) in shape.axes.iter().enumerate() {
        let at = number as u8;
        all.extend((0..axis.lines).map(|l| Fault::LineDead(at, l)));
        all.extend((1..axis.lines).map(|l| Fault::LinesBridged(at, l - 1)));
        match axis.matrix {
            None => all.extend((0..axis.lines).map(|l| Fault::LineOn(at, l))),
            Some(m) => {
                all.extend(
                    (0..m.drivers).flat_map(|d| [Fault::DriverDead(at, d), Fault::DriverOn(at, d)]),
                );
                all.extend(
                    (0..m.sinks).flat_map(|s| [Fault::SinkDead(at, s), Fault::SinkOn(at, s)]),
                );
                if m.diodes && m.drivers > 1 && m.sinks > 1 {
                    all.extend((0..axis.lines).map(|l| Fault::DiodeShorted(at, l)));
                }
            }
        }
    }
    for bit in 0..shape.bits {
        all.extend((0..1u16 << shape.sense_segments.len()).map(|s| Fault::SenseDead(bit, s)));
        if let Some(by) = &shape.inhibit_segments {
            let segments = 0..1u16 << by.len();
            all.extend(segments.clone().map(|s| Fault::InhibitDead(bit, s)));
            if *by != shape.sense_segments {
                all.extend(segments.map(|s| Fault::InhibitOn(bit, s)));
            }
        }
        all.extend([Fault::BitStuck(bit, false), Fault::BitStuck(bit, true)]);
    }
    all.extend((0..shape.strobes.len() as u8).map(Fault::StrobeDead));
    pairs(shape.bits, |a, b| {
        all.extend([
            Fault::BitsBridged {
                first: a,
                second: b,
                low_wins: true,
            },
            Fault::BitsBridged {
                first: a,
                second: b,
                low_wins: false,
            },
            Fault::BitsExchanged(a, b),
        ]);
    });
    all
}

/// The faults of single bits: each bit always or never giving a pulse, and in a diode matrix each fitted diode shorted.
/// `content` is the store's content as sensed.
pub fn bit_faults<'a>(wiring: &'a Wiring, content: &'a [u128]) -> impl Iterator<Item = Fault> + 'a {
    let matrix = wiring.shape().organisation == Organisation::DiodeMatrix;
    wiring.addresses().iter().flat_map(move |a| {
        (0..wiring.shape().bits).flat_map(move |b| {
            let fitted = matrix && content[*a as usize] >> b & 1 == 1;
            [Fault::Bit(*a, b, false), Fault::Bit(*a, b, true)]
                .into_iter()
                .chain(fitted.then_some(Fault::CrossingShorted(*a, b)))
        })
    })
}

fn pairs(count: u8, mut each: impl FnMut(u8, u8)) {
    for a in 0..count {
        for b in a + 1..count {
            each(a, b);
        }
    }
}
