//! What healthy boards would show between two leads, from the sheet: one band on each load line.

use ::signal::curve::Spans;
use circuit::meter::{Choice, Function, Setup};
use predict::{Board, Question, healthy};
use rayon::prelude::*;
use record::State;
use serde::Serialize;
use sheet::Sheet;

use crate::expect::SEED;
use crate::loading::{self, Text};
use crate::places::{self, Treatment};
use crate::refused::Refused;

/// Where a curve was taken.
#[derive(Clone, Debug, PartialEq)]
pub struct Pin {
    /// The sheet, as this unit is built.
    pub sheet: Sheet,
    /// Where the source's positive lead was.
    pub red: String,
    /// Where the other lead was.
    pub black: String,
    /// State of the circuit.
    pub state: State,
}

/// A place on a sheet that is given as text.
///
/// # Errors
/// If the sheet cannot be read.
pub fn pin(text: &Text, red: &str, black: &str, state: State) -> Result<Pin, Refused> {
    Ok(Pin {
        sheet: loading::sheet(text, false)?.value,
        red: red.to_owned(),
        black: black.to_owned(),
        state,
    })
}

/// What healthy boards show on one load line.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Healthy {
    /// The load line: open-circuit volts of its source as a share of the span.
    pub along: f64,
    /// The middle of healthy boards.
    pub volts: f64,
    /// Amperes there.
    pub amps: f64,
    /// 2.5 % quantile of the volts on this load line.
    pub low: f64,
    /// 97.5 % quantile.
    pub high: f64,
}

/// What healthy boards show, in order along the load lines.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Expected {
    /// Name of the sheet.
    pub sheet: String,
    /// Red lead.
    pub red: String,
    /// Black lead.
    pub black: String,
    /// `cold` or `powered`.
    pub state: &'static str,
    /// Which curves it holds for.
    pub units: Vec<usize>,
    /// The band.
    pub points: Vec<Healthy>,
}

impl Expected {
    /// The band on a load line that was asked for.
    pub(super) fn at(&self, along: f64) -> Option<&Healthy> {
        let k = self.points.partition_point(|p| p.along < along - 1e-9);
        self.points
            .get(k)
            .filter(|p| (p.along - along).abs() < 2e-9)
    }
}

/// Solves a source behind the load line's resistance on every one of these lines.
///
/// # Errors
/// If a lead is not on the sheet, or no operating point is found.
pub fn expect(pin: &Pin, along: &[f64], span: Spans) -> Result<Expected, Refused> {
    let board = places::board(&pin.sheet, pin.state, &Treatment::default())?;
    let [red, black] = nodes(pin, &board)?;
    let mut lines = along.to_vec();
    lines.sort_by(f64::total_cmp);
    lines.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    let ohms = span.ohms();
    let one = |along: &f64| {
        let volts = along * span.volts;
        let question = Question {
            function: Function::Volts,
            setups: vec![Setup::Source { volts, ohms }],
            choice: Choice::First,
        };
        let mut probe = board.probe(red, black);
        let found =
            healthy(&mut probe, &question, SEED).map_err(|e| places::unsolved(&e, &pin.sheet))?;
        let d = &found.distribution;
        let middle = d.quantile(0.5).unwrap_or(found.nominal.volts);
        let at = |p: f64| d.quantile(p).unwrap_or(middle);
        Ok(Healthy {
            along: *along,
            volts: middle,
            amps: (volts - middle) / ohms,
            low: at(0.025),
            high: at(0.975),
        })
    };
    let points: Result<Vec<Healthy>, Refused> = lines.par_iter().map(one).collect();
    Ok(Expected {
        sheet: pin.sheet.name.clone(),
        red: pin.red.clone(),
        black: pin.black.clone(),
        state: pin.state.word(),
        units: Vec::new(),
        points: points?,
    })
}

/// The nodes under the two leads.
pub(super) fn nodes(pin: &Pin, board: &Board) -> Result<[u32; 2], Refused> {
    let quoted = |name: &str| format!("\"{}\"", name.replace('"', "\"\""));
    let text = Text {
        file: "the leads".to_owned(),
        text: format!(
            "kind,red,black\nvolts,{},{}\n",
            quoted(&pin.red),
            quoted(&pin.black)
        ),
    };
    let pairs = loading::pairs(&text, &pin.sheet, false).map_err(|refused| {
        let first = &refused.complaints()[0];
        let help = first.help.clone();
        Refused::input(
            first.message.clone(),
            help.unwrap_or_else(|| "Name two places of the sheet.".to_owned()),
        )
    })?;
    let [pair] = &pairs.value[..] else {
        return Err(Refused::input(
            "Two leads are wanted.",
            "Name a red and a black one.",
        ));
    };
    let [red, black] =
        [&pair.red, &pair.black].map(|l| places::node(l, &pin.sheet, &board.network));
    if red == black {
        return Err(Refused::input(
            format!("{} and {} are one net.", pin.red, pin.black),
            "Name two places that the sheet does not join.",
        ));
    }
    Ok([red, black])
}
