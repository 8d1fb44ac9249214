//! What is looked at by hand before power: mains side, reservoirs, tube, heaters, and the kilovolts last.

use sheet::{Kind, Part, Sheet};
use units::Unit;

use super::{WiringView, plain};

/// From here on it is kilovolts, as far as order of switching goes: chosen.
const KILOVOLTS: f64 = 500.0;
/// An electrolytic of this size or more is measured by itself before power: chosen, what common supplies begin with.
const RESERVOIR: f64 = 50e-6;
/// A winding of so many volts is taken to be at the mains.
const MAINS: f64 = 90.0;

/// What is looked at by hand before power, in the order in which it is done.
pub(super) fn order(sheet: &Sheet, potential: &[f64]) -> Vec<WiringView> {
    let mut found = vec![plain(
        "look",
        "Looked over, plug pulled",
        "With the plug pulled and charges gone: nothing loose, burnt, swollen, leaked or bridged; nothing fell in on the way; slots and cables as the photographs of the arrival show them.".to_owned(),
        true,
    )];
    if let Some((name, volts)) = at_mains(sheet) {
        found.extend(at_the_plug(sheet, &name, volts));
    }
    let reservoirs = reservoirs(sheet);
    if !reservoirs.is_empty() {
        found.push(plain(
            "reservoir",
            "Reservoir capacitors measured one by one",
            format!(
                "{}: each on its own, discharged first: capacitance and leakage at its volts; reformed or replaced, and written down which and why.",
                some(&reservoirs)
            ),
            true,
        ));
    }
    let ground = sheet.ground().map_or(0.0, |g| potential[g.index()]);
    let highest = sheet
        .nets
        .iter()
        .zip(potential)
        .map(|(n, v)| (n, (v - ground).abs()))
        .max_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((net, volts)) = highest
        && volts >= KILOVOLTS
    {
        found.extend(before_kilovolts(sheet, &net.name, volts));
    }
    found.push(plain(
        "oscilloscope",
        "Oscilloscope keeps its earth",
        "The oscilloscope keeps its earth, always: its case and the ground of its probe are one, and at whatever the clip touches. What may not be earthed is measured with two probes and their difference, or with an isolated instrument made for it. It is never put behind the isolation transformer.".to_owned(),
        false,
    ));
    found
}

/// The transformer at the mains, and the volts of the winding.
fn at_mains(sheet: &Sheet) -> Option<(String, f64)> {
    sheet.parts.iter().find_map(|p| match &p.kind {
        Kind::Transformer { windings } => {
            let volts = windings.iter().filter_map(|w| w.volts.map(|v| v.0));
            let highest = volts.filter(|v| *v >= MAINS).reduce(f64::max)?;
            Some((p.name.clone(), highest))
        }
        _ => None,
    })
}

/// Mains side, plug pulled: selector, fuses, earth, insulation, and what an isolation transformer does and does not.
fn at_the_plug(sheet: &Sheet, transformer: &str, volts: f64) -> Vec<WiringView> {
    let shown = |x: f64, unit| units::significant(x, 3, unit);
    let mut found = vec![plain(
        "selector",
        "Mains selector at the tap of these mains",
        format!(
            "Mains selector, plug pulled: {transformer} is drawn with {} on its primary. Compare the tap with the mains of the place, by the wiring and not by the window alone: at a tap for half the volts every rail doubles at once. By somebody trained for it.",
            shown(volts, Unit::Volt)
        ),
        true,
    )];
    let fuses = sheet.parts.iter().filter_map(|p| match p.kind {
        Kind::Fuse { rated, .. } => Some((p.name.as_str(), rated.0)),
        _ => None,
    });
    let before = found.len();
    found.extend(fuses.map(|(name, amps)| {
        plain(
            "fuse",
            format!("Fuse {name} is the one that is drawn"),
            format!(
                "Fuse {name}: out of its holder and read by its marking. Drawn: {}. Also its kind (quick or slow), its volts and its breaking capacity as the maker's list has them; no wire, no foil, no larger one; in the live line of the mains, before the switch.",
                shown(amps, Unit::Ampere)
            ),
            true,
        )
    }));
    if found.len() == before {
        found.push(plain(
            "fuse",
            "Mains fuse is there, of the right rating and kind",
            "No fuse is drawn. Find the one of the mains, read its marking, and compare rating and kind with the maker's list; without one, nothing limits what a fault takes from the wall.".to_owned(),
            true,
        ));
    }
    found.push(plain(
        "earth",
        "Earth bond from plug pin to chassis",
        "Earth bond, plug pulled: from the earth pin of the plug to bare metal of chassis and case, below 0.1 ohm with leads nulled while the cord is moved (common practice; an ohmmeter does not show a strand that burns at a fault's current, a bond tester does; local rules may ask for less).".to_owned(),
        true,
    ));
    found.push(plain(
        "insulation",
        "Live and neutral to earth",
        "Insulation, plug pulled, mains switch on: live and neutral together to earth above 1 megohm (common practice), read at the volts that the rules of your place name, and by somebody trained for it; an ohmmeter's few volts do not show a tracking switch or a damp transformer.".to_owned(),
        true,
    ));
    found.push(plain(
        "isolation",
        "Isolation transformer, if one is used, feeds the machine alone",
        "An isolation transformer belongs to the machine and to nothing else, never to the oscilloscope. Its limits: it isolates one touched wire from earth and not two wires from each other; behind it no residual-current device trips; the first earthed lead or probe ends the isolation, and nothing says so; the kilovolts are as deadly as before. The machine's earth stays connected. A variable transformer or a series lamp isolates nothing.".to_owned(),
        true,
    ));
    found
}

/// Heaters and deflection before the kilovolts, and the tube by itself.
fn before_kilovolts(sheet: &Sheet, net: &str, volts: f64) -> Vec<WiringView> {
    let volts = units::significant(volts, 2, Unit::Volt);
    let heaters: Vec<&Part> = sheet
        .parts
        .iter()
        .filter(|p| matches!(p.kind, Kind::Lamp { .. }) && is_of_tube(sheet, p))
        .collect();
    let drawn: Vec<String> = heaters
        .iter()
        .filter_map(|p| match &p.kind {
            Kind::Lamp { volts, amps, .. } => Some(format!(
                "{} {} at {}",
                p.name,
                units::significant(volts.0, 2, Unit::Volt),
                units::significant(amps.0, 2, Unit::Ampere)
            )),
            _ => None,
        })
        .collect();
    let of_drawing = match drawn.is_empty() {
        true => String::new(),
        false => format!(" Drawn: {}.", drawn.join(", ")),
    };
    vec![
        plain(
            "tube",
            "Tube unplugged, every pin pair read",
            "Tube unplugged, by somebody who knows how it implodes: every pin against every other, both ways, again while it is tapped gently with a soft grip; a pair that reads anything but its heater is not powered. A flake inside puts the kilovolts on a low rail.".to_owned(),
            true,
        ),
        plain(
            "heater",
            "Heater whole, and open to cathode and grid",
            format!(
                "Heater before kilovolts: whole, cold a tenth to a fifteenth of its hot ohms (common practice), open to cathode and grid.{of_drawing} Its volts are proven at the socket with the tube out or a resistor in its place, then with the tube in and the kilovolts off, for some minutes until it glows; read heater against cathode again while it is warm."
            ),
            true,
        ),
        plain(
            "kilovolts",
            "Kilovolts last, discharged and unplugged until then",
            format!(
                "{net} stands at {volts}. Heaters first, then deflection: plate swing and centring proven with the kilovolts unplugged; the kilovolts last, with the brightness down, by somebody trained for it. A tube holds its charge and can implode."
            ),
            true,
        ),
    ]
}

/// Whether a heater is that of a tube: on a sheet with electrodes that a flake could join.
fn is_of_tube(sheet: &Sheet, part: &Part) -> bool {
    let prefix = |name: &str| name.split_once(':').map_or("", |p| p.0).to_owned();
    let own = prefix(&part.name);
    sheet
        .adjacent
        .iter()
        .any(|(a, _)| prefix(sheet.net_name(*a)) == own)
}

/// Polarised capacitors that are large enough to be measured by themselves before power.
fn reservoirs(sheet: &Sheet) -> Vec<String> {
    let large = |kind: &Kind| matches!(kind, Kind::Capacitor { farads, polarised: true, .. } if farads.0 >= RESERVOIR);
    let found = sheet.parts.iter().filter(|p| large(&p.kind));
    found.map(|p| p.name.clone()).collect()
}

/// The first few names, and how many more.
pub(super) fn some(names: &[String]) -> String {
    const FEW: usize = 8;
    match names.len() {
        n if n <= FEW => names.join(", "),
        n => format!("{} and {} more", names[..FEW].join(", "), n - FEW),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use predict::stress::Powered;

    fn sheet(text: &str) -> Sheet {
        sheet::parse(text, "s.kdl").0
    }

    fn named<'a>(list: &'a [WiringView], kind: &str) -> Vec<&'a WiringView> {
        list.iter().filter(|w| w.kind == kind).collect()
    }

    #[test]
    fn the_mains_side_has_a_check_for_each_thing_that_hands_get_wrong() {
        let sheet = sheet(
            "sheet S { net G role=ground; fuse F1 \"0.5A\" L IN; transformer T1 { winding p IN N volts=230 ohms=12; winding s A G volts=9 ohms=0.5 }; diode D1 silicon-rectifier anode=A cathode=P; capacitor C1 \"1000u\" plus=P minus=G; capacitor C2 \"10u\" plus=P minus=G; resistor R1 \"100R\" P G; }",
        );
        let found = order(&sheet, &vec![0.0; sheet.nets.len()]);
        for kind in [
            "look",
            "selector",
            "fuse",
            "earth",
            "insulation",
            "isolation",
        ] {
            let own = named(&found, kind);
            assert_eq!(own.len(), 1, "{kind}");
            assert!(own[0].before_power && !own[0].name.is_empty());
        }
        assert!(
            named(&found, "selector")[0]
                .says
                .contains("230 V on its primary")
        );
        assert!(named(&found, "fuse")[0].says.contains("Drawn: 500 mA"));
        // C1 is a reservoir, C2 is not.
        let says = &named(&found, "reservoir")[0].says;
        assert!(says.starts_with("C1: each on its own"), "{says}");
        assert!(named(&found, "kilovolts").is_empty());
        // Each is ticked off by a name of its own.
        let mut names: Vec<&str> = found.iter().map(|w| w.name.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), found.len());
    }

    #[test]
    fn the_heater_of_a_tube_is_told_as_drawn() {
        let sheet = sheet(
            "sheet S { net G role=ground; supply V1 volts=1500 plus=KV minus=G; supply V2 volts=6.3 plus=H minus=G; lamp H1 H G volts=6.3 amps=0.6; resistor R1 \"10M\" KV GRID; adjacent GRID KV; }",
        );
        let powered = Powered::new(&sheet).unwrap();
        let found = order(&sheet, powered.potential());
        let heater = named(&found, "heater")[0];
        assert!(
            heater.says.contains("Drawn: H1 6.3 V at 600 mA."),
            "{}",
            heater.says
        );
        assert!(named(&found, "earth").is_empty());
    }

    #[test]
    fn kilovolts_come_last_and_the_oscilloscope_keeps_its_earth() {
        let sheet = sheet(
            "sheet S { net G role=ground; supply V1 volts=1500 plus=KV minus=G; resistor R1 \"10M\" KV G; }",
        );
        let powered = Powered::new(&sheet).unwrap();
        let kinds: Vec<&str> = order(&sheet, powered.potential())
            .iter()
            .map(|w| w.kind)
            .collect();
        assert_eq!(
            kinds,
            ["look", "tube", "heater", "kilovolts", "oscilloscope"]
        );
    }
}
