//! What a person knows of a set of recordings, held against what was recorded: verdicts, the order of differences, and words in sequence.

mod words;

use std::collections::{HashMap, VecDeque};

use ::signal::Capture;
use ::signal::about::{About, Expect, Want, What, read_about};
use ::signal::flow::Flow;
use ::signal::measure::measure;
use serde::Serialize;

use super::{CompareView, engineering};
use crate::loading::Text;
use crate::logic::GateCase;
use crate::refused::{Complaint, Refused};
use words::sequences_text;

pub use words::{Parting, Round, Sequences, Side, sequences, sequences_told};

/// What is known, and what of its text could not be used.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Known {
    pub(crate) about: About,
    /// Mistakes in the text.
    pub remarks: Vec<Complaint>,
    /// What drives what among nets, from a gate sheet.
    drives: Vec<(String, String)>,
}

impl Known {
    /// Reads the text about a set of recordings.
    pub fn read(text: &Text) -> Known {
        let (about, mistakes) = read_about(&text.text);
        let complaint = |m: ::signal::about::Mistake| Complaint {
            file: Some(text.file.clone()),
            line: Some(m.line),
            column: Some(m.column),
            ..Complaint::new(m.message, m.help)
        };
        Known {
            about,
            remarks: mistakes.into_iter().map(complaint).collect(),
            drives: Vec::new(),
        }
    }

    /// Reads the text, all of which must be right.
    ///
    /// # Errors
    /// All mistakes in it.
    pub fn read_strictly(text: &Text) -> Result<Known, Refused> {
        let known = Known::read(text);
        if known.remarks.is_empty() {
            Ok(known)
        } else {
            Err(Refused::Input(known.remarks))
        }
    }

    /// The board that the recordings were taken from.
    pub fn board(&self) -> Option<&str> {
        self.about.board.as_deref()
    }

    /// Whether it is a volt-ampere curve.
    pub fn is_curve(&self) -> bool {
        self.about.curve.is_some()
    }

    /// The gate sheet that says what drives what.
    pub fn gates(&self) -> Option<&str> {
        self.about.gates.as_deref()
    }

    /// The nets and points that the text says its channels were taken at.
    pub fn nets(&self) -> impl Iterator<Item = (&str, &str)> {
        let named = |e: &'_ Expect| e.net.is_some();
        let found = self.about.expects.iter().filter(move |e| named(e));
        found.filter_map(|e| Some((e.channel.as_str(), e.net.as_deref()?)))
    }

    /// Takes what drives what from a gate sheet.
    ///
    /// # Errors
    /// If the sheet cannot be used at all.
    pub fn take_gates(&mut self, sheet: &Text) -> Result<(), Refused> {
        let graph = GateCase::read(sheet, None, true)?.graph();
        self.drives = graph
            .nodes
            .iter()
            .flat_map(|n| {
                let outputs = &n.outputs;
                n.inputs
                    .iter()
                    .flat_map(move |i| outputs.iter().map(move |o| (i.net.clone(), o.net.clone())))
            })
            .collect();
        Ok(())
    }

    /// What drives what among channels: as the text says, and through the gate sheet by nets, near or far.
    fn flow(&self, channels: &[&str]) -> Flow {
        let number = |name: &str| channels.iter().position(|c| *c == name);
        let mut drives = Vec::new();
        // a channel of the text that was not recorded still passes the order on
        let mut names: Vec<&str> = channels.to_vec();
        for chain in &self.about.flows {
            for pair in chain.windows(2) {
                let mut at = |name: &'_ str| {
                    names.iter().position(|n| *n == name).unwrap_or_else(|| {
                        names.push("");
                        names.len() - 1
                    })
                };
                let ends = (at(&pair[0]), at(&pair[1]));
                drives.push(ends);
            }
        }
        let net_of: HashMap<&str, &str> = self.nets().collect();
        for (k, channel) in channels.iter().enumerate() {
            let net = net_of.get(channel).copied().unwrap_or(channel);
            for reached in self.reached(net) {
                let driven = channels
                    .iter()
                    .filter(|c| net_of.get(*c).copied().unwrap_or(c) == reached)
                    .filter_map(|c| number(c));
                drives.extend(driven.filter(|d| *d != k).map(|d| (k, d)));
            }
        }
        Flow::new(drives)
    }

    fn reached(&self, net: &str) -> Vec<&str> {
        let mut found: Vec<&str> = Vec::new();
        let mut open = VecDeque::from([net]);
        while let Some(next) = open.pop_front() {
            for (_, to) in self.drives.iter().filter(|d| d.0 == next) {
                if !found.contains(&to.as_str()) {
                    found.push(to);
                    open.push_back(to);
                }
            }
        }
        found
    }
}

/// A channel that differs, in the order of the signal flow.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Source {
    /// The channel.
    pub channel: String,
    /// When it first differs, on A's axis, seconds.
    pub at: f64,
    /// The channel before it in the flow that differed no later; none for a source.
    pub follows: Option<String>,
}

/// Which channels differ, sources before what may only follow from them. `keep` says whether a difference (channel, kind, time) counts.
/// Without anything known of the flow time alone orders them.
pub fn sources(
    known: Option<&Known>,
    view: &CompareView,
    keep: &dyn Fn(&str, &str, f64) -> bool,
) -> Vec<Source> {
    let names: Vec<&str> = view.channels.iter().map(|c| c.name.as_str()).collect();
    let flow = known.map_or_else(Flow::default, |k| k.flow(&names));
    let first = |(k, c): (usize, &super::ComparedView)| {
        let counted = c
            .differences
            .iter()
            .filter(|d| keep(&c.name, d.kind, d.at_a));
        counted.map(|d| d.at_a).reduce(f64::min).map(|t| (k, t))
    };
    let firsts: Vec<(usize, f64)> = view.channels.iter().enumerate().filter_map(first).collect();
    // within this a driver and what it drives were seen at one moment: a difference is put where its transition begins or ends
    let all: Vec<f64> = view
        .channels
        .iter()
        .flat_map(|c| c.differences.iter().map(|d| d.at_a))
        .collect();
    let span =
        all.iter().copied().fold(f64::MIN, f64::max) - all.iter().copied().fold(f64::MAX, f64::min);
    let slack = if span.is_finite() {
        0.01 * span.max(0.0)
    } else {
        0.0
    };
    flow.order(&firsts, slack)
        .into_iter()
        .map(|s| Source {
            channel: names[s.signal].to_owned(),
            at: s.at,
            follows: s.after.map(|a| names[a].to_owned()),
        })
        .collect()
}

/// A figure of one unit, held against what it should be.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Seen {
    /// Unit or file.
    pub unit: String,
    /// The figure; absent if it was not measured.
    pub value: Option<f64>,
    /// `agrees`, `edge`, `disagrees`, or `not-measured`.
    pub verdict: &'static str,
    /// `low` or `high`, unless it agrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub side: Option<&'static str>,
    /// Normal score.
    pub z: Option<f64>,
}

/// A figure of a signal that is expected, with what was measured of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Judged {
    /// Channel.
    pub channel: String,
    /// Net or point of the sheet.
    pub net: Option<String>,
    /// `low`, `high`, `period`, `width`, `rise`, `fall` or `overshoot`.
    pub what: &'static str,
    /// `V`, `s` or `%`.
    #[serde(rename = "in")]
    pub unit: &'static str,
    /// What it should be.
    pub expected: f64,
    /// Lower end of the band; absent for a limit.
    pub low: Option<f64>,
    /// Upper end.
    pub high: f64,
    /// One a unit.
    pub seen: Vec<Seen>,
}

impl Judged {
    /// A figure in its unit.
    pub fn figure(&self, value: f64) -> String {
        if self.unit == "%" {
            format!("{value:.1} %")
        } else {
            engineering(value, self.unit)
        }
    }
}

/// Holds what is expected against recordings, one a unit.
pub fn judge(known: &Known, captures: &[(&str, &Capture)]) -> Vec<Judged> {
    let of = |channel: &str| -> Vec<(&str, Option<::signal::measure::Measured>)> {
        let one = |(_, c): &(&'_ str, &Capture)| {
            let found = c.channels.iter().find(|c| c.name == channel);
            found.and_then(|c| measure(&c.trace))
        };
        captures.iter().map(|c| (c.0, one(c))).collect()
    };
    let mut rows = Vec::new();
    for e in &known.about.expects {
        let measured = of(&e.channel);
        rows.extend(e.wants.iter().map(|w| row(e, w, &measured)));
    }
    rows
}

fn row(e: &Expect, w: &Want, measured: &[(&str, Option<::signal::measure::Measured>)]) -> Judged {
    let seen = |(unit, m): &(&str, Option<::signal::measure::Measured>)| {
        let figure = m.as_ref().and_then(|m| w.what.of(m));
        let z = figure.map(|f| w.score(f));
        let verdict = match z.map(f64::abs) {
            None => "not-measured",
            Some(z) if z <= 1.96 => "agrees",
            Some(z) if z <= 3.29 => "edge",
            Some(_) => "disagrees",
        };
        let side = z
            .filter(|_| verdict != "agrees")
            .map(|z| if z < 0.0 { "low" } else { "high" });
        Seen {
            unit: (*unit).to_owned(),
            value: figure.map(|f| f.value),
            verdict,
            side,
            z,
        }
    };
    Judged {
        channel: e.channel.clone(),
        net: e.net.clone(),
        what: w.what.word(),
        unit: match w.what {
            What::Low | What::High => "V",
            What::Overshoot => "%",
            _ => "s",
        },
        expected: w.value,
        low: (!w.most).then_some(w.value - w.room),
        high: if w.most { w.value } else { w.value + w.room },
        seen: measured.iter().map(seen).collect(),
    }
}

/// Verdicts and sequences, as the command line gives them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct JudgedView {
    /// Figures that are expected.
    pub verdicts: Vec<Judged>,
    /// Words in sequence, if the text says how they are read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sequences: Option<Sequences>,
}

/// Holds recordings against what is known of them.
///
/// # Errors
/// If a file is at fault or lacks a channel, or the text says nothing to judge by.
pub fn judge_recordings(
    known: &Known,
    recordings: Vec<(String, super::Recording)>,
    asked: &super::Asked,
) -> Result<JudgedView, Refused> {
    let mut captures = Vec::new();
    for (name, recording) in recordings {
        captures.push((name, super::take(recording, asked)?));
    }
    let held: Vec<(&str, &Capture)> = captures.iter().map(|(n, c)| (n.as_str(), c)).collect();
    let verdicts = judge(known, &held);
    let sequences = sequences(known, &held).transpose()?;
    if verdicts.is_empty() && sequences.is_none() {
        return Err(Refused::input(
            "The text expects nothing of these recordings.",
            "Add lines such as `expect CLOCK low=\"0V\" high=\"5V\" period=\"1us\"` or `states ...`.",
        ));
    }
    Ok(JudgedView {
        verdicts,
        sequences,
    })
}

/// The answer for people.
pub fn judged_text(view: &JudgedView) -> String {
    use crate::table::{Align, aligned};
    let mut text = String::new();
    if !view.verdicts.is_empty() {
        let head = [
            ("channel", Align::Left),
            ("figure", Align::Left),
            ("95 of 100 healthy ones", Align::Right),
            ("of", Align::Left),
            ("measured", Align::Right),
            ("verdict", Align::Left),
        ];
        let mut rows = Vec::new();
        for j in &view.verdicts {
            let band = match j.low {
                Some(low) => format!("{} to {}", j.figure(low), j.figure(j.high)),
                None => format!("up to {}", j.figure(j.high)),
            };
            for s in &j.seen {
                rows.push(vec![
                    j.channel.clone(),
                    j.what.to_owned(),
                    band.clone(),
                    s.unit.clone(),
                    s.value.map_or("-".to_owned(), |v| j.figure(v)),
                    s.side.map_or(s.verdict.to_owned(), |side| {
                        format!("{}, {side}", s.verdict)
                    }),
                ]);
            }
        }
        text += &aligned(&head, &rows);
    }
    if let Some(s) = &view.sequences {
        text += &sequences_text(s);
    }
    text
}
