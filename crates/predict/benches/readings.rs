//! What an operating point from nothing and a calibrated band cost, in wall time and in time on the processor.
//!
//! The reference in the same run solves as a textbook does: the same laws and the same ladder, but everything laid out
//! anew for each answer. The generated boards are looked for in `../shared/data` or in `KNOWNGOOD_DATA`.

use std::path::PathBuf;

use circuit::State;
use circuit::meter::{Function, setups};
use cpu_time::ProcessTime;
use divan::Bencher;
use predict::{Board, Question, healthy};
use sheet::device::Devices;
use sheet::meter::Meter;

/// Boards by their number of parts.
const BOARDS: [usize; 3] = [60, 300, 1000];

fn main() {
    processor_time();
    divan::main();
}

/// Divan tells wall time; on a shared machine the processor's is the one to compare.
fn processor_time() {
    for parts in BOARDS {
        let network = circuit::build(&sheet(parts), Devices::shipped(), State::Powered);
        let board = Board::new(network).expect("the board has an operating point");
        let values = board.network.population.nominal();
        let took = least(20, || {
            board.operating_point(&values).expect("it was found before")
        });
        println!("operating point of {parts} parts from nothing: {took:.2} ms of processor time");
    }
    let bands = least(3, || bands_of(300, true));
    println!("all bands to ground of 300 parts: {bands:.0} ms of processor time");
}

/// The least of several runs, in milliseconds.
fn least<T>(runs: usize, mut run: impl FnMut() -> T) -> f64 {
    (0..runs)
        .map(|_| {
            let began = ProcessTime::now();
            std::hint::black_box(run());
            began.elapsed().as_secs_f64() * 1e3
        })
        .fold(f64::INFINITY, f64::min)
}

fn sheet(parts: usize) -> sheet::Sheet {
    let folder = std::env::var_os("KNOWNGOOD_DATA").map_or_else(
        || PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared/data")),
        PathBuf::from,
    );
    let file = folder.join(format!("boards/board{parts}.kdl"));
    let text = std::fs::read_to_string(&file)
        .unwrap_or_else(|e| panic!("{}: {e}; set KNOWNGOOD_DATA", file.display()));
    sheet::parse(&text, "board").0
}

#[divan::bench(args = BOARDS, sample_count = 20)]
fn operating_point_from_nothing(bencher: Bencher, parts: usize) {
    let network = circuit::build(&sheet(parts), Devices::shipped(), State::Powered);
    let board = Board::new(network).expect("the board has an operating point");
    let values = board.network.population.nominal();
    bencher.bench(|| board.operating_point(&values));
}

#[divan::bench(args = BOARDS, sample_count = 20)]
fn operating_point_laid_out_anew(bencher: Bencher, parts: usize) {
    let sheet = sheet(parts);
    bencher.bench(|| {
        let network = circuit::build(&sheet, Devices::shipped(), State::Powered);
        Board::new(network)
    });
}

#[divan::bench(args = [60, 300], sample_count = 3)]
fn bands_to_ground(parts: usize) -> usize {
    bands_of(parts, true)
}

#[divan::bench(args = [60, 300], sample_count = 3)]
fn bands_to_ground_each_from_nothing(parts: usize) -> usize {
    bands_of(parts, false)
}

/// The bands of every net against ground, both polarities, ohms and diode; how many there are.
fn bands_of(parts: usize, together: bool) -> usize {
    let sheet = sheet(parts);
    let network = circuit::build(&sheet, Devices::shipped(), State::Cold);
    let board = Board::new(network).expect("the board has an operating point");
    let ground = sheet.ground().expect("the board has a ground net").0;
    let questions = [Function::Diode, Function::Ohms].map(|function| {
        let (setups, choice) = setups(&Meter::shipped()[0], function).expect("the meter has both");
        Question {
            function,
            setups,
            choice,
        }
    });
    let mut found = 0;
    for net in (0..sheet.nets.len() as u32).filter(|net| *net != ground) {
        let mut probe = board.probe(net, ground);
        for (red, black) in [(net, ground), (ground, net)] {
            for question in &questions {
                if !together {
                    probe = board.probe(red, black);
                }
                probe.point(red, black);
                found += usize::from(healthy(&mut probe, question, 1).is_ok());
            }
        }
    }
    found
}
