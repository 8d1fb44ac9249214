//! What a store with failed elements reads: the physical path followed stage by stage, plainly.
//!
//! The search for explanations does not use this file; it is what certifies them.

use crate::fault::Fault;
use crate::shape::{Organisation, Word};
use crate::wiring::{NO_WORD, Wiring};

/// The word read at every address of the space; `content` is what is stored, by address. Addresses beyond the store
/// read as a healthy decoder would leave them, unless a fault leads them to a word.
pub fn read_all(wiring: &Wiring, content: &[Word], faults: &[Fault]) -> Vec<Word> {
    (0..wiring.space() as u32)
        .map(|a| read(wiring, content, faults, a))
        .collect()
}

/// The word read at one address.
pub fn read(wiring: &Wiring, content: &[Word], faults: &[Fault], address: u32) -> Word {
    let mut pulses = 0;
    for word in selected_words(wiring, faults, address) {
        pulses |= sensed_word(wiring, content, faults, word);
    }
    for fault in faults {
        if let Fault::StrobeDead(group) = fault {
            pulses &= !wiring.shape().strobes[*group as usize];
        }
    }
    data_bits(wiring.sensed(pulses), faults)
}

/// The words that an address really selects.
pub fn selected_words(wiring: &Wiring, faults: &[Fault], address: u32) -> Vec<u32> {
    let address = address_lines(address, faults);
    let axes = wiring.shape().axes.len();
    let lines: Vec<Vec<u32>> = (0..axes)
        .map(|axis| driven_lines(wiring, faults, axis, address))
        .collect();
    let mut words = Vec::new();
    for first in &lines[0] {
        if axes == 1 {
            words.push(wiring.word_where(&[*first]));
        } else {
            words.extend(
                lines[1]
                    .iter()
                    .map(|second| wiring.word_where(&[*first, *second])),
            );
        }
    }
    words.retain(|w| *w != NO_WORD);
    words
}

fn swap(word: Word, a: u8, b: u8) -> Word {
    let differ = (word >> a ^ word >> b) & 1;
    word ^ (differ << a | differ << b)
}

fn join(word: Word, a: u8, b: u8, low_wins: bool) -> Word {
    let (x, y) = (word >> a & 1, word >> b & 1);
    let level = if low_wins { x & y } else { x | y };
    word & !(1 << a | 1 << b) | level << a | level << b
}

fn hold(word: Word, bit: u8, level: bool) -> Word {
    word & !(1 << bit) | Word::from(level) << bit
}

fn address_lines(address: u32, faults: &[Fault]) -> u32 {
    let mut lines = Word::from(address);
    for fault in faults {
        if let Fault::AddressStuck(line, level) = fault {
            lines = hold(lines, *line, *level);
        }
    }
    for fault in faults {
        if let Fault::AddressBridged {
            first,
            second,
            low_wins,
        } = fault
        {
            lines = join(lines, *first, *second, *low_wins);
        }
    }
    for fault in faults {
        if let Fault::AddressExchanged(a, b) = fault {
            lines = swap(lines, *a, *b);
        }
    }
    lines as u32
}

fn data_bits(mut word: Word, faults: &[Fault]) -> Word {
    for fault in faults {
        if let Fault::BitsExchanged(a, b) = fault {
            word = swap(word, *a, *b);
        }
    }
    for fault in faults {
        if let Fault::BitsBridged {
            first,
            second,
            low_wins,
        } = fault
        {
            word = join(word, *first, *second, *low_wins);
        }
    }
    for fault in faults {
        if let Fault::BitStuck(bit, level) = fault {
            word = hold(word, *bit, *level);
        }
    }
    word
}

fn driven_lines(wiring: &Wiring, faults: &[Fault], axis: usize, address: u32) -> Vec<u32> {
    let description = &wiring.shape().axes[axis];
    let at = axis as u8;
    let wanted = wiring.line(axis, address);
    let has = |fault: Fault| faults.contains(&fault);
    let mut lines: Vec<u32> = Vec::new();
    match description.matrix {
        None => {
            lines.extend(faults.iter().filter_map(|f| match f {
                Fault::LineOn(a, l) if *a == at && *l != wanted => Some(*l),
                _ => None,
            }));
            lines.extend((wanted < description.lines).then_some(wanted));
        }
        Some(m) if wanted < description.lines => {
            let (driver, sink) = (wanted / m.sinks, wanted % m.sinks);
            let mut drivers: Vec<u32> = Vec::new();
            let mut sinks: Vec<u32> = Vec::new();
            for fault in faults {
                match fault {
                    Fault::DriverOn(a, d) if *a == at => drivers.push(*d),
                    Fault::SinkOn(a, s) if *a == at => sinks.push(*s),
                    _ => {}
                }
            }
            if !has(Fault::DriverDead(at, driver)) && !drivers.contains(&driver) {
                drivers.push(driver);
            }
            if !has(Fault::SinkDead(at, sink)) && !sinks.contains(&sink) {
                sinks.push(sink);
            }
            lines.extend(
                drivers
                    .iter()
                    .flat_map(|d| sinks.iter().map(move |s| d * m.sinks + s)),
            );
        }
        Some(_) => {}
    }
    if !wiring.is_coincident() {
        let touched: Vec<u32> = faults
            .iter()
            .filter_map(|f| match f {
                Fault::LinesBridged(a, l) if *a == at => Some([(*l, l + 1), (l + 1, *l)]),
                _ => None,
            })
            .flatten()
            .filter(|(driven, _)| lines.contains(driven))
            .map(|(_, other)| other)
            .collect();
        lines.extend(touched);
    }
    let robbed = |line: u32| {
        wiring.is_coincident()
            && (has(Fault::LinesBridged(at, line))
                || line > 0 && has(Fault::LinesBridged(at, line - 1)))
    };
    let sneaked = |line: u32| {
        let Some(m) = description.matrix else {
            return false;
        };
        faults.iter().any(|f| match f {
            Fault::DiodeShorted(a, l) if *a == at => {
                l / m.sinks != line / m.sinks && l % m.sinks != line % m.sinks
            }
            _ => false,
        })
    };
    lines.retain(|l| !has(Fault::LineDead(at, *l)) && !robbed(*l) && !sneaked(*l));
    lines
}

fn sensed_word(wiring: &Wiring, content: &[Word], faults: &[Fault], word: u32) -> Word {
    let stored = wiring.sensed(content[word as usize]);
    let mut pulses = stored;
    let inhibit = wiring.inhibit_segment(word);
    for fault in faults {
        match fault {
            Fault::InhibitDead(bit, s) if *s == inhibit => pulses |= 1 << bit,
            Fault::InhibitOn(bit, s) if *s == inhibit => pulses &= !(1 << bit),
            _ => {}
        }
    }
    for fault in faults {
        match fault {
            Fault::Bit(a, bit, level) if *a == word => pulses = hold(pulses, *bit, *level),
            _ => {}
        }
    }
    if wiring.shape().organisation == Organisation::DiodeMatrix {
        for fault in faults {
            match fault {
                // Diodes as built decide where the sneak current can go.
                Fault::CrossingShorted(behind, bit)
                    if *behind != word && stored >> bit & 1 == 1 =>
                {
                    pulses |= wiring.sensed(content[*behind as usize]);
                }
                _ => {}
            }
        }
    }
    for fault in faults {
        match fault {
            Fault::SenseDead(bit, s) if *s == wiring.sense_segment(word) => pulses &= !(1 << bit),
            _ => {}
        }
    }
    pulses
}
