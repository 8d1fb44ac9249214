//! Doubts about values: off the preferred series, against the rails, against what is registered.

use units::{Series, Unit, Volts, exact};

use super::called;
use crate::device::Devices;
use crate::diagnostic::Remarks;
use crate::{Kind, NetId, Part, Polarity, Role, Sheet};

/// Below this tolerance the finer series are usual (IEC 60063 makes E48 for 2 %).
const CLOSE_TOLERANCE: f64 = 0.02;

/// Larger capacitors did not exist on boards of the time; chosen because the largest reservoir cans hold about a tenth.
const LARGEST_FARADS: f64 = 0.2;

pub(super) fn of_part(part: &Part, remarks: &mut Remarks) {
    match &part.kind {
        Kind::Resistor { ohms, .. } => off_series(part, ohms.0, remarks),
        Kind::Capacitor { farads, .. } if farads.0 > LARGEST_FARADS => remarks.doubt(
            part.span,
            format!(
                "{} has {} F, which is hardly meant.",
                called(part),
                units::number(farads.0)
            ),
            "Write u, n or p behind the number: m is milli.",
        ),
        Kind::Transistor {
            polarity, device, ..
        } => against_registered(part, *polarity, &device.name, remarks),
        _ => {}
    }
}

fn off_series(part: &Part, ohms: f64, remarks: &mut Remarks) {
    let is_close = part.spread.tolerance.is_some_and(|t| t <= CLOSE_TOLERANCE);
    let is_preferred = Series::E24.contains(ohms)
        || (is_close && (Series::E96.contains(ohms) || Series::E48.contains(ohms)));
    let Some(near) = Series::E24.nearest(ohms).filter(|_| !is_preferred) else {
        return;
    };
    remarks.doubt(
        part.span,
        format!(
            "{} has {}, which is not in the E24 series.",
            called(part),
            exact(ohms, Unit::Ohm)
        ),
        format!(
            "Look at the drawing again; {} is the nearest preferred value.",
            exact(near, Unit::Ohm)
        ),
    );
}

fn against_registered(part: &Part, drawn: Polarity, name: &str, remarks: &mut Remarks) {
    let Some(registered) = Devices::shipped().polarity(name).filter(|p| *p != drawn) else {
        return;
    };
    let word = |polarity| match polarity {
        Polarity::Npn => "npn",
        Polarity::Pnp => "pnp",
    };
    remarks.doubt(
        part.span,
        format!(
            "{} is drawn as {}, and {name} is registered as {}.",
            called(part),
            word(drawn),
            word(registered)
        ),
        "Look at the arrow of the emitter and at the type number again.",
    );
}

/// Nominal potentials that the sheet states: ground, rails with their volts, and what supplies add to them.
fn known_volts(sheet: &Sheet) -> Vec<Option<Volts>> {
    let mut known: Vec<Option<Volts>> = sheet
        .nets
        .iter()
        .map(|net| match net.role {
            Some(Role::Ground) => Some(Volts(0.0)),
            _ => net.volts,
        })
        .collect();
    // Each round extends every chain of supplies by one.
    for _ in 0..sheet.nets.len() {
        let before = known.clone();
        for part in &sheet.parts {
            let Kind::Supply {
                volts, plus, minus, ..
            } = &part.kind
            else {
                continue;
            };
            let (p, m) = (plus.index(), minus.index());
            match (known[p], known[m]) {
                (Some(high), None) => known[m] = Some(Volts(high.0 - volts.0)),
                (None, Some(low)) => known[p] = Some(Volts(low.0 + volts.0)),
                _ => {}
            }
        }
        if known == before {
            break;
        }
    }
    known
}

/// Capacitors across two nets whose potentials are known: the wrong way round, or above their rating.
pub(super) fn against_known_volts(sheet: &Sheet, remarks: &mut Remarks) {
    let known = known_volts(sheet);
    let volts = |net: NetId| known[net.index()];
    for part in &sheet.parts {
        let Kind::Capacitor {
            ends, polarised, ..
        } = &part.kind
        else {
            continue;
        };
        let Some((first, second)) = volts(ends[0]).zip(volts(ends[1])) else {
            continue;
        };
        let across = first.0 - second.0;
        if *polarised && across < 0.0 {
            remarks.doubt(
                part.span,
                format!(
                    "{} stands the wrong way round: its plus is on `{}` and its minus on `{}`, which is {} V higher.",
                    called(part),
                    sheet.net_name(ends[0]),
                    sheet.net_name(ends[1]),
                    units::number(-across),
                ),
                "Exchange plus= and minus= if the drawing says so; if the machine is wired so, the capacitor is at risk.",
            );
        }
        if let Some(rated) = part.ratings.volts.filter(|r| across.abs() > r.0) {
            remarks.doubt(
                part.span,
                format!(
                    "{} is rated {} V and lies across {} V.",
                    called(part),
                    units::number(rated.0),
                    units::number(across.abs())
                ),
                "Look at the rating and at the two nets again.",
            );
        }
    }
}
