//! Where a lead was put: names of nets, points and part pins, resolved against a sheet.

use sheet::{Kind, NetId, Part, PartId, Sheet, did_you_mean};

/// A place as written, and what it is on the sheet.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Lead {
    /// As written; output echoes it.
    pub written: String,
    /// The net that the place is on while nothing is lifted.
    pub net: NetId,
    /// What kind of place it is.
    pub at: At,
}

/// What kind of place a lead was put on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum At {
    /// A net, wherever it is easiest reached.
    Net,
    /// A named point: its index in [`Sheet::points`].
    Point(usize),
    /// A part's pin: the part, and the pin's index in [`Part::pins`].
    Pin(PartId, usize),
}

/// Why a place is not on the sheet: what is wrong, and what would mend it; both whole sentences.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoSuchPlace {
    /// What is wrong.
    pub message: String,
    /// What would mend it.
    pub help: String,
}

/// Finds a place by its name: a net (`REF`), a point (`TP3`) or a part pin (`Q1.b`, `R4.1`, `J1.2`, `T1.primary.1`),
/// in this order, with or without the sheet's own name before it (`A2:REF`).
///
/// # Errors
/// If the sheet has no such place; the message says which part of the name is unknown.
pub fn resolve(name: &str, sheet: &Sheet) -> Result<Lead, NoSuchPlace> {
    let lead = |net, at| {
        Ok(Lead {
            written: name.to_owned(),
            net,
            at,
        })
    };
    let own = name
        .strip_prefix(sheet.name.as_str())
        .and_then(|rest| rest.strip_prefix(':'));
    for spelled in [Some(name), own].into_iter().flatten() {
        if let Some(net) = sheet.net(spelled) {
            return lead(net, At::Net);
        }
        if let Some(i) = sheet.points.iter().position(|p| p.name == spelled) {
            return lead(sheet.points[i].net, At::Point(i));
        }
        if let Some((part, pin, net)) = find_pin(spelled, sheet) {
            return lead(net, At::Pin(part, pin));
        }
    }
    Err(unknown(own.unwrap_or(name), sheet))
}

/// Part names may hold dots, so every dot is tried.
fn find_pin(name: &str, sheet: &Sheet) -> Option<(PartId, usize, NetId)> {
    name.match_indices('.').find_map(|(dot, _)| {
        let part = sheet.part(&name[..dot])?;
        let (pin, net) = pin(&sheet.parts[part.index()], &name[dot + 1..])?;
        Some((part, pin, net))
    })
}

/// A pin by its name; pins of two-terminal parts also by `1` and `2`.
fn pin(part: &Part, name: &str) -> Option<(usize, NetId)> {
    let pins = part.pins();
    let by_name = pins.iter().position(|(pin, _)| pin == name);
    let two_terminal = pins.len() == 2 && !matches!(part.kind, Kind::Connector { .. });
    let by_number = match name {
        "1" if two_terminal => Some(0),
        "2" if two_terminal => Some(1),
        _ => None,
    };
    by_name.or(by_number).map(|i| (i, pins[i].1))
}

fn unknown(name: &str, sheet: &Sheet) -> NoSuchPlace {
    if let Some(part) = sheet.part(name) {
        let pins = pin_list(&sheet.parts[part.index()], name);
        let message = format!("{name} is a part, and a lead stands on one of its pins.");
        return NoSuchPlace {
            message,
            help: format!("Write one of {pins}."),
        };
    }
    let part = name
        .match_indices('.')
        .find_map(|(dot, _)| Some((dot, sheet.part(&name[..dot])?)));
    if let Some((dot, part)) = part {
        let (part_name, pin) = (&name[..dot], &name[dot + 1..]);
        let pins = pin_list(&sheet.parts[part.index()], part_name);
        let message = format!("{part_name} has no pin `{pin}`.");
        return NoSuchPlace {
            message,
            help: format!("Write one of {pins}."),
        };
    }
    let message = format!(
        "The sheet {} has no net, point or part pin `{name}`.",
        sheet.name
    );
    let otherwise = "Write a net, a point or a part pin as the sheet spells it, such as Q1.b.";
    NoSuchPlace {
        message,
        help: did_you_mean(name, places(sheet), otherwise),
    }
}

fn pin_list(part: &Part, name: &str) -> String {
    let pins: Vec<String> = part
        .pins()
        .iter()
        .map(|(pin, _)| format!("{name}.{pin}"))
        .collect();
    pins.join(", ")
}

fn places(sheet: &Sheet) -> impl Iterator<Item = &str> {
    let nets = sheet.nets.iter().map(|n| n.name.as_str());
    nets.chain(sheet.points.iter().map(|p| p.name.as_str()))
}
