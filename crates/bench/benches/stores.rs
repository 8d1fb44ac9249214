//! A store of 64 K words of 48 bits read a hundred times, five thousand bits wrong and more: processor time and memory.
//!
//! Everything goes the way of the command line, from bytes to the view. Two kinds of damage: lines with a few cores, and
//! cores alone. The bytes of the reads are made before the clock starts.

use bench::Text;
use bench::memory::{Source, Store, Writing, dump};
use cpu_time::ProcessTime;
use memory::fault::Fault;
use memory::plant::{Chance, content};
use memory::shape::{Word, coincident, print_shape};
use memory::simulate::read_all;
use memory::wiring::Wiring;

/// Reads of the store.
const READS: usize = 100;
/// Bits that read otherwise now and then, on one sense line.
const UNSTEADY: usize = 300;

fn main() {
    let wiring = Wiring::new(coincident("large", 256, 256, 48, true, true));
    let mut chance = Chance::new(99);
    let stored = content(&wiring, &mut chance);
    let lines = [Fault::LineDead(0, 77), Fault::SenseDead(11, 0)];
    let mut few = lines.to_vec();
    few.extend(cracked(&wiring, &stored, 40, &lines, &mut chance));
    // Half of a line's bits are ones: these lines alone make five thousand wrong bits and more.
    measure(
        "two lines and 40 cores",
        &wiring,
        &stored,
        &few,
        &mut chance,
    );
    let many = cracked(&wiring, &stored, 5000, &[], &mut chance);
    measure("5000 cores", &wiring, &stored, &many, &mut chance);
}

/// Different cores that hold a one and lie on none of the lines.
fn cracked(
    wiring: &Wiring,
    stored: &[Word],
    count: usize,
    lines: &[Fault],
    chance: &mut Chance,
) -> Vec<Fault> {
    let without = read_all(wiring, stored, lines);
    let mut all = std::collections::BTreeSet::new();
    while all.len() < count {
        let (a, bit) = (chance.below(1 << 16) as u32, chance.below(48) as u8);
        if without[a as usize] >> bit & 1 == 1 {
            all.insert(Fault::Bit(a, bit, false));
        }
    }
    all.into_iter().collect()
}

fn measure(name: &str, wiring: &Wiring, stored: &[Word], faults: &[Fault], chance: &mut Chance) {
    let shape = Text {
        file: "large.kdl".to_owned(),
        text: print_shape(wiring.shape()),
    };
    let store = Store::read(&shape).expect("its own shape");
    let read = read_all(wiring, stored, faults);
    let weak: Vec<usize> = (0..UNSTEADY).map(|_| chance.below(1 << 16)).collect();
    let source = |name: String, words: &[Word]| Source {
        file: name,
        unit: None,
        // Six bytes a word, the most significant first.
        bytes: words
            .iter()
            .flat_map(|w| w.to_be_bytes()[10..].to_vec())
            .collect(),
    };
    let reads: Vec<Source> = (0..READS)
        .map(|n| {
            let mut words = read.clone();
            for a in &weak {
                if chance.below(3) == 0 {
                    words[*a] &= !(1 << 30);
                }
            }
            source(format!("{n}.bin"), &words)
        })
        .collect();
    let reference = source("reference.bin".to_owned(), stored);
    let began = ProcessTime::now();
    let view = dump(&store, reads, Some(&reference), Writing::default(), &|| {
        true
    })
    .expect("good files");
    let seconds = began.elapsed().as_secs_f64();
    println!(
        "{name}: {} bits wrong, {} unsteady, {} elements in {} explanations, fewest {}, {seconds:.2} s of processor time, {} MB at most so far",
        view.wrong,
        view.unstable,
        view.explanations.first().map_or(0, |e| e.elements.len()),
        view.explanations.len(),
        view.fewest,
        peak_megabytes().map_or("?".to_owned(), |m| format!("{m:.0}"))
    );
}

/// The most memory that this process held at once, where the system says so.
fn peak_megabytes() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    let kilobytes: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kilobytes / 1024.0)
}
