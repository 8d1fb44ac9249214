//! Random sheets: every kind of part, any value, odd names.
#![allow(dead_code, reason = "each test takes what it needs")]

use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use sheet::*;
use units::*;

/// So many cases, or as many as KNOWNGOOD_CASES says.
pub fn cases(usual: u32) -> ProptestConfig {
    let wanted = std::env::var("KNOWNGOOD_CASES").ok();
    ProptestConfig {
        failure_persistence: None,
        ..ProptestConfig::with_cases(wanted.and_then(|w| w.parse().ok()).unwrap_or(usual))
    }
}

/// Any positive number that a person might write, and many that nobody would.
pub fn positive() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => (1u32..1000, -15i32..9).prop_map(|(m, e)| format!("{m}e{e}").parse().expect("a number")),
        1 => 1e-18..1e-9f64,
        1 => 1e-3..1e15f64,
        1 => Just(1e300),
    ]
}

fn signed() -> impl Strategy<Value = f64> {
    (positive(), any::<bool>()).prop_map(|(v, minus)| if minus { -v } else { v })
}

fn fraction() -> impl Strategy<Value = f64> {
    prop_oneof![
        (0u32..1000).prop_map(|m| format!("{m}e-3").parse().expect("a number")),
        0.0..1.0f64
    ]
}

/// Names of nets, parts, pins, styles.
pub fn name() -> impl Strategy<Value = String> {
    prop_oneof![
        4 => "[A-Z][A-Z0-9]{0,3}",
        1 => "[+-]?[0-9]{1,3}V?",
        1 => "[a-z0-9_.:/()#=*'+~-]{1,6}",
        1 => "\\PC{1,4}".prop_filter("a name has no typographic quotes and is not blank", |n| {
            !n.contains(['“', '”', '„', '‘', '’']) && !n.contains(char::is_whitespace)
        }),
        1 => Just("true".to_owned()),
    ]
}

fn text() -> impl Strategy<Value = String> {
    prop_oneof![
        "[ -~µΩ]{0,12}",
        "\\PC{0,6}",
        Just("two\nlines\t\"quoted\" \\ \u{1}".to_owned())
    ]
}

fn spread() -> impl Strategy<Value = Spread> {
    let drift = (fraction(), -1i8..=1).prop_map(|(fraction, side)| Drift {
        fraction,
        mean: fraction * f64::from(side),
    });
    (option::of(fraction()), option::of(drift)).prop_map(|(tolerance, drift)| Spread {
        tolerance,
        drift,
        ..Spread::default()
    })
}

type Net = NetId;

fn junction() -> impl Strategy<Value = Parameters> {
    let o = || option::of(positive());
    (o(), o(), o()).prop_map(|(is, n, rs)| Parameters {
        is: is.map(Amps),
        n,
        rs: rs.map(Ohms),
        ..Parameters::default()
    })
}

fn gains() -> impl Strategy<Value = Parameters> {
    let o = || option::of(positive());
    (o(), o(), o(), o(), o()).prop_map(|(is, bf, br, rc, vaf)| Parameters {
        is: is.map(Amps),
        bf,
        br,
        rc: rc.map(Ohms),
        vaf: vaf.map(Volts),
        ..Parameters::default()
    })
}

fn diode_type() -> impl Strategy<Value = String> {
    prop_oneof![
        Just("silicon-signal"),
        Just("germanium-point-contact"),
        Just("selenium-rectifier")
    ]
    .prop_map(str::to_owned)
}

fn passive(nets: u32) -> impl Strategy<Value = Kind> {
    let net = move || (0..nets).prop_map(NetId);
    let two = move || [net(), net()];
    let ohms = || option::of(positive().prop_map(Ohms));
    prop_oneof![
        (positive(), two()).prop_map(|(v, ends)| Kind::Resistor {
            ohms: Ohms(v),
            ends
        }),
        (positive(), [net(), net(), net()], option::of(fraction())).prop_map(
            |(v, ends, setting)| Kind::Potentiometer {
                ohms: Ohms(v),
                ends,
                setting
            }
        ),
        (positive(), two(), any::<bool>(), ohms()).prop_map(|(v, ends, polarised, leak)| {
            Kind::Capacitor {
                farads: Farads(v),
                ends,
                polarised,
                leak,
            }
        }),
        (positive(), two(), ohms()).prop_map(|(v, ends, ohms)| Kind::Inductor {
            henries: Henries(v),
            ends,
            ohms
        }),
        (positive(), two(), ohms()).prop_map(|(v, ends, ohms)| Kind::Fuse {
            rated: Amps(v),
            ends,
            ohms
        }),
        (two(), any::<bool>(), ohms()).prop_map(|(ends, closed, ohms)| Kind::Switch {
            ends,
            state: if closed {
                Contact::Closed
            } else {
                Contact::Open
            },
            ohms
        }),
        (two(), positive(), positive(), ohms()).prop_map(|(ends, v, a, cold)| Kind::Lamp {
            ends,
            volts: Volts(v),
            amps: Amps(a),
            cold
        }),
        (two(), signed(), any::<bool>(), any::<bool>(), positive()).prop_map(
            |(ends, a, is_ohms, cold, o)| Kind::Load {
                ends,
                draw: if is_ohms {
                    Draw::Ohms(Ohms(o))
                } else {
                    Draw::Amps(Amps(a))
                },
                cold
            }
        ),
        (signed(), two(), positive(), option::of(positive()), ohms()).prop_map(
            |(v, [plus, minus], o, limit, off)| {
                Kind::Supply {
                    volts: Volts(v),
                    plus,
                    minus,
                    ohms: Some(Ohms(o)),
                    limit: limit.map(Amps),
                    off,
                }
            }
        ),
    ]
}

fn other(nets: u32) -> impl Strategy<Value = Kind> {
    let net = move || (0..nets).prop_map(NetId);
    let device = |given: BoxedStrategy<Parameters>, name: BoxedStrategy<String>| {
        (name, given).prop_map(|(name, given)| DeviceType { name, given })
    };
    let winding = (
        name(),
        [net(), net()],
        option::of(positive()),
        option::of(positive()),
        spread(),
    )
        .prop_map(|(name, ends, volts, ohms, spread)| Winding {
            name,
            ends,
            volts: volts.map(Volts),
            ohms: ohms.map(Ohms),
            spread,
            span: Span::default(),
        });
    let pin = (name(), net()).prop_map(|(name, net)| Pin {
        name,
        net,
        span: Span::default(),
    });
    let diode = || device(junction().boxed(), diode_type().boxed());
    let transistor = device(gains().boxed(), Just("germanium-power".to_owned()).boxed());
    prop_oneof![
        (diode(), net(), net()).prop_map(|(device, anode, cathode)| Kind::Diode {
            device,
            anode,
            cathode
        }),
        (
            positive(),
            option::of(positive()),
            option::of(positive()),
            diode(),
            net(),
            net()
        )
            .prop_map(|(v, izt, rz, device, anode, cathode)| Kind::Zener {
                volts: Volts(v),
                izt: izt.map(Amps),
                rz: rz.map(Ohms),
                device,
                anode,
                cathode
            }),
        (any::<bool>(), transistor, [net(), net(), net()]).prop_map(
            |(npn, device, [c, b, e]): (bool, DeviceType, [Net; 3])| {
                Kind::Transistor {
                    polarity: if npn { Polarity::Npn } else { Polarity::Pnp },
                    device,
                    c,
                    b,
                    e,
                }
            }
        ),
        vec(winding, 0..3).prop_map(|all| Kind::Transformer {
            windings: unique(all, |w| w.name.clone())
        }),
        vec(pin, 0..4).prop_map(|all| Kind::Connector {
            pins: unique(all, |p| p.name.clone())
        }),
    ]
}

fn unique<T>(all: Vec<T>, key: impl Fn(&T) -> String) -> Vec<T> {
    let mut seen = std::collections::HashSet::new();
    all.into_iter().filter(|t| seen.insert(key(t))).collect()
}

fn part(nets: u32) -> impl Strategy<Value = Part> {
    let kind = prop_oneof![passive(nets), other(nets)];
    let watts = option::of(positive().prop_map(Watts));
    (name(), kind, spread(), watts, option::of(name())).prop_map(
        |(name, kind, mut spread, watts, style)| {
            if let Kind::Transistor { .. } = kind {
                spread.bf = Some(1.5);
            }
            Part {
                name,
                kind,
                spread,
                ratings: Ratings {
                    watts,
                    ..Ratings::default()
                },
                style,
                span: Span::default(),
            }
        },
    )
}

/// Sheets that the text form can say, with up to nine nets and a dozen parts. All spans are zero.
pub fn sheet() -> impl Strategy<Value = Sheet> {
    let net = (
        name(),
        0u8..4,
        option::of(signed()),
        option::of(fraction()),
        0u8..5,
    )
        .prop_map(|(name, role, volts, tolerance, source)| sheet::Net {
            name,
            role: [None, None, Some(Role::Ground), Some(Role::Rail)][usize::from(role)],
            volts: volts.map(Volts),
            tolerance: tolerance.filter(|_| role > 1),
            source: [
                None,
                None,
                Some(Source::Printed),
                Some(Source::Traced),
                Some(Source::Buzzed),
            ][usize::from(source)],
            span: Span::default(),
        });
    let nets = vec(net, 1..9).prop_map(|all| unique(all, |n| n.name.clone()));
    let head = (
        name(),
        option::of(text()),
        option::of(-200i32..200),
        vec(name(), 0..3),
    );
    (nets, head).prop_flat_map(|(nets, head)| {
        let count = nets.len() as u32;
        let net = move || (0..count).prop_map(NetId);
        let point = (name(), net(), 0u8..3).prop_map(|(name, net, access)| Point {
            name,
            net,
            access: [Access::Easy, Access::Board, Access::Lead][usize::from(access)],
            span: Span::default(),
        });
        let parts = vec(part(count), 0..12).prop_map(|all| unique(all, |p| p.name.clone()));
        let adjacent = vec((net(), net()), 0..3)
            .prop_map(|all| all.into_iter().filter(|(a, b)| a != b).collect());
        let nevers = vec(
            (net(), text()).prop_map(|(net, why)| Never { net, why }),
            0..2,
        );
        let alters = vec((0u32..12, positive(), option::of(text())), 0..3);
        (parts, vec(point, 0..3), adjacent, nevers, alters).prop_map(
            move |(parts, points, adjacent, nevers, alters)| {
                let (name, title, temperature, fits) = head.clone();
                let known = parts.len() as u32;
                let alters: Vec<Alter> = alters
                    .into_iter()
                    .filter(|(part, ..)| *part < known)
                    .map(|(part, prior, reason)| Alter {
                        part: PartId(part),
                        prior,
                        reason,
                    })
                    .collect();
                let irreplaceable = alters.first().map(|a| a.part).into_iter().collect();
                Sheet {
                    name,
                    title,
                    temperature: temperature.map(|t| Celsius(f64::from(t))),
                    fits,
                    nets: nets.clone(),
                    parts,
                    points: unique(points, |p| p.name.clone()),
                    adjacent,
                    alters,
                    nevers,
                    irreplaceable,
                }
            },
        )
    })
}

/// The same sheet with all spans zero, so that sheets from different texts can be compared.
pub fn without_spans(mut sheet: Sheet) -> Sheet {
    sheet.nets.iter_mut().for_each(|n| n.span = Span::default());
    sheet
        .points
        .iter_mut()
        .for_each(|p| p.span = Span::default());
    for part in &mut sheet.parts {
        part.span = Span::default();
        match &mut part.kind {
            Kind::Transformer { windings } => {
                windings.iter_mut().for_each(|w| w.span = Span::default())
            }
            Kind::Connector { pins } => pins.iter_mut().for_each(|p| p.span = Span::default()),
            _ => {}
        }
    }
    sheet
}
