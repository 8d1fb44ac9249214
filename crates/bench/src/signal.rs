//! Recorded waveforms: measured and compared, as plain view data.

pub mod curve;
pub mod known;
pub mod picture;
mod text;

use std::io::Read;

use ::signal::align::Alignment;
use ::signal::compare::{Compared, Prepared, Settings, compare_prepared, prepare};
use ::signal::differences::Difference;
pub use ::signal::differences::engineering;
use ::signal::fault::Place;
use ::signal::measure::{Estimate, measure};
use ::signal::read::{Given, read};
use ::signal::{Capture, Fault};
use serde::Serialize;
use units::{Seconds, Volts};

use crate::refused::{Complaint, Refused};

pub use text::{compare_text, in_words, measure_text};

/// A recorded file, opened by the caller.
pub struct Recording<'a> {
    /// Its name, for complaints.
    pub file: String,
    /// Its bytes.
    pub bytes: Box<dyn Read + 'a>,
}

/// What a person said besides the files.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Asked {
    /// Seconds from one sample to the next, for files that do not say.
    pub interval: Option<f64>,
    /// Volts at full scale.
    pub full_scale: Option<f64>,
    /// One channel only.
    pub channel: Option<String>,
    /// Seconds within which a transition has not moved.
    pub tolerance: Option<f64>,
}

/// Low and high state.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct LevelsView {
    /// Low state, in the channel's unit.
    pub low: f64,
    /// High state.
    pub high: f64,
}

/// Standard uncertainties of the figures of a channel.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[allow(missing_docs, reason = "named as the figures they belong to")]
pub struct UncertaintyView {
    pub levels: f64,
    pub rise: Option<f64>,
    pub fall: Option<f64>,
    pub period: Option<f64>,
    pub width: Option<f64>,
    pub overshoot: Option<f64>,
}

/// What was measured on a channel; seconds, the channel's unit, per cent.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs, reason = "named as IEEE 181 names them")]
pub struct MeasuredView {
    pub name: String,
    pub unit: String,
    pub levels: LevelsView,
    pub edges: usize,
    pub rise: Option<f64>,
    pub fall: Option<f64>,
    pub period: Option<f64>,
    pub width: Option<f64>,
    pub overshoot: Option<f64>,
    pub noise: f64,
    pub uncertainty: UncertaintyView,
}

/// All channels of a recording, measured.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MeasureView {
    /// Channels in the file's order.
    pub channels: Vec<MeasuredView>,
    /// What was not said outright by the file.
    pub notes: Vec<String>,
}

/// One difference.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DifferenceView {
    /// missing, extra, moved, level or shape.
    pub kind: &'static str,
    /// Seconds on A's axis.
    pub at_a: f64,
    /// Seconds on B's axis.
    pub at_b: f64,
    /// A sentence.
    pub detail: String,
    /// A unit differs from itself in this way on this channel, from one recording to another.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub varies: bool,
}

/// One channel of two recordings, compared.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ComparedView {
    /// Its name in A.
    pub name: String,
    /// Seconds by which B's axis is ahead where A's is zero; absent if not aligned.
    pub offset: Option<f64>,
    /// Excess of B's clock in parts in a million.
    pub rate_ppm: Option<f64>,
    /// Whether B could be laid over A.
    pub aligned: bool,
    /// Transitions found in both.
    pub matched: usize,
    /// Differences in order of time.
    pub differences: Vec<DifferenceView>,
    /// Time of the first one on A's axis.
    pub first: Option<f64>,
    /// Why it is not aligned, or what is doubtful about it.
    pub note: Option<String>,
    /// Greatest slow drift beside the straight line, seconds.
    pub drift: f64,
    /// Standard uncertainty of the offset, seconds.
    pub offset_uncertainty: Option<f64>,
    /// Standard uncertainty of the rate in parts in a million.
    pub rate_ppm_uncertainty: Option<f64>,
}

/// Two recordings compared.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CompareView {
    /// Channels that both have.
    pub channels: Vec<ComparedView>,
    /// The earliest difference of all channels, seconds on A's axis.
    pub first: Option<f64>,
    /// Channels that differ, sources before what may only follow from them, if the signal flow is known.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub sources: Vec<known::Source>,
    /// What was not said outright by the files, and channels left out.
    pub notes: Vec<String>,
}

/// Reads a time above zero such as `1e-6`, `2.5u`, `10ns`; none if it is not one.
pub fn seconds(text: &str) -> Option<f64> {
    let number = text.trim().strip_suffix('s').unwrap_or(text.trim());
    ::signal::number::field(number.as_bytes(), b'.')
        .map(|d| d.value)
        .filter(|v| *v > 0.0 && v.is_finite())
}

/// Reads ohms above zero such as `100R` or `1k`; none if it is not one.
pub fn ohms(text: &str) -> Option<f64> {
    let read = units::read(text.trim(), units::Unit::Ohm).ok()?;
    Some(read.number).filter(|v| *v > 0.0 && v.is_finite())
}

/// Reads a percentage such as `3%` as a share from 0 to 1; none if it is not one.
pub fn percentage(text: &str) -> Option<f64> {
    let read = units::read_percentage(text.trim()).ok()?;
    Some(read.fraction).filter(|f| (0.0..1.0).contains(f))
}

fn complain(fault: &Fault, file: &str) -> Refused {
    let (mut line, mut column) = (None, None);
    let mut message = fault.to_string();
    match fault.place {
        Place::Line(l, c) => (line, column) = (Some(l as usize), Some(c as usize)),
        Place::Byte(at) => message = format!("{message} This is at byte {at} of the file."),
        Place::Whole => {}
    }
    let help = fault.wrong.help().map(str::to_owned);
    Refused::Input(vec![Complaint {
        message,
        file: Some(file.to_owned()),
        line,
        column,
        help,
        source_line: None,
    }])
}

pub(crate) fn take(recording: Recording, asked: &Asked) -> Result<Capture, Refused> {
    if let Some(volts) = asked.full_scale
        && !(volts.is_finite() && volts > 0.0)
    {
        return Err(Refused::input(
            format!("A full scale of {volts} V is not possible."),
            "Give volts above zero.",
        ));
    }
    let given = Given {
        interval: asked.interval.map(Seconds),
        full_scale: asked.full_scale.map(Volts),
    };
    read(recording.bytes, &given).map_err(|fault| complain(&fault, &recording.file))
}

fn wanted(capture: &Capture, channel: Option<&str>, file: &str) -> Result<Vec<usize>, Refused> {
    let all = 0..capture.channels.len();
    let Some(name) = channel else {
        return Ok(all.collect());
    };
    // the unit in brackets may be typed as it stands in the file
    let plain = ::signal::read::unit::heading(name).0;
    let named = |n: &str| {
        all.clone()
            .filter(|&i| capture.channels[i].name == n)
            .collect::<Vec<_>>()
    };
    let found = if named(name).is_empty() {
        named(&plain)
    } else {
        named(name)
    };
    if found.is_empty() {
        let names: Vec<&str> = capture.channels.iter().map(|c| c.name.as_str()).collect();
        let shown = names
            .iter()
            .take(20)
            .copied()
            .collect::<Vec<_>>()
            .join(", ");
        return Err(Refused::input(
            format!("`{file}` has no channel `{name}`."),
            format!("It has {shown}."),
        ));
    }
    Ok(found)
}

/// Measures each channel of a recording.
///
/// # Errors
/// If the file is at fault, or has no channel of the name asked for.
pub fn measure_recording(recording: Recording, asked: &Asked) -> Result<MeasureView, Refused> {
    let file = recording.file.clone();
    measured(&take(recording, asked)?, &file, asked)
}

/// Measures a capture that was read.
pub(crate) fn measured(
    capture: &Capture,
    file: &str,
    asked: &Asked,
) -> Result<MeasureView, Refused> {
    let picked = wanted(capture, asked.channel.as_deref(), file)?;
    let mut notes = capture.notes.clone();
    let mut channels = Vec::new();
    for i in picked {
        let channel = &capture.channels[i];
        let Some(m) = measure(&channel.trace) else {
            notes.push(format!("{} holds too little to measure.", channel.name));
            continue;
        };
        let value = |e: Option<Estimate>| e.map(|e| e.value);
        let doubt = |e: Option<Estimate>| e.map(|e| e.uncertainty);
        channels.push(MeasuredView {
            name: channel.name.clone(),
            unit: channel.unit.clone(),
            levels: LevelsView {
                low: m.levels.low,
                high: m.levels.high,
            },
            edges: m.edges,
            rise: value(m.rise),
            fall: value(m.fall),
            period: value(m.period),
            width: value(m.width),
            overshoot: value(m.overshoot),
            noise: m.levels.noise,
            uncertainty: UncertaintyView {
                levels: m.levels.uncertainty,
                rise: doubt(m.rise),
                fall: doubt(m.fall),
                period: doubt(m.period),
                width: doubt(m.width),
                overshoot: doubt(m.overshoot),
            },
        });
    }
    if channels.is_empty() {
        return Err(Refused::input(
            format!("`{file}` holds too little to measure."),
            "Three samples of one channel are the least.",
        ));
    }
    Ok(MeasureView { channels, notes })
}

/// Compares two recordings channel by channel: channels of one name, and what is left in order.
///
/// A channel that cannot be aligned by itself is laid as the best aligned one of the same recordings.
///
/// # Errors
/// If a file is at fault, or has no channel of the name asked for.
pub fn compare_recordings(
    a: Recording,
    b: Recording,
    asked: &Asked,
) -> Result<CompareView, Refused> {
    let files = [a.file.clone(), b.file.clone()];
    let (a, b) = (take(a, asked)?, take(b, asked)?);
    laid(&a, &b, [&files[0], &files[1]], asked).map(|laid| laid.view)
}

/// Marks the differences that a unit shows to itself, too: of the same kind on the same channel, between two recordings of that unit.
pub(crate) fn mark_varying(view: &mut CompareView, own: &CompareView) {
    for c in &mut view.channels {
        let Some(twin) = own.channels.iter().find(|o| o.name == c.name) else {
            continue;
        };
        for d in &mut c.differences {
            d.varies |= twin.differences.iter().any(|o| o.kind == d.kind);
        }
    }
}

/// Compares two recordings, and each unit's with others of the same unit, to learn what varies by itself.
///
/// # Errors
/// If a file is at fault, or has no channel of the name asked for.
pub fn compare_with_repeats(
    a: Recording,
    b: Recording,
    again: Vec<Recording>,
    asked: &Asked,
) -> Result<CompareView, Refused> {
    let files = [a.file.clone(), b.file.clone()];
    let (a, b) = (take(a, asked)?, take(b, asked)?);
    let mut view = laid(&a, &b, [&files[0], &files[1]], asked)?.view;
    for one in again {
        let file = one.file.clone();
        let other = take(one, asked)?;
        let own = laid(&a, &other, [&files[0], &file], asked)?.view;
        mark_varying(&mut view, &own);
        let count: usize = own.channels.iter().map(|c| c.differences.len()).sum();
        view.notes.push(format!(
            "A differs from {file} of the same unit in {count} places; differences of such a kind vary by themselves."
        ));
    }
    Ok(view)
}

/// Two captures compared, with what is needed to draw one over the other.
pub(crate) struct Laid {
    /// The comparison.
    pub view: CompareView,
    /// Numbers of the channels in A and in B, in the order of the view.
    pub pairs: Vec<(usize, usize)>,
    /// How B lies over A by the channel with the most transitions in both; none if no channel could be aligned.
    pub alignment: Option<Alignment>,
}

/// Compares captures that were read.
pub(crate) fn laid(
    a: &Capture,
    b: &Capture,
    files: [&str; 2],
    asked: &Asked,
) -> Result<Laid, Refused> {
    let mut notes: Vec<String> = a.notes.iter().map(|n| format!("A: {n}")).collect();
    notes.extend(b.notes.iter().map(|n| format!("B: {n}")));
    let left = wanted(a, asked.channel.as_deref(), files[0])?;
    let right = wanted(b, asked.channel.as_deref(), files[1])?;
    let pairs = pair_channels(a, b, left, right, &mut notes);
    let settings = Settings {
        tolerance: asked.tolerance.map(Seconds),
    };
    let ready: Vec<(Option<Prepared>, Option<Prepared>)> = pairs
        .iter()
        .map(|(i, j)| {
            (
                prepare(&a.channels[*i].trace),
                prepare(&b.channels[*j].trace),
            )
        })
        .collect();
    let mut outcomes: Vec<_> = ready
        .iter()
        .map(|(x, y)| match (x, y) {
            (Some(x), Some(y)) => Some(compare_prepared(x, y, &settings, None)),
            _ => None,
        })
        .collect();
    let guide = outcomes
        .iter()
        .flatten()
        .filter_map(|o| {
            o.alignment
                .as_ref()
                .ok()
                .map(|alignment| (o.matched, alignment))
        })
        .filter(|(_, alignment)| alignment.repeats.is_none())
        .max_by_key(|(matched, _)| *matched)
        .map(|(matched, alignment)| (matched, alignment.clone()));
    let mut guided = vec![false; outcomes.len()];
    if let Some((matched, alignment)) = guide.filter(|(matched, _)| *matched >= 8) {
        for (k, (x, y)) in ready.iter().enumerate() {
            let (Some(x), Some(y)) = (x, y) else { continue };
            let few = x.edges.at.len().min(y.edges.at.len()) < matched / 4;
            if outcomes[k].as_ref().is_some_and(|o| o.alignment.is_err()) && few {
                outcomes[k] = Some(compare_prepared(x, y, &settings, Some(&alignment)));
                guided[k] = true;
            }
        }
    }
    let aligned = |o: &Compared| o.alignment.as_ref().ok().map(|l| (o.matched, l.clone()));
    let alignment = outcomes
        .iter()
        .flatten()
        .filter_map(aligned)
        .max_by_key(|l| l.0)
        .map(|l| l.1);
    let channels: Vec<ComparedView> = pairs
        .iter()
        .zip(outcomes)
        .zip(guided)
        .map(|(((i, _), outcome), guided)| {
            let channel = &a.channels[*i];
            compared_view(&channel.name, &channel.unit, outcome, guided)
        })
        .collect();
    let first = channels.iter().filter_map(|c| c.first).reduce(f64::min);
    Ok(Laid {
        view: CompareView {
            channels,
            first,
            sources: Vec::new(),
            notes,
        },
        pairs,
        alignment,
    })
}

fn pair_channels(
    a: &Capture,
    b: &Capture,
    left: Vec<usize>,
    right: Vec<usize>,
    notes: &mut Vec<String>,
) -> Vec<(usize, usize)> {
    let mut free = right;
    let mut pairs: Vec<(usize, Option<usize>)> = left
        .into_iter()
        .map(|i| {
            let twin = free
                .iter()
                .position(|&j| b.channels[j].name == a.channels[i].name);
            (i, twin.map(|at| free.remove(at)))
        })
        .collect();
    for (i, twin) in pairs.iter_mut().filter(|(_, twin)| twin.is_none()) {
        let name = &a.channels[*i].name;
        if free.is_empty() {
            notes.push(format!("{name} of A has no partner in B."));
            continue;
        }
        let j = free.remove(0);
        notes.push(format!(
            "{name} of A is compared with {} of B, by their order.",
            b.channels[j].name
        ));
        *twin = Some(j);
    }
    notes.extend(
        free.iter()
            .map(|&j| format!("{} of B has no partner in A.", b.channels[j].name)),
    );
    pairs
        .into_iter()
        .filter_map(|(i, twin)| twin.map(|j| (i, j)))
        .collect()
}

fn compared_view(name: &str, unit: &str, outcome: Option<Compared>, guided: bool) -> ComparedView {
    let none = |note: String| ComparedView {
        name: name.to_owned(),
        offset: None,
        rate_ppm: None,
        aligned: false,
        matched: 0,
        differences: Vec::new(),
        first: None,
        note: Some(note),
        drift: 0.0,
        offset_uncertainty: None,
        rate_ppm_uncertainty: None,
    };
    let Some(outcome) = outcome else {
        return none("There is too little in it to compare.".to_owned());
    };
    let view = |d: &Difference| DifferenceView {
        kind: d.kind.word(),
        at_a: d.at_a,
        at_b: d.at_b,
        detail: d.words(unit),
        varies: false,
    };
    match &outcome.alignment {
        Err(why) => none(why.to_string()),
        Ok(alignment) => ComparedView {
            name: name.to_owned(),
            offset: Some(alignment.offset),
            rate_ppm: Some(alignment.rate * 1e6),
            aligned: true,
            matched: outcome.matched,
            differences: outcome.differences.iter().map(view).collect(),
            first: outcome.first(),
            note: match alignment.repeats {
                _ if guided => Some(
                    "Laid over each other as another channel of these recordings was.".to_owned(),
                ),
                Some(repeat) => Some(format!(
                    "The signal repeats every {}; of the shifts that fit, the one nearest to zero was taken.",
                    engineering(repeat, "s")
                )),
                None => None,
            },
            drift: alignment
                .drift
                .iter()
                .map(|k| k.1.abs())
                .fold(0.0, f64::max),
            offset_uncertainty: Some(alignment.offset_uncertainty),
            rate_ppm_uncertainty: Some(alignment.rate_uncertainty * 1e6)
                .filter(|u| u.is_finite() && *u < 1e9),
        },
    }
}
