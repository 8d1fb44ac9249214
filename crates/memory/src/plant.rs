//! Invented content and planted faults, the same for the same seed: for tests, demonstrations and drills.

use std::collections::BTreeMap;
use std::mem::{Discriminant, discriminant};

use crate::fault::{Fault, bit_faults, line_faults};
use crate::shape::Word;
use crate::wiring::Wiring;

/// A small generator of numbers (SplitMix64; Steele, Lea and Flood, OOPSLA 2014).
#[derive(Clone, Debug)]
pub struct Chance(u64);

impl Chance {
    /// A generator that always gives the same numbers for the same seed.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ z >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ z >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ z >> 31
    }

    /// A whole number below `count`, which must not be zero.
    pub fn below(&mut self, count: usize) -> usize {
        (self.bits() % count as u64) as usize
    }
}

/// Random words for every word of the store.
pub fn content(wiring: &Wiring, chance: &mut Chance) -> Vec<Word> {
    let mut words = vec![0; wiring.space()];
    for a in wiring.addresses() {
        words[*a as usize] =
            (Word::from(chance.bits()) << 64 | Word::from(chance.bits())) & wiring.shape().mask();
    }
    words
}

/// `count` faults that can be together in one store: a kind of fault is drawn first, then one of that kind.
pub fn faults(wiring: &Wiring, content: &[Word], count: usize, chance: &mut Chance) -> Vec<Fault> {
    let pulses: Vec<Word> = content.iter().map(|w| wiring.sensed(*w)).collect();
    let mut kinds: BTreeMap<Fault, Vec<Fault>> = BTreeMap::new();
    let mut first: Vec<(Discriminant<Fault>, Fault)> = Vec::new();
    for fault in line_faults(wiring)
        .into_iter()
        .chain(bit_faults(wiring, &pulses))
    {
        let kind = first
            .iter()
            .find(|(d, _)| *d == discriminant(&fault))
            .map(|(_, f)| *f);
        let kind = kind.unwrap_or_else(|| {
            first.push((discriminant(&fault), fault));
            fault
        });
        kinds.entry(kind).or_default().push(fault);
    }
    let kinds: Vec<Vec<Fault>> = kinds.into_values().collect();
    let mut planted: Vec<Fault> = Vec::new();
    while planted.len() < count {
        let kind = &kinds[chance.below(kinds.len())];
        let fault = kind[chance.below(kind.len())];
        if planted.iter().all(|p| p.goes_with(fault)) {
            planted.push(fault);
        }
    }
    planted.sort_unstable();
    planted
}
