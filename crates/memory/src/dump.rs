//! Reads of a store held against what it should hold: what is wrong, what is unsteady, and what explains it.

use std::collections::BTreeMap;

use crate::element::{Element, elements_of, position, prior_of};
use crate::explain::{Frame, Limits, explain};
use crate::fault::Fault;
use crate::shape::Word;
use crate::simulate::{read, selected_words};
use crate::votes::{Dump, Votes};
use crate::weak::{WeakElement, weak_elements};
use crate::wiring::Wiring;

/// One element of an explanation.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// What it does.
    pub fault: Fault,
    /// The kind of difference, in words.
    pub class: &'static str,
    /// Its possible names, the likeliest first; no read tells them apart.
    pub names: Vec<Element>,
    /// Wrong bits that stay unexplained if it is left out.
    pub explains: u64,
    /// Where it lies on the picture, if the shape file says.
    pub position: Option<Vec<(f64, f64)>>,
}

/// A set of failed elements that gives what was read.
#[derive(Clone, Debug, PartialEq)]
pub struct Explanation {
    /// Its elements.
    pub parts: Vec<Part>,
    /// Wrong bits that it explains.
    pub explains: u64,
    /// Wrong bits that it leaves, and right bits that it would spoil.
    pub leaves: u64,
    /// How likely it is among the explanations given, by how often such elements fail.
    pub probability: f64,
    /// Explanations of one group give the same reads: only other content, or a meter, can separate them.
    pub group: usize,
}

/// What reads against a reference say.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// Words that both sides hold.
    pub words: u64,
    /// Bits that read steadily otherwise than the reference.
    pub wrong: u64,
    /// Bits on which the reads disagree.
    pub unstable: u64,
    /// Of these, bits whose majority is not the reference.
    pub unstable_wrong: u64,
    /// Words read as all zeros that should not be, without those that the shape file allows.
    pub zero_words: Vec<u32>,
    /// Explanations of the steadily wrong bits, the likeliest first.
    pub explanations: Vec<Explanation>,
    /// No smaller explanation exists.
    pub fewest: bool,
    /// No other explanation of this size exists.
    pub complete: bool,
    /// Weak elements that explain the unsteady bits.
    pub weak: Vec<WeakElement>,
    /// Steadily wrong bits by address.
    pub wrong_bits: Vec<Word>,
    /// Unsteady bits by address.
    pub unstable_bits: Vec<Word>,
    /// How the reads fell, bit by bit.
    pub votes: Votes,
}

/// Explanations that are worked out in full at most.
const MOST_LISTED: usize = 60;

/// Holds the reads of one store against a reference.
pub fn compare(wiring: &Wiring, reads: &[Dump], reference: &Dump, limits: &Limits) -> Comparison {
    let votes = Votes::count(wiring, reads);
    let frame = frame_of(wiring, &votes, reference);
    let space = wiring.space();
    let (mut words, mut wrong, mut unstable_wrong) = (0, 0, 0);
    let mut wrong_bits = vec![0; space];
    let mut zero_words = Vec::new();
    for a in wiring.addresses() {
        let at = *a as usize;
        if votes.reads[at] == 0 || !frame.content_known[at] {
            continue;
        }
        words += 1;
        wrong_bits[at] = frame.wrong(*a);
        wrong += u64::from(wrong_bits[at].count_ones());
        let majority_wrong =
            (votes.majority[at] ^ frame.content[at]) & votes.unstable[at] & !votes.tied[at];
        unstable_wrong += u64::from(majority_wrong.count_ones());
        let reads_zero = votes.majority[at] == 0 && votes.unstable[at] == 0;
        if reads_zero && frame.content[at] != 0 && !wiring.shape().zero_words.contains(a) {
            zero_words.push(*a);
        }
    }
    let found = explain(wiring, std::slice::from_ref(&frame), limits);
    // A bit that is unsteady gives a pulse at least now and then.
    let firing: Vec<Word> = (0..space)
        .map(|a| wiring.sensed(wiring.sensed(frame.content[a]) | votes.unstable[a]))
        .collect();
    let (weak, _) = weak_elements(wiring, &firing, &votes.unstable, &|| !(limits.go_on)());
    let explanations = if wrong == 0 {
        Vec::new()
    } else {
        ranked(wiring, std::slice::from_ref(&frame), &found.sets, wrong)
    };
    Comparison {
        words,
        wrong,
        unstable: votes.unstable_count(),
        unstable_wrong,
        zero_words,
        explanations,
        fewest: found.fewest,
        complete: found.complete,
        weak,
        wrong_bits,
        unstable_bits: votes.unstable.clone(),
        votes,
    }
}

fn frame_of(wiring: &Wiring, votes: &Votes, reference: &Dump) -> Frame {
    let space = wiring.space();
    let at = |a: usize| reference.words.get(a).copied().flatten();
    let mut known = vec![0; space];
    for a in wiring.addresses() {
        if at(*a as usize).is_some() {
            known[*a as usize] = votes.steady(*a);
        }
    }
    Frame {
        name: String::new(),
        content: (0..space).map(|a| at(a).unwrap_or(0)).collect(),
        content_known: (0..space).map(|a| at(a).is_some()).collect(),
        read: votes.majority.clone(),
        known,
    }
}

/// Orders sets of faults by how often such elements fail, and replays each with the plain simulator.
pub(crate) fn ranked(
    wiring: &Wiring,
    frames: &[Frame],
    sets: &[Vec<Fault>],
    wrong: u64,
) -> Vec<Explanation> {
    let odds = |set: &Vec<Fault>| set.iter().map(|f| prior_of(wiring, *f).ln()).sum::<f64>();
    let mut ordered: Vec<(f64, &Vec<Fault>)> = sets.iter().map(|s| (odds(s), s)).collect();
    ordered.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.cmp(b.1)));
    let best = ordered.first().map_or(0.0, |(o, _)| *o);
    let total: f64 = ordered.iter().map(|(o, _)| (o - best).exp()).sum();
    ordered
        .iter()
        .take(MOST_LISTED)
        .map(|(o, set)| {
            let unlike = mismatch(wiring, frames, set);
            Explanation {
                parts: parts(wiring, frames, set, unlike),
                explains: wrong.saturating_sub(unlike),
                leaves: unlike,
                probability: (o - best).exp() / total,
                // All that is listed replays to the very same reads.
                group: 0,
            }
        })
        .collect()
}

fn mismatch(wiring: &Wiring, frames: &[Frame], set: &[Fault]) -> u64 {
    let mut single: BTreeMap<u32, Vec<Fault>> = BTreeMap::new();
    let mut others: Vec<Fault> = Vec::new();
    for fault in set {
        match fault {
            Fault::Bit(word, ..) if set.len() > MOST_LEFT_OUT => {
                single.entry(*word).or_default().push(*fault);
            }
            _ => others.push(*fault),
        }
    }
    let mut count = 0;
    for frame in frames {
        for a in wiring
            .addresses()
            .iter()
            .filter(|a| frame.known[**a as usize] != 0)
        {
            let at = *a as usize;
            let given = if single.is_empty() {
                read(wiring, &frame.content, set, *a)
            } else {
                // Of thousands of single bits only those of the words that are selected matter to a read.
                let mut near = others.clone();
                for word in selected_words(wiring, &others, *a) {
                    near.extend(single.get(&word).into_iter().flatten());
                }
                read(wiring, &frame.content, &near, *a)
            };
            count += u64::from(((given ^ frame.read[at]) & frame.known[at]).count_ones());
        }
    }
    count
}

/// More elements than this are not each left out in turn: every one is a bit of its own then.
const MOST_LEFT_OUT: usize = 12;

fn parts(wiring: &Wiring, frames: &[Frame], set: &[Fault], unlike: u64) -> Vec<Part> {
    let mut parts: Vec<Part> = set
        .iter()
        .enumerate()
        .map(|(n, fault)| {
            let without: Vec<Fault> = set
                .iter()
                .enumerate()
                .filter(|(m, _)| *m != n)
                .map(|(_, f)| *f)
                .collect();
            let explains = match fault {
                Fault::Bit(..) if set.len() > MOST_LEFT_OUT => 1,
                _ if set.len() > MOST_LEFT_OUT * 20 => 1,
                _ => mismatch(wiring, frames, &without).saturating_sub(unlike),
            };
            Part {
                fault: *fault,
                class: class_of(*fault),
                names: elements_of(wiring, *fault),
                explains,
                position: position(wiring, *fault),
            }
        })
        .collect();
    parts.sort_by_key(|p| std::cmp::Reverse(p.explains));
    parts
}

/// The kind of difference that a fault makes, in words.
pub fn class_of(fault: Fault) -> &'static str {
    match fault {
        Fault::AddressStuck(..) => "stuck address line",
        Fault::AddressBridged { .. } => "bridged address lines",
        Fault::AddressExchanged(..) => "exchanged address lines",
        Fault::LineDead(..) | Fault::DriverDead(..) | Fault::SinkDead(..) => "missing words",
        Fault::LineOn(..) | Fault::DriverOn(..) | Fault::SinkOn(..) => "wrong decoder output",
        Fault::LinesBridged(..) => "bridged lines",
        Fault::DiodeShorted(..) => "robbed selection",
        Fault::Bit(..) => "single bit",
        Fault::CrossingShorted(..) => "pattern dependent",
        Fault::InhibitDead(..) | Fault::InhibitOn(..) => "writing",
        Fault::SenseDead(..) => "sensing",
        Fault::StrobeDead(..) => "strobing",
        Fault::BitsExchanged(..) => "exchanged data lines",
        Fault::BitsBridged { .. } => "bridged data lines",
        Fault::BitStuck(..) => "stuck data line",
    }
}
