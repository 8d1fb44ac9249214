//! `board expect`: what healthy boards read, with the reason.

use std::collections::HashMap;
use std::sync::atomic::{AtomicUsize, Ordering};

use predict::{Board, Question, carriers, healthy};
use rayon::prelude::*;
use record::{At, Lead, ReadingKind, State};
use serde::Serialize;
use sheet::{NetId, Sheet};

use crate::loading::{self, Text};
use crate::meters::{MeterChoice, Meters, no_question, question};
use crate::places::{self, Treatment};
use crate::refused::{Complaint, Refused};
use crate::{Progress, Stop, carried};

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// State for pairs that do not say.
    pub state: State,
    /// Meter.
    pub meter: MeterChoice,
    /// Pairs file; without one every net against the first ground net.
    pub pairs: Option<Text>,
    /// Faults to assume.
    pub with: Vec<String>,
    /// Use good lines in spite of bad ones.
    pub lenient: bool,
}

/// The answer, in the shape of the command line's JSON.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct View {
    /// Name of the sheet.
    pub sheet: String,
    /// `cold` or `powered`.
    pub state: &'static str,
    /// Name of the meter profile.
    pub meter: String,
    /// One a pair.
    pub expectations: Vec<Row>,
    /// Bad lines that were skipped.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub skipped: Vec<Complaint>,
}

/// One expectation; numbers in SI units.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// `ohms`, `diode` or `volts`.
    pub kind: &'static str,
    /// State it holds in.
    pub state: &'static str,
    /// Red lead as given.
    pub red: String,
    /// Black lead as given.
    pub black: String,
    /// With nominal parts and an error-free meter; null if over range or refused.
    pub expected: Option<f64>,
    /// 2.5 % quantile.
    pub low: Option<f64>,
    /// 97.5 % quantile.
    pub high: Option<f64>,
    /// Nominal parts would be over range.
    pub over_range: bool,
    /// `ohm`, `V` or `A`.
    #[serde(rename = "in")]
    pub unit: &'static str,
    /// Share of healthy boards that would be over range.
    pub over_range_share: f64,
    /// Which parts carry it.
    pub because: String,
    /// What the number rests on.
    pub assumes: Vec<String>,
    /// Seconds until capacitors let the reading stand still, where that is more than one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub settles_seconds: Option<f64>,
    /// Why there is no number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refused: Option<String>,
}

/// A place and a kind to be predicted.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanted {
    /// Kind.
    pub kind: ReadingKind,
    /// State.
    pub state: State,
    /// Red lead.
    pub red: Lead,
    /// Black lead.
    pub black: Lead,
}

/// Predicts every pair.
///
/// # Errors
/// Bad input, or no operating point.
pub fn expect(
    text: &Text,
    options: &Options,
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<View, Refused> {
    let loaded = loading::sheet(text, options.lenient)?;
    let sheet = loaded.value;
    let mut skipped = loaded.skipped;
    let meters = Meters::settle(&options.meter)?;
    let treatment = Treatment {
        faults: places::faults(&options.with, &sheet)?,
        ..Treatment::default()
    };
    let wanted = match &options.pairs {
        Some(text) => {
            let pairs = loading::pairs(text, &sheet, options.lenient)?;
            skipped.extend(pairs.skipped);
            let wanted = |p: record::Pair| Wanted {
                kind: p.kind,
                state: p.state.unwrap_or(options.state),
                red: p.red,
                black: p.black,
            };
            pairs.value.into_iter().map(wanted).collect()
        }
        None => every_net(&sheet, options.state)?,
    };
    let expectations = rows(&sheet, &meters, &treatment, &wanted, progress, stop)?;
    Ok(View {
        sheet: sheet.name.clone(),
        state: options.state.word(),
        meter: meters.current().name.clone(),
        expectations,
        skipped,
    })
}

/// Every net against the first ground net, both polarities.
///
/// # Errors
/// If the sheet has no ground net.
pub fn every_net(sheet: &Sheet, state: State) -> Result<Vec<Wanted>, Refused> {
    let ground = sheet.ground().ok_or_else(|| {
        Refused::input(
            format!(
                "The sheet {} has no ground net, against which every net could be read.",
                sheet.name
            ),
            "Write `net \"0V\" role=ground`, or name the pairs with --pairs.",
        )
    })?;
    let kinds: &[ReadingKind] = match state {
        State::Cold => &[ReadingKind::Ohms, ReadingKind::Diode],
        State::Powered => &[ReadingKind::Volts],
    };
    let lead = |net: NetId| Lead {
        written: sheet.net_name(net).to_owned(),
        net,
        at: At::Net,
    };
    let mut wanted = Vec::new();
    for index in 0..sheet.nets.len() as u32 {
        let net = NetId(index);
        if net == ground {
            continue;
        }
        for kind in kinds {
            for (red, black) in [(net, ground), (ground, net)] {
                wanted.push(Wanted {
                    kind: *kind,
                    state,
                    red: lead(red),
                    black: lead(black),
                });
            }
        }
    }
    Ok(wanted)
}

/// The expectations of all wanted readings, on all cores.
///
/// # Errors
/// If a wanted state has no operating point, or it was stopped.
pub fn rows(
    sheet: &Sheet,
    meters: &Meters,
    treatment: &Treatment,
    wanted: &[Wanted],
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<Vec<Row>, Refused> {
    let mut boards: [Option<Board>; 2] = [None, None];
    for state in State::ALL {
        let predicted = |w: &Wanted| question(meters.current(), w.kind).is_some();
        if wanted.iter().any(|w| w.state == state && predicted(w)) {
            boards[state as usize] = Some(places::board(sheet, state, treatment)?);
        }
    }
    let done = AtomicUsize::new(0);
    let found: Result<Vec<Vec<(usize, Row)>>, Refused> = by_place(wanted)
        .par_iter()
        .map(|place| {
            let board = boards[wanted[place[0]].state as usize].as_ref();
            let mut probe = None;
            place
                .iter()
                .map(|&index| {
                    if stop() {
                        return Err(Refused::unable(
                            "Stopped before all readings were predicted.",
                            "Start again, with fewer pairs if it takes too long.",
                        ));
                    }
                    let w = &wanted[index];
                    let row = match (board, question(meters.current(), w.kind)) {
                        (Some(board), Some(question)) => {
                            let [red, black] =
                                [&w.red, &w.black].map(|l| places::node(l, sheet, &board.network));
                            let probe = probe.get_or_insert_with(|| board.probe(red, black));
                            probe.point(red, black);
                            row(sheet, board, probe, w, &question)
                        }
                        _ => blank(w, no_question(meters.current(), w.kind)),
                    };
                    progress(done.fetch_add(1, Ordering::Relaxed) + 1, wanted.len());
                    Ok((index, row))
                })
                .collect()
        })
        .collect();
    let mut rows: Vec<(usize, Row)> = found?.into_iter().flatten().collect();
    rows.sort_by_key(|(index, _)| *index);
    Ok(rows.into_iter().map(|(_, row)| row).collect())
}

/// What is wanted, by place: the same state and the same two leads, whichever is red.
fn by_place(wanted: &[Wanted]) -> Vec<Vec<usize>> {
    let mut places: Vec<Vec<usize>> = Vec::new();
    let mut known = HashMap::new();
    for (index, w) in wanted.iter().enumerate() {
        let (a, b) = (lead_key(&w.red), lead_key(&w.black));
        let place = *known
            .entry((w.state, a.min(b), a.max(b)))
            .or_insert_with(|| {
                places.push(Vec::new());
                places.len() - 1
            });
        places[place].push(index);
    }
    places
}

/// A lead by its net, and by its pin where it stands on one.
fn lead_key(lead: &Lead) -> (u32, Option<(usize, usize)>) {
    match lead.at {
        At::Pin(part, pin) => (lead.net.0, Some((part.index(), pin))),
        At::Net | At::Point(_) => (lead.net.0, None),
    }
}

fn blank(wanted: &Wanted, why: String) -> Row {
    Row {
        kind: wanted.kind.word(),
        state: wanted.state.word(),
        red: wanted.red.written.clone(),
        black: wanted.black.written.clone(),
        expected: None,
        low: None,
        high: None,
        over_range: false,
        unit: unit_word(wanted.kind),
        over_range_share: 0.0,
        because: String::new(),
        assumes: Vec::new(),
        settles_seconds: None,
        refused: Some(why),
    }
}

fn unit_word(kind: ReadingKind) -> &'static str {
    match kind {
        ReadingKind::Ohms => "ohm",
        ReadingKind::Diode | ReadingKind::Volts | ReadingKind::Ripple => "V",
        ReadingKind::Amps | ReadingKind::Leakage => "A",
        ReadingKind::Capacitance => "F",
    }
}

fn row(
    sheet: &Sheet,
    board: &Board,
    probe: &mut predict::Probe<'_>,
    wanted: &Wanted,
    question: &Question,
) -> Row {
    let healthy = match healthy(probe, question, SEED) {
        Ok(healthy) => healthy,
        Err(refusal) => {
            let why = places::unsolved(&refusal, sheet);
            return blank(wanted, why.complaints()[0].message.clone());
        }
    };
    let because = if healthy.nominal.reading.is_some() && wanted.state == State::Cold {
        let values = board.network.population.nominal();
        let potential = probe.potentials_of(&healthy.nominal);
        let list = carriers(&board.network, &values, &potential, healthy.nominal.volts);
        carried::words(&list, sheet)
    } else {
        String::new()
    };
    probe.set_values(&board.network.population.nominal());
    let settles = wait(sheet, probe, question, &healthy.nominal);
    let d = &healthy.distribution;
    Row {
        expected: healthy.nominal.reading,
        low: d.quantile(0.025),
        high: d.quantile(0.975),
        over_range: healthy.nominal.reading.is_none(),
        over_range_share: d.over_range().abs(),
        because,
        assumes: assumptions(sheet, wanted, healthy.sampled),
        settles_seconds: settles,
        refused: None,
        ..blank(wanted, String::new())
    }
}

/// How long the capacitors make the reading wait, if that is more than a second.
fn wait(
    sheet: &Sheet,
    probe: &mut predict::Probe<'_>,
    question: &Question,
    shown: &predict::Shown,
) -> Option<f64> {
    let storages: Vec<predict::Storage> = sheet
        .parts
        .iter()
        .filter_map(|p| match p.kind {
            sheet::Kind::Capacitor { farads, ends, .. } => Some(predict::Storage {
                nodes: ends.map(|n| n.0),
                farads: farads.0,
            }),
            _ => None,
        })
        .collect();
    shown.reading?;
    predict::settling(probe, &question.setups[shown.range], shown, &storages)
        .filter(|seconds| *seconds > 1.0)
}

/// Fixes the sampling of bands, so that the same question always gets the same answer.
pub const SEED: u64 = 1;

fn assumptions(sheet: &Sheet, wanted: &Wanted, sampled: bool) -> Vec<String> {
    let mut list = vec![match wanted.state {
        State::Cold => "no supply connected, capacitors discharged and settled".to_owned(),
        State::Powered => "all supplies of the sheet on and settled".to_owned(),
    }];
    match sheet.temperature {
        Some(t) => list.push(format!("junctions at {} °C", t.0)),
        None => list.push("junctions at 27 °C".to_owned()),
    }
    if sampled {
        list.push("near a knee or a change of range: the band is sampled".to_owned());
    }
    list
}

impl View {
    /// The answer for people.
    pub fn to_text(&self) -> String {
        use crate::table::{Align, aligned, band, value};
        let head = [
            ("kind", Align::Left),
            ("red", Align::Left),
            ("black", Align::Left),
            ("expected", Align::Right),
            ("95 of 100 healthy boards read", Align::Right),
            ("because", Align::Left),
        ];
        let rows: Vec<Vec<String>> = self
            .expectations
            .iter()
            .map(|r| {
                let (expected, range) = match &r.refused {
                    Some(_) => ("-".to_owned(), "-".to_owned()),
                    None => (
                        value(r.expected, r.low, r.high, r.unit),
                        band(r.low, r.high, r.unit),
                    ),
                };
                vec![
                    r.kind.to_owned(),
                    r.red.clone(),
                    r.black.clone(),
                    expected,
                    range,
                    r.refused.clone().unwrap_or_else(|| {
                        let wait = r.settles_seconds.map_or_else(String::new, |s| {
                            let s = units::significant(s, 2, units::Unit::Second);
                            format!("; wait {s} for the capacitors")
                        });
                        r.because.clone() + &wait
                    }),
                ]
            })
            .collect();
        let mut assumed: Vec<&str> = self
            .expectations
            .iter()
            .flat_map(|r| r.assumes.iter().take(2).map(String::as_str))
            .collect();
        assumed.sort_unstable();
        assumed.dedup();
        format!(
            "Sheet {}, {}, meter {}\nAssumed: {}\n\n{}",
            self.sheet,
            self.state,
            self.meter,
            assumed.join("; "),
            aligned(&head, &rows)
        )
    }
}
