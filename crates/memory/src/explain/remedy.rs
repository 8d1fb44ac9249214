//! The faults on the path of one bit of one read that could turn it.
//!
//! If a set of further faults turns the bit, at least one of them is listed here. Faults that can only raise a bit are
//! left out where it must fall, and the other way about: what can only raise cannot make a set that lowers.

use super::path::{Path, Scratch};
use super::plausible::Plausible;
use crate::fault::Fault;
use crate::shape::Word;

/// One bit that a set of faults leaves unexplained.
#[derive(Clone, Copy, Debug)]
pub struct Turn {
    /// The address read.
    pub address: u32,
    /// The data bit.
    pub bit: u8,
    /// What was read.
    pub want: bool,
}

/// Lists the remedies of one bit into `out`; some may stand there twice.
pub fn remedies(
    path: &Path,
    pulses: &[Word],
    turn: Turn,
    plausible: &Plausible,
    scratch: &mut Scratch,
    out: &mut Vec<Fault>,
) {
    out.clear();
    if path.is_stuck(turn.bit) {
        return;
    }
    let shape = path.wiring().shape();
    path.select(turn.address, scratch);
    let columns = data_lines(path, turn, plausible, out);
    let raise = turn.want ^ shape.idle;
    for column in columns {
        if raise {
            raise_column(path, pulses, column, scratch, plausible, out);
        } else {
            lower_column(path, pulses, column, scratch, plausible, out);
        }
    }
    if raise {
        drive_more(path, turn.address, plausible, out);
    } else {
        drive_less(path, scratch, plausible, out);
    }
    address_lines(path, turn.address, plausible, out);
}

/// Remedies in the data lines, and the sense columns that feed the bit.
fn data_lines(path: &Path, turn: Turn, plausible: &Plausible, out: &mut Vec<Fault>) -> Vec<u8> {
    let stuck = Fault::BitStuck(turn.bit, turn.want);
    if plausible.has(stuck) {
        out.push(stuck);
    }
    let mut columns = vec![turn.bit];
    match path.bridged_with(turn.bit) {
        Some(other) => columns.push(other),
        None => {
            let free = plausible.bridged[turn.bit as usize]
                .iter()
                .filter(|b| path.bridged_with(**b).is_none());
            out.extend(free.map(|other| Fault::BitsBridged {
                first: turn.bit.min(*other),
                second: turn.bit.max(*other),
                low_wins: !turn.want,
            }));
        }
    }
    for column in &mut columns {
        match path.exchanged_with(*column) {
            Some(other) => *column = other,
            None => {
                let free = plausible.exchanged[*column as usize]
                    .iter()
                    .filter(|b| path.exchanged_with(**b).is_none());
                out.extend(free.map(|other| {
                    Fault::BitsExchanged((*column).min(*other), (*column).max(*other))
                }));
            }
        }
    }
    columns
}

fn lower_column(
    path: &Path,
    pulses: &[Word],
    column: u8,
    scratch: &Scratch,
    plausible: &Plausible,
    out: &mut Vec<Fault>,
) {
    let wiring = path.wiring();
    if path.is_strobed(column) {
        let groups = wiring
            .shape()
            .strobes
            .iter()
            .enumerate()
            .filter(|(_, g)| *g >> column & 1 == 1);
        out.extend(
            groups
                .map(|(number, _)| Fault::StrobeDead(number as u8))
                .filter(|f| plausible.has(*f)),
        );
    }
    for word in &scratch.words {
        if path.pulses(pulses, *word) >> column & 1 == 0 {
            continue;
        }
        let sense = Fault::SenseDead(column, wiring.sense_segment(*word));
        if plausible.has(sense) {
            out.push(sense);
        }
        out.push(Fault::Bit(*word, column, false));
        if wiring
            .shape()
            .inhibit_segments
            .as_ref()
            .is_some_and(|by| *by != wiring.shape().sense_segments)
        {
            out.push(Fault::InhibitOn(column, wiring.inhibit_segment(*word)));
        }
    }
}

fn raise_column(
    path: &Path,
    pulses: &[Word],
    column: u8,
    scratch: &Scratch,
    plausible: &Plausible,
    out: &mut Vec<Fault>,
) {
    if !path.is_strobed(column) {
        return;
    }
    let wiring = path.wiring();
    for word in scratch
        .words
        .iter()
        .filter(|w| !path.is_sense_dead(column, **w))
    {
        out.push(Fault::Bit(*word, column, true));
        if wiring.shape().inhibit_segments.is_some() {
            out.push(Fault::InhibitDead(column, wiring.inhibit_segment(*word)));
        }
        if !path.is_diode_matrix() {
            continue;
        }
        let stored = pulses[*word as usize];
        let sneaks = |behind: u32, bit: u8| {
            behind != *word
                && stored >> bit & 1 == 1
                && pulses[behind as usize] >> bit & 1 == 1
                && pulses[behind as usize] >> column & 1 == 1
        };
        match &plausible.crossings {
            Some(listed) => {
                out.extend(
                    listed
                        .iter()
                        .filter(|(w, b)| sneaks(*w, *b))
                        .map(|(w, b)| Fault::CrossingShorted(*w, *b)),
                );
            }
            None => {
                for behind in wiring.addresses() {
                    let bits = (0..wiring.shape().bits).filter(|b| sneaks(*behind, *b));
                    out.extend(bits.map(|b| Fault::CrossingShorted(*behind, b)));
                }
            }
        }
    }
}

fn drive_more(path: &Path, address: u32, plausible: &Plausible, out: &mut Vec<Fault>) {
    out.extend(&plausible.driving_more);
    let wiring = path.wiring();
    if !wiring.is_coincident() {
        let lines = wiring.shape().axes[0].lines;
        for line in path.driven_lines(0, address) {
            out.extend(touching(line, lines, 0));
        }
    }
}

fn touching(line: u32, lines: u32, axis: u8) -> impl Iterator<Item = Fault> {
    let below = (line > 0).then(|| Fault::LinesBridged(axis, line - 1));
    let above = (line + 1 < lines).then_some(Fault::LinesBridged(axis, line));
    below.into_iter().chain(above)
}

fn drive_less(path: &Path, scratch: &Scratch, plausible: &Plausible, out: &mut Vec<Fault>) {
    let wiring = path.wiring();
    for word in &scratch.words {
        for (number, axis) in wiring.shape().axes.iter().enumerate() {
            let (at, line) = (number as u8, wiring.line(number, *word));
            let mut consider = |fault: Fault| {
                if plausible.has(fault) {
                    out.push(fault);
                }
            };
            consider(Fault::LineDead(at, line));
            if wiring.is_coincident() {
                touching(line, axis.lines, at).for_each(&mut consider);
            }
            if let Some(m) = axis.matrix {
                consider(Fault::DriverDead(at, line / m.sinks));
                consider(Fault::SinkDead(at, line % m.sinks));
            }
        }
    }
    let sneaks = |fault: &&Fault| match **fault {
        Fault::DiodeShorted(axis, shorted) => {
            let Some(m) = wiring.shape().axes[axis as usize].matrix else {
                return false;
            };
            scratch.words.iter().any(|w| {
                let line = wiring.line(axis as usize, *w);
                line / m.sinks != shorted / m.sinks && line % m.sinks != shorted % m.sinks
            })
        }
        _ => false,
    };
    out.extend(plausible.diodes.iter().filter(sneaks));
}

fn address_lines(path: &Path, address: u32, plausible: &Plausible, out: &mut Vec<Fault>) {
    let lines = path.wiring().shape().address_bits;
    let (driven, bridged) = (path.address_driven(address), path.address_bridged(address));
    for line in 0..lines {
        let stuck = Fault::AddressStuck(line, driven >> line & 1 == 0);
        if plausible.has(stuck) {
            out.push(stuck);
        }
    }
    let acts = |fault: &&Fault| match **fault {
        Fault::AddressBridged { first, second, .. } => {
            (driven >> first ^ driven >> second) & 1 == 1
        }
        Fault::AddressExchanged(first, second) => (bridged >> first ^ bridged >> second) & 1 == 1,
        _ => false,
    };
    out.extend(plausible.address_pairs.iter().filter(acts));
}
