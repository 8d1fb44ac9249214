//! Fields of a micro-word: found, compared, and followed through a captured sequence of micro-addresses.

use crate::shape::{Field, Shape, Word};

/// The value of a field in a word.
pub fn field_value(field: &Field, word: Word) -> Word {
    field
        .bits
        .iter()
        .enumerate()
        .fold(0, |v, (place, bit)| v | (word >> bit & 1) << place)
}

/// The field that a data bit belongs to.
pub fn field_of(shape: &Shape, bit: u8) -> Option<&Field> {
    shape.fields.iter().find(|f| f.bits.contains(&bit))
}

/// Addresses whose word holds a value in a field.
pub fn find(field: &Field, value: Word, words: &[Option<Word>]) -> Vec<u32> {
    let holds = |w: &Option<Word>| w.is_some_and(|w| field_value(field, w) == value);
    words
        .iter()
        .enumerate()
        .filter(|(_, w)| holds(w))
        .map(|(a, _)| a as u32)
        .collect()
}

/// A field that differs between two units' words at one address.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FieldDifference {
    /// The address.
    pub address: u32,
    /// The field's name; empty for bits that belong to none.
    pub field: String,
    /// The values of both units.
    pub values: [Word; 2],
    /// The data bits that differ.
    pub bits: Vec<u8>,
    /// What the second unit read of each of them; the first read the opposite.
    pub read: Vec<bool>,
}

/// Fields that differ between two units, in order of address.
pub fn differences(
    shape: &Shape,
    first: &[Option<Word>],
    second: &[Option<Word>],
) -> Vec<FieldDifference> {
    let mut all = Vec::new();
    for (address, (a, b)) in first.iter().zip(second).enumerate() {
        let (Some(a), Some(b)) = (a, b) else { continue };
        let mut left = (a ^ b) & shape.mask();
        for field in &shape.fields {
            let bits: Vec<u8> = field
                .bits
                .iter()
                .copied()
                .filter(|bit| left >> bit & 1 == 1)
                .collect();
            if !bits.is_empty() {
                left &= bits.iter().fold(Word::MAX, |w, bit| w & !(1 << bit));
                let values = [field_value(field, *a), field_value(field, *b)];
                all.push(FieldDifference {
                    address: address as u32,
                    field: field.name.clone(),
                    values,
                    read: levels(*b, &bits),
                    bits,
                });
            }
        }
        if left != 0 {
            let bits: Vec<u8> = (0..shape.bits).filter(|bit| left >> bit & 1 == 1).collect();
            all.push(FieldDifference {
                address: address as u32,
                field: String::new(),
                values: [a & left, b & left],
                read: levels(*b, &bits),
                bits,
            });
        }
    }
    all
}

fn levels(word: Word, bits: &[u8]) -> Vec<bool> {
    bits.iter().map(|bit| word >> bit & 1 == 1).collect()
}

/// Where two captured sequences of micro-addresses part, and why, as far as the stores tell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Parting {
    /// They do not part as far as both were captured.
    Together {
        /// Steps compared.
        steps: usize,
    },
    /// They part although the last common word is the same in both: look at the conditions that the branch tests.
    SameWord {
        /// Step, from 0, at which they differ.
        step: usize,
        /// The last common address, if there is one.
        after: Option<u32>,
    },
    /// They part after a word that the units read differently.
    OtherWord {
        /// Step, from 0, at which they differ.
        step: usize,
        /// The last common address.
        after: u32,
        /// The fields that differ there.
        fields: Vec<FieldDifference>,
    },
}

/// Follows two sequences until they part.
pub fn follow(shape: &Shape, addresses: [&[u32]; 2], words: [&[Option<Word>]; 2]) -> Parting {
    let [first, second] = addresses;
    let steps = first.len().min(second.len());
    let Some(step) = (0..steps).find(|s| first[*s] != second[*s]) else {
        return Parting::Together { steps };
    };
    let Some(after) = step.checked_sub(1).map(|s| first[s]) else {
        return Parting::SameWord { step, after: None };
    };
    let only = |words: &[Option<Word>]| {
        let mut one = vec![None; words.len()];
        if let Some(w) = words.get(after as usize) {
            one[after as usize] = *w;
        }
        one
    };
    let fields = differences(shape, &only(words[0]), &only(words[1]));
    if fields.is_empty() {
        Parting::SameWord {
            step,
            after: Some(after),
        }
    } else {
        Parting::OtherWord {
            step,
            after,
            fields,
        }
    }
}

/// The parting as a sentence.
pub fn parting_sentence(parting: &Parting, units: [&str; 2]) -> String {
    match parting {
        Parting::Together { steps } => format!("Both units take the same way for {steps} steps."),
        Parting::SameWord { step, after: None } => {
            format!("The units start at different addresses (step {step}).")
        }
        Parting::SameWord {
            step,
            after: Some(after),
        } => format!(
            "The units part at step {step}, after word {after:X}, which reads alike in both: look at the condition that it tests."
        ),
        Parting::OtherWord {
            step,
            after,
            fields,
        } => {
            let name = |f: &FieldDifference| match f.field.as_str() {
                "" => String::new(),
                field => format!(" ({field})"),
            };
            if let [f] = &fields[..]
                && let ([only], [high]) = (&f.bits[..], &f.read[..])
            {
                return format!(
                    "Unit {} read bit {only}{} of word {after:X} as {}, unit {} as {}, and so branched otherwise (step {step}).",
                    units[1],
                    name(f),
                    u8::from(*high),
                    units[0],
                    u8::from(!high)
                );
            }
            let bits = fields.iter().flat_map(|f| {
                let pairs = f.bits.iter().zip(&f.read);
                pairs.map(move |(bit, high)| format!("bit {bit}{} as {}", name(f), u8::from(*high)))
            });
            let bits: Vec<String> = bits.collect();
            let what = if bits.len() <= MOST_BITS {
                format!("{}, unit {} the opposite,", bits.join(" and "), units[0])
            } else {
                // The word as a whole is another one; its fields say more than so many bits.
                let values = |f: &FieldDifference| {
                    let field = match f.field.as_str() {
                        "" => "the rest",
                        field => field,
                    };
                    format!(
                        "{field} as {:X} (unit {}: {:X})",
                        f.values[1], units[0], f.values[0]
                    )
                };
                let values: Vec<String> = fields.iter().map(values).collect();
                format!("{},", values.join(", "))
            };
            format!(
                "Of word {after:X}, unit {} read {what} and so they branched apart (step {step}).",
                units[1]
            )
        }
    }
}

/// Bits that a sentence names one by one.
const MOST_BITS: usize = 3;
