//! Pairs of a fault and a reading a second: the engine against the straightforward re-solve in the same run.
//!
//! Both answer the same faults at the same places, in processor time first and then in wall time. The generated boards
//! are looked for in `../shared/data` or in `KNOWNGOOD_DATA`; with KNOWNGOOD_FULL=1 ten times as many places.

use std::path::PathBuf;

use circuit::State;
use circuit::meter::{Function, setups};
use cpu_time::ProcessTime;
use divan::Bencher;
use predict::faults::{
    FaultBoard, FaultEngine, campaign_faults, campaign_places, read_anew, tally,
};
use predict::{Board, Question};
use sheet::Sheet;
use sheet::device::Devices;
use sheet::meter::Meter;

/// Boards by their number of parts, and how many places are read.
const BOARDS: [(usize, usize); 3] = [(60, 40), (300, 12), (1000, 4)];
/// The straightforward way takes every so many faults only.
const STRIDE: usize = 16;

fn main() {
    processor_time();
    divan::main();
}

fn processor_time() {
    for (parts, places) in BOARDS {
        let sheet = sheet(parts);
        let board = cold(&sheet);
        let values = board.network.population.nominal();
        let faults = campaign_faults(&sheet);
        let question = question();
        let began = ProcessTime::now();
        let faulty = FaultBoard::new(&board, &sheet, &values, &faults);
        let prepared = began.elapsed().as_secs_f64();
        let all = campaign_places(&sheet);
        let full = std::env::var("KNOWNGOOD_FULL").is_ok_and(|v| v == "1");
        let places = if full { 10 * places } else { places };
        let chosen: Vec<(u32, u32)> = all
            .iter()
            .step_by(all.len() / places + 1)
            .map(|(red, black)| (red.0, black.0))
            .collect();
        let began = ProcessTime::now();
        let mut total = predict::faults::Tally::default();
        for (red, black) in &chosen {
            total = total.plus(tally(&faulty, *red, *black, &question));
        }
        let fast = total.solves as f64 / began.elapsed().as_secs_f64();
        let plain = straightforward(&board, &faulty, &values, &chosen, &question);
        println!(
            "{parts} parts: {fast:.0} pairs a processor second, straightforward {plain:.0}; of {} pairs {} unmoved, \
             {} linear, {} laid out anew, {} changed, {} failed; faults worked out in {prepared:.2} s",
            total.solves, total.screened, total.linear, total.anew, total.changed, total.failed
        );
    }
}

/// Pairs a processor second when each faulty circuit is laid out and solved by itself.
fn straightforward(
    board: &Board,
    faulty: &FaultBoard<'_>,
    values: &[f64],
    places: &[(u32, u32)],
    question: &Question,
) -> f64 {
    let mut pairs = 0;
    let mut seconds = 0.0;
    for &(red, black) in places {
        let Ok(engine) = FaultEngine::new(faulty, red, black, question) else {
            continue;
        };
        let began = ProcessTime::now();
        for change in faulty.changes().iter().skip(pairs % STRIDE).step_by(STRIDE) {
            let leads = (red, black);
            let shown = read_anew(
                board,
                &change.edits,
                values,
                leads,
                question,
                engine.healthy(),
            );
            std::hint::black_box(shown.is_ok());
            pairs += 1;
        }
        seconds += began.elapsed().as_secs_f64();
    }
    pairs as f64 / seconds
}

fn sheet(parts: usize) -> Sheet {
    let folder = std::env::var_os("KNOWNGOOD_DATA").map_or_else(
        || PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared/data")),
        PathBuf::from,
    );
    let file = folder.join(format!("boards/board{parts}.kdl"));
    let text = std::fs::read_to_string(&file)
        .unwrap_or_else(|e| panic!("{}: {e}; set KNOWNGOOD_DATA", file.display()));
    sheet::parse(&text, "board").0
}

fn cold(sheet: &Sheet) -> Board {
    let network = circuit::build(sheet, Devices::shipped(), State::Cold);
    Board::new(network).expect("the healthy board has an operating point")
}

fn question() -> Question {
    let meter = Meter::shipped()
        .iter()
        .find(|m| m.name == Meter::DEFAULT)
        .expect("the default meter ships");
    let (setups, choice) = setups(meter, Function::Diode).expect("it has a diode test");
    Question {
        function: Function::Diode,
        setups,
        choice,
    }
}

#[divan::bench(args = [60, 300], sample_count = 5)]
fn all_faults_at_one_place(bencher: Bencher, parts: usize) {
    let sheet = sheet(parts);
    let board = cold(&sheet);
    let values = board.network.population.nominal();
    let faulty = FaultBoard::new(&board, &sheet, &values, &campaign_faults(&sheet));
    let question = question();
    let places = campaign_places(&sheet);
    let (red, black) = places[places.len() / 3];
    bencher.bench(|| tally(&faulty, red.0, black.0, &question));
}
