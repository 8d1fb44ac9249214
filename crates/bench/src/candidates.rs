//! Readings that may be offered: where a probe can and may go, what each costs, and what has to be done first.

use std::collections::{HashMap, HashSet};

use circuit::meter::Setup;
use diagnose::{Effect, Predictions};
use predict::Question;
use record::{Lead, Reading, ReadingKind, State};
use sheet::device::Devices;
use sheet::{Access, Kind, NetId, Part, Sheet};

use crate::meters::{Meters, question};
use crate::predictor::{Condition, Place, lifted};

/// A reading that could be taken.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Candidate {
    pub kind: ReadingKind,
    pub state: State,
    pub red: Lead,
    pub black: Lead,
    /// A pin to lift first, as `R4.1`.
    pub lift: Option<String>,
}

/// A base-emitter junction takes no more than this of an ohmmeter whose current nothing limits
/// (TM 11-6130-381-14).
const OPEN_VOLTS: f64 = 1.5;
/// What a junction bears of which no rating is known, in amperes: chosen low.
const UNKNOWN_AMPS: f64 = 0.03;
/// Above this no powered point is read by hand, in volts d.c. (as IEC 60950-1 and 60065 limit it).
pub(crate) const HAND_HELD: f64 = 60.0;

/// All readings that could be taken on a board; nets marked `never` are left out.
pub(crate) fn all(sheet: &Sheet, powered: bool) -> Vec<Candidate> {
    let never: HashSet<NetId> = sheet.nevers.iter().map(|n| n.net).collect();
    let mut pairs: Vec<[Lead; 2]> = Vec::new();
    let mut seen = HashSet::new();
    let mut add = |a: Lead, b: Lead| {
        let allowed = a.net != b.net && !never.contains(&a.net) && !never.contains(&b.net);
        if allowed && seen.insert((a.net, b.net)) {
            pairs.push([a, b]);
        }
    };
    let ground = sheet.ground();
    for index in 0..sheet.nets.len() as u32 {
        let (Some(ground), net) = (ground, NetId(index)) else {
            break;
        };
        add(lead(sheet, net), lead(sheet, ground));
        add(lead(sheet, ground), lead(sheet, net));
    }
    let grounded = pairs.clone();
    let mut add = |a: Lead, b: Lead| {
        let allowed = a.net != b.net && !never.contains(&a.net) && !never.contains(&b.net);
        if allowed && seen.insert((a.net, b.net)) {
            pairs.push([a, b]);
        }
    };
    for part in &sheet.parts {
        for (a, b) in across(part) {
            add(lead(sheet, a), lead(sheet, b));
            add(lead(sheet, b), lead(sheet, a));
        }
    }
    let mut found: Vec<Candidate> = Vec::new();
    for [red, black] in pairs {
        for kind in [ReadingKind::Ohms, ReadingKind::Diode] {
            found.push(Candidate {
                kind,
                state: State::Cold,
                red: red.clone(),
                black: black.clone(),
                lift: None,
            });
        }
    }
    if powered {
        // Exchanged leads only change the sign.
        let to_ground = grounded.into_iter().filter(|[_, b]| Some(b.net) == ground);
        found.extend(to_ground.map(|[red, black]| Candidate {
            kind: ReadingKind::Volts,
            state: State::Powered,
            red,
            black,
            lift: None,
        }));
    }
    let lifted = sheet
        .parts
        .iter()
        .flat_map(|p| with_a_lead_lifted(sheet, p));
    found.extend(lifted.filter(|c| !never.contains(&c.red.net) && !never.contains(&c.black.net)));
    found
}

/// The net at its easiest place: a named point, or the net itself.
fn lead(sheet: &Sheet, net: NetId) -> Lead {
    let point = easiest(sheet, net);
    let name = point.map_or(sheet.net_name(net), |p| p.name.as_str());
    record::resolve(name, sheet).expect("a point or net of the sheet is found on it")
}

fn easiest(sheet: &Sheet, net: NetId) -> Option<&sheet::Point> {
    let here = sheet.points.iter().filter(|p| p.net == net);
    here.min_by_key(|p| p.access)
}

/// Pairs of nets that a part alone joins.
fn across(part: &Part) -> Vec<(NetId, NetId)> {
    let pins: Vec<NetId> = part.pins().into_iter().map(|p| p.1).collect();
    match part.kind {
        Kind::Connector { .. } | Kind::Supply { .. } | Kind::Load { .. } => Vec::new(),
        Kind::Transformer { .. } => pins.chunks(2).map(|w| (w[0], w[1])).collect(),
        _ => (0..pins.len())
            .flat_map(|i| (0..i).map(move |j| (j, i)))
            .map(|(i, j)| (pins[i], pins[j]))
            .collect(),
    }
}

/// The part by itself, one lead off the board.
fn with_a_lead_lifted(sheet: &Sheet, part: &Part) -> Vec<Candidate> {
    let pins = part.pins();
    let at = |k: usize| record::resolve(&format!("{}.{}", part.name, pins[k].0), sheet).ok();
    let (off, pairs, kind) = match part.kind {
        Kind::Resistor { .. } | Kind::Capacitor { .. } | Kind::Inductor { .. } => {
            (0, vec![(0, 1)], ReadingKind::Ohms)
        }
        Kind::Diode { .. } | Kind::Zener { .. } => (0, vec![(0, 1), (1, 0)], ReadingKind::Diode),
        // The base is off: both junctions stand alone against it.
        Kind::Transistor { .. } => (1, vec![(1, 2), (2, 1), (1, 0), (0, 1)], ReadingKind::Diode),
        _ => return Vec::new(),
    };
    pairs
        .into_iter()
        .filter_map(|(red, black)| {
            Some(Candidate {
                kind,
                state: State::Cold,
                red: at(red)?,
                black: at(black)?,
                lift: Some(format!("{}.{}", part.name, pins[off].0)),
            })
        })
        .collect()
}

/// The place that a candidate is read at; `None` if the meter cannot, or must not.
pub(crate) fn place(
    sheet: &Sheet,
    meters: &Meters,
    candidate: &Candidate,
) -> Option<(Place, Condition)> {
    let mut question = question(meters.current(), candidate.kind)?;
    if candidate.state == State::Cold {
        question = borne(sheet, question)?;
    }
    let lift: Vec<Lead> = candidate
        .lift
        .iter()
        .filter_map(|pin| record::resolve(pin, sheet).ok())
        .collect();
    Some((
        Place {
            kind: candidate.kind,
            condition: 0,
            question,
            red: candidate.red.clone(),
            black: candidate.black.clone(),
            rough: true,
        },
        Condition {
            state: candidate.state,
            lifted: lifted(&lift, sheet),
        },
    ))
}

/// The ranges that no part of the board minds.
fn borne(sheet: &Sheet, mut question: Question) -> Option<Question> {
    let transistors = sheet
        .parts
        .iter()
        .any(|p| matches!(p.kind, Kind::Transistor { .. }));
    let bears = sheet
        .parts
        .iter()
        .filter_map(junction_amps)
        .fold(f64::INFINITY, f64::min);
    question.setups.retain(|setup| match *setup {
        Setup::SeriesOhms { source, open, .. } => {
            let gentle = !transistors || open <= OPEN_VOLTS;
            gentle && open / source <= bears
        }
        Setup::CurrentOhms { amps, .. } | Setup::Diode { amps, .. } => amps <= bears,
        Setup::Volts { .. } => true,
        // no meter of a profile is one
        Setup::Source { .. } => false,
    });
    (!question.setups.is_empty()).then_some(question)
}

/// What a junction of the part bears.
fn junction_amps(part: &Part) -> Option<f64> {
    let devices = Devices::shipped();
    let of_type = match &part.kind {
        Kind::Diode { device, .. } => devices.diode(device, &part.spread)?.ratings.amps,
        Kind::Transistor { device, .. } => devices.transistor(device, &part.spread)?.ratings.amps,
        _ => return None,
    };
    Some(part.ratings.amps.or(of_type).map_or(UNKNOWN_AMPS, |a| a.0))
}

/// What has been touched and read so far.
pub(crate) struct SoFar {
    cold: HashSet<NetId>,
    last: Option<(State, NetId, NetId)>,
}

impl SoFar {
    /// From the readings of a unit, in their order.
    pub fn new<'a>(readings: impl Iterator<Item = &'a Reading>) -> Self {
        let mut so_far = Self {
            cold: HashSet::new(),
            last: None,
        };
        for r in readings {
            if r.state == State::Cold {
                so_far.cold.extend([r.red.net, r.black.net]);
            }
            so_far.last = Some((r.state, r.red.net, r.black.net));
        }
        so_far
    }
}

/// Minutes to place the leads and read, and what has to be done first: chosen from common practice.
pub(crate) fn cost(sheet: &Sheet, candidate: &Candidate, so_far: &SoFar) -> (f64, Vec<String>) {
    let mut needs = Vec::new();
    let here = (candidate.state, candidate.red.net, candidate.black.net);
    let exchanged = (candidate.state, candidate.black.net, candidate.red.net);
    let clipped = so_far.last == Some(here) || so_far.last == Some(exchanged);
    let mut minutes = if clipped && candidate.lift.is_none() {
        if so_far.last == Some(exchanged) {
            needs.push("the same places, leads exchanged".to_owned());
        }
        0.1
    } else {
        0.2 + reach(sheet, &candidate.red) + reach(sheet, &candidate.black)
    };
    match candidate.state {
        State::Cold => {
            let fresh = [candidate.red.net, candidate.black.net]
                .iter()
                .any(|n| !so_far.cold.contains(n));
            if fresh {
                needs.push("volts first, discharged".to_owned());
                minutes += 0.3;
            }
        }
        State::Powered => {
            needs.push("rails proven in this power cycle".to_owned());
            minutes += 1.0;
        }
    }
    if let Some(pin) = &candidate.lift {
        needs.push(format!(
            "lift {pin}: an original joint, marked and photographed before it is touched"
        ));
        minutes += 15.0;
    }
    (minutes, needs)
}

fn reach(sheet: &Sheet, lead: &Lead) -> f64 {
    match easiest(sheet, lead.net).map(|p| p.access) {
        Some(Access::Easy) => 0.1,
        Some(Access::Board) => 0.2,
        Some(Access::Lead) | None => 0.5,
    }
}

/// What a powered reading could be at most, healthy or under the suspects given, in volts.
pub(crate) fn greatest(
    predictions: &dyn Predictions,
    place: usize,
    suspects: &[(usize, usize)],
) -> Option<f64> {
    let healthy = predictions.healthy(place)?;
    let mut most: f64 = [-3.0, 3.0]
        .iter()
        .filter_map(|t| crate::suspects::number(healthy.marginal.value(*t)))
        .fold(0.0, |m, v| m.max(v.abs()));
    for (c, v) in suspects {
        // Volts are their own scale.
        if let Effect::Moved(line) = predictions.effect(*c, *v, place) {
            let parts: f64 = line.slopes.iter().map(|s| s.1 * s.1).sum();
            let centre = predictions.centre(place);
            let way: f64 = line
                .slopes
                .iter()
                .filter_map(|(v, s)| {
                    let found = centre.binary_search_by_key(v, |c| c.0);
                    found.ok().map(|i| s * centre[i].1)
                })
                .sum();
            let here = line.middle + way;
            let spread = (parts + line.own).sqrt();
            most = most.max(line.middle.abs().max(here.abs()) + 3.0 * spread);
        }
    }
    Some(most)
}

/// Nets of these parts.
pub(crate) fn nets_of(sheet: &Sheet, parts: &[String]) -> HashSet<NetId> {
    let by_name: HashMap<&str, &Part> = sheet.parts.iter().map(|p| (p.name.as_str(), p)).collect();
    let mut nets = HashSet::new();
    for name in parts {
        // A pin or a winding belongs to its part; a bridge is named by its nets.
        let whole = name.split_once('.').map_or(name.as_str(), |n| n.0);
        let part = by_name.get(name.as_str()).or_else(|| by_name.get(whole));
        if let Some(part) = part {
            nets.extend(part.pins().into_iter().map(|p| p.1));
        }
        nets.extend(name.split(' ').filter_map(|n| sheet.net(n)));
    }
    nets
}
