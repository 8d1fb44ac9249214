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
) -> [usize; 7] {
    let sheet = &case.sheet;
    let network = circuit::build(sheet, sheet::device::Devices::shipped(), state);
    let board = Board::new(network).expect("the healthy board has an operating point");
    let values = board.network.population.nominal();
    let faults = campaign_faults(sheet);
    let faulty = FaultBoard::new(&board, sheet, &values, &faults);
    let question = question(function);
    let all = campaign_places(sheet);
    let places = if full() { 3 * places } else { places };
    let mut counts = [0; 7];
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
            counts[2] += usize::from(fast.way == Way::Linear);
            counts[3] += usize::from(fast.way == Way::Reduced);
            counts[4] += usize::from(fast.way == Way::Whole);
            counts[5] += usize::from(fast.way == Way::Anew);
            counts[6] += usize::from(fast.way == Way::Parted);
        }
    }
    assert!(
        other_states * 100 <= counts[0],
        "{other_states} of {counts:?}"
    );
    println!(
        "{} {state:?} {function:?}: {counts:?} pairs, unmoved, linear, reduced, whole, anew, parted; \
         {other_states} skipped, which rest in two states",
        sheet.name
    );
    counts
}

#[test]
fn a_board_of_60_parts() {
    let Some(case) = generated("board60") else {
        return;
    };
    let [all, unmoved, linear, reduced, ..] = compare(&case, State::Cold, Function::Diode, 12, 1);
    // Without these the test would hold the straightforward way against itself.
    assert!(unmoved * 5 > all && linear * 10 > all && reduced * 50 > all);
}

#[test]
fn a_board_of_300_parts() {
    let Some(case) = generated("board300") else {
        return;
    };
    let [all, unmoved, linear, reduced, ..] = compare(&case, State::Cold, Function::Diode, 3, 1);
    assert!(unmoved * 5 > all && linear * 10 > all && reduced * 50 > all);
}

#[test]
fn a_board_of_1000_parts() {
    let Some(case) = generated("board1000") else {
        return;
    };
    let stride = if full() { 1 } else { 3 };
    let [all, unmoved, linear, reduced, ..] =
        compare(&case, State::Cold, Function::Diode, 2, stride);
    assert!(unmoved * 5 > all && linear * 10 > all && reduced * 50 > all);
}

#[test]
fn the_demo_cold() {
    for case in sheets_of_the_demo() {
        let [all, unmoved, linear, reduced, ..] =
            compare(&case, State::Cold, Function::Diode, 12, 1);
        assert!(
            unmoved * 20 > all && linear + reduced + unmoved > all / 20,
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
    let [all, _, linear, reduced, ..] = compare(&case, State::Powered, Function::Volts, 6, 1);
    assert!((linear + reduced) * 5 > all);
    for case in sheets_of_the_demo() {
        // The second sheet's rectifier has no steady state.
        if case.sheet.name != "A2" {
            compare(&case, State::Powered, Function::Volts, 4, 1);
        }
    }
}

#[test]
fn slopes_with_a_fault_are_those_of_the_faulty_board() {
    let cases = sheets_of_the_demo();
    let sheet = &cases[2].sheet;
    let network = circuit::build(sheet, sheet::device::Devices::shipped(), State::Cold);
    let board = Board::new(network).expect("the healthy board has an operating point");
    let population = &board.network.population;
    let z = vec![0.0; population.variables];
    let values = population.values(&z);
    let faults = campaign_faults(sheet);
    let faulty = FaultBoard::new(&board, sheet, &values, &faults);
    let question = question(Function::Diode);
    let (red, black) = campaign_places(sheet)[5];
    let mut engine = FaultEngine::new(&faulty, red.0, black.0, &question).expect("it can be read");
    let mut compared = 0;
    for change in faulty.changes().iter().step_by(7) {
        let (answer, told) = engine.answer_with_slopes(change, &z).expect("an answer");
        let mut network = board.network.clone();
        network.apply(&change.edits);
        let other = Board::new(network).expect("the faulty board has an operating point");
        let values = other.network.population.values(&z);
        let mut probe = other.probe(red.0, black.0);
        let shown = probe
            .read(&question, &values, &other.rest)
            .expect("a reading");
        if differ(shown.volts, answer.volts) {
            continue;
        }
        let told = told.expect("slopes");
        let largest = told.iter().fold(0.0_f64, |m, s| m.max(s.abs()));
        let step = 1e-3;
        // The steepest of them against a difference of two readings.
        let steepest = (0..z.len())
            .find(|i| told[*i].abs() == largest)
            .expect("one");
        let mut by = |sign: f64| {
            let mut there = z.clone();
            there[steepest] = sign * step;
            let values = other.network.population.values(&there);
            probe
                .read(&question, &values, &other.rest)
                .expect("a reading")
                .volts
        };
        let difference = (by(1.0) - by(-1.0)) / (2.0 * step);
        let off = (difference - told[steepest]).abs();
        assert!(
            off <= 1e-3 * largest + 1e-6,
            "{change:?}: {difference} {}",
            told[steepest]
        );
        compared += 1;
    }
    assert!(compared >= 20, "{compared}");
}

/// Answers that only sort faults are as near as was asked for. The allowance is no bound where Newton's method stops, so one in
/// two hundred may be beyond it.
#[test]
fn answers_that_only_sort_are_as_near_as_was_allowed() {
    const ALLOWED: f64 = 2e-4;
    for name in ["board60", "board300"] {
        let Some(case) = generated(name) else {
            return;
        };
        let network = circuit::build(&case.sheet, sheet::device::Devices::shipped(), State::Cold);
        let board = Board::new(network).expect("the healthy board has an operating point");
        let values = board.network.population.nominal();
        let faults = campaign_faults(&case.sheet);
        let faulty = FaultBoard::new(&board, &case.sheet, &values, &faults);
        let (mut pairs, mut beyond, mut other) = (0, 0, 0);
        for function in [Function::Diode, Function::Ohms] {
            let question = question(function);
            let all = campaign_places(&case.sheet);
            for (red, black) in all.iter().step_by(all.len() / 6 + 1) {
                let engine = || FaultEngine::new(&faulty, red.0, black.0, &question);
                let mut exact = engine().expect("the healthy board can be read");
                let mut rough = engine().expect("the healthy board can be read");
                rough.allow(ALLOWED);
                for change in faulty.changes() {
                    let (Ok(a), Ok(b)) = (exact.answer(change), rough.answer(change)) else {
                        panic!("no answer on {name}");
                    };
                    pairs += 1;
                    // A range is left where a hair decides.
                    if a.range == b.range && a.reading.is_some() == b.reading.is_some() {
                        beyond += usize::from((a.volts - b.volts).abs() > ALLOWED);
                        other += usize::from(a.volts != b.volts);
                    } else {
                        beyond += 1;
                    }
                }
            }
        }
        println!("{name}: {beyond} of {pairs} beyond {ALLOWED} V, {other} not the same");
        assert!(beyond * 200 <= pairs, "{name}: {beyond} of {pairs}");
        assert!(other > 0, "{name}: the allowance changes nothing");
    }
}
