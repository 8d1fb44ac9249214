//! A march test as a list of operations for a store of a given word size.

use super::{March, Order, Step};
use crate::shape::{Word, mask};
use crate::wiring::Wiring;

/// Writing or reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OperationKind {
    /// Write the word.
    Write,
    /// Read, and expect the word.
    Read,
}

/// One operation on the store.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Operation {
    /// Which step of the test: background, element and operation, such as `b0 e2 up r1`.
    pub step: String,
    /// The address.
    pub address: u32,
    /// Write or read.
    pub kind: OperationKind,
    /// The word to write or to expect.
    pub word: Word,
}

/// Backgrounds that set every two bits of a word against each other: all zeros, then stripes of 1, 2, 4 ... bits.
///
/// ceil(log2(bits)) + 1 backgrounds (from memory of van de Goor, 1991).
pub fn backgrounds(bits: u8) -> Vec<Word> {
    let mut all = vec![0];
    let mut stripe = 1u32;
    while stripe < u32::from(bits) {
        all.push(
            (0..u32::from(bits))
                .filter(|b| b / stripe % 2 == 1)
                .fold(0, |w, b| w | 1 << b),
        );
        stripe *= 2;
    }
    all
}

/// The operations of a test on every word of the store, once a background.
pub fn operations(wiring: &Wiring, march: &March, backgrounds: &[Word]) -> Vec<Operation> {
    let mut list = Vec::new();
    let all = mask(wiring.shape().bits);
    for (number, background) in backgrounds.iter().enumerate() {
        for (place, element) in march.elements.iter().enumerate() {
            let (order, rising): (&str, bool) = match element.order {
                Order::Either => ("any", true),
                Order::Rising => ("up", true),
                Order::Falling => ("dn", false),
            };
            let count = wiring.addresses().len();
            for n in 0..count {
                let address = wiring.addresses()[if rising { n } else { count - 1 - n }];
                let turned = march.checkered && address.count_ones() % 2 == 1;
                for step in &element.steps {
                    let (kind, letter, one) = match step {
                        Step::Write(one) => (OperationKind::Write, 'w', *one),
                        Step::Read(one) => (OperationKind::Read, 'r', *one),
                    };
                    let word = if one ^ turned {
                        background ^ all
                    } else {
                        *background
                    };
                    let step = format!("b{number} e{place} {order} {letter}{}", u8::from(one));
                    list.push(Operation {
                        step,
                        address,
                        kind,
                        word,
                    });
                }
            }
        }
    }
    list
}
