//! The grammar of meter profiles.

use kdl::KdlNode;
use units::{Amps, Ohms, Volts};

use super::{
    CurrentRange, DiodeFunction, Meter, MeterDiagnostic, OhmsFunction, SeriesRange, VoltsFunction,
    VoltsInput,
};
use crate::fields::{Fields, Mistakes, Wanted, document, name_span};

const CURRENT: &str = "amps= limit= accuracy= floor=";
const SERIES: &str = "source= open= full= reversed= accuracy=";

pub(super) fn parse(text: &str) -> (Vec<Meter>, Vec<MeterDiagnostic>) {
    let mut mistakes = Mistakes::of(text);
    let mut meters: Vec<Meter> = Vec::new();
    for node in document(text, &mut mistakes).nodes() {
        if node.name().value() != "meter" {
            let message = format!("A meter file has no `{}`.", node.name().value());
            mistakes.at(
                name_span(node),
                message,
                "What may stand here: meter.".to_owned(),
            );
            continue;
        }
        let before = mistakes.count();
        let read = meter(node, &mut mistakes);
        if let Some(twin) = read
            .as_ref()
            .filter(|m| meters.iter().any(|o| o.name == m.name))
        {
            let message = format!("The meter {} stands in the file twice.", twin.name);
            mistakes.at(
                name_span(node),
                message,
                "Give one of the two another name.".to_owned(),
            );
        }
        if mistakes.count() == before {
            meters.extend(read);
        }
    }
    (meters, mistakes.into_found())
}

fn meter(node: &KdlNode, mistakes: &mut Mistakes) -> Option<Meter> {
    let mut fields = Fields::of(node, "the meter");
    let name = fields.argument().map(|(name, _)| name);
    if name.is_none() {
        let help = "Write a name behind it, such as meter bench-digital.".to_owned();
        mistakes.at(fields.here(), "The meter has no name.".to_owned(), help);
    }
    let source = fields.text("source").map(|(text, _)| text);
    fields.finish(
        "a name, source=, and in braces ohms, diode, volts",
        mistakes,
    );
    let mut meter = Meter {
        name: name?,
        source,
        ohms: None,
        diode: None,
        volts: None,
    };
    for part in node.iter_children() {
        let word = part.name().value();
        let twice = match word {
            "ohms" => meter.ohms.is_some(),
            "diode" => meter.diode.is_some(),
            "volts" => meter.volts.is_some(),
            _ => false,
        };
        if twice {
            let message = format!("The meter {} has `{word}` twice.", meter.name);
            mistakes.at(
                name_span(part),
                message,
                "Keep one of the two; ranges of ohms stand in one pair of braces.".to_owned(),
            );
            continue;
        }
        match word {
            "ohms" => meter.ohms = ohms(part, mistakes),
            "diode" => meter.diode = diode(part, mistakes),
            "volts" => meter.volts = volts(part, mistakes),
            other => {
                let message = format!("A meter has no `{other}`.");
                mistakes.at(
                    name_span(part),
                    message,
                    "What may stand here: ohms, diode, volts.".to_owned(),
                );
            }
        }
    }
    if node.iter_children().next().is_none() {
        let message = format!("The meter {} measures nothing.", meter.name);
        mistakes.at(
            name_span(node),
            message,
            "Add ohms, diode or volts in braces.".to_owned(),
        );
    }
    Some(meter)
}

fn ohms(node: &KdlNode, mistakes: &mut Mistakes) -> Option<OhmsFunction> {
    Fields::of(node, "ohms").finish("nothing but ranges in braces", mistakes);
    let mut currents = Vec::new();
    let mut series = Vec::new();
    for range in node.iter_children() {
        if range.name().value() != "range" {
            let message = format!("Ohms has no `{}`.", range.name().value());
            mistakes.at(
                name_span(range),
                message,
                "What may stand here: range.".to_owned(),
            );
            continue;
        }
        let has = |key: &str| range.entry(key).is_some();
        if has("source") || (has("open") && !has("amps")) {
            series.push((series_range(range, mistakes), name_span(range)));
        } else {
            currents.push((current_range(range, mistakes), name_span(range)));
        }
    }
    match (currents.is_empty(), series.is_empty()) {
        (true, true) => {
            let help = "Add range \"2k\" amps=1e-3 limit=3.0, or range x1 source=\"15R\" open=1.5."
                .to_owned();
            mistakes.at(name_span(node), "Ohms has no range.".to_owned(), help);
            None
        }
        (false, true) => gather(currents).map(|ranges| OhmsFunction::CurrentSource { ranges }),
        (true, false) => gather(series).map(|ranges| OhmsFunction::Series { ranges }),
        (false, false) => {
            let message =
                "Ranges with amps= and ranges with source= stand in one meter.".to_owned();
            let help = "Write two meters, one for each way of measuring.".to_owned();
            mistakes.at(series[0].1, message, help);
            None
        }
    }
}

fn gather<T>(ranges: Vec<(Option<T>, crate::Span)>) -> Option<Vec<T>> {
    ranges.into_iter().map(|(range, _)| range).collect()
}

fn range_name(fields: &mut Fields, mistakes: &mut Mistakes) -> Option<(String, crate::Span)> {
    let name = fields.argument();
    match &name {
        Some((name, _)) => fields.call(format!("the range {name}")),
        None => {
            let help = "Write a name behind it, such as range \"2k\".".to_owned();
            mistakes.at(fields.here(), "The range has no name.".to_owned(), help);
        }
    }
    name
}

fn current_range(node: &KdlNode, mistakes: &mut Mistakes) -> Option<CurrentRange> {
    let mut fields = Fields::of(node, "the range");
    let name = range_name(&mut fields, mistakes);
    let full_scale = name.as_ref().and_then(|(name, at)| {
        let full = crate::value::quantity(name, "Ω").filter(|ohms| *ohms > 0.0);
        if full.is_none() {
            let message = format!("The name of the range `{name}` is not its full scale in ohms.");
            mistakes.at(
                *at,
                message,
                "Name it after the largest resistance it shows, such as \"2k\".".to_owned(),
            );
        }
        full
    });
    let amps = fields.required("amps", "A", mistakes);
    let limit = fields.required("limit", "V", mistakes);
    let accuracy = accuracy(&mut fields, mistakes);
    let floor = fields
        .number("floor", "Ω", Wanted::NotNegative, mistakes)
        .unwrap_or(0.0);
    fields.finish(CURRENT, mistakes);
    let (name, _) = name?;
    let (full_scale, amps, limit) = (Ohms(full_scale?), Amps(amps?), Volts(limit?));
    Some(CurrentRange {
        name,
        full_scale,
        amps,
        limit,
        accuracy,
        floor: Ohms(floor),
    })
}

fn series_range(node: &KdlNode, mistakes: &mut Mistakes) -> Option<SeriesRange> {
    let mut fields = Fields::of(node, "the range");
    let name = range_name(&mut fields, mistakes);
    let source = fields.required("source", "Ω", mistakes);
    let open = fields.required("open", "V", mistakes);
    let full = fields.number("full", "Ω", Wanted::Positive, mistakes);
    let reversed = fields.flag("reversed", mistakes).unwrap_or(false);
    let accuracy = accuracy(&mut fields, mistakes);
    fields.finish(SERIES, mistakes);
    let (name, _) = name?;
    let (source, open) = (source?, Volts(open?));
    let full = Ohms(full.unwrap_or(100.0 * source));
    Some(SeriesRange {
        name,
        source: Ohms(source),
        open,
        full,
        reversed,
        accuracy,
    })
}

fn diode(node: &KdlNode, mistakes: &mut Mistakes) -> Option<DiodeFunction> {
    let mut fields = Fields::of(node, "the diode test");
    let amps = fields.required("amps", "A", mistakes);
    let limit = fields.required("limit", "V", mistakes);
    let accuracy = accuracy(&mut fields, mistakes);
    let floor = Volts(
        fields
            .number("floor", "V", Wanted::NotNegative, mistakes)
            .unwrap_or(0.0),
    );
    fields.finish(CURRENT, mistakes);
    Some(DiodeFunction {
        amps: Amps(amps?),
        limit: Volts(limit?),
        accuracy,
        floor,
    })
}

fn volts(node: &KdlNode, mistakes: &mut Mistakes) -> Option<VoltsFunction> {
    let mut fields = Fields::of(node, "volts");
    let input = if node.entry("ohms-per-volt").is_some() {
        let ohms_per_volt = fields.required("ohms-per-volt", "Ω", mistakes);
        let range = fields.required("range", "V", mistakes);
        ohms_per_volt.zip(range).map(|(o, r)| VoltsInput::PerVolt {
            ohms_per_volt: Ohms(o),
            range: Volts(r),
        })
    } else {
        fields
            .required("ohms", "Ω", mistakes)
            .map(|o| VoltsInput::Fixed(Ohms(o)))
    };
    let accuracy = accuracy(&mut fields, mistakes);
    let floor = Volts(
        fields
            .number("floor", "V", Wanted::NotNegative, mistakes)
            .unwrap_or(0.0),
    );
    let max = fields
        .number("max", "V", Wanted::Positive, mistakes)
        .map(Volts);
    fields.finish(
        "ohms=, or ohms-per-volt= with range=, and accuracy= floor= max=",
        mistakes,
    );
    Some(VoltsFunction {
        input: input?,
        accuracy,
        floor,
        max,
    })
}

/// Without a sign of per cent the number is the fraction itself.
fn accuracy(fields: &mut Fields, mistakes: &mut Mistakes) -> f64 {
    fields
        .number("accuracy", "%", Wanted::NotNegative, mistakes)
        .unwrap_or(0.0)
}
