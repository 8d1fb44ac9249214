//! The class words stand for the parameters that the sheet format promises, and overrides follow its rules.

use sheet::device::{Devices, Material, ModelSpread};
use sheet::{DeviceType, Parameters, Spread};
use units::{Amps, Ohms, Volts};

fn class(name: &str) -> DeviceType {
    DeviceType {
        name: name.to_owned(),
        given: Parameters::default(),
    }
}

#[test]
fn one_word_has_different_figures_for_a_diode_and_a_transistor() {
    let check_diode = |name: &str, is: f64, n: f64, rs: f64| {
        let d = Devices::shipped()
            .diode(&class(name), &Spread::default())
            .expect(name);
        assert_eq!((d.is, d.n, d.rs), (Amps(is), n, Ohms(rs)), "diode {name}");
    };
    check_diode("silicon-signal", 4e-9, 1.9, 1.0);
    check_diode("silicon-rectifier", 5e-11, 1.4, 0.05);
    check_diode("germanium-signal", 4e-6, 2.0, 4.0);
    let check_transistor = |name: &str, is: f64, bf: f64, br: f64| {
        let t = Devices::shipped()
            .transistor(&class(name), &Spread::default())
            .expect(name);
        assert_eq!(
            (t.is, t.bf, t.br, t.rc, t.vaf),
            (Amps(is), bf, br, Ohms(0.0), None),
            "transistor {name}"
        );
    };
    check_transistor("silicon-signal", 1e-14, 120.0, 3.0);
    check_transistor("germanium-signal", 1.5e-6, 60.0, 10.0);
    check_transistor("germanium-power", 2e-5, 60.0, 10.0);
}

#[test]
fn every_class_word_of_the_format_is_known() {
    for name in [
        "silicon-signal",
        "silicon-rectifier",
        "silicon-power",
        "germanium-signal",
        "germanium-power",
        "germanium-point-contact",
        "selenium-rectifier",
    ] {
        assert!(Devices::shipped().knows_diode(name), "{name}");
    }
    for name in [
        "silicon-signal",
        "silicon-power",
        "germanium-signal",
        "germanium-power",
    ] {
        assert!(Devices::shipped().knows_transistor(name), "{name}");
    }
    for name in [
        "silicon-rectifier",
        "selenium-rectifier",
        "germanium-point-contact",
        "2N0",
        "",
    ] {
        assert!(!Devices::shipped().knows_transistor(name), "{name}");
    }
}

#[test]
fn the_spread_is_a_lot_times_an_individual_factor() {
    let of = |name: &str| {
        let t = Devices::shipped()
            .transistor(&class(name), &Spread::default())
            .expect(name);
        (t.material, t.spread)
    };
    let silicon = ModelSpread {
        is_lot: 1.7,
        is_own: 1.1,
        bf_lot: 1.5,
        bf_own: 1.1,
        br_own: 1.0,
    };
    assert_eq!(of("silicon-signal"), (Material::Silicon, silicon));
    let germanium = ModelSpread {
        is_lot: 3.0,
        is_own: 1.2,
        bf_lot: 1.7,
        bf_own: 1.2,
        br_own: 1.0,
    };
    assert_eq!(of("germanium-power"), (Material::Germanium, germanium));
}

#[test]
fn a_spread_written_on_the_part_replaces_lot_and_individual() {
    let written = Spread {
        is: Some(2.0),
        bf: Some(1.5),
        br: Some(1.3),
        ..Spread::default()
    };
    let t = Devices::shipped()
        .transistor(&class("silicon-signal"), &written)
        .expect("a class");
    let independent = ModelSpread {
        is_lot: 1.0,
        is_own: 2.0,
        bf_lot: 1.0,
        bf_own: 1.5,
        br_own: 1.3,
    };
    assert_eq!(t.spread, independent);
    let only_gain = Spread {
        bf: Some(1.5),
        ..Spread::default()
    };
    let t = Devices::shipped()
        .transistor(&class("silicon-signal"), &only_gain)
        .expect("a class");
    assert_eq!(
        (t.spread.is_lot, t.spread.is_own, t.spread.bf_lot),
        (1.7, 1.1, 1.0)
    );
}

#[test]
fn with_is_given_the_rest_is_ideal_and_without_it_the_rest_is_the_types() {
    let given = |name: &str, given: Parameters| DeviceType {
        name: name.to_owned(),
        given,
    };
    let is = Some(Amps(2e-12));
    let none = Spread::default();
    let book = Devices::shipped();
    let d = book
        .diode(
            &given(
                "germanium-signal",
                Parameters {
                    is,
                    ..Parameters::default()
                },
            ),
            &none,
        )
        .expect("a class");
    assert_eq!((d.is, d.n, d.rs), (Amps(2e-12), 1.0, Ohms(0.0)));
    let d = book.diode(
        &given(
            "germanium-signal",
            Parameters {
                n: Some(1.5),
                ..Parameters::default()
            },
        ),
        &none,
    );
    let d = d.expect("a class");
    assert_eq!((d.is, d.n, d.rs), (Amps(4e-6), 1.5, Ohms(4.0)));
    let t = book.transistor(
        &given(
            "silicon-signal",
            Parameters {
                is,
                ..Parameters::default()
            },
        ),
        &none,
    );
    let t = t.expect("a class");
    assert_eq!(
        (t.is, t.bf, t.br, t.rc, t.vaf),
        (Amps(2e-12), 120.0, 1.0, Ohms(0.0), None)
    );
    let all = Parameters {
        is,
        bf: Some(80.0),
        br: Some(2.0),
        rc: Some(Ohms(3.0)),
        vaf: Some(Volts(50.0)),
        ..Parameters::default()
    };
    let t = book
        .transistor(&given("silicon-signal", all), &none)
        .expect("a class");
    assert_eq!(
        (t.bf, t.br, t.rc, t.vaf),
        (80.0, 2.0, Ohms(3.0), Some(Volts(50.0)))
    );
}
