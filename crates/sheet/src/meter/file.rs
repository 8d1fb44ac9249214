//! The grammar of meter profiles.

use units::{Ohms, Unit, Volts};

use super::{
    CurrentRange, DiodeFunction, Meter, OhmsFunction, SeriesRange, VoltsFunction, VoltsInput,
};
use crate::diagnostic::Remarks;
use crate::text::{self, Bound, Line, Node, Wanted, did_you_mean};
use crate::{Diagnostic, Span};

const METER: &str = "meter NAME { ohms { ... }; diode ...; volts ... }";
const OHMS: &str = "ohms { range \"2k\" amps=1e-3 limit=3.0 accuracy=\"0.3%\" floor=\"1R\" }";
const CURRENT: &str = "range \"2k\" amps=1e-3 limit=3.0 accuracy=\"0.3%\" floor=\"1R\"";
const SERIES: &str = "range x1 source=\"15R\" open=1.5 full=\"1k5\" reversed=#true accuracy=\"5%\"";
const DIODE: &str = "diode amps=1e-3 limit=2.5 accuracy=\"0.5%\" floor=\"1m\"";
const VOLTS: &str = "volts ohms=\"10M\" accuracy=\"0.3%\" floor=\"1m\" max=600";
const PER_VOLT: &str = "volts ohms-per-volt=\"20k\" range=50 accuracy=\"3%\" max=1000";
const FUNCTIONS: [&str; 3] = ["ohms", "diode", "volts"];

pub(super) fn parse(text: &str, file: &str) -> (Vec<Meter>, Vec<Diagnostic>) {
    let mut remarks = Remarks::default();
    let mut meters: Vec<Meter> = Vec::new();
    for node in text::read(text, &mut remarks)
        .iter()
        .filter(|n| n.is_sound())
    {
        if node.name != "meter" {
            let message = format!("A meter file has no `{}`.", node.name);
            remarks.error(
                node.span,
                message,
                did_you_mean(&node.name, ["meter"], format!("Write it so: {METER}")),
            );
            continue;
        }
        let before = remarks.errors();
        let read = meter(node, &mut remarks);
        if let Some(twin) = read
            .as_ref()
            .filter(|m| meters.iter().any(|o| o.name == m.name))
        {
            let message = format!("The meter {} stands in the file twice.", twin.name);
            remarks.error(node.span, message, "Give one of the two another name.");
        }
        if remarks.errors() == before && !holds_broken(node) {
            meters.extend(read);
        }
    }
    (meters, remarks.placed(file, text))
}

/// What is broken inside was remarked on when the text was read.
fn holds_broken(node: &Node) -> bool {
    !node.is_sound() || node.children.iter().flatten().any(holds_broken)
}

fn meter(node: &Node, remarks: &mut Remarks) -> Option<Meter> {
    let mut line = Line::of(node, METER);
    let name = line.name("name", remarks).map(|(name, _)| name);
    let source = line.text("source", remarks);
    line.finish(true, remarks);
    let mut meter = Meter {
        name: name?,
        source,
        ohms: None,
        diode: None,
        volts: None,
    };
    let mut seen: Vec<&str> = Vec::new();
    for part in node.children.iter().flatten().filter(|n| n.is_sound()) {
        let word = part.name.as_str();
        if seen.contains(&word) {
            let message = format!("The meter {} has `{word}` twice.", meter.name);
            remarks.error(
                part.span,
                message,
                "Keep one of the two; all ranges of ohms stand in one pair of braces.",
            );
            continue;
        }
        match word {
            "ohms" => meter.ohms = ohms(part, remarks),
            "diode" => meter.diode = diode(part, remarks),
            "volts" => meter.volts = volts(part, remarks),
            other => {
                let all = format!("It may have: {}.", FUNCTIONS.join(", "));
                remarks.error(
                    part.span,
                    format!("A meter has no `{other}`."),
                    did_you_mean(other, FUNCTIONS, all),
                );
            }
        }
        seen.push(word);
    }
    if node.children.iter().flatten().next().is_none() {
        let message = format!("The meter {} measures nothing.", meter.name);
        remarks.error(node.span, message, format!("Write it so: {METER}"));
    }
    Some(meter)
}

fn ohms(node: &Node, remarks: &mut Remarks) -> Option<OhmsFunction> {
    Line::of(node, OHMS).finish(true, remarks);
    let mut currents = Vec::new();
    let mut series: Vec<(Option<SeriesRange>, Span)> = Vec::new();
    for range in node.children.iter().flatten().filter(|n| n.is_sound()) {
        if range.name != "range" {
            let message = format!("`ohms` has no `{}`.", range.name);
            remarks.error(
                range.span,
                message,
                did_you_mean(&range.name, ["range"], format!("Write it so: {OHMS}")),
            );
            continue;
        }
        let has = |key: &str| range.entries.iter().any(|e| e.key.as_deref() == Some(key));
        if has("source") || (has("open") && !has("amps")) {
            series.push((series_range(range, remarks), range.span));
        } else {
            currents.push(current_range(range, remarks));
        }
    }
    match (currents.is_empty(), series.first()) {
        (true, None) => {
            remarks.error(
                node.span,
                "`ohms` has no range.",
                format!("Write it so: {OHMS}"),
            );
            None
        }
        (false, Some((_, first))) => {
            let message = "Ranges with `amps=` and ranges with `source=` stand in one meter.";
            remarks.error(
                *first,
                message,
                "Write two meters, one for each way of measuring.",
            );
            None
        }
        (false, None) => currents
            .into_iter()
            .collect::<Option<_>>()
            .map(|ranges| OhmsFunction::CurrentSource { ranges }),
        (true, Some(_)) => series
            .into_iter()
            .map(|(range, _)| range)
            .collect::<Option<_>>()
            .map(|ranges| OhmsFunction::Series { ranges }),
    }
}

fn range_name(line: &mut Line, remarks: &mut Remarks) -> Option<(String, Span)> {
    let name = line.name("name", remarks);
    if let Some((name, _)) = &name {
        line.call(name);
    }
    name
}

fn current_range(node: &Node, remarks: &mut Remarks) -> Option<CurrentRange> {
    let mut line = Line::of(node, CURRENT);
    let name = range_name(&mut line, remarks);
    let full_scale = name.as_ref().and_then(|(name, at)| {
        let read = units::read(name, Unit::Ohm)
            .ok()
            .map(|v| v.number)
            .filter(|ohms| *ohms > 0.0);
        if read.is_none() {
            let message = format!("The name of the range `{name}` is not its full scale in ohms.");
            line.error(
                remarks,
                *at,
                message,
                "Name it after the largest resistance it shows, such as \"2k\".",
            );
        }
        read.map(Ohms)
    });
    let amps = line.required(Wanted("amps", Bound::Positive), remarks);
    let limit = line.required(Wanted("limit", Bound::Positive), remarks);
    let accuracy = accuracy(&mut line, remarks);
    let floor = line
        .quantity(Wanted("floor", Bound::NotNegative), remarks)
        .unwrap_or(Ohms(0.0));
    line.finish(false, remarks);
    let (name, full_scale) = (name?.0, full_scale?);
    Some(CurrentRange {
        name,
        full_scale,
        amps: amps?,
        limit: limit?,
        accuracy,
        floor,
    })
}

fn series_range(node: &Node, remarks: &mut Remarks) -> Option<SeriesRange> {
    let mut line = Line::of(node, SERIES);
    let name = range_name(&mut line, remarks);
    let source: Option<Ohms> = line.required(Wanted("source", Bound::Positive), remarks);
    let open = line.required(Wanted("open", Bound::Positive), remarks);
    let full = line.quantity(Wanted("full", Bound::Positive), remarks);
    let reversed = line.truth("reversed", remarks).unwrap_or(false);
    let accuracy = accuracy(&mut line, remarks);
    line.finish(false, remarks);
    let source = source?;
    let full = full.unwrap_or(Ohms(100.0 * source.0));
    Some(SeriesRange {
        name: name?.0,
        source,
        open: open?,
        full,
        reversed,
        accuracy,
    })
}

fn diode(node: &Node, remarks: &mut Remarks) -> Option<DiodeFunction> {
    let mut line = Line::of(node, DIODE);
    let amps = line.required(Wanted("amps", Bound::Positive), remarks);
    let limit = line.required(Wanted("limit", Bound::Positive), remarks);
    let accuracy = accuracy(&mut line, remarks);
    let floor = line
        .quantity(Wanted("floor", Bound::NotNegative), remarks)
        .unwrap_or(Volts(0.0));
    line.finish(false, remarks);
    Some(DiodeFunction {
        amps: amps?,
        limit: limit?,
        accuracy,
        floor,
    })
}

fn volts(node: &Node, remarks: &mut Remarks) -> Option<VoltsFunction> {
    let has_ohms_per_volt = node
        .entries
        .iter()
        .any(|e| e.key.as_deref() == Some("ohms-per-volt"));
    let mut line = Line::of(node, if has_ohms_per_volt { PER_VOLT } else { VOLTS });
    let input = if has_ohms_per_volt {
        let ohms_per_volt = line.required(Wanted("ohms-per-volt", Bound::Positive), remarks);
        let range = line.required(Wanted("range", Bound::Positive), remarks);
        ohms_per_volt
            .zip(range)
            .map(|(ohms_per_volt, range)| VoltsInput::PerVolt {
                ohms_per_volt,
                range,
            })
    } else {
        line.required(Wanted("ohms", Bound::Positive), remarks)
            .map(VoltsInput::Fixed)
    };
    let accuracy = accuracy(&mut line, remarks);
    let floor = line
        .quantity(Wanted("floor", Bound::NotNegative), remarks)
        .unwrap_or(Volts(0.0));
    let max = line.quantity(Wanted("max", Bound::Positive), remarks);
    line.finish(false, remarks);
    Some(VoltsFunction {
        input: input?,
        accuracy,
        floor,
        max,
    })
}

/// As a fraction; an instrument that says nothing has none.
fn accuracy(line: &mut Line, remarks: &mut Remarks) -> f64 {
    let (share, _) = line.percentage("accuracy", remarks).unwrap_or((0.0, false));
    if share < 0.0 {
        let message = format!("`accuracy` of {} must not be negative.", line.what());
        line.error(
            remarks,
            line.span(),
            message,
            "Write a share such as accuracy=\"0.5%\".",
        );
    }
    share
}
