//! What is doubtful about a sheet that can be read: probably a slip of the transcriber, perhaps the truth.

mod paths;
mod values;

use crate::diagnostic::Remarks;
use crate::{Diagnostic, Kind, NetId, Part, Role, Sheet, parse};

/// Everything doubtful, in the order of the text; never an error. Spans refer to the text that the sheet was read from.
pub fn rules(sheet: &Sheet) -> Vec<Diagnostic> {
    let mut remarks = Remarks::default();
    for part in &sheet.parts {
        both_ends_on_one_net(sheet, part, &mut remarks);
        nothing_inside(part, &mut remarks);
        values::of_part(part, &mut remarks);
    }
    values::against_known_volts(sheet, &mut remarks);
    connections(sheet, &mut remarks);
    names_that_mean_two_things(sheet, &mut remarks);
    paths::rails_without_source(sheet, &mut remarks);
    paths::islands(sheet, &mut remarks);
    remarks.sorted()
}

/// Reads a sheet and looks at what it says: errors and doubts together, in the order of the text.
pub fn check(text: &str, file: &str) -> (Sheet, Vec<Diagnostic>) {
    let (sheet, mut found) = parse(text, file);
    found.extend(rules(&sheet).into_iter().map(|d| d.placed(file, text)));
    found.sort_by_key(|d| d.span.start);
    (sheet, found)
}

/// What a part is called in a sentence: `Resistor R1`.
fn called(part: &Part) -> String {
    let word = part.kind.word();
    let mut letters = word.chars();
    let first: String = letters
        .next()
        .into_iter()
        .flat_map(char::to_uppercase)
        .collect();
    format!("{first}{} {}", letters.as_str(), part.name)
}

fn both_ends_on_one_net(sheet: &Sheet, part: &Part, remarks: &mut Remarks) {
    let mut remark = |what: String, net: NetId| {
        remarks.doubt(
            part.span,
            format!("{what} has both ends on net `{}`.", sheet.net_name(net)),
            "Look at the drawing again: one of the two nets is probably another.",
        );
    };
    match &part.kind {
        Kind::Transformer { windings } => {
            for winding in windings.iter().filter(|w| w.ends[0] == w.ends[1]) {
                remark(
                    format!("Winding {}.{}", part.name, winding.name),
                    winding.ends[0],
                );
            }
        }
        // A potentiometer or a transistor with two pins joined is drawn on purpose; with its outer pins joined it is not.
        Kind::Potentiometer {
            ends: [a, _, b], ..
        }
        | Kind::Transistor { c: a, e: b, .. }
            if a == b =>
        {
            remark(called(part), *a);
        }
        Kind::Connector { .. } => {}
        _ => match part.pins().as_slice() {
            [(_, a), (_, b)] if a == b => remark(called(part), *a),
            _ => {}
        },
    }
}

fn nothing_inside(part: &Part, remarks: &mut Remarks) {
    let missing = match &part.kind {
        Kind::Transformer { windings } if windings.is_empty() => "winding",
        Kind::Connector { pins } if pins.is_empty() => "pin",
        _ => return,
    };
    remarks.doubt(
        part.span,
        format!("{} has no {missing}.", called(part)),
        format!("Write each {missing} on a line inside its braces."),
    );
}

/// Nets with nothing or with one thing on them. A point counts as one, and so does a
/// role: what a rail or the ground goes on to is often not drawn.
fn connections(sheet: &Sheet, remarks: &mut Remarks) {
    let mut pins: Vec<Vec<(&Part, String)>> = vec![Vec::new(); sheet.nets.len()];
    for part in &sheet.parts {
        for (pin, net) in part.pins() {
            pins[net.index()].push((part, pin));
        }
    }
    for (net, on_it) in sheet.nets.iter().zip(&pins) {
        let id = sheet.net(&net.name);
        let has_point = sheet.points.iter().any(|p| Some(p.net) == id);
        match on_it.as_slice() {
            [] => remarks.doubt(
                net.span,
                format!("Net `{}` is connected to nothing.", net.name),
                "Remove it, or look for a net with nearly the same name.",
            ),
            [(part, pin)] if net.role.is_none() && !has_point && ends_somewhere(part) => {
                let what = match part.kind {
                    Kind::Switch { .. } => "a contact that leads nowhere",
                    _ => "a pin that leads nowhere",
                };
                remarks.doubt(
                    net.span,
                    format!("Net `{}` has one connection, {}.{pin}: {what}.", net.name, part.name),
                    "Look for a net with nearly the same name, or say with a `point` that it ends there.",
                );
            }
            _ => {}
        }
    }
}

/// Connector pins and ends of windings may well be alone on their net: pins that are not used, mains leads.
fn ends_somewhere(part: &Part) -> bool {
    !matches!(part.kind, Kind::Connector { .. } | Kind::Transformer { .. })
}

/// In readings one column names nets, points and pins.
fn names_that_mean_two_things(sheet: &Sheet, remarks: &mut Remarks) {
    for point in &sheet.points {
        let other = sheet
            .net(&point.name)
            .or_else(|| sheet.pin_net(&point.name));
        if other.is_some_and(|net| net != point.net) {
            remarks.doubt(
                point.span,
                format!(
                    "Point `{}` is on net `{}`, and a net or pin of the same name is elsewhere.",
                    point.name,
                    sheet.net_name(point.net)
                ),
                "Give the point another name, since readings name points and nets alike.",
            );
        }
    }
    for (index, net) in sheet.nets.iter().enumerate() {
        if sheet
            .pin_net(&net.name)
            .is_some_and(|other| other.index() != index)
        {
            remarks.doubt(
                net.span,
                format!(
                    "Net `{}` has the name of a pin that is on another net.",
                    net.name
                ),
                "Give the net another name, since readings name pins and nets alike.",
            );
        }
    }
    let has_ground = sheet.nets.iter().any(|n| n.role == Some(Role::Ground));
    if !has_ground && !sheet.nets.is_empty() {
        remarks.doubt(
            sheet.nets[0].span,
            "No net of this sheet is the ground.",
            "Say which one readings refer to, such as: net \"0V\" role=ground",
        );
    }
}
