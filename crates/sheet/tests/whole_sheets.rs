//! Whole sheets without a mistake: one of every kind of line, and the generated boards.

use sheet::{Access, Contact, Draw, Kind, Polarity, Role, parse};
use units::{Amps, Farads, Ohms, Volts};

const EVERY_KIND: &str = include_str!("samples/every-kind.kdl");

#[test]
fn every_kind_of_line_is_understood() {
    let (sheet, found) = parse(EVERY_KIND, "every-kind.kdl");
    assert_eq!(found, vec![]);
    assert_eq!(sheet.name, "A2");
    assert_eq!(sheet.title.as_deref(), Some("Negative regulator"));
    assert_eq!(sheet.fits, ["0217", "0218"]);
    let net = |name: &str| sheet.net(name).expect("a net of the sample");
    let kind =
        |name: &str| &sheet.parts[sheet.part(name).expect("a part of the sample").index()].kind;

    let rail = &sheet.nets[net("-12V").index()];
    assert_eq!(
        (rail.role, rail.volts, rail.tolerance),
        (Some(Role::Rail), Some(Volts(-12.0)), Some(0.05))
    );
    assert_eq!(sheet.ground(), sheet.net("0V"));
    assert_eq!(
        (sheet.points[0].net, sheet.points[0].access),
        (net("REF"), Access::Easy)
    );

    let r1 = &sheet.parts[sheet.part("R1").expect("R1").index()];
    assert_eq!(
        r1.kind,
        Kind::Resistor {
            ohms: Ohms(2200.0),
            ends: [net("RAW"), net("REF")]
        }
    );
    assert_eq!(
        (r1.spread.tolerance, r1.style.as_deref()),
        (Some(0.1), Some("composition"))
    );
    assert_eq!(
        r1.spread.drift.map(|d| (d.fraction, d.mean)),
        Some((0.1, 0.1))
    );
    assert!(matches!(kind("RV1"), Kind::Potentiometer { setting: Some(s), .. } if *s == 0.4));
    assert!(
        matches!(kind("C1"), Kind::Capacitor { polarised: true, farads, .. } if *farads == Farads(470e-6))
    );
    assert!(
        matches!(kind("C2"), Kind::Capacitor { polarised: false, leak: Some(l), .. } if *l == Ohms(50e6))
    );
    assert!(matches!(kind("L2"), Kind::Inductor { ohms: Some(o), .. } if *o == Ohms(12.0)));
    assert!(matches!(kind("D1"), Kind::Diode { device, .. } if device.name == "silicon-signal"));
    assert!(
        matches!(kind("D2"), Kind::Zener { volts, device, .. } if *volts == Volts(6.2) && device.name == "silicon-signal")
    );
    assert!(
        matches!(kind("Q1"), Kind::Transistor { polarity: Polarity::Pnp, e, .. } if *e == net("-12V"))
    );
    assert!(
        matches!(kind("Q2"), Kind::Transistor { device, .. } if device.given.is == Some(Amps(1e-14)))
    );
    assert!(matches!(kind("F1"), Kind::Fuse { rated, .. } if *rated == Amps(1.0)));
    assert!(matches!(
        kind("S1"),
        Kind::Switch {
            state: Contact::Closed,
            ..
        }
    ));
    assert!(matches!(kind("B1"), Kind::Lamp { volts, .. } if *volts == Volts(12.0)));
    assert!(
        matches!(kind("T1"), Kind::Transformer { windings } if windings.len() == 2 && windings[1].ends[0] == net("AC1"))
    );
    assert!(
        matches!(kind("J1"), Kind::Connector { pins } if pins.len() == 2 && pins[1].net == net("-12V"))
    );
    assert!(
        matches!(kind("V1"), Kind::Supply { limit: Some(l), plus, .. } if *l == Amps(2.0) && *plus == net("0V"))
    );
    assert!(
        matches!(kind("L1"), Kind::Load { draw: Draw::Amps(a), cold: false, .. } if *a == Amps(0.6))
    );

    assert_eq!(sheet.adjacent, [(net("REF"), net("SET"))]);
    assert_eq!(
        (sheet.alters[0].part, sheet.alters[0].prior),
        (sheet.part("Q1").expect("Q1"), 5.0)
    );
    assert_eq!(sheet.nevers[0].net, net("REF"));
    assert_eq!(sheet.irreplaceable, [sheet.part("Q1").expect("Q1")]);
    assert_eq!(sheet.pin_net("T1.primary.1"), sheet.net("L"));
}

#[test]
fn generated_boards_have_no_mistakes() {
    let root = std::env::var_os("KNOWNGOOD_DATA").map_or_else(
        || std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data"),
        Into::into,
    );
    for (file, parts) in [
        ("board60.kdl", 60),
        ("board300.kdl", 300),
        ("board1000.kdl", 1000),
    ] {
        let path = root.join("boards").join(file);
        let Ok(text) = std::fs::read_to_string(&path) else {
            eprintln!(
                "NOT CHECKED: {} is absent; set KNOWNGOOD_DATA to the folder of the data",
                path.display()
            );
            return;
        };
        let (sheet, found) = parse(&text, file);
        assert_eq!(found, vec![], "{file}");
        assert_eq!(sheet.parts.len(), parts, "{file}");
    }
}
