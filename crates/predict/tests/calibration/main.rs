//! Bands hold what they claim: of the readings of healthy units 95 in 100, neither fewer nor more, for every kind.
//!
//! 300 units a board, 2 000 with KNOWNGOOD_FULL=1, drawn by the program's own sampler and solved by
//! its own solver; the same check against another solver stands in `tests/outside`.

mod boards;
mod latin;
mod population;
mod tally;

use circuit::meter::{Choice, Function, Setup, setups};
use predict::{Board, Distribution, Question, healthy};
use sheet::meter::Meter;

use boards::{Bench, Place};
use latin::Latin;
use tally::{Kind, Tally};

fn full() -> bool {
    std::env::var("KNOWNGOOD_FULL").is_ok_and(|full| full == "1")
}

/// Units of each board.
fn units() -> usize {
    if full() { 2_000 } else { 300 }
}

/// Places read on each board, for each function.
fn places() -> usize {
    if full() { 16 } else { 10 }
}

fn question(meter: &str, function: Function) -> Question {
    let meter = Meter::shipped()
        .iter()
        .find(|m| m.name == meter)
        .expect("the meter is shipped");
    let (setups, choice) = setups(meter, function).expect("the meter has this function");
    Question {
        function,
        setups,
        choice,
    }
}

/// Whether what is read depends on the current that reads it: more than one part in a hundred for
/// a tenth more current. That is what junctions near their knee do, and resistors do not.
fn near_a_knee(board: &Board, place: Place, question: &Question) -> bool {
    let values = board.network.population.nominal();
    let mut probe = board.probe(place.red, place.black);
    let Ok(shown) = probe.read(question, &values, &board.rest) else {
        return false;
    };
    let Setup::CurrentOhms {
        amps,
        limit,
        full_scale,
        accuracy,
        floor,
    } = question.setups[shown.range]
    else {
        return false;
    };
    let more = Question {
        function: question.function,
        setups: vec![Setup::CurrentOhms {
            amps: 1.1 * amps,
            limit: 2.0 * limit,
            full_scale: 10.0 * full_scale,
            accuracy,
            floor,
        }],
        choice: Choice::First,
    };
    let again = probe.read(&more, &values, &board.rest);
    match (shown.reading, again.ok().and_then(|s| s.reading)) {
        (Some(before), Some(after)) => (after / before - 1.0).abs() > 0.01,
        _ => true,
    }
}

/// Volts of which no pointer shows anything: all within a millivolt of nothing, by a meter whose profile
/// has no floor. Its error is then a share of nothing, and the band microvolts wide.
fn unreadable(question: &Question, band: (Option<f64>, Option<f64>)) -> bool {
    const LEAST: f64 = 1e-3;
    let pointer = question
        .setups
        .iter()
        .all(|s| matches!(s, Setup::Volts { floor, .. } if *floor == 0.0));
    let within = |end: Option<f64>| end.is_some_and(|v| v.abs() < LEAST);
    pointer && within(band.0) && within(band.1)
}

/// Reads a place on every unit and counts how many readings its band holds.
fn calibrate(
    tally: &mut Tally,
    kind: Kind,
    board: &Board,
    place: Place,
    question: &Question,
    latin: &mut Latin,
) {
    let mut probe = board.probe(place.red, place.black);
    let expected = match healthy(&mut probe, question, 1) {
        Ok(expected) => expected.distribution,
        Err(refusal) => panic!("{}: {refusal}", place.name),
    };
    let band = (expected.quantile(0.025), expected.quantile(0.975));
    if band == (None, None) {
        // Every healthy unit is over range; there is nothing to hold.
        return;
    }
    if unreadable(question, band) {
        return;
    }
    for unit in 0..latin.units() {
        let values = board.network.population.values(&latin.variables(unit));
        let rest = board
            .rest_with(&values)
            .unwrap_or_else(|e| panic!("{}: {e}", place.name));
        let shown = probe
            .read(question, &values, &rest)
            .unwrap_or_else(|e| panic!("{}: {e}", place.name));
        let setup = question.setups[shown.range];
        let read = shown
            .reading
            .and_then(|r| setup.misread(r, latin.deviate(unit)));
        tally.add(kind, &place.name, read, band, disagrees(&expected, read));
    }
    latin.shuffle_deviates();
}

/// The rule of the command line: beyond 3.29 standard scores, or over range where hardly any
/// healthy unit is, or the other way.
fn disagrees(expected: &Distribution, read: Option<f64>) -> bool {
    match read {
        None => expected.over_range() < 0.001,
        Some(_) if expected.over_range() > 0.999 => true,
        Some(value) => expected.score(value).is_none_or(|z| z.abs() > 3.29),
    }
}

fn run(benches: &[Bench], meter: &str, functions: &[Function]) -> Tally {
    let mut tally = Tally::default();
    for (number, bench) in benches.iter().enumerate() {
        for function in functions {
            let question = question(meter, *function);
            let board = match function {
                Function::Volts => &bench.powered,
                Function::Ohms | Function::Diode => &bench.cold,
            };
            let variables = board.network.population.variables;
            let mut latin = Latin::new(variables, units(), number as u64);
            for place in bench.places(*function, places()) {
                let kind = match function {
                    Function::Diode => Kind::Diode,
                    Function::Volts => Kind::Volts,
                    Function::Ohms if near_a_knee(board, place.clone(), &question) => {
                        Kind::OhmsNearAKnee
                    }
                    Function::Ohms => Kind::OhmsAway,
                };
                calibrate(&mut tally, kind, board, place, &question, &mut latin);
            }
        }
    }
    tally
}

#[test]
fn bands_hold_ninety_five_of_a_hundred_readings_of_every_kind() {
    let benches = boards::all();
    let tally = run(
        &benches,
        "bench-digital",
        &[Function::Ohms, Function::Diode, Function::Volts],
    );
    println!("{}", tally.told());
    tally.must_hold(&[
        Kind::OhmsAway,
        Kind::OhmsNearAKnee,
        Kind::Diode,
        Kind::Volts,
    ]);
}

#[test]
fn bands_hold_with_a_moving_coil_too() {
    // Its scale is even in arc and not in ohms, its test current depends on what it reads, and the
    // person's choice of range decides between two readings; volts load the net with 1 Mohm.
    let benches = boards::all();
    let tally = run(&benches, "moving-coil", &[Function::Ohms, Function::Volts]);
    println!("{}", tally.told());
    tally.must_hold(&[Kind::OhmsAway, Kind::Volts]);
}
