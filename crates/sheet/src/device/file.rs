//! The device file's grammar: `spread`, `diode`, `transistor`, `npn`, `pnp`, one a line.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use kdl::KdlNode;
use units::{Amps, Ohms, Volts, Watts};

use super::{
    DeviceDiagnostic, Devices, DiodeModel, Entry, Material, ModelSpread, Slot, TransistorModel,
};
use crate::fields::{Fields, Mistakes, Wanted, document, name_span};
use crate::{Polarity, Ratings};

const DIODE: &str = "material= is= n= rs= volts= amps= watts= is-lot= is-own= source=";
const TRANSISTOR: &str = "material= is= bf= br= rc= vaf= vceo= volts= amps= watts= is-lot= is-own= bf-lot= bf-own= source=";
const SPREAD: &str = "is-lot= is-own= bf-lot= bf-own= source=";

/// Spreads of a material, used by every entry below that gives none.
pub(super) type Spreads = Vec<(Material, ModelSpread)>;

pub(super) fn parse(text: &str) -> (Devices, Vec<DeviceDiagnostic>) {
    let mut mistakes = Mistakes::of(text);
    let mut devices = Devices::default();
    for node in document(text, &mut mistakes).nodes() {
        let replaced = match node.name().value() {
            "spread" => {
                devices.spreads.extend(spread(node, &mut mistakes));
                false
            }
            "diode" => keep(
                &mut devices.diodes,
                diode(node, &devices.spreads, &mut mistakes),
            ),
            "transistor" | "npn" | "pnp" => keep(
                &mut devices.transistors,
                transistor(node, &devices.spreads, &mut mistakes),
            ),
            other => {
                let message = format!("A device file has no `{other}`.");
                let help = "What may stand here: spread, diode, transistor, npn, pnp.".to_owned();
                mistakes.at(name_span(node), message, help);
                false
            }
        };
        if replaced {
            let message = "A name stands in the file twice; this one counts.".to_owned();
            mistakes.at(
                name_span(node),
                message,
                "Remove one of the two.".to_owned(),
            );
        }
    }
    (devices, mistakes.into_found())
}

/// Says whether the name was there before.
fn keep<M>(entries: &mut BTreeMap<String, Slot<M>>, found: Option<(String, Entry<M>)>) -> bool {
    found.is_some_and(|(name, entry)| {
        entries
            .insert(
                name,
                Slot {
                    line: "",
                    read: entry.into(),
                },
            )
            .is_some()
    })
}

/// Finds the entries of the shipped file, one a line, without reading their figures.
pub(super) fn index(text: &'static str) -> Devices {
    let mut devices = Devices::default();
    for line in text.lines() {
        let mut words = line.split(' ');
        let word = words.next().unwrap_or_default();
        let name = words
            .next()
            .unwrap_or_default()
            .trim_matches('"')
            .to_owned();
        match word {
            "spread" => devices.spreads.push(read_alone(line, spread)),
            "diode" => {
                devices.diodes.insert(
                    name,
                    Slot {
                        line,
                        read: OnceLock::new(),
                    },
                );
            }
            "transistor" | "npn" | "pnp" => {
                devices.transistors.insert(
                    name,
                    Slot {
                        line,
                        read: OnceLock::new(),
                    },
                );
            }
            _ => {}
        }
    }
    devices
}

/// Reads one line of the shipped file, of which a test says that it has no mistake.
fn read_alone<T>(line: &str, read: impl Fn(&KdlNode, &mut Mistakes) -> Option<T>) -> T {
    let mut mistakes = Mistakes::of(line);
    let found = document(line, &mut mistakes)
        .nodes()
        .first()
        .and_then(|node| read(node, &mut mistakes));
    found.unwrap_or_else(|| {
        panic!(
            "a line of the shipped device file cannot be read: {:?}",
            mistakes.into_found()
        )
    })
}

pub(super) fn diode_line(line: &str, spreads: &Spreads) -> Entry<DiodeModel> {
    read_alone(line, |node, mistakes| diode(node, spreads, mistakes)).1
}

pub(super) fn transistor_line(line: &str, spreads: &Spreads) -> Entry<TransistorModel> {
    read_alone(line, |node, mistakes| transistor(node, spreads, mistakes)).1
}

fn material(word: &str) -> Option<Material> {
    Some(match word {
        "silicon" => Material::Silicon,
        "germanium" => Material::Germanium,
        "selenium" => Material::Selenium,
        _ => return None,
    })
}

fn spread(node: &KdlNode, mistakes: &mut Mistakes) -> Option<(Material, ModelSpread)> {
    let mut fields = Fields::of(node, "the spread");
    let found = match fields.argument() {
        None => {
            let message = "The spread names no material.".to_owned();
            mistakes.at(fields.here(), message, MATERIALS.to_owned());
            None
        }
        Some((word, at)) => {
            if material(&word).is_none() {
                mistakes.at(
                    at,
                    format!("`{word}` is no material known here."),
                    MATERIALS.to_owned(),
                );
            }
            material(&word)
        }
    };
    let read = factors(&mut fields, NONE, mistakes);
    source(&mut fields, mistakes);
    fields.finish(SPREAD, mistakes);
    found.map(|m| (m, read))
}

const NONE: ModelSpread = ModelSpread {
    is_lot: 1.0,
    is_own: 1.0,
    bf_lot: 1.0,
    bf_own: 1.0,
    br_own: 1.0,
};

const MATERIALS: &str = "Write silicon, germanium or selenium.";

fn factors(fields: &mut Fields, otherwise: ModelSpread, mistakes: &mut Mistakes) -> ModelSpread {
    let mut factor = |key: &str, otherwise: f64| {
        let at = fields.here();
        let value = fields
            .number(key, "", Wanted::Positive, mistakes)
            .unwrap_or(otherwise);
        if value < 1.0 {
            let message = format!(
                "`{key}` is a factor of one standard deviation and cannot be below 1: `{value}`."
            );
            mistakes.at(
                at,
                message,
                "Write 1 for no spread, 1.5 for half as much again.".to_owned(),
            );
            return otherwise;
        }
        value
    };
    ModelSpread {
        is_lot: factor("is-lot", otherwise.is_lot),
        is_own: factor("is-own", otherwise.is_own),
        bf_lot: factor("bf-lot", otherwise.bf_lot),
        bf_own: factor("bf-own", otherwise.bf_own),
        br_own: otherwise.br_own,
    }
}

/// Every figure has its ground: an entry without a source is refused.
fn source(fields: &mut Fields, mistakes: &mut Mistakes) -> Option<String> {
    match fields.text("source") {
        Some((text, _)) if !text.trim().is_empty() => Some(text),
        _ => {
            let help =
                "Add source= with the book or the measurement, or \"from memory\".".to_owned();
            mistakes.at(
                fields.here(),
                "The entry does not say where its figures come from.".to_owned(),
                help,
            );
            None
        }
    }
}

/// What diodes and transistors have alike.
struct Heading {
    name: String,
    material: Material,
    spread: ModelSpread,
    ratings: Ratings,
    source: String,
}

fn heading(
    fields: &mut Fields,
    sort: &str,
    spreads: &Spreads,
    mistakes: &mut Mistakes,
) -> Option<Heading> {
    let name = fields.argument();
    match &name {
        Some((name, _)) => fields.call(format!("the {sort} {name}")),
        None => mistakes.at(
            fields.here(),
            format!("The {sort} has no name."),
            "Write the class word or the type number behind it.".to_owned(),
        ),
    }
    let word = fields.text("material");
    let found = word.as_ref().and_then(|(w, _)| material(w));
    if found.is_none() {
        let at = word.map_or(fields.here(), |(_, at)| at);
        mistakes.at(
            at,
            format!("The {sort} does not say what it is made of."),
            MATERIALS.to_owned(),
        );
    }
    let of_material = spreads
        .iter()
        .find(|(m, _)| Some(*m) == found)
        .map_or(NONE, |(_, s)| *s);
    let spread = factors(fields, of_material, mistakes);
    let mut rating = |key: &str, unit: &str| fields.number(key, unit, Wanted::Positive, mistakes);
    let ratings = Ratings {
        volts: rating("volts", "V").map(Volts),
        vceo: rating("vceo", "V").map(Volts),
        amps: rating("amps", "A").map(Amps),
        watts: rating("watts", "W").map(Watts),
    };
    let source = source(fields, mistakes);
    Some(Heading {
        name: name?.0,
        material: found?,
        spread,
        ratings,
        source: source?,
    })
}

fn diode(
    node: &KdlNode,
    spreads: &Spreads,
    mistakes: &mut Mistakes,
) -> Option<(String, Entry<DiodeModel>)> {
    let mut fields = Fields::of(node, "the diode");
    let heading = heading(&mut fields, "diode", spreads, mistakes);
    let is = fields.required("is", "A", mistakes);
    let n = fields.required("n", "", mistakes);
    let rs = fields
        .number("rs", "Ω", Wanted::NotNegative, mistakes)
        .unwrap_or(0.0);
    fields.finish(DIODE, mistakes);
    let Heading {
        name,
        material,
        spread,
        ratings,
        source,
    } = heading?;
    let model = DiodeModel {
        is: Amps(is?),
        n: n?,
        rs: Ohms(rs),
        material,
        spread,
        ratings,
    };
    Some((
        name,
        Entry {
            model,
            polarity: None,
            source,
        },
    ))
}

fn transistor(
    node: &KdlNode,
    spreads: &Spreads,
    mistakes: &mut Mistakes,
) -> Option<(String, Entry<TransistorModel>)> {
    let polarity = match node.name().value() {
        "npn" => Some(Polarity::Npn),
        "pnp" => Some(Polarity::Pnp),
        _ => None,
    };
    let mut fields = Fields::of(node, "the transistor");
    let heading = heading(&mut fields, "transistor", spreads, mistakes);
    let is = fields.required("is", "A", mistakes);
    let bf = fields.required("bf", "", mistakes);
    let br = fields.required("br", "", mistakes);
    let rc = Ohms(
        fields
            .number("rc", "Ω", Wanted::NotNegative, mistakes)
            .unwrap_or(0.0),
    );
    let vaf = fields
        .number("vaf", "V", Wanted::Positive, mistakes)
        .map(Volts);
    fields.finish(TRANSISTOR, mistakes);
    let Heading {
        name,
        material,
        spread,
        ratings,
        source,
    } = heading?;
    let (is, bf, br) = (Amps(is?), bf?, br?);
    let model = TransistorModel {
        is,
        bf,
        br,
        rc,
        vaf,
        material,
        spread,
        ratings,
    };
    Some((
        name,
        Entry {
            model,
            polarity,
            source,
        },
    ))
}
