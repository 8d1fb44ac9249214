//! If the same pair is read again under the same conditions, the last reading counts.

use std::collections::HashSet;

use sheet::{NetId, PartId};

use crate::{At, Lead, Placement, Reading, ReadingKind, State};

/// Everything that makes two readings readings of the same thing.
///
/// Two places on one net are the same place, unless the pin touched is one of those that were lifted.
#[derive(PartialEq, Eq, Hash)]
struct Same {
    unit: String,
    state: State,
    kind: ReadingKind,
    red: Touch,
    black: Touch,
    meter: Option<String>,
    placement: Option<Placement>,
    lifted: Vec<At>,
    unplugged: Vec<PartId>,
    celsius: Option<u64>,
    minutes: Option<u64>,
    cycle: Option<String>,
}

#[derive(PartialEq, Eq, Hash)]
enum Touch {
    Net(NetId),
    LiftedPin(PartId, usize),
}

/// The readings that count, in the order in which they were taken.
pub fn settle(readings: Vec<Reading>) -> Vec<Reading> {
    let mut seen = HashSet::new();
    let mut kept: Vec<Reading> = readings
        .into_iter()
        .rev()
        .filter(|r| seen.insert(same(r)))
        .collect();
    kept.reverse();
    kept
}

fn same(reading: &Reading) -> Same {
    let conditions = &reading.conditions;
    let sorted = |mut list: Vec<At>| {
        list.sort_unstable();
        list.dedup();
        list
    };
    let lifted = sorted(conditions.lifted.iter().map(|lead| lead.at).collect());
    let mut unplugged = conditions.unplugged.clone();
    unplugged.sort_unstable();
    unplugged.dedup();
    let touch = |lead: &Lead| match lead.at {
        At::Pin(part, pin) if lifted.contains(&lead.at) => Touch::LiftedPin(part, pin),
        _ => Touch::Net(lead.net),
    };
    Same {
        unit: reading.unit.clone(),
        state: reading.state,
        kind: reading.kind,
        red: touch(&reading.red),
        black: touch(&reading.black),
        meter: reading.meter.clone(),
        placement: conditions.placement,
        unplugged,
        celsius: conditions.celsius.map(|c| c.0.to_bits()),
        minutes: conditions.minutes.map(f64::to_bits),
        cycle: conditions.cycle.clone(),
        lifted,
    }
}
