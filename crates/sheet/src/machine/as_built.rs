//! A sheet as one unit is really built, so that a restorer's own repair does not make every expectation wrong.

use units::Ohms;

use super::{Change, Difference, Unit};
use crate::diagnostic::{Diagnostic, Remarks};
use crate::parse::reread;
use crate::print::part_line;
use crate::text::{self, Entry, Node, Scalar, did_you_mean};
use crate::{Alter, Drift, Kind, NetId, Part, PartId, Ratings, Sheet, Span, Spread};

/// A wire or a blob of solder.
const BRIDGE: Ohms = Ohms(0.1);

/// The sheet of a board with the differences of that unit applied, and what could not be applied.
///
/// Spans in the diagnostics refer to the machine file. A new value keeps what else the sheet says of the part; a new type
/// of a semiconductor drops the parameters, spreads and ratings that were the old one's; properties written after
/// `replace` stand above both.
pub fn as_built(sheet: &Sheet, board: &str, unit: &Unit) -> (Sheet, Vec<Diagnostic>) {
    let mut built = sheet.clone();
    let mut remarks = Remarks::default();
    let serial = unit.serial.as_deref().unwrap_or(&unit.name);
    if !sheet.fits.is_empty() && !sheet.fits.iter().any(|s| s == serial) {
        remarks.doubt(
            unit.span,
            format!("Sheet {} does not say that it fits unit {}, serial {serial}.", sheet.name, unit.name),
            "Compare the drawing with the unit, then add the serial to `fits`, or draw a sheet of its own.",
        );
    }
    let changes = unit
        .boards
        .iter()
        .filter(|d| d.board == board)
        .flat_map(|d| &d.changes);
    for change in changes {
        apply(&mut built, change, &mut remarks);
    }
    (built, remarks.sorted())
}

fn apply(sheet: &mut Sheet, change: &Change, remarks: &mut Remarks) {
    match &change.what {
        Difference::Replace {
            part,
            value,
            properties,
        } => {
            if let Some(id) = known_part(sheet, part, change.span, remarks) {
                replace(
                    sheet,
                    id,
                    value.as_deref(),
                    properties,
                    change.span,
                    remarks,
                );
            }
        }
        Difference::Absent { part } => {
            if let Some(id) = known_part(sheet, part, change.span, remarks) {
                remove(sheet, id);
            }
        }
        Difference::Bridge { nets, ohms } => {
            let [a, b] =
                [&nets[0], &nets[1]].map(|net| known_net(sheet, net, change.span, remarks));
            if let Some((a, b)) = a.zip(b) {
                bridge(sheet, [a, b], ohms.unwrap_or(BRIDGE), change.span);
            }
        }
    }
}

fn known_part(sheet: &Sheet, name: &str, span: Span, remarks: &mut Remarks) -> Option<PartId> {
    let found = sheet.part(name);
    if found.is_none() {
        let names = sheet.parts.iter().map(|p| p.name.as_str());
        let help = did_you_mean(name, names, "Write the designator as on the sheet.");
        remarks.error(
            span,
            format!("There is no part `{name}` on sheet {}.", sheet.name),
            help,
        );
    }
    found
}

fn known_net(sheet: &Sheet, name: &str, span: Span, remarks: &mut Remarks) -> Option<NetId> {
    let of_point = || sheet.points.iter().find(|p| p.name == name).map(|p| p.net);
    let found = sheet
        .net(name)
        .or_else(of_point)
        .or_else(|| sheet.pin_net(name));
    if found.is_none() {
        let names = sheet.nets.iter().map(|n| n.name.as_str());
        let help = did_you_mean(
            name,
            names,
            "Write the net, a point or a pin as on the sheet.",
        );
        remarks.error(
            span,
            format!("There is no net `{name}` on sheet {}.", sheet.name),
            help,
        );
    }
    found
}

/// Reads the line of the part anew with the new words in it, so that a replacement obeys the rules of any part.
fn replace(
    sheet: &mut Sheet,
    id: PartId,
    value: Option<&str>,
    properties: &[(String, String)],
    span: Span,
    remarks: &mut Remarks,
) {
    let old = &sheet.parts[id.index()];
    let line = part_line(sheet, old);
    let Some(mut node) = text::read(&line, remarks).into_iter().next() else {
        return;
    };
    place(&mut node, span);
    if let Some(value) = value {
        if !has_value(&old.kind) {
            remarks.error(
                span,
                format!(
                    "A {} such as {} has no value that could be replaced.",
                    old.kind.word(),
                    old.name
                ),
                "Write what differs as properties, such as: replace S1 state=open",
            );
            return;
        }
        if is_typed(&old.kind) {
            // These described the old device.
            let stays = ["anode", "cathode", "c", "b", "e", "style"];
            node.entries
                .retain(|e| e.key.as_deref().is_none_or(|k| stays.contains(&k)));
        }
        node.entries[1].scalar = Scalar::Text(value.to_owned());
    }
    for (key, text) in properties {
        node.entries
            .retain(|e| e.key.as_deref() != Some(key.as_str()));
        node.entries.push(Entry {
            key: Some(key.clone()),
            scalar: match text.as_str() {
                "#true" => Scalar::Truth(true),
                "#false" => Scalar::Truth(false),
                _ => Scalar::Text(text.clone()),
            },
            span,
        });
    }
    let old_span = old.span;
    if let Some(part) = reread(sheet, id, &node, remarks) {
        sheet.parts[id.index()] = Part {
            span: old_span,
            ..part
        };
    }
}

fn place(node: &mut Node, span: Span) {
    node.span = span;
    node.entries.iter_mut().for_each(|e| e.span = span);
    for child in node.children.iter_mut().flatten() {
        place(child, span);
    }
}

/// Whether a value or a type stands right after the designator.
fn has_value(kind: &Kind) -> bool {
    !matches!(
        kind,
        Kind::Switch { .. }
            | Kind::Lamp { .. }
            | Kind::Transformer { .. }
            | Kind::Connector { .. }
            | Kind::Supply { .. }
            | Kind::Load { .. }
    )
}

fn is_typed(kind: &Kind) -> bool {
    matches!(kind, Kind::Diode { .. } | Kind::Transistor { .. })
}

/// Takes a part out; nets stay, and what was said about the part goes with it.
fn remove(sheet: &mut Sheet, gone: PartId) {
    sheet.parts.remove(gone.index());
    let renumbered = |id: PartId| match id.0.cmp(&gone.0) {
        std::cmp::Ordering::Less => Some(id),
        std::cmp::Ordering::Equal => None,
        std::cmp::Ordering::Greater => Some(PartId(id.0 - 1)),
    };
    let alters = std::mem::take(&mut sheet.alters);
    sheet.alters = alters
        .into_iter()
        .filter_map(|alter| renumbered(alter.part).map(|part| Alter { part, ..alter }))
        .collect();
    sheet.irreplaceable = sheet
        .irreplaceable
        .iter()
        .copied()
        .filter_map(renumbered)
        .collect();
}

/// Adds a resistor that does not spread: somebody measured or made it.
fn bridge(sheet: &mut Sheet, ends: [NetId; 2], ohms: Ohms, span: Span) {
    let mut number = 1;
    while sheet.part(&format!("bridge{number}")).is_some() {
        number += 1;
    }
    sheet.parts.push(Part {
        name: format!("bridge{number}"),
        kind: Kind::Resistor { ohms, ends },
        spread: Spread {
            tolerance: Some(0.0),
            drift: Some(Drift {
                fraction: 0.0,
                mean: 0.0,
            }),
            ..Spread::default()
        },
        ratings: Ratings::default(),
        style: None,
        span,
    });
}
