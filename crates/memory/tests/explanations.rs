//! Explanations against an exhaustive search, against planted faults, and against the classical address and data line cases.

use std::collections::BTreeSet;

use memory::dump::{Comparison, compare};
use memory::explain::{Explanations, Frame, Limits, explain};
use memory::fault::{Fault, bit_faults, line_faults};
use memory::plant::{Chance, content, faults};
use memory::shape::{Shape, Word, coincident, diode_matrix, linear_select, woven};
use memory::simulate::read_all;
use memory::votes::Dump;
use memory::wiring::Wiring;

fn explained(wiring: &Wiring, content: &[Word], read: &[Word]) -> Explanations {
    explain(
        wiring,
        &[Frame::complete(wiring, content, read)],
        &Limits::default(),
    )
}

/// Reads of the words that exist, which are all that a person can compare.
fn visible(wiring: &Wiring, read: &[Word]) -> Vec<Word> {
    wiring
        .addresses()
        .iter()
        .map(|a| read[*a as usize])
        .collect()
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
    line_faults(wiring)
        .into_iter()
        .chain(bit_faults(wiring, &pulses))
        .collect()
}

/// All smallest sets, by trying every set of one, then two, then three faults with the plain simulator.
fn exhaustive(
    wiring: &Wiring,
    stored: &[Word],
    read: &[Word],
    most: usize,
) -> Option<BTreeSet<Vec<Fault>>> {
    let all = all_faults(wiring, stored);
    let wanted = visible(wiring, read);
    for size in 0..=most {
        let mut found = BTreeSet::new();
        extend(
            wiring,
            stored,
            &wanted,
            &all,
            0,
            &mut Vec::new(),
            size,
            &mut found,
        );
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
            assert_eq!(
                got_sets,
                expected,
                "case {case}: {planted:?} in {:?}",
                wiring.shape()
            );
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
    eprintln!("{compared} stores compared completely");
    assert!(compared >= 200, "{compared} compared completely");
}

#[test]
fn all_fewest_sets_of_three_agree_with_exhaustive_search_on_tiny_stores() {
    let full = std::env::var_os("KNOWNGOOD_FULL").is_some();
    let compared = agrees_with_exhaustive(if full { 1500 } else { 250 }, 5000, 5, 3, 3);
    eprintln!("{compared} stores compared completely");
    assert!(compared >= 200, "{compared} compared completely");
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
        _ => coincident(
            "campaign",
            16,
            8,
            bits,
            chance.below(2) == 0,
            chance.below(2) == 0,
        ),
    }
}

/// Whether no read of the store can separate two sets of faults: of a store that cannot be written, the one content is
/// all there is to read; else several other contents are tried.
fn inseparable(
    wiring: &Wiring,
    stored: &[Word],
    a: &[Fault],
    b: &[Fault],
    chance: &mut Chance,
) -> bool {
    let alike = |stored: &[Word]| {
        visible(wiring, &read_all(wiring, stored, a))
            == visible(wiring, &read_all(wiring, stored, b))
    };
    alike(stored)
        && (!wiring.shape().organisation.is_writable()
            || (0..6).all(|_| alike(&content(wiring, chance))))
}

fn dump(name: &str, wiring: &Wiring, words: &[Word]) -> Dump {
    let mut all = vec![None; wiring.space()];
    for a in wiring.addresses() {
        all[*a as usize] = Some(words[*a as usize]);
    }
    Dump {
        name: name.to_owned(),
        words: all,
    }
}

/// What became of one planted set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fate {
    /// Fewer elements explain it.
    FewerDo,
    /// The search was cut short, and said so.
    CutShort,
    /// It is a fewest one, and not among those found; or more elements were said to be the fewest.
    Lost,
    /// Among the fewest, and not first.
    Behind,
    /// First, up to elements that no read can separate.
    First,
    /// First, itself.
    Itself,
}

fn fate(case: u64) -> Fate {
    let mut chance = Chance::new(77_000 + case);
    let mut shape = campaign_shape(case, &mut chance);
    shape.idle = chance.below(4) == 0;
    let wiring = Wiring::new(shape);
    let stored = content(&wiring, &mut chance);
    let planted = faults(&wiring, &stored, 1 + (case / 7 % 4) as usize, &mut chance);
    let read = read_all(&wiring, &stored, &planted);
    let frame = Frame::complete(&wiring, &stored, &read);
    let got = explain(&wiring, std::slice::from_ref(&frame), &Limits::default());
    for set in &got.sets {
        assert_eq!(
            visible(&wiring, &read_all(&wiring, &stored, set)),
            visible(&wiring, &read),
            "case {case}"
        );
    }
    let size = got.sets[0].len();
    let found = got.sets.contains(&planted);
    if size < planted.len() {
        return Fate::FewerDo;
    }
    if !got.fewest && !found {
        eprintln!(
            "case {case} is cut short after {} trials, {size} elements found: {planted:?} in {:?}",
            got.trials,
            wiring.shape().organisation
        );
        return Fate::CutShort;
    }
    if !found {
        eprintln!(
            "case {case}: {planted:?} is lost among sets such as {:?}",
            got.sets[0]
        );
        return Fate::Lost;
    }
    let (reads, reference) = (
        dump("read", &wiring, &read),
        dump("reference", &wiring, &stored),
    );
    let report = compare(&wiring, &[reads], &reference, &Limits::default());
    // A fault that no read of this content shows is explained by nothing.
    let Some(best) = report.explanations.first() else {
        return Fate::FewerDo;
    };
    let mut set: Vec<Fault> = best.parts.iter().map(|p| p.fault).collect();
    set.sort_unstable();
    assert_eq!(
        (best.explains, best.leaves),
        (report.wrong, 0),
        "case {case}"
    );
    if set == planted {
        Fate::Itself
    } else if inseparable(&wiring, &stored, &set, &planted, &mut chance) {
        Fate::First
    } else {
        Fate::Behind
    }
}

#[test]
fn planted_faults_are_among_the_fewest_and_mostly_first() {
    let full = std::env::var_os("KNOWNGOOD_FULL").is_some();
    let cases: u64 = if full { 2000 } else { 140 };
    let threads = std::thread::available_parallelism().map_or(2, |n| n.get() as u64);
    let fates: Vec<Fate> = std::thread::scope(|scope| {
        let share = |t| {
            (t..cases)
                .step_by(threads as usize)
                .map(fate)
                .collect::<Vec<_>>()
        };
        let workers: Vec<_> = (0..threads)
            .map(|t| scope.spawn(move || share(t)))
            .collect();
        let all = workers
            .into_iter()
            .flat_map(|w| w.join().expect("no case fails"));
        all.collect()
    });
    let count = |wanted: &[Fate]| fates.iter().filter(|f| wanted.contains(f)).count();
    let itself = count(&[Fate::Itself]);
    let first = count(&[Fate::Itself, Fate::First]);
    let fewest = count(&[
        Fate::Itself,
        Fate::First,
        Fate::Behind,
        Fate::Lost,
        Fate::CutShort,
    ]);
    let (lost, cut) = (count(&[Fate::Lost]), count(&[Fate::CutShort]));
    eprintln!(
        "{cases} cases: the planted set is a fewest one in {fewest}, lost in {lost}, the search cut short in {cut}, \
         first in {first} (itself in {itself})"
    );
    assert_eq!((lost, cut), (0, 0));
    assert!(fewest * 2 > cases as usize);
    assert!(first * 100 >= fewest * 85, "{first} of {fewest}");
}

fn single(wiring: &Wiring, stored: &[Word], fault: Fault) -> Comparison {
    let read = read_all(wiring, stored, &[fault]);
    compare(
        wiring,
        &[dump("read", wiring, &read)],
        &dump("reference", wiring, stored),
        &Limits::default(),
    )
}

// The classical cases of a wrongly wired or failed bus: a stuck address line reads one half of the store twice.
#[test]
fn a_stuck_address_line_doubles_halves() {
    let wiring = Wiring::new(linear_select("store", 64, 8, false));
    let stored: Vec<Word> = content(&wiring, &mut Chance::new(5));
    for line in 0..6u8 {
        for level in [false, true] {
            let read = read_all(&wiring, &stored, &[Fault::AddressStuck(line, level)]);
            for (a, word) in read.iter().enumerate() {
                let from = if level {
                    a | 1 << line
                } else {
                    a & !(1 << line)
                };
                assert_eq!(*word, stored[from]);
            }
            let report = single(&wiring, &stored, Fault::AddressStuck(line, level));
            let name = format!("address line {line} stuck at {}", u8::from(level));
            assert_eq!(report.explanations[0].parts[0].names[0].name, name);
            assert_eq!(
                (report.explanations.len(), report.explanations[0].leaves),
                (1, 0)
            );
        }
    }
}

#[test]
fn bridged_lines_are_and_or_or() {
    let wiring = Wiring::new(woven("store", 64, 10, false));
    let stored: Vec<Word> = content(&wiring, &mut Chance::new(6));
    for (first, second) in [(0, 1), (2, 5), (3, 4)] {
        for low_wins in [true, false] {
            let law = if low_wins { "AND" } else { "OR" };
            let data = Fault::BitsBridged {
                first,
                second,
                low_wins,
            };
            let read = read_all(&wiring, &stored, &[data]);
            for a in 0..64usize {
                let (x, y) = (stored[a] >> first & 1, stored[a] >> second & 1);
                let joined = if low_wins { x & y } else { x | y };
                assert_eq!(
                    (read[a] >> first & 1, read[a] >> second & 1),
                    (joined, joined)
                );
            }
            let report = single(&wiring, &stored, data);
            assert_eq!(
                report.explanations[0].parts[0].names[0].name,
                format!("data bits {first} and {second} bridged ({law})")
            );

            let address = Fault::AddressBridged {
                first,
                second,
                low_wins,
            };
            let read = read_all(&wiring, &stored, &[address]);
            for a in 0..64u32 {
                let (x, y) = (a >> first & 1, a >> second & 1);
                let joined = if low_wins { x & y } else { x | y };
                let from = a & !(1 << first | 1 << second) | joined << first | joined << second;
                assert_eq!(read[a as usize], stored[from as usize]);
            }
            let report = single(&wiring, &stored, address);
            let name = format!("address lines {first} and {second} bridged ({law})");
            assert_eq!(report.explanations[0].parts[0].names[0].name, name);
        }
    }
}

// What restorers publish: all words with one address bit set read zero: selection; one bit dead at some addresses: sensing.
#[test]
fn groups_on_one_axis_name_the_line_driver_or_winding() {
    let wiring = Wiring::new(coincident("stack", 16, 16, 8, true, true));
    let stored: Vec<Word> = content(&wiring, &mut Chance::new(7));
    for (fault, name) in [
        (Fault::LineDead(0, 3), "X line 3 open"),
        (Fault::DriverDead(1, 2), "Y driver 2 open"),
        (Fault::SinkDead(0, 1), "X sink 1 open"),
        (Fault::DiodeShorted(1, 7), "Y selection diode 7 shorted"),
        (Fault::InhibitDead(4, 1), "inhibit line 4.1 open"),
        (Fault::SenseDead(2, 0), "sense line 2.0 open"),
        (Fault::StrobeDead(0), "strobe 0 missing"),
        (Fault::Bit(0x35, 6, false), "core X5 Y3 bit 6 stuck at 0"),
    ] {
        let lost = |f: &Fault| matches!(f, Fault::Bit(..));
        let mut stored = stored.clone();
        if lost(&fault) {
            stored[0x35] |= 1 << 6;
        }
        let report = single(&wiring, &stored, fault);
        let names: Vec<&String> = report
            .explanations
            .iter()
            .flat_map(|e| e.parts[0].names.iter().map(|n| &n.name))
            .collect();
        assert!(names.iter().any(|n| *n == name), "{name} not in {names:?}");
        assert_eq!(report.explanations[0].parts[0].fault, fault, "{names:?}");
    }
}

// A bridge leads on from a line through which nothing comes any more; this was once lost.
#[test]
fn a_dead_line_bridged_to_the_next_is_found() {
    let mut chance = Chance::new(3);
    for case in 0..40 {
        let wiring = Wiring::new(linear_select("store", 8, 6, false));
        let stored = content(&wiring, &mut chance);
        let line = chance.below(7) as u32;
        let planted = vec![Fault::LineDead(0, line), Fault::LinesBridged(0, line)];
        let read = read_all(&wiring, &stored, &planted);
        let got = explained(&wiring, &stored, &read);
        assert!(
            got.sets[0].len() < 2 || got.sets.contains(&planted),
            "case {case}: {:?}",
            got.sets
        );
    }
}

#[test]
fn a_shorted_diode_of_a_matrix_depends_on_the_pattern() {
    let mut shape = diode_matrix("matrix", 4, 3);
    shape.idle = false;
    let wiring = Wiring::new(shape);
    let stored: Vec<Word> = vec![0b011, 0b001, 0b110, 0b100];
    // The diode of word 0 and bit 0: word 1 pulls bit 0 and, through it, everything on word 0; the others do not.
    let read = read_all(&wiring, &stored, &[Fault::CrossingShorted(0, 0)]);
    assert_eq!(read, vec![0b011, 0b011, 0b110, 0b100]);
}

#[test]
fn sixty_four_thousand_words_are_explained() {
    let wiring = Wiring::new(coincident("large", 256, 256, 48, true, true));
    let mut chance = Chance::new(99);
    let stored = content(&wiring, &mut chance);
    let mut planted = vec![Fault::LineDead(0, 77), Fault::SenseDead(11, 0)];
    // Cores cracked here and there, until five thousand bits and more are wrong with the line's.
    while planted.len() < 40 {
        let (a, bit) = (chance.below(1 << 16) as u32, chance.below(48) as u8);
        let apart = wiring.line(0, a) != 77 && !(bit == 11 && wiring.sense_segment(a) == 0);
        if apart && stored[a as usize] >> bit & 1 == 1 {
            planted.push(Fault::Bit(a, bit, false));
        }
    }
    planted.sort_unstable();
    planted.dedup();
    let read = read_all(&wiring, &stored, &planted);
    let report = compare(
        &wiring,
        &[dump("read", &wiring, &read)],
        &dump("reference", &wiring, &stored),
        &Limits::default(),
    );
    assert!(report.wrong >= 5000 && report.fewest);
    let mut set: Vec<Fault> = report.explanations[0]
        .parts
        .iter()
        .map(|p| p.fault)
        .collect();
    set.sort_unstable();
    assert_eq!(set, planted);
    assert_eq!(report.explanations[0].leaves, 0);
}
