//! What hands do wrong that no meter on a board shows: boards in each other's slots, electrolytics the wrong way round, mains and kilovolts.

mod by_hand;

use predict::stress::Powered;
use serde::Serialize;
use sheet::{Kind, NetId, Part, Role, Sheet};
use units::Unit;

use super::whole::Whole;
use by_hand::{order, some};

/// One way of doing harm by hand, and what to look at.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WiringView {
    /// `slot swap`, `polarity`, `selector`, `fuse`, `earth`, `insulation`, `isolation`, `reservoir`, `heater`,
    /// `tube`, `kilovolts` or `oscilloscope`.
    pub kind: &'static str,
    /// What is ticked off, in a few words.
    pub name: String,
    /// What to look at, and why.
    pub says: String,
    /// It is looked at before anything is powered.
    pub before_power: bool,
    /// For a swap: the boards, the one that is harmed first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub boards: Vec<String>,
    /// For a swap: the pin that gets what it must not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pin: Option<String>,
    /// For a swap: volts that the pin would get; for polarity the volts from plus to minus.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub volts: Option<f64>,
    /// For a swap: volts that the pin is made for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub made_for: Option<f64>,
}

/// A board that can stand in a slot.
pub(super) struct Slotted<'a> {
    pub board: &'a str,
    pub slot: &'a str,
    pub prefix: &'a str,
    pub sheet: &'a Sheet,
}

/// A pin takes harm from this multiple of what it is made for, and this many volts beyond: as a load on a rail.
const TIMES: f64 = 1.4;
const VOLTS: f64 = 2.0;
/// Or from this share of it the wrong way round: chosen.
const REVERSED: f64 = 0.2;
/// Volts that an aluminium capacitor bears backwards for a while (common practice: 1 to 1.5 V).
const BORNE: f64 = 1.5;
/// A polarised capacitor drawn with more than this many volts backwards is doubtful.
const BACKWARDS: f64 = 0.3;

/// All that is found.
pub(super) fn wiring(whole: &Whole, powered: &Powered<'_>) -> Vec<WiringView> {
    let mut found = Vec::new();
    let slotted: Vec<Slotted<'_>> = whole
        .cold
        .iter()
        .filter_map(|c| {
            Some(Slotted {
                board: c.prefix.strip_suffix(':')?,
                slot: c.slot.as_deref()?,
                prefix: &c.prefix,
                sheet: &c.sheet,
            })
        })
        .collect();
    found.extend(swaps(&whole.sheet, powered.potential(), &slotted));
    found.extend(polarity(&whole.sheet, powered.potential()));
    found.extend(order(&whole.sheet, powered.potential()));
    found
}

fn plain(
    kind: &'static str,
    name: impl Into<String>,
    says: String,
    before_power: bool,
) -> WiringView {
    WiringView {
        kind,
        name: name.into(),
        says,
        before_power,
        boards: Vec::new(),
        pin: None,
        volts: None,
        made_for: None,
    }
}

/// Boards that fit each other's slots: connectors of one name with the same pins. The worst pin of each pair is told.
pub(super) fn swaps(sheet: &Sheet, potential: &[f64], boards: &[Slotted<'_>]) -> Vec<WiringView> {
    let ground = sheet.ground().map_or(0.0, |g| potential[g.index()]);
    let at = |board: &Slotted<'_>, net: NetId| {
        let name = format!("{}{}", board.prefix, board.sheet.net_name(net));
        sheet.net(&name).map(|n| potential[n.index()] - ground)
    };
    // Below a millivolt it is ground, and what the solver leaves.
    let volt = |x: f64| match x.abs() {
        v if v < 1e-3 => "0 V".to_owned(),
        _ => units::significant(x, 3, Unit::Volt),
    };
    let mut found = Vec::new();
    for (a, b) in pairs(boards) {
        let mut worst: Option<(String, f64, f64)> = None;
        for (own, foreign) in matching(a.sheet, b.sheet) {
            let (Kind::Connector { pins: mine }, Kind::Connector { pins: theirs }) =
                (&own.kind, &foreign.kind)
            else {
                continue;
            };
            for pin in mine {
                let Some(other) = theirs.iter().find(|p| p.name == pin.name) else {
                    continue;
                };
                let (Some(made_for), Some(gets)) = (at(a, pin.net), at(b, other.net)) else {
                    continue;
                };
                let reversed = gets * made_for < 0.0
                    && gets.abs() > VOLTS.max(REVERSED * made_for.abs())
                    && made_for.abs() > VOLTS;
                let beyond = reversed || gets.abs() > TIMES * made_for.abs() + VOLTS;
                let harm = (gets - made_for).abs();
                if beyond && worst.as_ref().is_none_or(|w| harm > (w.1 - w.2).abs()) {
                    worst = Some((
                        format!("{}.{}.{}", a.board, own.name, pin.name),
                        gets,
                        made_for,
                    ));
                }
            }
        }
        if let Some((pin, gets, made_for)) = worst {
            found.push(WiringView {
                kind: "slot swap",
                name: format!("{} is not in slot {} of {}", a.board, b.slot, b.board),
                says: format!(
                    "{} in slot {}, which is that of {}: {pin} would get {}, and is made for {}. Compare board and slot by their marks before the plug goes in, and read ohms from the slot's high rail pins to its other pins.",
                    a.board, b.slot, b.board, volt(gets), volt(made_for)
                ),
                before_power: true,
                boards: vec![a.board.to_owned(), b.board.to_owned()],
                pin: Some(pin),
                volts: Some(gets),
                made_for: Some(made_for),
            });
        }
    }
    let harm = |w: &WiringView| (w.volts.unwrap_or(0.0) - w.made_for.unwrap_or(0.0)).abs();
    found.sort_by(|x, y| harm(y).total_cmp(&harm(x)));
    found
}

/// Every board with every other, either way.
fn pairs<'a>(boards: &'a [Slotted<'a>]) -> Vec<(&'a Slotted<'a>, &'a Slotted<'a>)> {
    let all = boards
        .iter()
        .flat_map(|a| boards.iter().map(move |b| (a, b)));
    all.filter(|(a, b)| a.board != b.board && a.slot != b.slot)
        .collect()
}

/// Connectors of one name on both boards, with the same number of pins.
fn matching<'a>(a: &'a Sheet, b: &'a Sheet) -> Vec<(&'a Part, &'a Part)> {
    let count = |p: &Part| match &p.kind {
        Kind::Connector { pins } => pins.len(),
        _ => 0,
    };
    a.parts
        .iter()
        .filter(|p| count(p) > 0)
        .filter_map(|p| {
            let other = b
                .parts
                .iter()
                .find(|o| o.name == p.name && count(o) == count(p))?;
            Some((p, other))
        })
        .collect()
}

fn polarity(sheet: &Sheet, potential: &[f64]) -> Vec<WiringView> {
    let mut found = Vec::new();
    let mut to_ground: Vec<String> = Vec::new();
    let mut others: Vec<String> = Vec::new();
    for part in &sheet.parts {
        let Kind::Capacitor {
            ends,
            polarised: true,
            ..
        } = part.kind
        else {
            continue;
        };
        let volts = potential[ends[0].index()] - potential[ends[1].index()];
        if volts < -BACKWARDS {
            found.push(WiringView {
                volts: Some(volts),
                ..plain(
                    "polarity",
                    format!("{} stands the right way round", part.name),
                    format!(
                        "{} is drawn with its plus {} below its minus when powered: the drawing is wrong, or the part is in backwards. Look at it before power; backwards it fails in milliseconds, hours or years.",
                        part.name,
                        units::significant(-volts, 2, Unit::Volt)
                    ),
                    true,
                )
            });
        } else if sheet.nets[ends[0].index()].role == Some(Role::Ground) {
            to_ground.push(part.name.clone());
        } else if volts > BORNE {
            others.push(part.name.clone());
        }
    }
    if !others.is_empty() {
        found.push(plain(
            "polarity",
            "Electrolytics stand the right way round",
            format!(
                "{} see more than {BORNE} V: the plus mark of each against drawing and rail. Backwards its film stops nothing, and it fails short, in milliseconds or in years.",
                some(&others)
            ),
            true,
        ));
    }
    if !to_ground.is_empty() {
        found.push(plain(
            "polarity",
            "Electrolytics with their plus to ground stand the right way round",
            format!(
                "The plus of {} goes to ground: these are the ones that are put in backwards. Compare each with drawing and rail.",
                some(&to_ground)
            ),
            true,
        ));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(text: &str) -> Sheet {
        sheet::parse(text, "s.kdl").0
    }

    #[test]
    fn a_high_rail_on_a_logic_pin_is_found_both_ways_round() {
        // A plate supply of 200 V and a gate of 5 V in slots of one kind: pin 2 carries 200 V here, 5 V there.
        let plates = sheet(
            "sheet P { net G role=ground; connector J1 { pin 1 G; pin 2 HT }; resistor R1 \"1k\" HT G; }",
        );
        let logic = sheet(
            "sheet L { net G role=ground; connector J1 { pin 1 G; pin 2 VCC }; resistor R1 \"1k\" VCC G; }",
        );
        let whole = sheet(
            "sheet W { net \"P:G\" role=ground; net \"P:HT\"; net \"L:G\" role=ground; net \"L:VCC\"; resistor R1 \"1k\" \"P:HT\" \"P:G\"; resistor R2 \"1k\" \"L:VCC\" \"L:G\"; }",
        );
        let volts = |name: &str| match name {
            "P:HT" => 200.0,
            "L:VCC" => 5.0,
            _ => 0.0,
        };
        let potential: Vec<f64> = whole.nets.iter().map(|n| volts(&n.name)).collect();
        let slotted = |board, slot, prefix, sheet| Slotted {
            board,
            slot,
            prefix,
            sheet,
        };
        let boards = [
            slotted("P", "1", "P:", &plates),
            slotted("L", "2", "L:", &logic),
        ];
        let found = swaps(&whole, &potential, &boards);
        // Logic in the slot of the plates is harmed; plates in the slot of the logic see 5 V instead of 200, which harms nothing.
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].pin.as_deref(), Some("L.J1.2"));
        assert_eq!(
            (found[0].volts, found[0].made_for),
            (Some(200.0), Some(5.0))
        );
        assert!(found[0].says.contains("slot 1"));
        // A connector with another number of pins does not fit.
        let other = sheet(
            "sheet L { net G role=ground; connector J1 { pin 1 G; pin 2 VCC; pin 3 X }; resistor R1 \"1k\" VCC G; }",
        );
        let boards = [
            slotted("P", "1", "P:", &plates),
            slotted("L", "2", "L:", &other),
        ];
        assert!(swaps(&whole, &potential, &boards).is_empty());
    }

    #[test]
    fn an_electrolytic_drawn_backwards_and_one_with_its_plus_at_ground() {
        let sheet = sheet(
            "sheet S { net G role=ground; net N; supply V1 volts=12 plus=G minus=N; capacitor C1 \"10u\" plus=N minus=G; capacitor C2 \"10u\" plus=G minus=N; }",
        );
        let powered = Powered::new(&sheet).unwrap();
        let found = polarity(&sheet, powered.potential());
        assert_eq!(found.len(), 2);
        assert!(found[0].says.starts_with("C1 is drawn") && found[0].volts == Some(-12.0));
        assert!(found[1].says.contains("plus of C2"));
    }
}
