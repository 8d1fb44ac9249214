//! Several boards joined at their connectors into one sheet.

use super::{Join, PinPlace, across_boards};
use crate::diagnostic::{Diagnostic, Remarks};
use crate::text::did_you_mean;
use crate::{
    Alter, Contact, Kind, Net, NetId, Never, Part, PartId, Pin, Point, Ratings, Sheet, Span,
    Spread, Winding,
};

/// One sheet of all boards: nets, parts and points are named `A2:REF`, `A2:R4`, `A2:TP3`, and keep their roles.
///
/// Each join is a closed contact between the nets of its two pins, named `A1:J1.2-A2:J1.1`: contacts are what fails, and
/// so every net keeps its own name and can be probed on its own board. Joins that name boards not given are left out
/// silently, since a sheet of two boards is wanted where only two are at hand; unknown connectors and pins are errors.
/// The spans of the diagnostics refer to the machine file.
pub fn join(boards: &[(&str, &Sheet)], joins: &[Join]) -> (Sheet, Vec<Diagnostic>) {
    let mut remarks = Remarks::default();
    let mut whole = Sheet {
        name: boards
            .iter()
            .map(|(name, _)| *name)
            .collect::<Vec<_>>()
            .join("+"),
        temperature: boards.first().and_then(|(_, s)| s.temperature),
        ..Sheet::default()
    };
    for (name, sheet) in boards {
        add(&mut whole, name, sheet);
        if sheet.temperature != whole.temperature {
            remarks.doubt(
                Span::default(),
                format!(
                    "Sheet {name} is for another temperature than the first one, whose is used."
                ),
                "Give all sheets that are joined the same temperature.",
            );
        }
    }
    for join in joins {
        let is_given = |pin: &PinPlace| boards.iter().any(|(name, _)| *name == pin.board);
        if !join.pins.iter().all(is_given) {
            continue;
        }
        let [a, b] = [&join.pins[0], &join.pins[1]]
            .map(|pin| pin_net(boards, &whole, pin, join.span, &mut remarks));
        if let Some((a, b)) = a.zip(b) {
            whole.parts.push(contact(join, [a, b]));
        }
    }
    (whole, remarks.sorted())
}

fn contact(join: &Join, ends: [NetId; 2]) -> Part {
    let name =
        |pin: &PinPlace| across_boards(&pin.board, &format!("{}.{}", pin.connector, pin.pin));
    Part {
        name: format!("{}-{}", name(&join.pins[0]), name(&join.pins[1])),
        kind: Kind::Switch {
            ends,
            state: Contact::Closed,
            ohms: None,
        },
        spread: Spread::default(),
        ratings: Ratings::default(),
        style: None,
        span: join.span,
    }
}

/// The net of the whole sheet on a pin.
fn pin_net(
    boards: &[(&str, &Sheet)],
    whole: &Sheet,
    place: &PinPlace,
    span: Span,
    remarks: &mut Remarks,
) -> Option<NetId> {
    let (_, sheet) = boards.iter().find(|(name, _)| *name == place.board)?;
    let connectors = sheet.parts.iter().filter_map(|part| match &part.kind {
        Kind::Connector { pins } => Some((part.name.as_str(), pins)),
        _ => None,
    });
    let all: Vec<(&str, &Vec<Pin>)> = connectors.collect();
    let Some((_, pins)) = all.iter().find(|(name, _)| *name == place.connector) else {
        let names = all.iter().map(|(name, _)| *name);
        let help = did_you_mean(
            &place.connector,
            names,
            "Write the designator of a connector of that board.",
        );
        remarks.error(
            span,
            format!(
                "Board {} has no connector `{}`.",
                place.board, place.connector
            ),
            help,
        );
        return None;
    };
    let Some(pin) = pins.iter().find(|p| p.name == place.pin) else {
        let names = pins.iter().map(|p| p.name.as_str());
        let help = did_you_mean(
            &place.pin,
            names,
            "Write the name of a pin that the sheet gives.",
        );
        let message = format!(
            "Connector {} of board {} has no pin `{}`.",
            place.connector, place.board, place.pin
        );
        remarks.error(span, message, help);
        return None;
    };
    whole.net(&across_boards(&place.board, sheet.net_name(pin.net)))
}

fn add(whole: &mut Sheet, board: &str, sheet: &Sheet) {
    let first_net = whole.nets.len() as u32;
    let first_part = whole.parts.len() as u32;
    let net = |id: NetId| NetId(id.0 + first_net);
    let part = |id: PartId| PartId(id.0 + first_part);
    whole.nets.extend(sheet.nets.iter().map(|n| Net {
        name: across_boards(board, &n.name),
        ..n.clone()
    }));
    whole.parts.extend(sheet.parts.iter().map(|p| Part {
        name: across_boards(board, &p.name),
        kind: moved(&p.kind, net),
        ..p.clone()
    }));
    whole.points.extend(sheet.points.iter().map(|p| Point {
        name: across_boards(board, &p.name),
        net: net(p.net),
        ..p.clone()
    }));
    whole
        .adjacent
        .extend(sheet.adjacent.iter().map(|(a, b)| (net(*a), net(*b))));
    whole.alters.extend(sheet.alters.iter().map(|a| Alter {
        part: part(a.part),
        ..a.clone()
    }));
    whole.nevers.extend(sheet.nevers.iter().map(|n| Never {
        net: net(n.net),
        ..n.clone()
    }));
    whole
        .irreplaceable
        .extend(sheet.irreplaceable.iter().copied().map(part));
}

/// The same part on nets with other numbers.
fn moved(kind: &Kind, net: impl Fn(NetId) -> NetId) -> Kind {
    let mut kind = kind.clone();
    match &mut kind {
        Kind::Resistor { ends, .. }
        | Kind::Capacitor { ends, .. }
        | Kind::Inductor { ends, .. }
        | Kind::Fuse { ends, .. }
        | Kind::Switch { ends, .. }
        | Kind::Lamp { ends, .. }
        | Kind::Load { ends, .. } => *ends = ends.map(net),
        Kind::Potentiometer { ends, .. } => *ends = ends.map(net),
        Kind::Diode { anode, cathode, .. } | Kind::Zener { anode, cathode, .. } => {
            [*anode, *cathode] = [*anode, *cathode].map(net);
        }
        Kind::Transistor { c, b, e, .. } => [*c, *b, *e] = [*c, *b, *e].map(net),
        Kind::Supply { plus, minus, .. } => [*plus, *minus] = [*plus, *minus].map(net),
        Kind::Transformer { windings } => {
            for Winding { ends, .. } in windings {
                *ends = ends.map(&net);
            }
        }
        Kind::Connector { pins } => {
            for Pin { net: id, .. } in pins {
                *id = net(*id);
            }
        }
    }
    kind
}
