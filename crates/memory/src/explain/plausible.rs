//! Which faults can be in an explanation at all, judged once from what was read.
//!
//! The tests of stuck and bridged lines hold whatever else has failed: they ask for equalities that such a line forces
//! on every read. The others (exchanges, lines always on, shorted diodes) are judged by whether they improve more reads
//! than they spoil, and only where there are at least [`MANY_WORDS`] words, so that two other large faults cannot
//! mislead the count; smaller stores keep them all.

use std::collections::HashSet;

use super::Seen;
use super::path::{Path, Scratch};
use crate::fault::{Fault, line_faults};
use crate::shape::{Organisation, Word};
use crate::wiring::Wiring;

/// From this many words the improbable faults are left out.
pub const MANY_WORDS: usize = 64;

/// The faults that a search considers.
pub struct Plausible {
    listed: HashSet<Fault>,
    /// For each data bit, the bits that it may be exchanged with.
    pub exchanged: Vec<Vec<u8>>,
    /// For each data bit, the bits that it may touch.
    pub bridged: Vec<Vec<u8>>,
    /// Bridges and exchanges of address lines.
    pub address_pairs: Vec<Fault>,
    /// Lines always on, drivers always on, sinks always on: everything that drives more.
    pub driving_more: Vec<Fault>,
    /// Shorted selection diodes, an axis each.
    pub diodes: Vec<Fault>,
    /// Shorted diodes of a matrix; `None`: any.
    pub crossings: Option<Vec<(u32, u8)>>,
    /// What was left out because it alone spoils more than it improves; beside another fault it may still be right.
    pub doubted: Vec<Fault>,
    /// What cannot be dead unless another word is led to its reads.
    undead: Vec<Fault>,
}

impl Plausible {
    /// Judges every fault of the store.
    pub fn new(wiring: &Wiring, frames: &[Seen]) -> Self {
        let mut judge = Judge::new(wiring, frames);
        judge.data_bits();
        let (mut kept, mut doubted, mut undead) = (Vec::new(), Vec::new(), Vec::new());
        for fault in line_faults(wiring) {
            if judge.keeps(fault) {
                kept.push(fault);
            } else if matches!(
                fault,
                Fault::BitsExchanged(..) | Fault::AddressExchanged(..)
            ) {
                doubted.push(fault);
            }
        }
        judge.columns_of(&kept);
        kept.retain(|f| {
            let keeps = judge.keeps_line(*f);
            if !keeps {
                doubted.push(*f);
            }
            keeps
        });
        if !kept.iter().any(|f| moves_words(*f)) {
            let live = judge.live();
            kept.retain(|f| {
                let may = judge.may_be_dead(*f, &live);
                if !may {
                    undead.push(*f);
                }
                may
            });
        }
        let mut plausible = Self::of(wiring, kept);
        plausible.crossings = judge.crossings();
        (plausible.doubted, plausible.undead) = (doubted, undead);
        plausible
    }

    /// Takes faults in that were doubted.
    pub fn believe(&mut self, wiring: &Wiring, more: &[Fault]) {
        let mut kept: Vec<Fault> = self
            .listed
            .iter()
            .copied()
            .chain(more.iter().copied())
            .collect();
        let mut undead = std::mem::take(&mut self.undead);
        if more.iter().any(|f| moves_words(*f)) {
            kept.append(&mut undead);
        }
        kept.sort_unstable();
        kept.dedup();
        let mut doubted = std::mem::take(&mut self.doubted);
        doubted.retain(|f| !more.contains(f));
        let crossings = self.crossings.take();
        *self = Self {
            crossings,
            doubted,
            undead,
            ..Self::of(wiring, kept)
        };
    }

    /// The faults considered, in order.
    pub fn all(&self) -> Vec<Fault> {
        let mut all: Vec<Fault> = self.listed.iter().copied().collect();
        all.sort_unstable();
        all
    }

    fn of(wiring: &Wiring, kept: Vec<Fault>) -> Self {
        let mut exchanged = vec![Vec::new(); wiring.shape().bits as usize];
        let mut bridged = exchanged.clone();
        for fault in &kept {
            let (table, a, b) = match *fault {
                Fault::BitsExchanged(a, b) => (&mut exchanged, a, b),
                Fault::BitsBridged {
                    first,
                    second,
                    low_wins: true,
                } => (&mut bridged, first, second),
                _ => continue,
            };
            table[a as usize].push(b);
            table[b as usize].push(a);
        }
        let of_addresses = |f: &Fault| {
            matches!(
                f,
                Fault::AddressBridged { .. } | Fault::AddressExchanged(..)
            )
        };
        Self {
            exchanged,
            bridged,
            address_pairs: kept.iter().copied().filter(of_addresses).collect(),
            driving_more: kept
                .iter()
                .copied()
                .filter(|f| {
                    matches!(
                        f,
                        Fault::LineOn(..) | Fault::DriverOn(..) | Fault::SinkOn(..)
                    )
                })
                .collect(),
            diodes: kept
                .iter()
                .copied()
                .filter(|f| matches!(f, Fault::DiodeShorted(..)))
                .collect(),
            listed: kept.into_iter().collect(),
            crossings: None,
            doubted: Vec::new(),
            undead: Vec::new(),
        }
    }

    /// Whether a fault is considered.
    pub fn has(&self, fault: Fault) -> bool {
        self.listed.contains(&fault)
    }
}

/// Pulses seen through the lines of each axis and the sense segments, as data bits.
struct Live {
    lines: Vec<Vec<Word>>,
    segments: Vec<Word>,
}

struct Judge<'a> {
    wiring: &'a Wiring,
    frames: &'a [Seen],
    rows: Vec<(usize, u32)>,
    /// Wrong bits of each row as the store stands.
    wrong: Vec<u8>,
    /// Wrong bits of each data bit as the store stands.
    wrong_in: Vec<i64>,
    stuck: [Word; 2],
    /// Data bits that some plausible fault of the data lines or strobes could lower, raise.
    lowered: Word,
    raised: Word,
    many: bool,
}

impl<'a> Judge<'a> {
    fn new(wiring: &'a Wiring, frames: &'a [Seen]) -> Self {
        let mut rows = Vec::new();
        for (number, frame) in frames.iter().enumerate() {
            rows.extend(
                wiring
                    .addresses()
                    .iter()
                    .filter(|a| frame.known[**a as usize] != 0)
                    .map(|a| (number, *a)),
            );
        }
        let many = wiring.addresses().len() >= MANY_WORDS && rows.len() >= MANY_WORDS;
        let healthy = Path::new(wiring, &[]);
        let mut scratch = Scratch::default();
        let mut wrong = Vec::with_capacity(rows.len());
        let mut wrong_in = vec![0; wiring.shape().bits as usize];
        for (number, a) in &rows {
            let mut left = frames[*number].unexplained(&healthy, *a, &mut scratch);
            wrong.push(left.count_ones() as u8);
            while left != 0 {
                wrong_in[left.trailing_zeros() as usize] += 1;
                left &= left - 1;
            }
        }
        Self {
            wiring,
            frames,
            rows,
            wrong,
            wrong_in,
            stuck: [0; 2],
            lowered: 0,
            raised: 0,
            many,
        }
    }

    fn row(&self, (frame, a): (usize, u32)) -> (Word, Word) {
        let frame = &self.frames[frame];
        (frame.read[a as usize], frame.known[a as usize])
    }

    fn data_bits(&mut self) {
        let all = self.wiring.shape().mask();
        self.stuck = self.rows.iter().fold([all, all], |[low, high], row| {
            let (read, known) = self.row(*row);
            [low & !(read & known), high & (read | !known)]
        });
    }

    /// The judgement that needs no other.
    fn keeps(&self, fault: Fault) -> bool {
        match fault {
            Fault::BitStuck(bit, level) => self.stuck[usize::from(level)] >> bit & 1 == 1,
            Fault::BitsBridged { first, second, .. } => {
                let either_stuck =
                    (self.stuck[0] | self.stuck[1]) & (1 << first | 1 << second) != 0;
                either_stuck
                    || self.rows.iter().all(|row| {
                        let (read, known) = self.row(*row);
                        (known >> first & known >> second & 1 == 0)
                            || (read >> first ^ read >> second) & 1 == 0
                    })
            }
            Fault::BitsExchanged(a, b) => !self.many || self.exchange_helps(a, b),
            // Words that are written change between frames: only what improves a read is worth a thought.
            Fault::AddressStuck(..) | Fault::AddressBridged { .. } if self.frames.len() > 1 => {
                self.helps(fault)
            }
            Fault::AddressStuck(line, _) => self.same_reads(|a| a & !(1 << line)),
            Fault::AddressBridged {
                first,
                second,
                low_wins,
            } => {
                let both = 1 << first | 1 << second;
                self.same_reads(|a| {
                    let set = a & both;
                    let joined = if low_wins {
                        if set == both { both } else { 0 }
                    } else if set == 0 {
                        0
                    } else {
                        both
                    };
                    a & !both | joined
                }) || self.same_reads(|a| a & !(1 << first))
                    || self.same_reads(|a| a & !(1 << second))
            }
            Fault::AddressExchanged(..) => !self.many || self.helps(fault),
            _ => true,
        }
    }

    /// Whether all addresses that `class` maps to one read alike in the only frame.
    fn same_reads(&self, class: impl Fn(u32) -> u32) -> bool {
        let frame = &self.frames[0];
        self.rows.iter().all(|(_, a)| {
            let twin = class(*a) as usize;
            let a = *a as usize;
            (frame.read[a] ^ frame.read[twin]) & frame.known[a] & frame.known[twin] == 0
        })
    }

    fn exchange_helps(&self, a: u8, b: u8) -> bool {
        let keep = self.wrong_in[a as usize] + self.wrong_in[b as usize];
        let mut exchange = 0i64;
        for (number, address) in &self.rows {
            let frame = &self.frames[*number];
            if !frame.content_known[*address as usize] {
                continue;
            }
            let content = self.wiring.sensed(frame.pulses[*address as usize]);
            let (read, known) = self.row((*number, *address));
            let differ = (content >> a ^ content >> b) & 1;
            let wrong = (content ^ read ^ (differ << a | differ << b)) & known;
            exchange += (wrong >> a & 1) as i64 + (wrong >> b & 1) as i64;
            if !improves(exchange, keep) {
                return false;
            }
        }
        improves(exchange, keep)
    }

    /// Whether nothing at all was sensed in a read, apart from data bits that a data line may have raised: such a read
    /// says nothing about what would be driven too much.
    fn is_silent(&self, row: (usize, u32)) -> bool {
        let (read, known) = self.row(row);
        self.wiring.sensed(read) & known & !self.raised == 0
    }

    /// Whether a fault alone leaves fewer wrong bits than none, over the reads that it changes.
    fn helps(&self, fault: Fault) -> bool {
        let with = Path::new(self.wiring, &[fault]);
        let mut scratch = Scratch::default();
        let (mut wrong_with, mut wrong_without) = (0, 0);
        for (place, (number, a)) in self.rows.iter().enumerate() {
            if with.address_seen(*a) == *a {
                continue;
            }
            wrong_without += i64::from(self.wrong[place]);
            wrong_with += i64::from(
                self.frames[*number]
                    .unexplained(&with, *a, &mut scratch)
                    .count_ones(),
            );
        }
        if self.frames.len() > 1 {
            wrong_with < wrong_without
        } else {
            improves(wrong_with, wrong_without)
        }
    }

    /// Notes which data bits the plausible data-line faults could raise or lower.
    fn columns_of(&mut self, kept: &[Fault]) {
        let idle = self.wiring.shape().idle;
        [self.lowered, self.raised] = self.stuck;
        for fault in kept {
            match *fault {
                Fault::BitsExchanged(a, b) => {
                    self.lowered |= 1 << a | 1 << b;
                    self.raised |= 1 << a | 1 << b;
                }
                // A bridge to a stuck bit cannot be judged; to believe it here would excuse everything.
                Fault::BitsBridged {
                    first,
                    second,
                    low_wins,
                } if (self.stuck[0] | self.stuck[1]) & (1 << first | 1 << second) == 0 => {
                    *(if low_wins {
                        &mut self.lowered
                    } else {
                        &mut self.raised
                    }) |= 1 << first | 1 << second;
                }
                _ => {}
            }
        }
        // In terms of pulses, not of levels.
        if idle {
            std::mem::swap(&mut self.lowered, &mut self.raised);
        }
        for group in &self.wiring.shape().strobes {
            let quiet = self.rows.iter().all(|row| {
                let (read, known) = self.row(*row);
                self.wiring.sensed(read) & known & group & !self.raised == 0
            });
            if quiet {
                self.lowered |= group;
            }
        }
    }

    /// The judgement of lines, drivers and diodes, which the data lines can mask.
    fn keeps_line(&self, fault: Fault) -> bool {
        if !self.many {
            return true;
        }
        match fault {
            Fault::LineOn(0, line) if self.wiring.shape().axes.len() == 1 => {
                self.word_can_show_everywhere(line)
            }
            Fault::LineOn(..) | Fault::DriverOn(..) | Fault::SinkOn(..) => !self.spoils(fault),
            Fault::DiodeShorted(axis, line) => !self.diode_spoils(axis, line),
            _ => true,
        }
    }

    /// Whether a line, driver, winding or strobe can be dead, where nothing can lead another word to its reads: then no
    /// pulse may be seen through it, except on data bits that a data line may raise.
    fn may_be_dead(&self, fault: Fault, live: &Live) -> bool {
        let axes = &self.wiring.shape().axes;
        let silent = |axis: u8, on: &dyn Fn(u32) -> bool| {
            let lines = &live.lines[axis as usize];
            lines
                .iter()
                .enumerate()
                .all(|(l, bits)| !on(l as u32) || bits & !self.raised == 0)
        };
        let sinks = |axis: u8| axes[axis as usize].matrix.map_or(1, |m| m.sinks);
        match fault {
            Fault::LineDead(axis, l) => live.lines[axis as usize][l as usize] & !self.raised == 0,
            Fault::LinesBridged(axis, l) if self.wiring.is_coincident() => {
                silent(axis, &|n| n == l || n == l + 1)
            }
            Fault::DriverDead(axis, d) => silent(axis, &|n| n / sinks(axis) == d),
            Fault::SinkDead(axis, s) => silent(axis, &|n| n % sinks(axis) == s),
            Fault::SenseDead(bit, s) => live.segments[s as usize] & !self.raised & 1 << bit == 0,
            Fault::StrobeDead(group) => {
                let bits = live.segments.iter().fold(0, |all, s| all | s);
                bits & !self.raised & self.wiring.shape().strobes[group as usize] == 0
            }
            _ => true,
        }
    }

    /// Pulses seen through each line and each sense segment. Where bridged lines drive each other's words, a pulse that
    /// a neighbouring word could have given does not count.
    fn live(&self) -> Live {
        let shape = self.wiring.shape();
        let lines = shape
            .axes
            .iter()
            .map(|axis| vec![0; axis.lines as usize])
            .collect();
        let mut live = Live {
            lines,
            segments: vec![0; 1 << shape.sense_segments.len()],
        };
        for row in &self.rows {
            let (number, a) = *row;
            let (read, known) = self.row(*row);
            let mut bits = self.wiring.sensed(read) & known;
            if !self.wiring.is_coincident() {
                let line = self.wiring.line(0, a);
                let near = [
                    line.checked_sub(1),
                    Some(line + 1).filter(|l| *l < shape.axes[0].lines),
                ];
                for other in near.into_iter().flatten() {
                    bits &= !self.frames[number].pulses[self.wiring.word_where(&[other]) as usize];
                }
            }
            for (axis, lines) in live.lines.iter_mut().enumerate() {
                lines[self.wiring.line(axis, a) as usize] |= bits;
            }
            live.segments[self.wiring.sense_segment(a) as usize] |= bits;
        }
        live
    }

    fn word_can_show_everywhere(&self, line: u32) -> bool {
        let word = self.wiring.word_where(&[line]);
        if self.frames.len() != 1 || word == crate::wiring::NO_WORD {
            return true;
        }
        let heard = self.rows.iter().filter(|row| !self.is_silent(**row));
        let always = heard.fold(Word::MAX, |all, row| {
            let (read, known) = self.row(*row);
            all & (self.wiring.sensed(read) | !known)
        });
        let content = self.frames[0].pulses[word as usize];
        // Up to three bits of the word may have failed on their own.
        (content & !always & !self.lowered).count_ones() <= 3
    }

    /// Whether most of the reads that a driving fault alone would change contradict it.
    fn spoils(&self, fault: Fault) -> bool {
        let with = Path::new(self.wiring, &[fault]);
        let mut scratch = Scratch::default();
        let (mut against, mut changed) = (0, 0);
        let step = sample_step(self.rows.len(), 256);
        for (number, a) in self.rows.iter().step_by(step) {
            let frame = &self.frames[*number];
            if !frame.content_known[*a as usize] || self.is_silent((*number, *a)) {
                continue;
            }
            let content = frame.pulses[*a as usize];
            let given = with.read(&frame.pulses, *a, &mut scratch);
            let given = self.wiring.sensed(given);
            let more = given & !content;
            if more != 0 {
                changed += 1;
                let (read, known) = self.row((*number, *a));
                against += u32::from(more & known & !self.wiring.sensed(read) & !self.lowered != 0);
            }
        }
        against * 2 > changed
    }

    fn diode_spoils(&self, axis: u8, line: u32) -> bool {
        let Some(m) = self.wiring.shape().axes[axis as usize].matrix else {
            return true;
        };
        let (mut live, mut all) = (0, 0);
        let step = sample_step(self.rows.len(), 512);
        for (number, a) in self.rows.iter().step_by(step) {
            let other = self.wiring.line(axis as usize, *a);
            if other / m.sinks == line / m.sinks || other % m.sinks == line % m.sinks {
                continue;
            }
            all += 1;
            let (read, known) = self.row((*number, *a));
            live += u32::from(self.wiring.sensed(read) & known & !self.raised != 0);
        }
        live * 10 > all * 6
    }

    fn crossings(&self) -> Option<Vec<(u32, u8)>> {
        if self.wiring.shape().organisation != Organisation::DiodeMatrix || !self.many {
            return None;
        }
        let frame = &self.frames[0];
        let mut kept = Vec::new();
        for word in self.wiring.addresses() {
            let behind = frame.pulses[*word as usize];
            for bit in (0..self.wiring.shape().bits).filter(|b| behind >> b & 1 == 1) {
                if self.sneak_shows(*word, bit, behind) {
                    kept.push((*word, bit));
                }
            }
        }
        Some(kept)
    }

    fn sneak_shows(&self, word: u32, bit: u8, behind: Word) -> bool {
        let frame = &self.frames[0];
        let (mut against, mut met) = (0, 0);
        for (_, a) in &self.rows {
            let content = frame.pulses[*a as usize];
            if *a == word || content >> bit & 1 == 0 || self.is_silent((0, *a)) {
                continue;
            }
            let (read, known) = self.row((0, *a));
            let missing = behind & !self.wiring.sensed(read) & known & !self.lowered;
            met += 1;
            against += u32::from(missing != 0);
            if met == 24 {
                break;
            }
        }
        against * 10 <= met * 6
    }
}

/// Whether a change makes reads better, or at least no worse where they are bad anyway.
fn improves(with: i64, without: i64) -> bool {
    with * 100 < without * 103
}

/// Whether a fault can let the read of one word show another.
fn moves_words(fault: Fault) -> bool {
    matches!(
        fault,
        Fault::AddressStuck(..)
            | Fault::AddressBridged { .. }
            | Fault::AddressExchanged(..)
            | Fault::LineOn(..)
            | Fault::DriverOn(..)
            | Fault::SinkOn(..)
    )
}

/// A step through `rows` for about `wanted` of them; odd, so that it does not keep to one line of a square store.
fn sample_step(rows: usize, wanted: usize) -> usize {
    (rows / wanted) | 1
}
