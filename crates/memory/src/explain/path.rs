//! The path of a read through a store with a set of faults, prepared once and then followed quickly.

use std::collections::HashMap;

use crate::fault::Fault;
use crate::shape::{DriveMatrix, Organisation, Word};
use crate::wiring::{NO_WORD, Wiring};

/// Faults of one axis.
#[derive(Default)]
struct AxisFaults {
    dead: Vec<u32>,
    on: Vec<u32>,
    bridged: Vec<u32>,
    driver_dead: Vec<u32>,
    driver_on: Vec<u32>,
    sink_dead: Vec<u32>,
    sink_on: Vec<u32>,
    shorted: Vec<u32>,
}

impl AxisFaults {
    fn is_empty(&self) -> bool {
        [
            &self.dead,
            &self.on,
            &self.bridged,
            &self.driver_dead,
            &self.driver_on,
            &self.sink_dead,
            &self.sink_on,
            &self.shorted,
        ]
        .iter()
        .all(|v| v.is_empty())
    }
}

/// A set of faults, sorted by the stage at which they act.
pub struct Path<'w> {
    wiring: &'w Wiring,
    address_high: u32,
    address_low: u32,
    address_bridges: Vec<(u8, u8, bool)>,
    address_exchanges: Vec<(u8, u8)>,
    axes: Vec<AxisFaults>,
    straight: bool,
    bits: HashMap<u32, (Word, Word)>,
    crossings: Vec<(u32, u8)>,
    inhibit_dead: Vec<Word>,
    inhibit_on: Vec<Word>,
    sense_dead: Vec<Word>,
    strobed: Word,
    data_exchanges: Vec<(u8, u8)>,
    data_bridges: Vec<(u8, u8, bool)>,
    data_high: Word,
    data_low: Word,
}

/// Room for the lines and words of one read, kept between reads.
#[derive(Default)]
pub struct Scratch {
    lines: [Vec<u32>; 2],
    /// The words that the last read selected.
    pub words: Vec<u32>,
}

impl<'w> Path<'w> {
    /// Prepares the path for a set of faults.
    pub fn new(wiring: &'w Wiring, faults: &[Fault]) -> Self {
        let shape = wiring.shape();
        let inhibits = shape
            .inhibit_segments
            .as_ref()
            .map_or(1, |by| 1 << by.len());
        let mut path = Self {
            wiring,
            address_high: 0,
            address_low: 0,
            address_bridges: Vec::new(),
            address_exchanges: Vec::new(),
            axes: shape.axes.iter().map(|_| AxisFaults::default()).collect(),
            straight: true,
            bits: HashMap::new(),
            crossings: Vec::new(),
            inhibit_dead: vec![0; inhibits],
            inhibit_on: vec![0; inhibits],
            sense_dead: vec![0; 1 << shape.sense_segments.len()],
            strobed: Word::MAX,
            data_exchanges: Vec::new(),
            data_bridges: Vec::new(),
            data_high: 0,
            data_low: 0,
        };
        for fault in faults {
            path.add(*fault);
        }
        path.straight = path.axes.iter().all(AxisFaults::is_empty)
            && path.address_bridges.is_empty()
            && path.address_exchanges.is_empty()
            && path.address_high | path.address_low == 0;
        path
    }

    fn add(&mut self, fault: Fault) {
        use Fault::*;
        match fault {
            AddressStuck(line, true) => self.address_high |= 1 << line,
            AddressStuck(line, false) => self.address_low |= 1 << line,
            AddressBridged {
                first,
                second,
                low_wins,
            } => self.address_bridges.push((first, second, low_wins)),
            AddressExchanged(a, b) => self.address_exchanges.push((a, b)),
            LineDead(axis, l) => self.axes[axis as usize].dead.push(l),
            LineOn(axis, l) => self.axes[axis as usize].on.push(l),
            LinesBridged(axis, l) => self.axes[axis as usize].bridged.push(l),
            DriverDead(axis, d) => self.axes[axis as usize].driver_dead.push(d),
            DriverOn(axis, d) => self.axes[axis as usize].driver_on.push(d),
            SinkDead(axis, s) => self.axes[axis as usize].sink_dead.push(s),
            SinkOn(axis, s) => self.axes[axis as usize].sink_on.push(s),
            DiodeShorted(axis, l) => self.axes[axis as usize].shorted.push(l),
            Bit(word, bit, level) => {
                let (high, low) = self.bits.entry(word).or_default();
                *(if level { high } else { low }) |= 1 << bit;
            }
            CrossingShorted(word, bit) => self.crossings.push((word, bit)),
            InhibitDead(bit, s) => self.inhibit_dead[s as usize] |= 1 << bit,
            InhibitOn(bit, s) => self.inhibit_on[s as usize] |= 1 << bit,
            SenseDead(bit, s) => self.sense_dead[s as usize] |= 1 << bit,
            StrobeDead(group) => self.strobed &= !self.wiring.shape().strobes[group as usize],
            BitsExchanged(a, b) => self.data_exchanges.push((a, b)),
            BitsBridged {
                first,
                second,
                low_wins,
            } => self.data_bridges.push((first, second, low_wins)),
            BitStuck(bit, true) => self.data_high |= 1 << bit,
            BitStuck(bit, false) => self.data_low |= 1 << bit,
        }
    }

    /// The wiring that the faults are in.
    pub fn wiring(&self) -> &'w Wiring {
        self.wiring
    }

    /// Levels of the address lines as they leave their drivers, after stuck lines.
    pub fn address_driven(&self, address: u32) -> u32 {
        (address | self.address_high) & !self.address_low
    }

    /// Levels after bridges.
    pub fn address_bridged(&self, address: u32) -> u32 {
        let mut lines = self.address_driven(address);
        for (a, b, low_wins) in &self.address_bridges {
            let (x, y) = (lines >> a & 1, lines >> b & 1);
            let level = if *low_wins { x & y } else { x | y };
            lines = lines & !(1 << a | 1 << b) | level << a | level << b;
        }
        lines
    }

    /// Levels that the decoders see.
    pub fn address_seen(&self, address: u32) -> u32 {
        let mut lines = self.address_bridged(address);
        for (a, b) in &self.address_exchanges {
            let differ = (lines >> a ^ lines >> b) & 1;
            lines ^= differ << a | differ << b;
        }
        lines
    }

    /// Fills `scratch.words` with the words that an address selects.
    pub fn select(&self, address: u32, scratch: &mut Scratch) {
        scratch.words.clear();
        if self.straight {
            scratch.words.push(address);
            return;
        }
        let seen = self.address_seen(address);
        for axis in 0..self.axes.len() {
            self.drive(axis, seen, &mut scratch.lines[axis]);
        }
        let wiring = self.wiring;
        if self.axes.len() == 1 {
            scratch
                .words
                .extend(scratch.lines[0].iter().map(|l| wiring.word_where(&[*l])));
        } else {
            for x in &scratch.lines[0] {
                scratch.words.extend(
                    scratch.lines[1]
                        .iter()
                        .map(|y| wiring.word_where(&[*x, *y])),
                );
            }
        }
        scratch.words.retain(|w| *w != NO_WORD);
    }

    fn drive(&self, axis: usize, seen: u32, lines: &mut Vec<u32>) {
        let faults = &self.axes[axis];
        let description = &self.wiring.shape().axes[axis];
        self.drive_from_ends(axis, seen, lines);
        if !faults.bridged.is_empty() {
            self.bridge(faults, lines);
        }
        if let (Some(m), false) = (description.matrix, faults.shorted.is_empty()) {
            let sneaks = |l: u32, s: u32| l / m.sinks != s / m.sinks && l % m.sinks != s % m.sinks;
            lines.retain(|l| !faults.shorted.iter().any(|s| sneaks(*l, *s)));
        }
        if !faults.dead.is_empty() {
            lines.retain(|l| !faults.dead.contains(l));
        }
    }

    /// Lines of an axis that decoder, drivers and sinks drive, whether or not anything comes through: these are what a
    /// bridge can lead on.
    pub fn driven_lines(&self, axis: usize, address: u32) -> Vec<u32> {
        let mut lines = Vec::new();
        self.drive_from_ends(axis, self.address_seen(address), &mut lines);
        lines
    }

    fn drive_from_ends(&self, axis: usize, seen: u32, lines: &mut Vec<u32>) {
        lines.clear();
        let faults = &self.axes[axis];
        let description = &self.wiring.shape().axes[axis];
        let wanted = self.wiring.line(axis, seen);
        match description.matrix {
            None => {
                lines.extend(&faults.on);
                if wanted < description.lines && !faults.on.contains(&wanted) {
                    lines.push(wanted);
                }
            }
            Some(m) if wanted < description.lines => self.drive_matrix(faults, m, wanted, lines),
            Some(_) => {}
        }
    }

    fn drive_matrix(&self, faults: &AxisFaults, m: DriveMatrix, wanted: u32, lines: &mut Vec<u32>) {
        let (driver, sink) = (wanted / m.sinks, wanted % m.sinks);
        let drives = (!faults.driver_dead.contains(&driver)).then_some(driver);
        let sinks = (!faults.sink_dead.contains(&sink)).then_some(sink);
        let drivers = faults
            .driver_on
            .iter()
            .copied()
            .chain(drives.filter(|d| !faults.driver_on.contains(d)));
        for d in drivers {
            let sinks = faults
                .sink_on
                .iter()
                .copied()
                .chain(sinks.filter(|s| !faults.sink_on.contains(s)));
            lines.extend(sinks.map(|s| d * m.sinks + s));
        }
    }

    fn bridge(&self, faults: &AxisFaults, lines: &mut Vec<u32>) {
        if self.wiring.is_coincident() {
            lines.retain(|l| !faults.bridged.iter().any(|b| b == l || b + 1 == *l));
            return;
        }
        let before = lines.len();
        for b in &faults.bridged {
            let (low, high) = (
                lines[..before].contains(b),
                lines[..before].contains(&(b + 1)),
            );
            if low && !high {
                lines.push(b + 1);
            } else if high && !low {
                lines.push(*b);
            }
        }
    }

    /// What one word gives to the sense amplifiers.
    pub fn pulses(&self, content: &[Word], word: u32) -> Word {
        let stored = content[word as usize];
        let inhibit = self.wiring.inhibit_segment(word) as usize;
        let mut pulses = (stored | self.inhibit_dead[inhibit]) & !self.inhibit_on[inhibit];
        if let Some((high, low)) = self.bits.get(&word) {
            pulses = (pulses | high) & !low;
        }
        for (behind, bit) in &self.crossings {
            if *behind != word && stored >> bit & 1 == 1 {
                pulses |= content[*behind as usize];
            }
        }
        pulses & !self.sense_dead[self.wiring.sense_segment(word) as usize]
    }

    /// What the selected words give together, after strobes; `scratch.words` must be filled.
    pub fn sensed(&self, content: &[Word], scratch: &Scratch) -> Word {
        scratch
            .words
            .iter()
            .fold(0, |all, w| all | self.pulses(content, *w))
            & self.strobed
    }

    /// Data bits after exchanges.
    pub fn data_exchanged(&self, mut word: Word) -> Word {
        for (a, b) in &self.data_exchanges {
            let differ = (word >> a ^ word >> b) & 1;
            word ^= differ << a | differ << b;
        }
        word
    }

    /// The word that comes out, from what was sensed.
    pub fn delivered(&self, sensed: Word) -> Word {
        let mut word = self.data_exchanged(self.wiring.sensed(sensed));
        for (a, b, low_wins) in &self.data_bridges {
            let (x, y) = (word >> a & 1, word >> b & 1);
            let level = if *low_wins { x & y } else { x | y };
            word = word & !(1 << a | 1 << b) | level << a | level << b;
        }
        (word | self.data_high) & !self.data_low
    }

    /// The word read at an address; `content` as sensed, by address.
    pub fn read(&self, content: &[Word], address: u32, scratch: &mut Scratch) -> Word {
        self.select(address, scratch);
        self.delivered(self.sensed(content, scratch))
    }

    /// The data bit exchanged or, at the later stage, bridged with this one.
    pub fn bridged_with(&self, bit: u8) -> Option<u8> {
        partner(self.data_bridges.iter().map(|(a, b, _)| (*a, *b)), bit)
    }

    /// The data bit that this one is exchanged with.
    pub fn exchanged_with(&self, bit: u8) -> Option<u8> {
        partner(self.data_exchanges.iter().copied(), bit)
    }

    /// Whether a data bit is held at its last stage.
    pub fn is_stuck(&self, bit: u8) -> bool {
        (self.data_high | self.data_low) >> bit & 1 == 1
    }

    /// Whether the strobe of a data bit comes.
    pub fn is_strobed(&self, bit: u8) -> bool {
        self.strobed >> bit & 1 == 1
    }

    /// Whether the sense line of a data bit is dead where a word lies.
    pub fn is_sense_dead(&self, bit: u8, word: u32) -> bool {
        self.sense_dead[self.wiring.sense_segment(word) as usize] >> bit & 1 == 1
    }

    /// Whether the store is a diode matrix.
    pub fn is_diode_matrix(&self) -> bool {
        self.wiring.shape().organisation == Organisation::DiodeMatrix
    }
}

fn partner(mut pairs: impl Iterator<Item = (u8, u8)>, bit: u8) -> Option<u8> {
    pairs.find_map(|(a, b)| {
        if a == bit {
            Some(b)
        } else {
            (b == bit).then_some(a)
        }
    })
}
