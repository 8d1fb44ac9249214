//! The device file's grammar: `spread`, `diode`, `transistor`, `npn`, `pnp`, one a line.

use kdl::KdlNode;
use units::{Amps, Ohms, Volts, Watts};

use super::{
    DeviceDiagnostic, Devices, DiodeEntry, DiodeModel, Material, ModelSpread, TransistorEntry,
    TransistorModel,
};
use crate::fields::{Fields, Mistakes, Wanted, document, name_span};
use crate::{Polarity, Ratings};

const DIODE: &str = "material= is= n= rs= volts= amps= watts= is-lot= is-own= source=";
const TRANSISTOR: &str = "material= is= bf= br= rc= vaf= vceo= volts= amps= watts= is-lot= is-own= bf-lot= bf-own= source=";
const SPREAD: &str = "is-lot= is-own= bf-lot= bf-own= source=";

/// Spreads of a material, used by every entry below that gives none.
type Materials = Vec<(Material, ModelSpread)>;

pub(super) fn parse(text: &str) -> (Devices, Vec<DeviceDiagnostic>) {
    let mut mistakes = Mistakes::of(text);
    let mut devices = Devices::default();
    let mut materials = Materials::new();
    for node in document(text, &mut mistakes).nodes() {
        match node.name().value() {
            "spread" => spread(node, &mut materials, &mut mistakes),
            "diode" => diode(node, &materials, &mut devices, &mut mistakes),
            "transistor" => transistor(node, None, &materials, &mut devices, &mut mistakes),
            "npn" => transistor(
                node,
                Some(Polarity::Npn),
                &materials,
                &mut devices,
                &mut mistakes,
            ),
            "pnp" => transistor(
                node,
                Some(Polarity::Pnp),
                &materials,
                &mut devices,
                &mut mistakes,
            ),
            other => mistakes.at(
                name_span(node),
                format!("A device file has no `{other}`."),
                "What may stand here: spread, diode, transistor, npn, pnp.".to_owned(),
            ),
        }
    }
    (devices, mistakes.into_found())
}

fn material(word: &str) -> Option<Material> {
    Some(match word {
        "silicon" => Material::Silicon,
        "germanium" => Material::Germanium,
        "selenium" => Material::Selenium,
        _ => return None,
    })
}

fn spread(node: &KdlNode, materials: &mut Materials, mistakes: &mut Mistakes) {
    let mut fields = Fields::of(node, "the spread");
    let found = match fields.argument() {
        None => {
            mistakes.at(
                fields.here(),
                "The spread names no material.".to_owned(),
                MATERIALS.to_owned(),
            );
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
    let none = ModelSpread {
        is_lot: 1.0,
        is_own: 1.0,
        bf_lot: 1.0,
        bf_own: 1.0,
        br_own: 1.0,
    };
    let read = factors(&mut fields, none, mistakes);
    source(&mut fields, mistakes);
    fields.finish(SPREAD, mistakes);
    materials.extend(found.map(|m| (m, read)));
}

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
    materials: &Materials,
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
    let none = ModelSpread {
        is_lot: 1.0,
        is_own: 1.0,
        bf_lot: 1.0,
        bf_own: 1.0,
        br_own: 1.0,
    };
    let of_material = materials
        .iter()
        .find(|(m, _)| Some(*m) == found)
        .map_or(none, |(_, s)| *s);
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

fn diode(node: &KdlNode, materials: &Materials, devices: &mut Devices, mistakes: &mut Mistakes) {
    let mut fields = Fields::of(node, "the diode");
    let heading = heading(&mut fields, "diode", materials, mistakes);
    let is = fields.required("is", "A", mistakes);
    let n = fields.required("n", "", mistakes);
    let rs = fields
        .number("rs", "Ω", Wanted::NotNegative, mistakes)
        .unwrap_or(0.0);
    let at = fields.here();
    fields.finish(DIODE, mistakes);
    let (Some(h), Some(is), Some(n)) = (heading, is, n) else {
        return;
    };
    let (is, rs) = (Amps(is), Ohms(rs));
    let model = DiodeModel {
        is,
        n,
        rs,
        material: h.material,
        spread: h.spread,
        ratings: h.ratings,
    };
    let name = h.name.clone();
    if devices
        .diodes
        .insert(
            h.name,
            DiodeEntry {
                model,
                source: h.source,
            },
        )
        .is_some()
    {
        twice(&format!("diode {name}"), at, mistakes);
    }
}

fn transistor(
    node: &KdlNode,
    polarity: Option<Polarity>,
    materials: &Materials,
    devices: &mut Devices,
    mistakes: &mut Mistakes,
) {
    let mut fields = Fields::of(node, "the transistor");
    let heading = heading(&mut fields, "transistor", materials, mistakes);
    let is = fields.required("is", "A", mistakes);
    let bf = fields.required("bf", "", mistakes);
    let br = fields.required("br", "", mistakes);
    let rc = fields
        .number("rc", "Ω", Wanted::NotNegative, mistakes)
        .unwrap_or(0.0);
    let vaf = fields
        .number("vaf", "V", Wanted::Positive, mistakes)
        .map(Volts);
    let at = fields.here();
    fields.finish(TRANSISTOR, mistakes);
    let (Some(h), Some(is), Some(bf), Some(br)) = (heading, is, bf, br) else {
        return;
    };
    let (is, rc) = (Amps(is), Ohms(rc));
    let model = TransistorModel {
        is,
        bf,
        br,
        rc,
        vaf,
        material: h.material,
        spread: h.spread,
        ratings: h.ratings,
    };
    let name = h.name.clone();
    let entry = TransistorEntry {
        model,
        polarity,
        source: h.source,
    };
    if devices.transistors.insert(h.name, entry).is_some() {
        twice(&format!("transistor {name}"), at, mistakes);
    }
}

fn twice(what: &str, at: crate::Span, mistakes: &mut Mistakes) {
    let message = format!("The {what} stands in the file twice; this one counts.");
    mistakes.at(at, message, "Remove one of the two.".to_owned());
}
