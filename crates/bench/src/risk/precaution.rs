//! What contains a hazard that no cold reading shows: a limit of current, a lamp, something unplugged; each tried on the circuit.

use circuit::Fault;
use predict::stress::Powered;
use serde::Serialize;
use sheet::{Contact, Draw, Kind, Net, NetId, Part, PartId, Ratings, Role, Sheet, Spread};
use units::{Amps, Ohms, Volts};

use super::whole::Whole;
use crate::Progress;

/// What is done before the power is switched on.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LimitView {
    /// `current limit`, `current limits` of several supplies at once, `series lamp` or `unplug`.
    pub what: String,
    /// Amperes, watts, the name of what is unplugged, or each supply with its limit.
    pub value: LimitValue,
    /// Unit of the number.
    #[serde(rename = "in", skip_serializing_if = "Option::is_none")]
    pub measured_in: Option<&'static str>,
    /// At which supply.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<String>,
    /// Rated volts of the lamp.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub volts: Option<f64>,
}

/// How much, or what.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(untagged)]
pub enum LimitValue {
    /// Amperes or watts.
    Number(f64),
    /// A name.
    Name(String),
}

/// A precaution that lets a healthy circuit come up.
pub(super) struct Precaution {
    pub view: LimitView,
    sheet: Sheet,
    /// What is not there to be destroyed.
    spared: Option<PartId>,
}

/// A supply is given this much more than a healthy circuit takes, at least: chosen, so that a somewhat thirstier unit
/// still comes up.
const ROOM: f64 = 1.2;
/// A rail has come up if it stands within this share of where it stands without the precaution: chosen, as wide as common
/// tolerances of rails.
const COMES_UP: f64 = 0.10;
/// Lamps that can be bought: rated volts, and watts.
const LAMP_VOLTS: [f64; 6] = [6.0, 12.0, 24.0, 60.0, 120.0, 230.0];
const LAMP_WATTS: [f64; 12] = [
    1.2, 3.0, 5.0, 10.0, 15.0, 21.0, 25.0, 40.0, 60.0, 75.0, 100.0, 150.0,
];
/// Currents to which a bench supply is set.
const STEPS: [f64; 12] = [1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2];

/// The next current of the usual steps that is not below.
pub(crate) fn step_up(amps: f64) -> f64 {
    let decade = 10f64.powf(amps.log10().floor());
    let in_decade = STEPS.iter().map(|s| s * decade);
    in_decade
        .chain([10.0 * decade])
        .find(|s| *s >= amps * (1.0 - 1e-9))
        .unwrap_or(amps)
}

/// All precautions under which a healthy circuit comes up, gentlest to work with first.
pub(super) fn precautions(whole: &Whole, powered: &Powered<'_>) -> Vec<Precaution> {
    let sheet = &whole.sheet;
    let delivered: Vec<(PartId, f64)> = powered
        .delivered()
        .into_iter()
        .filter(|(_, amps)| *amps > 1e-6)
        .collect();
    let mut found = Vec::new();
    for (supply, amps) in &delivered {
        let limit = step_up(ROOM * amps);
        if let Some(limited) = with_limit(sheet, *supply, limit) {
            let view = LimitView {
                what: "current limit".to_owned(),
                value: LimitValue::Number(limit),
                measured_in: Some("A"),
                at: Some(sheet.parts[supply.index()].name.clone()),
                volts: None,
            };
            found.push(Precaution {
                view,
                sheet: limited,
                spared: None,
            });
        }
    }
    if delivered.len() > 1 {
        found.extend(all_limited(sheet, &delivered));
    }
    for (supply, _) in &delivered {
        found.extend(lamp(sheet, *supply, powered));
    }
    for (name, contacts) in &whole.boards {
        let mut open = sheet.clone();
        for part in &mut open.parts {
            if let Kind::Switch { state, .. } = &mut part.kind
                && contacts.contains(&part.name)
            {
                *state = Contact::Open;
            }
        }
        found.push(unplugged(name.clone(), open, None));
    }
    for (index, part) in sheet.parts.iter().enumerate() {
        if matches!(part.kind, Kind::Load { .. }) {
            let mut without = sheet.clone();
            // A load of a teraohm keeps all parts their numbers.
            if let Kind::Load { draw, .. } = &mut without.parts[index].kind {
                *draw = Draw::Ohms(Ohms(1e12));
            }
            let spared = Some(PartId(index as u32));
            found.push(unplugged(part.name.clone(), without, spared));
        }
    }
    found.retain(|p| match (&p.view.value, p.view.what.as_str()) {
        (LimitValue::Name(name), "unplug") => stays_up(&p.sheet, powered, name),
        _ => comes_up(&p.sheet, powered),
    });
    found
}

fn unplugged(name: String, sheet: Sheet, spared: Option<PartId>) -> Precaution {
    Precaution {
        view: LimitView {
            what: "unplug".to_owned(),
            value: LimitValue::Name(name),
            measured_in: None,
            at: None,
            volts: None,
        },
        sheet,
        spared,
    }
}

/// Every supply at its limit at once: what one supply alone would feed into a fault of another's rail is held, too.
fn all_limited(sheet: &Sheet, delivered: &[(PartId, f64)]) -> Option<Precaution> {
    let mut limited = sheet.clone();
    let mut words = Vec::new();
    for (supply, amps) in delivered {
        let limit = step_up(ROOM * amps);
        if let Some(more) = with_limit(&limited, *supply, limit) {
            limited = more;
            let name = &sheet.parts[supply.index()].name;
            words.push(format!(
                "{name} {}",
                units::significant(limit, 2, units::Unit::Ampere)
            ));
        }
    }
    (words.len() > 1).then(|| Precaution {
        view: LimitView {
            what: "current limits".to_owned(),
            value: LimitValue::Name(words.join(", ")),
            measured_in: None,
            at: None,
            volts: None,
        },
        sheet: limited,
        spared: None,
    })
}

fn with_limit(sheet: &Sheet, supply: PartId, amps: f64) -> Option<Sheet> {
    let mut limited = sheet.clone();
    let Kind::Supply { limit, .. } = &mut limited.parts[supply.index()].kind else {
        return None;
    };
    if limit.is_some_and(|l| l.0 <= amps) {
        return None;
    }
    *limit = Some(Amps(amps));
    Some(limited)
}

/// The smallest lamp in the lead of a supply that lets a healthy circuit come up.
fn lamp(sheet: &Sheet, supply: PartId, powered: &Powered<'_>) -> Option<Precaution> {
    let Kind::Supply { volts, .. } = sheet.parts[supply.index()].kind else {
        return None;
    };
    let rated = LAMP_VOLTS.iter().copied().find(|v| *v >= 0.9 * volts.0)?;
    LAMP_WATTS.iter().find_map(|watts| {
        let with = with_lamp(sheet, supply, rated, *watts);
        comes_up(&with, powered).then(|| Precaution {
            view: LimitView {
                what: "series lamp".to_owned(),
                value: LimitValue::Number(*watts),
                measured_in: Some("W"),
                at: Some(sheet.parts[supply.index()].name.clone()),
                volts: Some(rated),
            },
            sheet: with,
            spared: None,
        })
    })
}

fn with_lamp(sheet: &Sheet, supply: PartId, volts: f64, watts: f64) -> Sheet {
    let mut with = sheet.clone();
    let behind = NetId(with.nets.len() as u32);
    with.nets.push(Net {
        name: "behind the lamp".to_owned(),
        role: None,
        volts: None,
        tolerance: None,
        source: None,
        span: sheet::Span::default(),
    });
    let Kind::Supply { plus, .. } = &mut with.parts[supply.index()].kind else {
        unreachable!("only supplies are asked for");
    };
    let before = std::mem::replace(plus, behind);
    with.parts.push(Part {
        name: "series lamp".to_owned(),
        kind: Kind::Lamp {
            ends: [behind, before],
            volts: Volts(volts),
            amps: Amps(watts / volts),
            cold: None,
        },
        spread: Spread::default(),
        ratings: Ratings::default(),
        style: None,
        span: sheet::Span::default(),
    });
    with
}

/// Whether a healthy circuit comes up: it is solved, nothing of it is lost, and every rail stands near where it should.
fn comes_up(sheet: &Sheet, plain: &Powered<'_>) -> bool {
    let Ok(under) = Powered::under_near(plain, sheet) else {
        return false;
    };
    let ground = sheet.ground().map_or(0, NetId::index);
    let rails = sheet
        .nets
        .iter()
        .enumerate()
        .filter(|(_, n)| n.role == Some(Role::Rail));
    let of = |potential: &[f64], net: usize| potential[net] - potential[ground];
    let up = rails.map(|(n, _)| (of(plain.potential(), n), of(under.potential(), n)));
    let lost = under.loses();
    lost.victims.is_empty()
        && lost.blown.is_empty()
        && lost.stopped.is_none()
        && up
            .into_iter()
            .all(|(was, is)| (was - is).abs() <= COMES_UP * was.abs())
}

/// Whether the rails of all others stay up while something is unplugged: what makes the rails cannot be left out.
fn stays_up(sheet: &Sheet, plain: &Powered<'_>, unplugged: &str) -> bool {
    let Ok(under) = Powered::under_near(plain, sheet) else {
        return false;
    };
    let ground = sheet.ground().map_or(0, NetId::index);
    let of = |potential: &[f64], net: usize| (potential[net] - potential[ground]).abs();
    let own = format!("{unplugged}:");
    let rails = sheet
        .nets
        .iter()
        .enumerate()
        .filter(|(_, n)| n.role == Some(Role::Rail));
    let mut others = rails.filter(|(_, n)| !n.name.starts_with(&own));
    others.all(|(n, _)| of(under.potential(), n) >= (1.0 - COMES_UP) * of(plain.potential(), n))
}

/// The first precaution of each hazard under which it destroys nothing.
pub(super) fn contained(
    list: &[Precaution],
    powered: &Powered<'_>,
    hazards: &[&Fault],
    progress: Progress<'_>,
) -> Vec<Option<LimitView>> {
    let mut found: Vec<Option<LimitView>> = vec![None; hazards.len()];
    for (index, precaution) in list.iter().enumerate() {
        progress(index, list.len());
        if found.iter().all(Option::is_some) {
            break;
        }
        let Ok(under) = Powered::under_near(powered, &precaution.sheet) else {
            continue;
        };
        for (place, fault) in found.iter_mut().zip(hazards) {
            let there = |v: &predict::stress::Victim| {
                Some(powered.gauges()[v.gauge].part) != precaution.spared
            };
            let nothing =
                |c: predict::stress::Cascade| !c.victims.iter().any(there) && c.stopped.is_none();
            if place.is_none() && under.follow(fault).is_ok_and(nothing) {
                *place = Some(precaution.view.clone());
            }
        }
    }
    found
}
