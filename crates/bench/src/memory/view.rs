//! View data of a store: counts, explanations with every name their elements may have, weak elements, maps of bits.

use ::memory::dump::{Comparison, Explanation};
use ::memory::fault::Fault;
use ::memory::next::measurements;
use ::memory::plane::{Assumed, PlaneReport};
use ::memory::shape::Word;
use ::memory::votes::{BitVote, Votes};
use ::memory::weak::WeakElement;
use ::memory::wiring::Wiring;
use serde::Serialize;

use crate::refused::Complaint;

/// What was found in a store.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct StoreView {
    /// Words that were compared.
    pub words: u64,
    /// Data bits of a word.
    pub bits: u8,
    /// Bits that read steadily otherwise than they should.
    pub wrong: u64,
    /// Bits on which reads disagree.
    pub unstable: u64,
    /// Sets of elements that explain the wrong bits, the likeliest first.
    pub explanations: Vec<ExplanationView>,
    /// Weak elements that explain the unsteady bits.
    pub weak: Vec<WeakView>,
    /// What to measure next.
    pub next: Vec<MeasurementView>,
    /// No explanation of fewer elements exists.
    pub fewest: bool,
    /// No other explanation of this size exists.
    pub complete: bool,
    /// What the reads were held against.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub held_against: Option<String>,
    /// What the reader should know of how the files were used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Of a store that can be written: to keep its reads first.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reminder: Option<&'static str>,
    /// Words that read as all zeros and should not.
    pub zero_words: Vec<u32>,
    /// Words with wrong or unsteady bits.
    pub map: Vec<MapRow>,
    /// Lines that were skipped.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub skipped: Vec<Complaint>,
}

/// One word of the map of bits.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MapRow {
    /// The address.
    pub address: u32,
    /// The lines that select it: word, or X and Y.
    pub lines: Vec<u32>,
    /// Wrong data bits.
    pub wrong: Vec<u8>,
    /// Unsteady data bits.
    pub unstable: Vec<u8>,
    /// How the reads of the unsteady bits fell; empty for march logs.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub votes: Vec<VoteView>,
}

/// How the reads of one bit fell.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct VoteView {
    /// The data bit.
    pub bit: u8,
    /// The reads, where it is not plain.
    #[serde(rename = "in", skip_serializing_if = "Option::is_none")]
    pub of: Option<String>,
    /// How often it was read.
    pub reads: u32,
    /// How often as 1.
    pub ones: u32,
    /// What most reads say; none if they are halved.
    pub majority: Option<u8>,
    /// Probability that the majority is not what the bit reads more often in the long run.
    pub doubt: Option<f64>,
    /// Where its share of ones lies, with a confidence of 95 in 100.
    pub low: f64,
    /// The upper end.
    pub high: f64,
}

fn vote(bit: u8, vote: BitVote, of: Option<&str>) -> VoteView {
    let (low, high) = vote.chance_of_one(0.95);
    VoteView {
        bit,
        of: of.map(str::to_owned),
        reads: vote.reads,
        ones: vote.ones,
        majority: vote.majority().map(u8::from),
        doubt: vote.doubt(),
        low,
        high,
    }
}

/// One explanation.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ExplanationView {
    /// Failed elements.
    pub elements: Vec<String>,
    /// Wrong bits that it explains.
    pub explains: u64,
    /// Wrong bits that it leaves.
    pub leaves: u64,
    /// How likely it is among those listed.
    pub probability: f64,
    /// Explanations of one group differ only in names that no read can tell apart.
    pub group: usize,
    /// The reads whose store would have failed, where it is not plain.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub blames: Option<String>,
    /// Each element with what it explains.
    pub parts: Vec<PartView>,
    /// The faults behind the names.
    #[serde(skip)]
    pub(crate) faults: Vec<Fault>,
}

/// One element of an explanation.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartView {
    /// Its name.
    pub element: String,
    /// The kind of difference.
    pub class: &'static str,
    /// Wrong bits that stay if it is left out.
    pub explains: u64,
    /// Its place on the picture: a point, or the ends of a line.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub position: Option<Vec<(f64, f64)>>,
}

/// A weak element.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WeakView {
    /// Its name.
    pub element: String,
    /// The reads in which it is weak, where it is not plain.
    #[serde(rename = "in", skip_serializing_if = "Option::is_none")]
    pub of: Option<String>,
    /// Other names for the same bits.
    pub alternatives: Vec<String>,
    /// Unsteady bits that it explains.
    pub explains: u64,
    /// Bits that it could make unsteady.
    #[serde(rename = "of")]
    pub could: u64,
}

/// What to measure next.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MeasurementView {
    /// What must stand before it.
    pub before: Vec<String>,
    /// What to do.
    pub what: String,
    /// Each outcome and the groups of explanations, or the elements, that it speaks for.
    pub outcomes: Vec<(String, Vec<usize>)>,
    /// Expected information.
    pub bits: f64,
}

fn bit_numbers(word: Word) -> Vec<u8> {
    (0..128).filter(|b| word >> b & 1 == 1).collect()
}

/// Rows of words with wrong or unsteady bits. Votes come with the name of their side where there are two.
fn map(
    wiring: &Wiring,
    wrong: &[Word],
    unstable: &[(Option<&str>, &[Word], Option<&Votes>)],
) -> Vec<MapRow> {
    let axes = wiring.shape().axes.len();
    let row = |a: &u32| {
        let at = *a as usize;
        let unsteady = unstable.iter().fold(0, |all, (_, bits, _)| all | bits[at]);
        let votes = unstable.iter().flat_map(|(of, bits, votes)| {
            let each = bit_numbers(bits[at]).into_iter();
            each.filter_map(move |b| Some(vote(b, votes.as_ref()?.bit(*a, b), *of)))
        });
        (wrong[at] | unsteady != 0).then(|| MapRow {
            address: *a,
            lines: (0..axes).map(|axis| wiring.line(axis, *a)).collect(),
            wrong: bit_numbers(wrong[at]),
            unstable: bit_numbers(unsteady),
            votes: votes.collect(),
        })
    };
    wiring.addresses().iter().filter_map(row).collect()
}

fn weak(list: &[WeakElement], of: Option<&str>) -> Vec<WeakView> {
    let view = |w: &WeakElement| WeakView {
        element: w.name.clone(),
        of: of.map(str::to_owned),
        alternatives: w.alternatives.clone(),
        explains: w.explains,
        could: w.could_touch,
    };
    list.iter().map(view).collect()
}

impl StoreView {
    /// The view of a comparison, still without explanations.
    pub(super) fn of(wiring: &Wiring, found: &Comparison) -> Self {
        Self {
            words: found.words,
            bits: wiring.shape().bits,
            wrong: found.wrong,
            unstable: found.unstable,
            weak: weak(&found.weak, None),
            fewest: found.fewest,
            complete: found.complete,
            zero_words: found.zero_words.clone(),
            map: map(
                wiring,
                &found.wrong_bits,
                &[(None, &found.unstable_bits, Some(&found.votes))],
            ),
            ..Self::default()
        }
    }

    /// The view of two sides that are held against each other, still without explanations.
    pub(super) fn of_both(wiring: &Wiring, both: &[(String, Comparison)]) -> Self {
        let Some((_, first)) = both.first() else {
            return Self::default();
        };
        let sides: Vec<_> = both
            .iter()
            .map(|(name, c)| (Some(name.as_str()), &c.unstable_bits[..], Some(&c.votes)))
            .collect();
        Self {
            unstable: both.iter().map(|(_, c)| c.unstable).sum(),
            weak: both
                .iter()
                .flat_map(|(name, c)| weak(&c.weak, Some(name)))
                .collect(),
            map: map(wiring, &first.wrong_bits, &sides),
            ..Self::of(wiring, first)
        }
    }

    /// The view of a march log.
    pub(super) fn of_log(wiring: &Wiring, report: &PlaneReport) -> Self {
        let note = match report.assumed {
            Assumed::Nothing => None,
            Assumed::OneBackground => Some(
                "The log holds failures only: words that a step does not list are taken to have held the same background and to have read right.".to_owned(),
            ),
            Assumed::Checkerboard => Some(
                "The log holds failures only: words that a step does not list are taken to have held a checkerboard and to have read right.".to_owned(),
            ),
        };
        Self {
            words: report.words,
            bits: wiring.shape().bits,
            wrong: report.wrong,
            unstable: report.unstable,
            explanations: expand(&report.explanations, None, 1.0, 0),
            weak: weak(&report.weak, None),
            next: next(wiring, &report.explanations),
            fewest: report.fewest,
            complete: report.complete,
            note,
            map: map(
                wiring,
                &report.wrong_bits,
                &[(None, &report.unstable_bits, None)],
            ),
            ..Self::default()
        }
    }
}

/// Explanations that are listed at most.
const MOST: usize = 100;
/// Combinations of names that one set of faults is spelled out in at most.
const MOST_SPELLINGS: usize = 12;

/// The explanations of one side, or of both with the reads that each would blame, every one spelled out.
pub(super) fn explanations(
    wiring: &Wiring,
    sides: &[(Option<String>, &Comparison)],
) -> Vec<ExplanationView> {
    let weight = |c: &Comparison| {
        let set: Option<Vec<Fault>> = c
            .explanations
            .first()
            .map(|e| e.parts.iter().map(|p| p.fault).collect());
        let odds = set.map_or(0.0, |s| {
            s.iter()
                .map(|f| ::memory::element::prior_of(wiring, *f))
                .product::<f64>()
        });
        let share = c.explanations.first().map_or(1.0, |e| e.probability);
        odds / share
    };
    let total: f64 = sides.iter().map(|(_, c)| weight(c)).sum();
    let mut all = Vec::new();
    let mut group = 0;
    for (blames, comparison) in sides {
        let share = if total > 0.0 {
            weight(comparison) / total
        } else {
            1.0 / sides.len() as f64
        };
        all.extend(expand(
            &comparison.explanations,
            blames.as_deref(),
            share,
            group,
        ));
        group += comparison.explanations.len();
    }
    all.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    all.truncate(MOST);
    all
}

fn expand(
    list: &[Explanation],
    blames: Option<&str>,
    share: f64,
    first_group: usize,
) -> Vec<ExplanationView> {
    let mut all: Vec<ExplanationView> = list
        .iter()
        .enumerate()
        .flat_map(|(n, e)| spellings(e, blames, share, first_group + n))
        .collect();
    all.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    all.truncate(MOST);
    all
}

/// Every combination of the names that the elements of an explanation may have.
fn spellings(
    e: &Explanation,
    blames: Option<&str>,
    share: f64,
    group: usize,
) -> Vec<ExplanationView> {
    let first = vec![0; e.parts.len()];
    let mut choices: Vec<(f64, Vec<usize>)> = vec![(1.0, first)];
    for (at, part) in e
        .parts
        .iter()
        .enumerate()
        .filter(|(_, p)| p.names.len() > 1)
    {
        let total: f64 = part.names.iter().map(|n| n.prior).sum();
        let mut longer = Vec::new();
        for (p, picked) in &choices {
            for (place, name) in part.names.iter().enumerate() {
                let mut picked = picked.clone();
                picked[at] = place;
                longer.push((p * name.prior / total, picked));
            }
        }
        longer.sort_by(|a, b| b.0.total_cmp(&a.0));
        longer.truncate(MOST_SPELLINGS);
        choices = longer;
    }
    let spelled: f64 = choices.iter().map(|(p, _)| p).sum();
    let view = |(p, picked): (f64, Vec<usize>)| {
        let name = |(part, place): (&::memory::dump::Part, &usize)| part.names[*place].name.clone();
        let elements: Vec<String> = e.parts.iter().zip(&picked).map(name).collect();
        let parts = e
            .parts
            .iter()
            .zip(&elements)
            .map(|(part, element)| PartView {
                element: element.clone(),
                class: part.class,
                explains: part.explains,
                position: part.position.clone(),
            });
        ExplanationView {
            parts: parts.collect(),
            faults: e.parts.iter().map(|p| p.fault).collect(),
            elements,
            explains: e.explains,
            leaves: e.leaves,
            probability: e.probability * share * p / spelled,
            group,
            blames: blames.map(str::to_owned),
        }
    };
    choices.into_iter().map(view).collect()
}

/// Leading explanations that the next measurement should separate.
const LEADING: usize = 8;

pub(super) fn next(wiring: &Wiring, explanations: &[Explanation]) -> Vec<MeasurementView> {
    let leading: Vec<(Vec<Fault>, f64)> = explanations
        .iter()
        .take(LEADING)
        .map(|e| (e.parts.iter().map(|p| p.fault).collect(), e.probability))
        .collect();
    measurements(wiring, &leading)
        .into_iter()
        .map(|m| MeasurementView {
            before: m.before,
            what: m.what,
            outcomes: m.outcomes,
            bits: m.bits,
        })
        .collect()
}
