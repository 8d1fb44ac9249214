//! `board judge`: readings of one or two units held against what healthy boards read.

use std::collections::HashMap;

use diagnose::{Compared, Held, judge, twin};
use predict::{Board, Distribution, healthy};
use rayon::prelude::*;
use record::{
    Expected, Reading, ReadingKind, ReadingValue, Shown, Side, State, TwinCase, VerdictWord,
};
use serde::Serialize;
use sheet::{PartId, Sheet};

use crate::alike::{STANDS_OUT, Standing};
use crate::loading::{self, Text};
use crate::machine::{self, BoardOfMachine};
use crate::meters::{MeterChoice, Meters, no_question, question};
use crate::places::{self, Treatment};
use crate::refused::{Complaint, Refused};
use crate::{Progress, Stop, expect};

/// The answer, in the shape of the command line's JSON.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct View {
    /// One a reading that counts.
    pub verdicts: Vec<Row>,
    /// Bad lines that were skipped.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub skipped: Vec<Complaint>,
}

/// One verdict; numbers in SI units, null for over range.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// Unit.
    pub unit: String,
    /// State.
    pub state: &'static str,
    /// Kind.
    pub kind: &'static str,
    /// Red lead as written.
    pub red: String,
    /// Black lead as written.
    pub black: String,
    /// What was read; null for over range.
    pub value: Option<f64>,
    /// What a healthy board reads.
    pub expected: Option<f64>,
    /// 2.5 % quantile.
    pub low: Option<f64>,
    /// 97.5 % quantile.
    pub high: Option<f64>,
    /// `agrees`, `edge`, `disagrees` or `no-expectation`.
    pub verdict: &'static str,
    /// `low` or `high`, unless it agrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub side: Option<&'static str>,
    /// Normal score.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub z: Option<f64>,
    /// The other unit's reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub twin: Option<TwinRow>,
    /// What the verdict means, in words.
    pub means: String,
    /// Which parts carry the expectation.
    pub because: String,
    /// Line in the readings file.
    pub line: usize,
    /// Unit of the numbers: `ohm`, `V`, `A` or `F`.
    #[serde(rename = "in")]
    pub measured_in: &'static str,
    /// The expectation is over range.
    pub over_range: bool,
}

/// The other unit's reading.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TwinRow {
    /// The other unit.
    pub other_unit: String,
    /// What it read; null for over range.
    pub other_value: Option<f64>,
    /// How the two stand to each other.
    pub case: &'static str,
}

/// Everything a prediction depends on besides the sheet.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
struct Condition {
    state: State,
    lifted: Vec<String>,
    unit: Option<String>,
}

/// How a unit differs from the sheet: the sheet as it is built there.
pub type AsBuilt<'a> = &'a (dyn Fn(&str) -> Option<Sheet> + Sync);

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Readings file.
    pub readings: Text,
    /// The machine that the board belongs to: its units differ from the sheet as it says.
    pub machine: Option<Text>,
    /// Meter.
    pub meter: MeterChoice,
    /// Use good lines in spite of bad ones.
    pub lenient: bool,
}

/// Judges all readings of a file.
///
/// # Errors
/// Bad input, or no operating point.
pub fn judge_file(
    sheet_text: &Text,
    options: &Options,
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<View, Refused> {
    let lenient = options.lenient;
    let loaded = loading::sheet(sheet_text, lenient)?;
    let sheet = loaded.value;
    let meters = Meters::settle(&options.meter)?;
    let machine = match &options.machine {
        Some(text) => machine::around(text, &sheet_text.file, &sheet, lenient)?,
        None => None,
    };
    let units = machine.as_ref().map(BoardOfMachine::units);
    let units = units.as_deref().filter(|u| !u.is_empty());
    let read = loading::readings(&options.readings, &sheet, &meters.all, units, lenient)?;
    let mut skipped = loaded.skipped;
    skipped.extend(read.skipped);
    let built = |unit: &str| machine.as_ref().and_then(|m| m.built(&sheet, unit));
    let verdicts = judge_readings(&sheet, &read.value, &meters, &built, progress, stop)?;
    Ok(View { verdicts, skipped })
}

/// A reading with its expectation.
struct Judged {
    held: Option<Held>,
    word: VerdictWord,
    side: Option<Side>,
    because: String,
    why_not: String,
}

/// Judges readings of one sheet; `as_built` tells how a unit differs from it.
///
/// # Errors
/// No operating point, or stopped.
pub fn judge_readings(
    sheet: &Sheet,
    readings: &[Reading],
    meters: &Meters,
    as_built: AsBuilt<'_>,
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<Vec<Row>, Refused> {
    let mut boards: HashMap<Condition, (Sheet, Result<Board, Refused>)> = HashMap::new();
    for reading in readings {
        let built = as_built(&reading.unit);
        let condition = condition(reading, built.is_some());
        boards.entry(condition.clone()).or_insert_with(|| {
            let own = built.unwrap_or_else(|| sheet.clone());
            let treatment = Treatment {
                faults: Vec::new(),
                lifted: lifted_pins(reading, &own),
            };
            let board = places::board(&own, reading.state, &treatment);
            (own, board)
        });
    }
    let done = std::sync::atomic::AtomicUsize::new(0);
    let judged: Vec<Judged> = readings
        .par_iter()
        .map(|reading| {
            if stop() {
                return Err(Refused::unable(
                    "Stopped before all readings were judged.",
                    "Start again.",
                ));
            }
            let built = as_built(&reading.unit).is_some();
            let (own, board) = &boards[&condition(reading, built)];
            let one = judge_one(own, board, reading, meters);
            let count = done.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1;
            progress(count, readings.len());
            Ok(one)
        })
        .collect::<Result<_, _>>()?;
    Ok((0..readings.len())
        .map(|i| view(readings, &judged, i))
        .collect())
}

/// Readings of a board that has no sheet: like ones are compared, and nothing is judged. `standings` runs along the readings.
pub fn compare_readings(readings: &[Reading], standings: &[Standing]) -> Vec<Row> {
    let blank = |_: &Reading| Judged {
        held: None,
        word: VerdictWord::NoExpectation,
        side: None,
        because: String::new(),
        why_not: String::new(),
    };
    let judged: Vec<Judged> = readings.iter().map(blank).collect();
    (0..readings.len())
        .map(|i| {
            let mut row = view(readings, &judged, i);
            // Where enough pairs were read, they say themselves by how much two units differ.
            if let (Some(twin), Some(score)) = (&mut row.twin, standings[i].twin) {
                let case = match score.abs() > STANDS_OUT {
                    true => TwinCase::Differ,
                    false => TwinCase::Alike,
                };
                twin.case = case.word();
                row.means = means(&readings[i], &judged[i], Some(case));
            }
            row
        })
        .collect()
}

/// The lifted pins as the unit's own sheet has them.
fn lifted_pins(reading: &Reading, own: &Sheet) -> Vec<(PartId, usize)> {
    reading
        .conditions
        .lifted
        .iter()
        .filter_map(|lead| record::resolve(&lead.written, own).ok())
        .filter_map(|lead| match lead.at {
            record::At::Pin(part, pin) => Some((part, pin)),
            record::At::Net | record::At::Point(_) => None,
        })
        .collect()
}

fn condition(reading: &Reading, own_build: bool) -> Condition {
    let mut lifted: Vec<String> = reading
        .conditions
        .lifted
        .iter()
        .map(|lead| lead.written.clone())
        .collect();
    lifted.sort_unstable();
    lifted.dedup();
    Condition {
        state: reading.state,
        lifted,
        unit: own_build.then(|| reading.unit.clone()),
    }
}

fn judge_one(
    sheet: &Sheet,
    board: &Result<Board, Refused>,
    reading: &Reading,
    meters: &Meters,
) -> Judged {
    let none = |why_not: String| Judged {
        held: None,
        word: VerdictWord::NoExpectation,
        side: None,
        because: String::new(),
        why_not,
    };
    let board = match board {
        Ok(board) => board,
        Err(refused) => return none(refused.complaints()[0].message.clone()),
    };
    let meter = meters.named(reading.meter.as_deref());
    let Some(question) = question(meter, reading.kind) else {
        return none(no_question(meter, reading.kind));
    };
    // Parts that a unit lacks move all that follow them, so places are found again by name.
    let (red, black) = match (
        record::resolve(&reading.red.written, sheet),
        record::resolve(&reading.black.written, sheet),
    ) {
        (Ok(red), Ok(black)) => (red, black),
        (Err(missing), _) | (_, Err(missing)) => return none(missing.message),
    };
    let red = places::node(&red, sheet, &board.network);
    let black = places::node(&black, sheet, &board.network);
    let mut probe = board.probe(red, black);
    let healthy = match healthy(&mut probe, &question, expect::SEED) {
        Ok(healthy) => healthy,
        Err(refusal) => {
            return none(
                places::unsolved(&refusal, sheet).complaints()[0]
                    .message
                    .clone(),
            );
        }
    };
    let because = if reading.state == State::Cold && healthy.nominal.reading.is_some() {
        let potential = probe.potentials_of(&healthy.nominal);
        let values = board.network.population.nominal();
        let list = predict::carriers(&board.network, &values, &potential, healthy.nominal.volts);
        crate::carried::words(&list, sheet)
    } else {
        String::new()
    };
    let shown = |x: Option<f64>| x.map_or(Shown::OverRange, Shown::Number);
    let d = &healthy.distribution;
    let expected = Expected {
        nominal: shown(healthy.nominal.reading),
        low: shown(d.quantile(0.025)),
        high: shown(d.quantile(0.975)),
    };
    let (word, side, z) = worst(reading.value, expected, d);
    Judged {
        held: Some(Held {
            expected,
            over_range: d.over_range(),
            z,
        }),
        word,
        side,
        because,
        why_not: String::new(),
    }
}

/// An intermittent reading is as bad as the worse of its two ends.
fn worst(
    value: ReadingValue,
    expected: Expected,
    distribution: &Distribution,
) -> (VerdictWord, Option<Side>, Option<f64>) {
    let one = |shown: Shown| {
        let z = match shown {
            Shown::Number(x) => distribution.score(x),
            Shown::OverRange => None,
        };
        let held = Held {
            expected,
            over_range: distribution.over_range(),
            z,
        };
        let (word, side) = judge(shown, &held);
        (word, side, z)
    };
    match value {
        ReadingValue::Steady(shown) => one(shown),
        ReadingValue::Intermittent(a, b) => {
            let rank = |word: VerdictWord| match word {
                VerdictWord::Agrees => 0,
                VerdictWord::Edge => 1,
                VerdictWord::Disagrees => 2,
                VerdictWord::NoExpectation => 3,
            };
            let (first, second) = (one(a), one(b));
            if rank(second.0) > rank(first.0) {
                second
            } else {
                first
            }
        }
    }
}

/// The value that stands for a reading in a table.
fn settled(value: ReadingValue) -> Shown {
    match value {
        ReadingValue::Steady(shown) | ReadingValue::Intermittent(shown, _) => shown,
    }
}

fn number(shown: Shown) -> Option<f64> {
    match shown {
        Shown::Number(x) => Some(x),
        Shown::OverRange => None,
    }
}

fn view(readings: &[Reading], judged: &[Judged], i: usize) -> Row {
    let (reading, this) = (&readings[i], &judged[i]);
    let compared = |k: usize| Compared {
        shown: settled(readings[k].value),
        word: judged[k].word,
        expected: judged[k].held.map(|h| h.expected),
    };
    let other = (0..readings.len()).rev().find(|&k| {
        let r = &readings[k];
        r.unit != reading.unit
            && r.state == reading.state
            && r.kind == reading.kind
            && same_place(&r.red, &reading.red)
            && same_place(&r.black, &reading.black)
            && r.conditions.lifted == reading.conditions.lifted
    });
    let case = other.map(|k| twin(compared(i), compared(k)));
    let expected = this.held.map(|h| h.expected);
    Row {
        unit: reading.unit.clone(),
        state: reading.state.word(),
        kind: reading.kind.word(),
        red: reading.red.written.clone(),
        black: reading.black.written.clone(),
        value: number(settled(reading.value)),
        expected: expected.and_then(|e| number(e.nominal)),
        low: expected.and_then(|e| number(e.low)),
        high: expected.and_then(|e| number(e.high)),
        verdict: this.word.word(),
        side: this.side.map(Side::word),
        z: this.held.and_then(|h| h.z),
        twin: other.zip(case).map(|(k, case)| TwinRow {
            other_unit: readings[k].unit.clone(),
            other_value: number(settled(readings[k].value)),
            case: case.word(),
        }),
        means: means(reading, this, case),
        because: this.because.clone(),
        line: reading.line,
        measured_in: match reading.kind {
            ReadingKind::Ohms => "ohm",
            ReadingKind::Diode | ReadingKind::Volts | ReadingKind::Ripple => "V",
            ReadingKind::Amps | ReadingKind::Leakage => "A",
            ReadingKind::Capacitance => "F",
        },
        over_range: expected.is_some_and(|e| e.nominal == Shown::OverRange),
    }
}

fn same_place(a: &record::Lead, b: &record::Lead) -> bool {
    a.net == b.net
}

/// What the verdict is worth, in words.
fn means(reading: &Reading, judged: &Judged, case: Option<TwinCase>) -> String {
    let mut text = match (judged.word, judged.side) {
        (VerdictWord::NoExpectation, _) => judged.why_not.clone(),
        (VerdictWord::Agrees, _) => String::new(),
        (VerdictWord::Edge, _) => {
            "at the edge of what healthy boards read: no evidence alone".to_owned()
        }
        (VerdictWord::Disagrees, Some(Side::Low)) if reading.kind == ReadingKind::Ohms => {
            "below: may be a parallel path that the sheet lacks, or a sheet error".to_owned()
        }
        (VerdictWord::Disagrees, Some(Side::High)) if reading.kind == ReadingKind::Ohms => {
            "above: evidence, since parallel paths only lower a resistance".to_owned()
        }
        (VerdictWord::Disagrees, Some(Side::Low)) => "below what healthy boards read".to_owned(),
        (VerdictWord::Disagrees, _) => "above what healthy boards read".to_owned(),
    };
    let addition = match case {
        Some(TwinCase::AlikeButOff) => {
            "both units are off alike: the same fault twice, or the sheet is wrong"
        }
        Some(TwinCase::AllDiffer) => "both units are off, each in its own way",
        Some(TwinCase::Differ) => "the units differ; nothing says yet which is right",
        _ => "",
    };
    if !addition.is_empty() {
        if !text.is_empty() {
            text.push_str("; ");
        }
        text.push_str(addition);
    }
    text
}

impl View {
    /// The answer for people.
    pub fn to_text(&self) -> String {
        use crate::table::{Align, aligned, band, measured, value};
        let head = [
            ("unit", Align::Left),
            ("kind", Align::Left),
            ("red", Align::Left),
            ("black", Align::Left),
            ("read", Align::Right),
            ("expected", Align::Right),
            ("band", Align::Right),
            ("verdict", Align::Left),
            ("other unit", Align::Right),
            ("what it means", Align::Left),
        ];
        let rows: Vec<Vec<String>> = self
            .verdicts
            .iter()
            .map(|r| {
                let none = r.verdict == VerdictWord::NoExpectation.word();
                let or_dash = |text: String| if none { "-".to_owned() } else { text };
                vec![
                    r.unit.clone(),
                    r.kind.to_owned(),
                    r.red.clone(),
                    r.black.clone(),
                    measured(r.value, r.measured_in),
                    or_dash(value(r.expected, r.low, r.high, r.measured_in)),
                    or_dash(band(r.low, r.high, r.measured_in)),
                    match r.side {
                        Some(side) => format!("{} {side}", r.verdict),
                        None => r.verdict.to_owned(),
                    },
                    r.twin.as_ref().map_or_else(String::new, |t| {
                        format!("{} {}", measured(t.other_value, r.measured_in), t.case)
                    }),
                    r.means.clone(),
                ]
            })
            .collect();
        let count = |word: VerdictWord| {
            self.verdicts
                .iter()
                .filter(|r| r.verdict == word.word())
                .count()
        };
        format!(
            "{}\n{} readings: {} agree, {} at the edge, {} disagree, {} without expectation.\n",
            aligned(&head, &rows),
            self.verdicts.len(),
            count(VerdictWord::Agrees),
            count(VerdictWord::Edge),
            count(VerdictWord::Disagrees),
            count(VerdictWord::NoExpectation),
        )
    }
}
