//! The curve of one random unit as an oscilloscope would record it, for trying things out and for the demo.

use std::fmt::Write;

use circuit::meter::{Choice, Function, Setup};
use predict::{Question, random};
use sheet::device::Devices;

use super::{ACCURACY, Pin, STEP};
use crate::places::{self, Treatment};
use crate::refused::Refused;
use crate::simulated::unit_variables;

/// How a pin was driven.
#[derive(Clone, Debug, PartialEq)]
pub struct Driven {
    /// Greatest volts of the source, both ways.
    pub volts: f64,
    /// Resistance behind which it stands, ohms.
    pub ohms: f64,
    /// Samples of one triangle.
    pub samples: usize,
    /// Fixes the unit, the recorder's errors and its noise.
    pub seed: u64,
    /// Planted faults, as `--with` has them.
    pub with: Vec<String>,
}

/// A recording as CSV: a triangle of the source once up and down, volts at the pin and current into it, with the usual errors of two
/// channels of eight bits.
///
/// # Errors
/// If a lead or fault does not fit the sheet, or no operating point is found.
pub fn simulate(pin: &Pin, driven: &Driven, head: &str) -> Result<String, Refused> {
    let treatment = Treatment {
        faults: places::faults(&driven.with, &pin.sheet)?,
        ..Treatment::default()
    };
    let board = places::board(&pin.sheet, pin.state, &treatment)?;
    let [red, black] = super::expected::nodes(pin, &board)?;
    let built = match pin.state {
        record::State::Cold => circuit::State::Cold,
        record::State::Powered => circuit::State::Powered,
    };
    let healthy = circuit::build(&pin.sheet, Devices::shipped(), built);
    let values =
        board
            .network
            .population
            .values(&unit_variables(&pin.sheet, &healthy, driven.seed));
    let mut probe = board.probe(red, black);
    let mut x = board
        .rest_with(&values)
        .map_err(|e| places::unsolved(&e, &pin.sheet))?;
    probe.set_values(&values);
    // the triangle's corners and a hundred places between them; the samples lie straight between those
    let mut course = Vec::new();
    for k in -100..=100 {
        let volts = driven.volts * f64::from(k) / 100.0;
        let question = Question {
            function: Function::Volts,
            setups: vec![Setup::Source {
                volts,
                ohms: driven.ohms,
            }],
            choice: Choice::First,
        };
        x = probe
            .solve(&question.setups[0], &values, &x)
            .map_err(|e| places::unsolved(&e, &pin.sheet))?;
        course.push(probe.volts(&x));
    }
    let at = |source: f64| {
        let place = ((source / driven.volts + 1.0) * 100.0).clamp(0.0, 200.0);
        let k = (place as usize).min(199);
        course[k] + (place - k as f64) * (course[k + 1] - course[k])
    };
    let most = |f: &dyn Fn(f64) -> f64| (f(-driven.volts).abs()).max(f(driven.volts).abs());
    let (v_span, i_span) = (most(&at), most(&|s| (s - at(s)) / driven.ohms));
    let mut draws = random::stream(driven.seed, 77);
    let mut draw = || random::normal(&mut draws);
    let [gain_v, gain_i] = [1.0 + 0.5 * ACCURACY * draw(), 1.0 + 0.5 * ACCURACY * draw()];
    let [zero_v, zero_i] = [0.5 * STEP * draw() * v_span, 0.5 * STEP * draw() * i_span];
    let mut text = format!("{head}\nTime (s),V (V),I (A)\n");
    for k in 0..driven.samples {
        let phase = 4.0 * k as f64 / driven.samples as f64;
        let source = driven.volts * (1.0 - ((phase + 1.0).rem_euclid(4.0) - 2.0).abs());
        let (v, i) = (at(source), (source - at(source)) / driven.ohms);
        let (v, i) = (
            gain_v * v + zero_v + 0.5 * STEP * v_span * draw(),
            gain_i * i + zero_i + 0.5 * STEP * i_span * draw(),
        );
        let _ = writeln!(text, "{:.4e},{v:.3e},{i:.3e}", k as f64 * 1e-5);
    }
    Ok(text)
}
