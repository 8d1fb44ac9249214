//! Meter profiles are read as the format says, and the shipped ones are there.

use sheet::meter::{
    CurrentRange, DiodeFunction, Meter, OhmsFunction, SeriesRange, VoltsFunction, VoltsInput,
};
use units::{Amps, Ohms, Volts};

const EXAMPLE: &str = r#"meter bench-digital {
    ohms { range "200R" amps=1e-3 limit=3.0 accuracy="0.3%" floor="0R1"; range "2k" amps=1e-3 limit=3.0 accuracy="0.3%" floor="1R" }
    diode amps=1e-3 limit=2.5 accuracy="0.5%" floor="1m"
    volts ohms="10M" accuracy="0.3%" floor="1m" max=600
}
meter moving-coil { ohms { range x1 source="15R" open=1.5 full="1k5" reversed=#true accuracy="5%" }; volts ohms-per-volt="20k" range=50 accuracy="3%" max=1000 }
"#;

fn current(name: &str, full: f64, floor: f64) -> CurrentRange {
    CurrentRange {
        name: name.to_owned(),
        full_scale: Ohms(full),
        amps: Amps(1e-3),
        limit: Volts(3.0),
        accuracy: 0.003,
        floor: Ohms(floor),
    }
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * b.abs()
}

#[test]
fn the_example_of_the_format_is_read_to_the_last_figure() {
    let (meters, mistakes) = Meter::parse(EXAMPLE, "meter.kdl");
    assert_eq!(mistakes, []);
    let [bench, coil] = meters.as_slice() else {
        panic!("two meters: {meters:?}")
    };
    assert_eq!(bench.name, "bench-digital");
    let two = vec![current("200R", 200.0, 0.1), current("2k", 2000.0, 1.0)];
    assert_eq!(
        bench.ohms,
        Some(OhmsFunction::CurrentSource { ranges: two })
    );
    let diode = DiodeFunction {
        amps: Amps(1e-3),
        limit: Volts(2.5),
        accuracy: 0.005,
        floor: Volts(1e-3),
    };
    assert_eq!(bench.diode, Some(diode));
    let volts = VoltsFunction {
        input: VoltsInput::Fixed(Ohms(1e7)),
        accuracy: 0.003,
        floor: Volts(1e-3),
        max: Some(Volts(600.0)),
    };
    assert_eq!(bench.volts, Some(volts));
    let x1 = SeriesRange {
        name: "x1".to_owned(),
        source: Ohms(15.0),
        open: Volts(1.5),
        full: Ohms(1500.0),
        reversed: true,
        accuracy: 0.05,
    };
    assert_eq!(coil.ohms, Some(OhmsFunction::Series { ranges: vec![x1] }));
    assert_eq!(coil.diode, None);
    assert!(close(coil.volts.expect("volts").input.ohms().0, 1e6));
}

#[test]
fn full_scale_of_a_series_range_is_a_hundred_times_its_source_unless_given() {
    let (meters, mistakes) = Meter::parse(
        "meter M { ohms { range x1 source=20 open=1.5 } }",
        "meter.kdl",
    );
    assert_eq!(mistakes, []);
    let Some(OhmsFunction::Series { ranges }) = &meters[0].ohms else {
        panic!("{meters:?}")
    };
    assert_eq!((ranges[0].full, ranges[0].reversed), (Ohms(2000.0), false));
}

#[test]
fn the_shipped_profiles_begin_with_the_default_and_it_is_the_example_with_further_ranges() {
    let shipped = Meter::shipped();
    assert_eq!(shipped[0].name, Meter::DEFAULT);
    let (example, _) = Meter::parse(EXAMPLE, "meter.kdl");
    let Some(OhmsFunction::CurrentSource { ranges }) = &shipped[0].ohms else {
        panic!("current source")
    };
    let Some(OhmsFunction::CurrentSource { ranges: first }) = &example[0].ohms else {
        panic!("current source")
    };
    assert_eq!(&ranges[..2], first.as_slice());
    let names: Vec<&str> = ranges.iter().map(|r| r.name.as_str()).collect();
    assert_eq!(names, ["200R", "2k", "20k", "200k", "2M", "20M"]);
    assert_eq!(
        (shipped[0].diode, shipped[0].volts),
        (example[0].diode, example[0].volts)
    );
    for name in ["handheld-digital", "low-voltage-digital", "moving-coil"] {
        let meter = shipped.iter().find(|m| m.name == name).expect(name);
        assert!(
            meter.source.is_some(),
            "{name} says where its figures come from"
        );
    }
}

#[test]
fn a_digital_range_reaches_its_full_scale_before_it_clamps() {
    for meter in Meter::shipped() {
        let Some(OhmsFunction::CurrentSource { ranges }) = &meter.ohms else {
            continue;
        };
        for r in ranges {
            assert!(
                r.amps.0 * r.full_scale.0 < r.limit.0,
                "{} {}",
                meter.name,
                r.name
            );
        }
    }
}

#[test]
fn a_printed_profile_is_read_again_the_same() {
    let mut meters = Meter::shipped().to_vec();
    meters.extend(
        Meter::parse(
            "meter \"my \\\"own\\\"\" source=\"a\\\\b\" { volts ohms=1e7 max=0.5 }",
            "m.kdl",
        )
        .0,
    );
    assert_eq!(meters.len(), Meter::shipped().len() + 1);
    for meter in meters {
        let printed = meter.print();
        let (again, mistakes) = Meter::parse(&printed, "printed.kdl");
        assert_eq!(mistakes, [], "{printed}");
        assert_eq!(again, [meter]);
    }
}

#[test]
fn the_default_profile_prints_as_the_format_writes_it() {
    let printed = Meter::shipped()[0].print();
    for line in [
        "        range \"200R\" amps=0.001 limit=3 accuracy=\"0.3%\" floor=\"0R1\"\n",
        "        range \"2k\" amps=0.001 limit=3 accuracy=\"0.3%\" floor=\"1R\"\n",
        "    diode amps=0.001 limit=2.5 accuracy=\"0.5%\" floor=0.001\n",
        "    volts ohms=\"10M\" accuracy=\"0.3%\" floor=0.001 max=600\n",
    ] {
        assert!(printed.contains(line), "{printed}");
    }
}
