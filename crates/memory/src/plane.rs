//! The log of a march test on a written store: which bits fail when, and what explains it.
//!
//! Reads of one step form a frame; a fault of lines, windings or cores must give every frame. Address faults of a store
//! that is written act through the writes as well, so each of them alone is replayed over the whole log, with the
//! writes that its expected words imply: a word that is expected to differ at its next read was written just after this
//! one, as in every march element that reads before it writes.

use std::collections::{BTreeMap, HashMap, HashSet};

use crate::dump::{Explanation, ranked};
use crate::explain::{Frame, Limits, explain};
use crate::fault::{Fault, line_faults};
use crate::read::LogRow;
use crate::shape::Word;
use crate::simulate::{read, selected_words};
use crate::weak::{WeakElement, weak_elements};
use crate::wiring::Wiring;

/// What had to be assumed of reads that the log does not hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Assumed {
    /// Nothing: the log holds every read of the words that it names.
    Nothing,
    /// The log holds failures only; words not listed in a step held what the listed ones should, and read right.
    OneBackground,
    /// The log holds failures only; in each step the words held a checkerboard, and those not listed read right.
    Checkerboard,
}

/// What a march log says.
#[derive(Clone, Debug, PartialEq)]
pub struct PlaneReport {
    /// Different words read.
    pub words: u64,
    /// Bits that fail steadily: whenever they should read one, or zero, or both.
    pub wrong: u64,
    /// Bits that read both ways when the same was expected.
    pub unstable: u64,
    /// What was assumed.
    pub assumed: Assumed,
    /// Explanations of the steady failures.
    pub explanations: Vec<Explanation>,
    /// No smaller explanation exists.
    pub fewest: bool,
    /// No other explanation of this size exists.
    pub complete: bool,
    /// Weak elements behind unsteady bits.
    pub weak: Vec<WeakElement>,
    /// Steadily failing bits, by address.
    pub wrong_bits: Vec<Word>,
    /// Unsteady bits, by address.
    pub unstable_bits: Vec<Word>,
}

/// Explains a march log. Rows at addresses where there is no word are left out.
pub fn explain_log(wiring: &Wiring, log: &[LogRow], limits: &Limits) -> PlaneReport {
    let here = |row: &&LogRow| {
        (row.address as usize) < wiring.space()
            && wiring.addresses().binary_search(&row.address).is_ok()
    };
    let log: Vec<LogRow> = log.iter().filter(here).cloned().collect();
    let steady = Steady::of(wiring, &log);
    let alone = replay_alone(wiring, &log);
    if !alone.is_empty() {
        return PlaneReport::replayed(wiring, &log, &steady, alone);
    }
    let failures_only = !log.is_empty() && log.iter().all(|r| r.expected != r.read);
    let assumptions: &[Assumed] = if failures_only {
        &[Assumed::OneBackground, Assumed::Checkerboard]
    } else {
        &[Assumed::Nothing]
    };
    let mut best: Option<(Assumed, Vec<Frame>, crate::explain::Explanations)> = None;
    for assumed in assumptions {
        let frames = frames_of(wiring, &log, &steady, *assumed);
        // A second assumption must do with fewer elements than the first.
        let largest = best.as_ref().map_or(limits.largest, |(_, _, b)| {
            b.sets[0].len().saturating_sub(1)
        });
        let found = explain(wiring, &frames, &Limits { largest, ..*limits });
        if !found.sets.is_empty() {
            best = Some((*assumed, frames, found));
        }
    }
    let Some((assumed, frames, found)) = best else {
        return PlaneReport::nothing(wiring);
    };
    let wrong: u64 = steady.wrong.iter().map(|w| u64::from(w.count_ones())).sum();
    let mismatches: u64 = frames
        .iter()
        .flat_map(|f| {
            wiring
                .addresses()
                .iter()
                .map(|a| u64::from(f.wrong(*a).count_ones()))
        })
        .sum();
    let mut explanations = if wrong == 0 {
        Vec::new()
    } else {
        ranked(wiring, &frames, &found.sets, mismatches)
    };
    for explanation in &mut explanations {
        // Frames count a bit in every step; what is reported counts it once.
        let left = if explanation.leaves == 0 {
            0
        } else {
            failing_bits(wiring, &frames, explanation)
        };
        explanation.leaves = left;
        explanation.explains = wrong.saturating_sub(left);
    }
    let content: Vec<Word> = vec![wiring.sensed(wiring.shape().mask()); wiring.space()];
    let (weak, _) = weak_elements(wiring, &content, &steady.unstable, &|| !(limits.go_on)());
    PlaneReport {
        words: steady.seen.iter().filter(|s| **s).count() as u64,
        wrong,
        unstable: steady
            .unstable
            .iter()
            .map(|w| u64::from(w.count_ones()))
            .sum(),
        assumed,
        explanations,
        fewest: found.fewest,
        complete: found.complete,
        weak,
        wrong_bits: steady.wrong,
        unstable_bits: steady.unstable,
    }
}

impl PlaneReport {
    fn nothing(wiring: &Wiring) -> Self {
        Self {
            words: 0,
            wrong: 0,
            unstable: 0,
            assumed: Assumed::Nothing,
            explanations: Vec::new(),
            fewest: true,
            complete: true,
            weak: Vec::new(),
            wrong_bits: vec![0; wiring.space()],
            unstable_bits: vec![0; wiring.space()],
        }
    }
}

impl PlaneReport {
    /// The report of faults that each give every row of the log by themselves.
    fn replayed(wiring: &Wiring, log: &[LogRow], steady: &Steady, alone: Vec<Fault>) -> Self {
        let mut wrong_bits = vec![0; wiring.space()];
        for row in log {
            wrong_bits[row.address as usize] |= row.expected ^ row.read;
        }
        let wrong: u64 = wrong_bits
            .iter()
            .map(|w: &Word| u64::from(w.count_ones()))
            .sum();
        let sets: Vec<Vec<Fault>> = alone.into_iter().map(|f| vec![f]).collect();
        let mut explanations = ranked(wiring, &[], &sets, wrong);
        for explanation in &mut explanations {
            explanation.parts[0].explains = wrong;
        }
        Self {
            words: steady.seen.iter().filter(|s| **s).count() as u64,
            wrong,
            explanations,
            wrong_bits,
            ..Self::nothing(wiring)
        }
    }
}

/// Bits by how they behave over the whole log.
struct Steady {
    seen: Vec<bool>,
    /// Fail whenever one level, or either, was expected.
    wrong: Vec<Word>,
    unstable: Vec<Word>,
}

impl Steady {
    fn of(wiring: &Wiring, log: &[LogRow]) -> Self {
        let space = wiring.space();
        let mask = wiring.shape().mask();
        // For each expected level: bits that read right, and bits that read wrong.
        let (mut right, mut failed) = (vec![[0 as Word; 2]; space], vec![[0 as Word; 2]; space]);
        let mut seen = vec![false; space];
        for row in log {
            let a = row.address as usize;
            seen[a] = true;
            let wrong = (row.expected ^ row.read) & mask;
            for (level, expected) in [(0, !row.expected & mask), (1, row.expected)] {
                right[a][level] |= expected & !wrong;
                failed[a][level] |= expected & wrong;
            }
        }
        let both = |a: usize| (right[a][0] & failed[a][0]) | (right[a][1] & failed[a][1]);
        let unstable: Vec<Word> = (0..space).map(both).collect();
        let wrong = (0..space)
            .map(|a| (failed[a][0] | failed[a][1]) & !unstable[a])
            .collect();
        Self {
            seen,
            wrong,
            unstable,
        }
    }
}

fn checkered(wiring: &Wiring, address: u32) -> bool {
    if wiring.is_coincident() {
        (wiring.line(0, address) + wiring.line(1, address)) % 2 == 1
    } else {
        address.count_ones() % 2 == 1
    }
}

fn frames_of(wiring: &Wiring, log: &[LogRow], steady: &Steady, assumed: Assumed) -> Vec<Frame> {
    let mask = wiring.shape().mask();
    let mut frames: Vec<Frame> = Vec::new();
    let mut place: HashMap<(String, usize, Word), usize> = HashMap::new();
    let mut met: HashMap<(&str, u32), usize> = HashMap::new();
    for row in log {
        let a = row.address as usize;
        let key = match assumed {
            Assumed::Nothing => {
                let times = met.entry((&row.step, row.address)).or_default();
                *times += 1;
                (row.step.clone(), *times, 0)
            }
            Assumed::OneBackground => (row.step.clone(), 0, row.expected),
            Assumed::Checkerboard => {
                let turned = if checkered(wiring, row.address) {
                    row.expected ^ mask
                } else {
                    row.expected
                };
                (row.step.clone(), 0, turned)
            }
        };
        let at = *place.entry(key.clone()).or_insert_with(|| {
            frames.push(match assumed {
                Assumed::Nothing => empty(wiring, &row.step),
                _ => assumed_right(wiring, &row.step, key.2, assumed == Assumed::Checkerboard),
            });
            frames.len() - 1
        });
        let frame = &mut frames[at];
        frame.content[a] = row.expected;
        frame.content_known[a] = true;
        frame.read[a] = row.read;
        frame.known[a] = mask & !steady.unstable[a];
    }
    frames
}

fn empty(wiring: &Wiring, step: &str) -> Frame {
    let space = wiring.space();
    Frame {
        name: step.to_owned(),
        content: vec![0; space],
        content_known: vec![false; space],
        read: vec![0; space],
        known: vec![0; space],
    }
}

fn assumed_right(wiring: &Wiring, step: &str, background: Word, checkerboard: bool) -> Frame {
    let mut frame = empty(wiring, step);
    for a in wiring.addresses() {
        let turned = checkerboard && checkered(wiring, *a);
        let word = if turned {
            background ^ wiring.shape().mask()
        } else {
            background
        };
        let at = *a as usize;
        frame.content[at] = word;
        frame.content_known[at] = true;
        frame.read[at] = word;
        frame.known[at] = wiring.shape().mask();
    }
    frame
}

/// Faults that change which words are written.
fn acts_through_writes(fault: Fault) -> bool {
    matches!(
        fault,
        Fault::AddressStuck(..)
            | Fault::AddressBridged { .. }
            | Fault::AddressExchanged(..)
            | Fault::LineOn(..)
            | Fault::DriverOn(..)
            | Fault::SinkOn(..)
            | Fault::LinesBridged(..)
    )
}

/// The faults that alone give every row of a log that holds all reads, writes included; none for a log without errors
/// or of failures only.
fn replay_alone(wiring: &Wiring, log: &[LogRow]) -> Vec<Fault> {
    let right = log.iter().filter(|r| r.expected == r.read).count();
    if right == 0 || right == log.len() {
        return Vec::new();
    }
    let visits = visits_of(log);
    let candidates = line_faults(wiring)
        .into_iter()
        .filter(|f| acts_through_writes(*f));
    candidates
        .filter(|f| replays(wiring, log, &visits, *f))
        .collect()
}

/// Reads of one address directly after each other.
struct Visit {
    rows: std::ops::Range<usize>,
    /// The word expected at the next visit of the address, if it is another.
    then: Option<Word>,
    /// Whether a new pass over the addresses begins here.
    begins_pass: bool,
}

fn visits_of(log: &[LogRow]) -> Vec<Visit> {
    let mut visits: Vec<Visit> = Vec::new();
    let mut in_pass: HashSet<u32> = HashSet::new();
    // Labels that stay for a while name passes; labels that change from row to row name single operations.
    let changes = |number: usize| number > 0 && log[number].step != log[number - 1].step;
    let labelled = (0..log.len()).filter(|n| changes(*n)).count() * 2 <= log.len();
    for (number, row) in log.iter().enumerate() {
        let new_label = labelled && changes(number);
        if let Some(last) = visits.last_mut()
            && log[last.rows.start].address == row.address
            && last.rows.end == number
            && !new_label
        {
            last.rows.end += 1;
            continue;
        }
        let begins_pass = !in_pass.insert(row.address) || new_label;
        if begins_pass {
            in_pass.clear();
            in_pass.insert(row.address);
        }
        visits.push(Visit {
            rows: number..number + 1,
            then: None,
            begins_pass,
        });
    }
    let mut later: HashMap<u32, Word> = HashMap::new();
    for visit in visits.iter_mut().rev() {
        let (first, last) = (&log[visit.rows.start], &log[visit.rows.end - 1]);
        visit.then = later
            .insert(first.address, first.expected)
            .filter(|w| *w != last.expected);
    }
    visits
}

/// States of the store that agree with the log so far are followed together, because the log does not tell whether the
/// words for the next pass were written at once or in a pass of their own.
fn replays(wiring: &Wiring, log: &[LogRow], visits: &[Visit], fault: Fault) -> bool {
    let faults = [fault];
    let write = |cells: &mut Vec<Word>, address: u32, word: Word| {
        for w in selected_words(wiring, &faults, address) {
            cells[w as usize] = word;
        }
    };
    let mut start: Vec<Word> = vec![0; wiring.space()];
    let mut met: BTreeMap<u32, Word> = BTreeMap::new();
    for row in log {
        met.entry(row.address).or_insert(row.expected);
    }
    for (address, word) in met {
        write(&mut start, address, word);
    }
    let mut states = vec![start];
    let mut from = 0;
    while from < visits.len() {
        let to = (from + 1..visits.len())
            .find(|v| visits[*v].begins_pass)
            .unwrap_or(visits.len());
        let pass = &visits[from..to];
        let mut after: Vec<Vec<Word>> = Vec::new();
        for state in &states {
            for at_once in [true, false] {
                let mut cells = state.clone();
                if !pass
                    .iter()
                    .all(|v| visit(wiring, log, v, &faults, &mut cells, at_once))
                {
                    continue;
                }
                if !at_once {
                    let mut pending: Vec<(u32, Word)> = pass
                        .iter()
                        .filter_map(|v| Some((log[v.rows.start].address, v.then?)))
                        .collect();
                    pending.sort_unstable();
                    pending
                        .into_iter()
                        .for_each(|(a, w)| write(&mut cells, a, w));
                }
                if !after.contains(&cells) {
                    after.push(cells);
                }
            }
        }
        after.truncate(4);
        states = after;
        from = to;
    }
    !states.is_empty()
}

/// Replays the reads of one visit; whether they are as logged.
fn visit(
    wiring: &Wiring,
    log: &[LogRow],
    visit: &Visit,
    faults: &[Fault],
    cells: &mut [Word],
    at_once: bool,
) -> bool {
    for number in visit.rows.clone() {
        let row = &log[number];
        let given = read(wiring, cells, faults, row.address);
        if given != row.read {
            return false;
        }
        let within = log[number + 1..visit.rows.end]
            .first()
            .map(|next| next.expected);
        let next = within
            .or(visit.then.filter(|_| at_once))
            .filter(|w| *w != row.expected);
        // Reading clears the cores; what was sensed is written back.
        for w in selected_words(wiring, faults, row.address) {
            cells[w as usize] = next.unwrap_or(given);
        }
    }
    true
}

fn failing_bits(wiring: &Wiring, frames: &[Frame], explanation: &Explanation) -> u64 {
    let set: Vec<Fault> = explanation.parts.iter().map(|p| p.fault).collect();
    let left = |a: &u32| {
        let at = *a as usize;
        let bits = frames.iter().fold(0, |w, f| {
            w | (read(wiring, &f.content, &set, *a) ^ f.read[at]) & f.known[at]
        });
        u64::from(bits.count_ones())
    };
    wiring.addresses().iter().map(left).sum()
}
