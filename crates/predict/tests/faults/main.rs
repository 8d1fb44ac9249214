//! No fast way may differ from the straightforward one: every fault, at a sample of places, both ways.
//!
//! Readings are compared to 1 uV or a millionth, over range alike. With KNOWNGOOD_FULL=1 three times
//! as many places, and on the largest board all faults instead of every third.

mod boards;

use boards::{Case, generated, question, sheets_of_the_demo};
use circuit::State;
use circuit::meter::Function;
use predict::Board;
use predict::faults::{FaultBoard, FaultEngine, Way, campaign_faults, campaign_places, read_anew};

fn full() -> bool {
    std::env::var("KNOWNGOOD_FULL").is_ok_and(|v| v == "1")
}

/// More than 1 uV or a millionth apart.
fn differ(a: f64, b: f64) -> bool {
    (a - b).abs() > 1e-6 * b.abs().max(1.0)
}

/// Both ways at `places` places, every `stride`th fault; returns how many pairs were compared and
/// how many of them each way answered.
fn compare(
    case: &Case,
    state: State,
    function: Function,
    places: usize,
    stride: usize,
) -> [usize; 5] {
    let sheet = &case.sheet;
    let network = circuit::build(sheet, sheet::device::Devices::shipped(), state);
    let board = Board::new(network).expect("the healthy board has an operating point");
    let values = board.network.population.nominal();
    let faults = campaign_faults(sheet);
    let faulty = FaultBoard::new(&board, sheet, &values, &faults);
    let question = question(function);
    let all = campaign_places(sheet);
    let places = if full() { 3 * places } else { places };
    let mut counts = [0; 5];
    let mut other_states = 0;
    for (number, (red, black)) in all.iter().step_by(all.len() / places + 1).enumerate() {
        let leads = (red.0, black.0);
        let mut engine = FaultEngine::new(&faulty, leads.0, leads.1, &question)
            .expect("the healthy board can be read");
        let pairs = faulty.changes().iter().zip(&faults);
        for (change, fault) in pairs.skip(number % stride).step_by(stride) {
            let fast = engine.answer(change);
            let plain = read_anew(
                &board,
                &change.edits,
                &values,
                leads,
                &question,
                engine.healthy(),
            );
            // A circuit that can rest in two states reads as the solver came to it, and a current below
            // its tolerance may decide at megohms. Then the straightforward way, begun at the engine's
            // answer, must stay there, or be of two minds itself; back at its first answer, the engine
            // was wrong.
            let plain = match (&fast, plain) {
                (Ok(fast), Ok(plain)) if differ(fast.volts, plain.volts) => {
                    let again = engine.confirm(change, fast);
                    let two_minds = again.as_ref().is_ok_and(|a| differ(a.volts, plain.volts));
                    other_states += usize::from(two_minds);
                    if two_minds {
                        continue;
                    }
                    Ok(plain)
                }
                (_, plain) => plain,
            };
            let told = || {
                format!(
                    "{}: {} {} between {} and {}: {fast:?}, straightforward {:?}",
                    sheet.name,
                    fault.part_name(sheet),
                    fault.mode,
                    sheet.net_name(*red),
                    sheet.net_name(*black),
                    plain.as_ref().map(|p| (p.range, p.volts, p.reading)),
                )
            };
            let (Ok(fast), Ok(plain)) = (&fast, &plain) else {
                panic!("no answer: {}", told());
            };
            assert_eq!(fast.range, plain.range, "{}", told());
            assert_eq!(
                fast.reading.is_none(),
                plain.reading.is_none(),
                "{}",
                told()
            );
            assert!(!differ(fast.volts, plain.volts), "{}", told());
            counts[0] += 1;
            counts[1] += usize::from(fast.way == Way::Unmoved);
            counts[2] += usize::from(fast.way == Way::Reduced);
            counts[3] += usize::from(fast.way == Way::Whole);
            counts[4] += usize::from(fast.way == Way::Anew);
        }
    }
    assert!(
        other_states * 100 <= counts[0],
        "{other_states} of {counts:?}"
    );
    println!(
        "{} {state:?} {function:?}: {counts:?} pairs, unmoved, reduced, whole, anew",
        sheet.name
    );
    counts
}

#[test]
fn a_board_of_60_parts() {
    let Some(case) = generated("board60") else {
        return;
    };
    let [all, unmoved, reduced, ..] = compare(&case, State::Cold, Function::Diode, 12, 1);
    // Without these the test would hold the straightforward way against itself.
    assert!(unmoved * 5 > all && reduced * 5 > all);
}

#[test]
fn a_board_of_300_parts() {
    let Some(case) = generated("board300") else {
        return;
    };
    let [all, unmoved, reduced, ..] = compare(&case, State::Cold, Function::Diode, 3, 1);
    assert!(unmoved * 5 > all && reduced * 5 > all);
}

#[test]
fn a_board_of_1000_parts() {
    let Some(case) = generated("board1000") else {
        return;
    };
    let stride = if full() { 1 } else { 3 };
    let [all, unmoved, reduced, ..] = compare(&case, State::Cold, Function::Diode, 2, stride);
    assert!(unmoved * 5 > all && reduced * 5 > all);
}

#[test]
fn the_demo_cold() {
    for case in sheets_of_the_demo() {
        let [all, unmoved, reduced, ..] = compare(&case, State::Cold, Function::Diode, 12, 1);
        assert!(
            unmoved * 20 > all && reduced + unmoved > all / 20,
            "{}",
            case.sheet.name
        );
    }
}

#[test]
fn the_demo_on_every_range_of_the_ohmmeter() {
    for case in sheets_of_the_demo() {
        let [all, unmoved, ..] = compare(&case, State::Cold, Function::Ohms, 5, 1);
        assert!(unmoved * 20 > all, "{}", case.sheet.name);
    }
}

#[test]
fn powered_volts() {
    let Some(case) = generated("board60") else {
        return;
    };
    let [all, _, reduced, ..] = compare(&case, State::Powered, Function::Volts, 6, 1);
    assert!(reduced * 5 > all);
    for case in sheets_of_the_demo() {
        // The second sheet's rectifier has no steady state.
        if case.sheet.name != "A2" {
            compare(&case, State::Powered, Function::Volts, 4, 1);
        }
    }
}
