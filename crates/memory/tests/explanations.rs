//! Explanations against an exhaustive search, against planted faults, and against the classical address and data line cases.

use std::collections::BTreeSet;

use memory::explain::{Explanations, Frame, Limits, explain};
use memory::fault::{Fault, bit_faults, line_faults};
use memory::plant::{Chance, content, faults};
use memory::shape::{Shape, Word, coincident, diode_matrix, linear_select, woven};
use memory::simulate::read_all;
use memory::wiring::Wiring;

fn explained(wiring: &Wiring, content: &[Word], read: &[Word]) -> Explanations {
    explain(wiring, &[Frame::complete(wiring, content, read)], &Limits::default())
}

/// Reads of the words that exist, which are all that a person can compare.
fn visible(wiring: &Wiring, read: &[Word]) -> Vec<Word> {
    wiring.addresses().iter().map(|a| read[*a as usize]).collect()
}

fn small_shape(chance: &mut Chance, most: u32, most_bits: usize) -> Shape {
    let words = 2 + chance.below(most as usize - 1) as u32;
    let bits = 1 + chance.below(most_bits) as u8;
    let mut shape = match chance.below(6) {
        0 => linear_select("small", words, bits, false),
        1 => linear_select("small", words, bits, true),
        2 => woven("small", words, bits, chance.below(2) == 0),
        3 => diode_matrix("small", words, bits),
        4 => coincident("small", 2, (words / 2).max(2), bits, false, true),
        _ => coincident("small", 4.min(words.max(2)), 2, bits, true, false),
    };
    shape.idle = chance.below(4) == 0;
    shape
}

fn all_faults(wiring: &Wiring, stored: &[Word]) -> Vec<Fault> {
    let pulses: Vec<Word> = stored.iter().map(|w| wiring.sensed(*w)).collect();
    line_faults(wiring).into_iter().chain(bit_faults(wiring, &pulses)).collect()
}

/// All smallest sets, by trying every set of one, then two, then three faults with the plain simulator.
fn exhaustive(wiring: &Wiring, stored: &[Word], read: &[Word], most: usize) -> Option<BTreeSet<Vec<Fault>>> {
    let all = all_faults(wiring, stored);
    let wanted = visible(wiring, read);
    for size in 0..=most {
        let mut found = BTreeSet::new();
        extend(wiring, stored, &wanted, &all, 0, &mut Vec::new(), size, &mut found);
        if !found.is_empty() {
            return Some(found);
        }
    }
    None
}

#[allow(clippy::too_many_arguments)]
fn extend(
    wiring: &Wiring,
    stored: &[Word],
    wanted: &[Word],
    all: &[Fault],
    from: usize,
    set: &mut Vec<Fault>,
    size: usize,
    found: &mut BTreeSet<Vec<Fault>>,
) {
    if set.len() == size {
        let gives = |(a, w): (&u32, &Word)| memory::simulate::read(wiring, stored, set, *a) == *w;
        if wiring.addresses().iter().zip(wanted).all(gives) {
            let mut sorted = set.clone();
            sorted.sort_unstable();
            found.insert(sorted);
        }
        return;
    }
    for at in from..all.len() {
        if set.iter().all(|f| f.goes_with(all[at])) {
            set.push(all[at]);
            extend(wiring, stored, wanted, all, at + 1, set, size, found);
            set.pop();
        }
    }
}

fn agrees_with_exhaustive(cases: u64, seed: u64, words: u32, bits: usize, depth: usize) -> u32 {
    let mut compared = 0;
    for case in 0..cases {
        let mut chance = Chance::new(seed + case);
        let wiring = Wiring::new(small_shape(&mut chance, words, bits));
        let stored = content(&wiring, &mut chance);
        let planted = faults(&wiring, &stored, 1 + chance.below(depth), &mut chance);
        let read = read_all(&wiring, &stored, &planted);
        let expected = exhaustive(&wiring, &stored, &read, depth).expect("the planted set is one");
        let got = explained(&wiring, &stored, &read);
        assert!(got.fewest, "case {case}: not proved\n{planted:?}");
        let got_sets: BTreeSet<Vec<Fault>> = got.sets.iter().cloned().collect();
        if got.complete {
            assert_eq!(got_sets, expected, "case {case}: {planted:?} in {:?}", wiring.shape());
            compared += 1;
        } else {
            assert!(got_sets.is_subset(&expected), "case {case}: {planted:?}");
        }
    }
    compared
}

#[test]
fn all_fewest_sets_agree_with_exhaustive_search_up_to_eight_by_eight() {
    let full = std::env::var_os("KNOWNGOOD_FULL").is_some();
    let compared = agrees_with_exhaustive(if full { 600 } else { 220 }, 1000, 8, 8, 2);
    assert!(compared >= 200, "{compared} compared completely");
}

#[test]
fn all_fewest_sets_of_three_agree_with_exhaustive_search_on_tiny_stores() {
    let full = std::env::var_os("KNOWNGOOD_FULL").is_some();
    let compared = agrees_with_exhaustive(if full { 200 } else { 40 }, 5000, 4, 3, 3);
    assert!(compared >= 30, "{compared} compared completely");
}

fn campaign_shape(case: u64, chance: &mut Chance) -> Shape {
    let bits = [4, 5, 8, 12, 16, 20][chance.below(6)];
    let words = [16, 24, 32, 64, 96, 128][chance.below(6)];
    match case % 7 {
        0 => linear_select("campaign", words, bits, true),
        1 => linear_select("campaign", words, bits, false),
        2 => woven("campaign", words, bits, true),
        3 => woven("campaign", words, bits, false),
        4 => diode_matrix("campaign", words, bits),
        5 => coincident("campaign", 12, 20, 5, true, true),
        _ => coincident("campaign", 16, 8, bits, chance.below(2) == 0, chance.below(2) == 0),
    }
}

#[test]
fn planted_faults_are_among_the_fewest_and_first() {
    let full = std::env::var_os("KNOWNGOOD_FULL").is_some();
    let cases = if full { 2000 } else { 200 };
    let (mut fewest, mut among) = (0u32, 0u32);
    let only: Option<u64> = std::env::var("CASE").ok().and_then(|c| c.parse().ok());
    for case in 0..cases {
        if only.is_some_and(|c| c != case) { continue; }
        let mut chance = Chance::new(77_000 + case);
        let mut shape = campaign_shape(case, &mut chance);
        shape.idle = chance.below(4) == 0;
        let wiring = Wiring::new(shape);
        let stored = content(&wiring, &mut chance);
        let planted = faults(&wiring, &stored, 1 + (case / 7 % 4) as usize, &mut chance);
        let read = read_all(&wiring, &stored, &planted);
        let started = std::time::Instant::now();
        let got = explained(&wiring, &stored, &read);
        if std::env::var_os("SHOW").is_some() && started.elapsed().as_millis() > 200 {
            eprintln!("case {case} {:?} trials {} sets {} {:?}", started.elapsed(), got.trials, got.sets.len(), planted);
        }
        for set in &got.sets {
            assert_eq!(visible(&wiring, &read_all(&wiring, &stored, set)), visible(&wiring, &read), "case {case}");
        }
        if !got.fewest { eprintln!("case {case} UNPROVED {planted:?} {:?}", wiring.shape().organisation); continue; }
        let size = got.sets[0].len();
        assert!(size <= planted.len(), "case {case}: {planted:?}\n{:?}", got.sets[0]);
        if size == planted.len() {
            fewest += 1;
            among += u32::from(got.sets.contains(&planted));
            if !got.sets.contains(&planted) {
                eprintln!("case {case} lost {planted:?} complete {} of {}", got.complete, got.sets.len());
            }
        }
    }
    assert_eq!(among, fewest);
    assert!(fewest * 2 > cases as u32);
}
