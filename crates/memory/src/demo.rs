//! The two stores of the invented demonstration machine, with reads and march logs of two units and their planted faults.
//!
//! Everything here is invented for the demonstration: the machine, the contents, the faults and the readings. The numbers
//! are drawn by `Chance` from the seeds named here, so that the files can be made anew.

use crate::fault::Fault;
use crate::march::{Operation, OperationKind, backgrounds, march_tests, operations};
use crate::plant::Chance;
use crate::shape::{Field, Grid, Shape, Word, coincident, print_shape, woven};
use crate::simulate::{read, read_all, selected_words};
use crate::wiring::Wiring;

/// A file of the demonstration.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DemoFile {
    /// Its name.
    pub name: String,
    /// Its text.
    pub text: String,
}

/// The woven control store: 96 words of 20 bits.
pub fn control_store() -> Shape {
    let mut shape = woven("control store (invented)", 96, 20, true);
    let field = |name: &str, bits: std::ops::Range<u8>| Field {
        name: name.to_owned(),
        bits: bits.collect(),
    };
    shape.fields = vec![
        field("next address", 0..7),
        field("condition", 7..10),
        field("register", 10..14),
        field("function", 14..18),
        field("branch", 18..19),
        field("parity", 19..20),
    ];
    shape.zero_words = vec![0];
    shape.grid = Some(Grid {
        origin: (20.0, 14.0),
        pitch: (7.0, 1.25),
        plane: (0.0, 0.0),
    });
    shape
}

/// The core store of the registers: 12 x 20 words of five bits, a plane each.
pub fn register_store() -> Shape {
    let mut shape = coincident("register store (invented)", 12, 20, 5, true, true);
    shape.grid = Some(Grid {
        origin: (5.0, 5.0),
        pitch: (1.0, 1.0),
        plane: (16.0, 0.0),
    });
    shape
}

/// Faults planted in unit 2's control store: a broken word wire and a stuck address line.
pub const CONTROL_FAULTS: [Fault; 2] = [Fault::LineDead(0, 0x2B), Fault::AddressStuck(4, false)];
/// The data bit whose sense amplifier is weak in unit 1's control store.
pub const WEAK_BIT: u8 = 13;
/// The fault planted in unit 1's register store: one core cracked.
pub const CRACKED_CORE: Fault = Fault::Bit(0xB5, 3, false);
/// The fault planted in unit 2's register store: a selection diode shorted.
pub const SHORTED_DIODE: Fault = Fault::DiodeShorted(0, 7);

/// Seed of the control store's content.
pub const CONTENT_SEED: u64 = 1962;
/// Seed of its unsteady reads, of what the registers held and of the flags that the branches test; with this one each
/// weak bit reads right at least once.
pub const READS_SEED: u64 = 100;

/// What the control store should hold: words with even parity that lead to words, word 0 rightly zero.
pub fn control_words() -> Vec<Word> {
    let mut chance = Chance::new(CONTENT_SEED);
    (0..128u32)
        .map(|a| {
            let word = Word::from(chance.bits()) & 0x7_FF80 | chance.below(96) as Word;
            let parity = Word::from(word.count_ones() % 2 == 1) << 19;
            if a == 0 || a >= 96 { 0 } else { word | parity }
        })
        .collect()
}

/// A run of the control store from word 1: the next address, its lowest bit set where the word branches and the flag is
/// up. `word` reads the store, `flag` the flag of a step.
fn sequence(word: impl Fn(u32) -> Word, flag: impl Fn(usize) -> bool) -> String {
    let mut text = "# micro-addresses of an invented machine, captured from its start\n".to_owned();
    let mut address = 1;
    for step in 0..48 {
        text += &format!("{address:02X}{}", if step % 16 == 15 { "\n" } else { " " });
        let read = word(address);
        let branches = read >> 18 & 1 == 1 && flag(step);
        address = (read & 0x7F) as u32 | u32::from(branches);
        // The decoder has 96 outputs; 95 and its branch are the highest.
        address = address.min(95);
    }
    text
}

/// A map of a store that passes within an ellipse around `middle`, tried at 400 mA and 220 ns.
fn pass_map(middle: (f64, f64)) -> String {
    let mut text = "# an invented store, at the setting where it works:\n# at 400,220\ndrive mA,strobe ns,errors\n".to_owned();
    for drive in (300..=500).step_by(20) {
        for strobe in (150..=300).step_by(10) {
            let (a, b) = (
                (f64::from(drive) - middle.0) / 72.0,
                (f64::from(strobe) - middle.1) / 46.0,
            );
            let beyond = a * a + b * b - 1.0;
            let errors = if beyond <= 0.0 {
                0
            } else {
                1 + (beyond * 40.0) as u32
            };
            text += &format!("{drive},{strobe},{errors}\n");
        }
    }
    text
}

fn hex(words: &[Option<Word>], digits: usize) -> String {
    let mut text = String::from("# invented reads of an invented machine\n");
    for (line, words) in words.chunks(8).enumerate() {
        if words.iter().all(Option::is_none) {
            continue;
        }
        text += &format!("{:02X}:", line * 8);
        for word in words {
            text += &word.map_or(" -".to_owned(), |w| format!(" {w:0digits$X}"));
        }
        text.push('\n');
    }
    text
}

fn held(wiring: &Wiring, words: &[Word]) -> Vec<Option<Word>> {
    let mut all = vec![None; wiring.space()];
    for a in wiring.addresses() {
        all[*a as usize] = Some(words[*a as usize]);
    }
    all
}

/// Runs operations on a store with faults and logs the reads that fail.
pub fn run(wiring: &Wiring, faults: &[Fault], list: &[Operation]) -> String {
    let mut cells: Vec<Word> = vec![0; wiring.space()];
    let mut log = String::from("step,address,expected,read\n");
    let digits = usize::from(wiring.shape().bits).div_ceil(4);
    for operation in list {
        let word = match operation.kind {
            OperationKind::Write => operation.word,
            OperationKind::Read => {
                let got = read(wiring, &cells, faults, operation.address);
                let (a, expected) = (operation.address, operation.word);
                if got != expected {
                    log += &format!(
                        "{},{a:X},{expected:0digits$X},{got:0digits$X}\n",
                        operation.step
                    );
                }
                got
            }
        };
        for w in selected_words(wiring, faults, operation.address) {
            cells[w as usize] = word;
        }
    }
    log
}

/// All files of the demonstration, by their names under `stores/`.
pub fn demo_files() -> Vec<DemoFile> {
    let mut chance = Chance::new(READS_SEED);
    let mut files = control_files(&mut chance);
    files.extend(register_files(&mut chance));
    files
}

fn file(name: &str, text: String) -> DemoFile {
    DemoFile {
        name: name.to_owned(),
        text,
    }
}

const INVENTED: &str = "// An invented store of an invented machine, for the demo of Knowngood.\n";

fn control_files(chance: &mut Chance) -> Vec<DemoFile> {
    let control = Wiring::new(control_store());
    let words = control_words();
    let shape = print_shape(control.shape());
    let mut files = vec![file("control.kdl", format!("{INVENTED}{shape}"))];
    for pass in 1..=5 {
        let mut weak = words.clone();
        for word in &mut weak {
            if chance.below(3) == 0 {
                *word &= !(1 << WEAK_BIT);
            }
        }
        let name = format!("control/1-read-{pass}.hex");
        files.push(file(&name, hex(&held(&control, &weak), 5)));
    }
    let faulty = read_all(&control, &words, &CONTROL_FAULTS);
    for pass in 1..=3 {
        let name = format!("control/2-read-{pass}.hex");
        files.push(file(&name, hex(&held(&control, &faulty), 5)));
    }
    let flags: Vec<bool> = (0..48).map(|_| chance.below(2) == 0).collect();
    for (unit, words) in [(1, &words), (2, &faulty)] {
        let text = sequence(|a| words[a as usize], |step| flags[step]);
        files.push(file(&format!("control/{unit}-sequence.txt"), text));
    }
    files
}

fn register_files(chance: &mut Chance) -> Vec<DemoFile> {
    let registers = Wiring::new(register_store());
    let shape = print_shape(registers.shape());
    let mut files = vec![file("registers.kdl", format!("{INVENTED}{shape}"))];
    let mut history = vec![0; registers.space()];
    for a in registers.addresses() {
        history[*a as usize] = chance.below(10) as Word;
    }
    for (unit, fault) in [(1, CRACKED_CORE), (2, SHORTED_DIODE)] {
        let first = read_all(&registers, &history, &[fault]);
        let name = format!("registers/{unit}-first.hex");
        files.push(file(&name, hex(&held(&registers, &first), 2)));
        let march = march_tests().into_iter().find(|m| m.name == "March C-");
        let list = march.map_or(Vec::new(), |m| operations(&registers, &m, &backgrounds(5)));
        let name = format!("registers/{unit}-march.csv");
        files.push(file(&name, run(&registers, &[fault], &list)));
    }
    files.push(file("registers/1-map-1.csv", pass_map((404.0, 222.0))));
    files.push(file("registers/1-map-2.csv", pass_map((424.0, 232.0))));
    files
}
