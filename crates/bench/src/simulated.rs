//! `board simulate`: readings of one random unit, for trying things out.

use predict::random;
use record::{Conditions, Pair, Reading, ReadingValue, Shown, State, print_readings};
use sheet::Sheet;

use crate::loading::{self, Text};
use crate::meters::{MeterChoice, Meters, question};
use crate::places::{self, Treatment};
use crate::refused::Refused;
use crate::variables;

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Fixes the unit and the meter's errors.
    pub seed: u64,
    /// Which readings.
    pub pairs: Text,
    /// State for pairs that do not say.
    pub state: State,
    /// Planted faults.
    pub with: Vec<String>,
    /// Name of the unit.
    pub unit: String,
    /// Meter.
    pub meter: MeterChoice,
    /// Use good lines in spite of bad ones.
    pub lenient: bool,
}

/// Readings CSV of one random unit.
///
/// # Errors
/// Bad input, or no operating point.
pub fn simulate(sheet_text: &Text, options: &Options) -> Result<String, Refused> {
    let sheet = loading::sheet(sheet_text, options.lenient)?.value;
    let meters = Meters::settle(&options.meter)?;
    let pairs = loading::pairs(&options.pairs, &sheet, options.lenient)?.value;
    let treatment = Treatment {
        faults: places::faults(&options.with, &sheet)?,
        ..Treatment::default()
    };
    let mut readings = Vec::new();
    for state in State::ALL {
        let chosen: Vec<&Pair> = pairs
            .iter()
            .filter(|p| p.state.unwrap_or(options.state) == state)
            .collect();
        if !chosen.is_empty() {
            readings.extend(of_state(
                &sheet, state, &treatment, &chosen, &meters, options,
            )?);
        }
    }
    readings.sort_by_key(|r| r.line);
    Ok(print_readings(&readings, &sheet))
}

fn of_state(
    sheet: &Sheet,
    state: State,
    treatment: &Treatment,
    pairs: &[&Pair],
    meters: &Meters,
    options: &Options,
) -> Result<Vec<Reading>, Refused> {
    let board = places::board(sheet, state, treatment)?;
    let population = &board.network.population;
    let healthy = circuit::build(
        sheet,
        sheet::device::Devices::shipped(),
        match state {
            State::Cold => circuit::State::Cold,
            State::Powered => circuit::State::Powered,
        },
    );
    // The parts of a unit are the same in every state: each part's numbers come from a stream of
    // its own, and a lot's from one of its own.
    let z = unit_variables(sheet, &healthy, options.seed);
    let values = population.values(&z);
    let rest = board
        .rest_with(&values)
        .map_err(|e| places::unsolved(&e, sheet))?;
    let mut errors = random::stream(options.seed, 1 + state as u64);
    let mut readings = Vec::new();
    for pair in pairs {
        let Some(question) = question(meters.current(), pair.kind) else {
            continue;
        };
        let red = places::node(&pair.red, sheet, &board.network);
        let black = places::node(&pair.black, sheet, &board.network);
        let mut probe = board.probe(red, black);
        let shown = probe
            .read(&question, &values, &rest)
            .map_err(|e| places::unsolved(&e, sheet))?;
        let error = random::normal(&mut errors);
        let setup = question.setups[shown.range];
        let value = match shown.reading.and_then(|r| setup.misread(r, error)) {
            Some(r) => Shown::Number(r),
            None => Shown::OverRange,
        };
        readings.push(Reading {
            unit: options.unit.clone(),
            state,
            kind: pair.kind,
            red: pair.red.clone(),
            black: pair.black.clone(),
            written: written(value),
            value: ReadingValue::Steady(value),
            meter: None,
            note: String::new(),
            conditions: Conditions::default(),
            time: None,
            line: pair.line,
        });
    }
    Ok(readings)
}

/// Five significant digits: more than any bench meter shows.
fn written(value: Shown) -> String {
    match value {
        Shown::Number(x) => format!("{x:.5e}"),
        Shown::OverRange => "OL".to_owned(),
    }
}

/// The independent variables of the unit that `seed` stands for.
///
/// Variables are keyed by what they belong to, so that a part is the same cold and powered.
pub(crate) fn unit_variables(sheet: &Sheet, network: &circuit::Network, seed: u64) -> Vec<f64> {
    variables::keys(sheet, network)
        .iter()
        .map(|key| match key.as_str() {
            "" => 0.0,
            key => random::normal(&mut random::stream(seed, key_number(key))),
        })
        .collect()
}

/// A stable number for a key (FNV-1a, 64 bits, a public hash).
fn key_number(key: &str) -> u64 {
    key.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}
