//! A rectifier that no supply stands in for: it is followed in time, and a supply that delivers the same takes its place.

use predict::time::{Mains, Rectified};
use sheet::{Draw, Kind, Net, NetId, Part, Ratings, Role, Sheet, Spread};
use units::{Ohms, Volts};

use crate::places;
use crate::refused::Refused;

/// The name of the supply that is put in.
pub(super) const NAME: &str = "rectified";
/// A second load by which the source resistance is found takes this share of the voltage's no-load current again: chosen.
const MORE: f64 = 0.3;

/// Puts a supply in place of an undriven rectifier; the sheet stays as it is if all are driven.
///
/// # Errors
/// If what the rectifiers deliver cannot be found.
pub(super) fn stand_in(sheet: &mut Sheet, hertz: f64) -> Result<(), Refused> {
    let Some(transformer) = places::undriven_rectifier(sheet) else {
        return Ok(());
    };
    let unable = |what: &str| {
        Refused::unable(
            format!(
                "{transformer} feeds a rectifier, and what that delivers cannot be found: {what}."
            ),
            "Write the volts of primary and secondary windings, and draw rectifier and reservoir; or let a supply stand in for the rail.",
        )
    };
    let (plus, minus) = output(sheet).ok_or_else(|| unable("no net lies behind its diodes"))?;
    let drawn =
        mean(sheet, plus, minus, hertz).ok_or_else(|| unable("its cycles do not settle"))?;
    let mut loaded = sheet.clone();
    let ohms = (drawn.0 / (drawn.1.max(1e-4) * MORE)).abs();
    loaded.parts.push(part(
        "more load",
        Kind::Load {
            ends: [plus, minus],
            draw: Draw::Ohms(Ohms(ohms)),
            cold: false,
        },
    ));
    let more = mean(&loaded, plus, minus, hertz)
        .ok_or_else(|| unable("its cycles do not settle with more load"))?;
    let source = ((drawn.0 - more.0) / (more.0 / ohms + 1e-12)).max(0.05);
    sheet.parts.push(part(
        NAME,
        Kind::Supply {
            volts: Volts(drawn.0 + source * drawn.1),
            plus,
            minus,
            ohms: Some(Ohms(source)),
            limit: None,
            off: None,
        },
    ));
    Ok(())
}

fn part(name: &str, kind: Kind) -> Part {
    Part {
        name: name.to_owned(),
        kind,
        spread: Spread::default(),
        ratings: Ratings::default(),
        style: None,
        span: sheet::Span::default(),
    }
}

/// Mean volts and amperes that the rectifiers deliver.
fn mean(sheet: &Sheet, plus: NetId, minus: NetId, hertz: f64) -> Option<(f64, f64)> {
    let mut rectified = Rectified::new(sheet)?;
    let mains = Mains {
        hertz,
        share: 1.0,
        lamp: None,
    };
    let cycle = rectified.settle(&mains, sheet.nets.len()).ok()?;
    let volts = cycle.mean[plus.index()] - cycle.mean[minus.index()];
    (cycle.settled && volts > 0.0).then_some((volts, cycle.average))
}

/// Where the rectifiers deliver: behind the cathodes of diodes on a winding, and behind the anodes of others or the end of
/// a winding that no diode is on.
fn output(sheet: &Sheet) -> Option<(NetId, NetId)> {
    let windings: Vec<[NetId; 2]> = sheet
        .parts
        .iter()
        .filter_map(|p| match &p.kind {
            Kind::Transformer { windings } => Some(windings.iter().map(|w| w.ends)),
            _ => None,
        })
        .flatten()
        .collect();
    let winding = |n: NetId| windings.iter().any(|w| w.contains(&n));
    let diodes: Vec<(NetId, NetId)> = sheet
        .parts
        .iter()
        .filter_map(|p| match p.kind {
            Kind::Diode { anode, cathode, .. } => Some((anode, cathode)),
            _ => None,
        })
        .collect();
    let positive = diodes
        .iter()
        .find(|d| winding(d.0) && !winding(d.1))
        .map(|d| d.1);
    let negative = diodes
        .iter()
        .find(|d| winding(d.1) && !winding(d.0))
        .map(|d| d.0);
    let on_diode = |n: NetId| diodes.iter().any(|d| d.0 == n || d.1 == n);
    let tap = || {
        let fed: Vec<&[NetId; 2]> = windings
            .iter()
            .filter(|w| w.iter().any(|n| on_diode(*n)))
            .collect();
        let is_ground = |n: &NetId| {
            matches!(
                sheet.nets[n.index()],
                Net {
                    role: Some(Role::Ground),
                    ..
                }
            )
        };
        let free = fed
            .iter()
            .flat_map(|w| w.iter())
            .filter(|n| !on_diode(**n) || is_ground(n));
        free.copied().next()
    };
    match (positive, negative) {
        (Some(p), Some(n)) => Some((p, n)),
        (Some(p), None) => Some((p, tap()?)),
        (None, Some(n)) => Some((tap()?, n)),
        (None, None) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(text: &str) -> Sheet {
        sheet::parse(text, "s.kdl").0
    }

    #[test]
    fn a_bridge_gets_a_supply_that_delivers_what_it_does() {
        let mut sheet = sheet(
            "sheet S { net G role=ground
            transformer T1 { winding primary L N volts=230 ohms=10; winding low A B volts=16 ohms=0.5 }
            diode D1 silicon-rectifier anode=A cathode=P
            diode D2 silicon-rectifier anode=B cathode=P
            diode D3 silicon-rectifier anode=G cathode=A
            diode D4 silicon-rectifier anode=G cathode=B
            capacitor C1 \"2200u\" plus=P minus=G
            resistor R1 \"47R\" P G watts=10 }",
        );
        stand_in(&mut sheet, 50.0).unwrap();
        let Kind::Supply {
            volts,
            plus,
            minus,
            ohms,
            ..
        } = sheet.parts.last().unwrap().kind
        else {
            panic!("a supply is put in");
        };
        assert_eq!((sheet.net_name(plus), sheet.net_name(minus)), ("P", "G"));
        // 22.6 V peak less two diodes without load; the source is the windings' resistance and the short time of conduction.
        assert!((19.0..22.6).contains(&volts.0), "{volts:?}");
        let ohms = ohms.unwrap().0;
        assert!((0.5..8.0).contains(&ohms), "{ohms}");
        // With its load it stands where the rectifiers do.
        let powered = predict::stress::Powered::new(&sheet).unwrap();
        let p = powered.potential()[plus.index()] - powered.potential()[minus.index()];
        let (mean, _) = mean(&sheet, plus, minus, 50.0).unwrap();
        assert!((p / mean - 1.0).abs() < 0.02, "{p} {mean}");
    }

    #[test]
    fn half_wave_and_centre_tap_find_their_return() {
        let half = sheet(
            "sheet S { net G role=ground; transformer T1 { winding p L N volts=230 ohms=1; winding s A G volts=10 ohms=1 }; diode D1 silicon-rectifier anode=A cathode=P; resistor R1 \"1k\" P G; }",
        );
        let (plus, minus) = output(&half).unwrap();
        assert_eq!((half.net_name(plus), half.net_name(minus)), ("P", "G"));
        let negative = sheet(
            "sheet S { net G role=ground; transformer T1 { winding p L N volts=230 ohms=1; winding u A G volts=10 ohms=1; winding l G B volts=10 ohms=1 }; diode D1 silicon-rectifier anode=M cathode=A; diode D2 silicon-rectifier anode=M cathode=B; resistor R1 \"1k\" M G; }",
        );
        let (plus, minus) = output(&negative).unwrap();
        assert_eq!(
            (negative.net_name(plus), negative.net_name(minus)),
            ("G", "M")
        );
    }

    #[test]
    fn a_driven_sheet_stays_as_it_is() {
        let text = "sheet S { net G role=ground; supply V1 volts=5 plus=P minus=G; resistor R1 \"1k\" P G; }";
        let mut driven = sheet(text);
        stand_in(&mut driven, 50.0).unwrap();
        assert_eq!(driven, sheet(text));
    }
}
