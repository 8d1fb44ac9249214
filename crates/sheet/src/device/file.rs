//! The device file's grammar: `spread`, `diode`, `transistor`, `npn`, `pnp`, one a line.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use super::{Devices, DiodeModel, Entry, Material, ModelSpread, Slot, TransistorModel};
use crate::diagnostic::Remarks;
use crate::text::{self, Bound, Line, Node, Wanted, did_you_mean};
use crate::{Diagnostic, Polarity, Ratings};
use units::Ohms;

const SPREAD: &str =
    "spread silicon is-lot=1.7 is-own=1.1 bf-lot=1.5 bf-own=1.1 source=\"where from\"";
const DIODE: &str = "diode NAME material=silicon is=4e-9 n=1.9 source=\"where from\"";
const TRANSISTOR: &str = "npn NAME material=silicon is=1e-14 bf=120 br=3 source=\"where from\"";
const WORDS: [&str; 5] = ["spread", "diode", "transistor", "npn", "pnp"];

const MATERIALS: [(&str, Material); 3] = [
    ("silicon", Material::Silicon),
    ("germanium", Material::Germanium),
    ("selenium", Material::Selenium),
];

const NONE: ModelSpread = ModelSpread {
    is_lot: 1.0,
    is_own: 1.0,
    bf_lot: 1.0,
    bf_own: 1.0,
    br_own: 1.0,
};

/// Spreads of a material, used by every entry below that gives none.
pub(super) type Spreads = Vec<(Material, ModelSpread)>;

/// What a line gives: a name and its entry.
type Found<Model> = Option<(String, Entry<Model>)>;

pub(super) fn parse(text: &str, file: &str) -> (Devices, Vec<Diagnostic>) {
    let mut remarks = Remarks::default();
    let mut devices = Devices::default();
    for node in text::read(text, &mut remarks)
        .iter()
        .filter(|n| n.is_sound())
    {
        let replaced = match node.name.as_str() {
            "spread" => {
                devices.spreads.extend(spread(node, &mut remarks));
                false
            }
            "diode" => keep(
                &mut devices.diodes,
                diode(node, &devices.spreads, &mut remarks),
            ),
            "transistor" | "npn" | "pnp" => keep(
                &mut devices.transistors,
                transistor(node, &devices.spreads, &mut remarks),
            ),
            other => {
                let message = format!("A device file has no `{other}`.");
                let all = format!("It may have: {}.", WORDS.join(", "));
                remarks.error(node.span, message, did_you_mean(other, WORDS, all));
                false
            }
        };
        if replaced {
            let message = "This name stands in the file twice; the last one counts.";
            remarks.error(node.span, message, "Remove one of the two.");
        }
    }
    (devices, remarks.placed(file, text))
}

/// Says whether the name was there before.
fn keep<Model>(entries: &mut BTreeMap<String, Slot<Model>>, found: Found<Model>) -> bool {
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
fn read_alone<T>(line: &str, read: impl Fn(&Node, &mut Remarks) -> Option<T>) -> T {
    let mut remarks = Remarks::default();
    let found = text::read(line, &mut remarks)
        .first()
        .and_then(|node| read(node, &mut remarks));
    found.unwrap_or_else(|| {
        panic!(
            "a line of the shipped device file cannot be read: {:?}",
            remarks.sorted()
        )
    })
}

pub(super) fn diode_line(line: &str, spreads: &Spreads) -> Entry<DiodeModel> {
    read_alone(line, |node, remarks| diode(node, spreads, remarks)).1
}

pub(super) fn transistor_line(line: &str, spreads: &Spreads) -> Entry<TransistorModel> {
    read_alone(line, |node, remarks| transistor(node, spreads, remarks)).1
}

fn spread(node: &Node, remarks: &mut Remarks) -> Option<(Material, ModelSpread)> {
    let mut line = Line::of(node, SPREAD);
    let name = line.name("material", remarks);
    let material = name.as_ref().and_then(|(word, at)| {
        let found = MATERIALS.into_iter().find(|(known, _)| known == word);
        if found.is_none() {
            let words = MATERIALS.map(|(known, _)| known);
            let help = did_you_mean(word, words, format!("Write one of: {}.", words.join(", ")));
            line.error(
                remarks,
                *at,
                format!("`{word}` is no material known here."),
                help,
            );
        }
        found
    });
    let spread = factors(&mut line, true, NONE, remarks);
    source(&mut line, remarks);
    line.finish(false, remarks);
    material.map(|(_, material)| (material, spread))
}

/// A diode has no gain that could spread.
fn factors(
    line: &mut Line,
    has_gain: bool,
    otherwise: ModelSpread,
    remarks: &mut Remarks,
) -> ModelSpread {
    let mut factor = |key, otherwise| {
        line.number(Wanted(key, Bound::AtLeastOne), remarks)
            .unwrap_or(otherwise)
    };
    let (is_lot, is_own) = (
        factor("is-lot", otherwise.is_lot),
        factor("is-own", otherwise.is_own),
    );
    if !has_gain {
        return ModelSpread {
            is_lot,
            is_own,
            ..otherwise
        };
    }
    let (bf_lot, bf_own) = (
        factor("bf-lot", otherwise.bf_lot),
        factor("bf-own", otherwise.bf_own),
    );
    ModelSpread {
        is_lot,
        is_own,
        bf_lot,
        bf_own,
        ..otherwise
    }
}

/// Every figure has its ground: an entry without a source is refused.
fn source(line: &mut Line, remarks: &mut Remarks) -> Option<String> {
    let text = line
        .text("source", remarks)
        .filter(|text| !text.trim().is_empty());
    if text.is_none() {
        let message = format!("The figures of {} have no source.", line.what());
        let help = "Add source= with the book or the measurement, or \"from memory\".";
        line.error(remarks, line.span(), message, help);
    }
    text
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
    line: &mut Line,
    is_diode: bool,
    spreads: &Spreads,
    remarks: &mut Remarks,
) -> Option<Heading> {
    let name = line.name("name", remarks).map(|(name, _)| name);
    if let Some(name) = &name {
        line.call(name);
    }
    if !line.has_property("material") {
        let message = format!("What {} is made of is not said.", line.what());
        line.error(
            remarks,
            line.span(),
            message,
            "Add material=silicon, germanium or selenium.",
        );
    }
    let material = line.choice("material", &MATERIALS, remarks);
    let of_material = spreads
        .iter()
        .find(|(m, _)| Some(*m) == material)
        .map_or(NONE, |(_, s)| *s);
    let spread = factors(line, !is_diode, of_material, remarks);
    let ratings = Ratings {
        volts: line.quantity(Wanted("volts", Bound::Positive), remarks),
        vceo: if is_diode {
            None
        } else {
            line.quantity(Wanted("vceo", Bound::Positive), remarks)
        },
        amps: line.quantity(Wanted("amps", Bound::Positive), remarks),
        watts: line.quantity(Wanted("watts", Bound::Positive), remarks),
    };
    let source = source(line, remarks);
    Some(Heading {
        name: name?,
        material: material?,
        spread,
        ratings,
        source: source?,
    })
}

/// A plain number that must be there.
fn factor(line: &mut Line, key: &'static str, remarks: &mut Remarks) -> Option<f64> {
    if line.has_property(key) {
        return line.number(Wanted(key, Bound::Positive), remarks);
    }
    line.misses_property(key, remarks);
    None
}

fn diode(node: &Node, spreads: &Spreads, remarks: &mut Remarks) -> Found<DiodeModel> {
    let mut line = Line::of(node, DIODE);
    let heading = heading(&mut line, true, spreads, remarks);
    let is = line.required(Wanted("is", Bound::Positive), remarks);
    let n = factor(&mut line, "n", remarks);
    let rs = line
        .quantity(Wanted("rs", Bound::NotNegative), remarks)
        .unwrap_or(Ohms(0.0));
    line.finish(false, remarks);
    let Heading {
        name,
        material,
        spread,
        ratings,
        source,
    } = heading.filter(|_| !line.has_failed())?;
    let model = DiodeModel {
        is: is?,
        n: n?,
        rs,
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

fn transistor(node: &Node, spreads: &Spreads, remarks: &mut Remarks) -> Found<TransistorModel> {
    let polarity = match node.name.as_str() {
        "npn" => Some(Polarity::Npn),
        "pnp" => Some(Polarity::Pnp),
        _ => None,
    };
    let mut line = Line::of(node, TRANSISTOR);
    let heading = heading(&mut line, false, spreads, remarks);
    let is = line.required(Wanted("is", Bound::Positive), remarks);
    let (bf, br) = (
        factor(&mut line, "bf", remarks),
        factor(&mut line, "br", remarks),
    );
    let rc = line
        .quantity(Wanted("rc", Bound::NotNegative), remarks)
        .unwrap_or(Ohms(0.0));
    let vaf = line.quantity(Wanted("vaf", Bound::Positive), remarks);
    line.finish(false, remarks);
    let Heading {
        name,
        material,
        spread,
        ratings,
        source,
    } = heading.filter(|_| !line.has_failed())?;
    let model = TransistorModel {
        is: is?,
        bf: bf?,
        br: br?,
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
