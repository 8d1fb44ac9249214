//! The faults and the places of a campaign: all that a board is usually asked about.

use circuit::Fault;
use circuit::fault::{Mode, Place};
use sheet::{Kind, NetId, PartId, Role, Sheet};

/// A leak through a capacitor in ohms, as a campaign assumes it.
const LEAK_OHMS: f64 = 1e3;

const VALUE: &[Mode] = &[Mode::Open, Mode::Short, Mode::High(2.0), Mode::Low(0.5)];
const CAPACITOR: &[Mode] = &[
    Mode::Open,
    Mode::Short,
    Mode::High(2.0),
    Mode::Low(0.5),
    Mode::Leaky(LEAK_OHMS),
];
const TRANSISTOR: &[Mode] = &[
    Mode::Open,
    Mode::High(2.0),
    Mode::Low(0.5),
    Mode::BeShort,
    Mode::BcShort,
    Mode::CeShort,
    Mode::BOpen,
    Mode::COpen,
    Mode::EOpen,
    Mode::BeOpen,
    Mode::Turned,
];
const NO_VALUE: &[Mode] = &[Mode::Open, Mode::Short];

/// Every part open and short, its value doubled and halved, capacitors leaky, and each fault of a
/// transistor; windings and connector pins one by one.
pub fn campaign_faults(sheet: &Sheet) -> Vec<Fault> {
    let mut faults = Vec::new();
    for (index, part) in sheet.parts.iter().enumerate() {
        let id = PartId(index as u32);
        let mut add = |place: Place, modes: &[Mode]| {
            faults.extend(modes.iter().map(|mode| Fault {
                place: place.clone(),
                mode: *mode,
            }));
        };
        let piece = |name: &str| Place::Piece(id, name.to_owned());
        match &part.kind {
            Kind::Transformer { windings } => {
                windings.iter().for_each(|w| add(piece(&w.name), VALUE));
            }
            Kind::Connector { pins } => {
                pins.iter().for_each(|p| add(piece(&p.name), &[Mode::Open]));
            }
            kind => add(Place::Part(id), modes(kind)),
        }
    }
    faults
}

fn modes(kind: &Kind) -> &'static [Mode] {
    match kind {
        Kind::Resistor { .. }
        | Kind::Potentiometer { .. }
        | Kind::Inductor { .. }
        | Kind::Zener { .. } => VALUE,
        Kind::Capacitor { .. } => CAPACITOR,
        Kind::Transistor { .. } => TRANSISTOR,
        Kind::Diode { .. }
        | Kind::Fuse { .. }
        | Kind::Switch { .. }
        | Kind::Lamp { .. }
        | Kind::Supply { .. }
        | Kind::Load { .. }
        | Kind::Transformer { .. }
        | Kind::Connector { .. } => NO_VALUE,
    }
}

/// Every net against the first ground net and against each rail, both polarities, as (red, black);
/// no place twice.
pub fn campaign_places(sheet: &Sheet) -> Vec<(NetId, NetId)> {
    let nets = || (0..sheet.nets.len() as u32).map(NetId);
    let rail = |n: &NetId| sheet.nets[n.index()].role == Some(Role::Rail);
    let mut places = Vec::new();
    for reference in sheet.ground().into_iter().chain(nets().filter(rail)) {
        for net in nets().filter(|n| *n != reference) {
            for place in [(net, reference), (reference, net)] {
                if !places.contains(&place) {
                    places.push(place);
                }
            }
        }
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(text: &str) -> Sheet {
        sheet::parse(text, "sheet.kdl").0
    }

    #[test]
    fn every_listed_fault_is_one_that_the_part_can_have() {
        let sheet = sheet(
            "sheet A1 {
                net G role=ground
                resistor R1 \"1k\" A G
                potentiometer RV1 \"5k\" a=A wiper=B b=G
                capacitor C1 \"10n\" A G
                inductor L1 \"10m\" A G
                diode D1 silicon-signal anode=A cathode=G
                zener D2 \"6.2V\" anode=A cathode=G
                npn Q1 silicon-signal c=A b=B e=G
                fuse F1 \"1A\" A B
                switch S1 A B state=closed
                lamp B1 A B volts=12 amps=0.1
                supply V1 volts=5 plus=A minus=G
                load L2 A G amps=0.1
                transformer T1 { winding p A G ohms=3; winding s B G ohms=1 }
                connector J1 { pin 1 A; pin 2 G }
            }",
        );
        let faults = campaign_faults(&sheet);
        for fault in &faults {
            let text = format!("{} {}", fault.part_name(&sheet), fault.mode);
            assert_eq!(Fault::parse(&text, &sheet).as_ref(), Ok(fault), "{text}");
        }
        // Four of R, RV, L, the zener and two windings, five of C, eleven of Q, two of six others,
        // two pins.
        assert_eq!(faults.len(), 6 * 4 + 5 + 11 + 6 * 2 + 2);
    }

    #[test]
    fn places_are_every_net_against_ground_and_rails_without_repeats() {
        let sheet = sheet(
            "sheet A1 {
                net G role=ground
                net V role=rail
                resistor R1 \"1k\" A V
                resistor R2 \"1k\" A G
            }",
        );
        // Against ground: V and A; against the rail: A, for G against V stands there already.
        assert_eq!(campaign_places(&sheet).len(), 6);
    }
}
