//! Registered types keep the limits they were registered with.

use sheet::device::{Devices, Sort};
use sheet::{DeviceType, Polarity, Spread};

/// Thermal voltage at 300 K, as the sheet format fixes it.
const VT: f64 = 0.025852;

fn kind(name: &str) -> DeviceType {
    DeviceType {
        name: name.to_owned(),
        ..DeviceType::default()
    }
}

/// Forward voltage limits of registered diodes: name, amps, most volts. 1N270 from a replacement maker's public data
/// sheet, the others from memory.
const FORWARD: &[(&str, f64, f64)] = &[
    ("1N914", 0.010, 1.0),
    ("1N914A", 0.020, 1.0),
    ("1N914B", 0.100, 1.0),
    ("1N4148", 0.010, 1.0),
    ("1N4448", 0.005, 0.72),
    ("1N3064", 0.010, 1.0),
    ("1N3600", 0.001, 0.62),
    ("1N3600", 0.200, 1.0),
    ("1N4150", 0.010, 0.74),
    ("1N4151", 0.050, 1.0),
    ("1N4154", 0.030, 1.0),
    ("1N4009", 0.030, 1.0),
    ("1N456", 0.040, 1.0),
    ("1N457", 0.020, 1.0),
    ("1N458", 0.007, 1.0),
    ("1N459", 0.003, 1.0),
    ("1N658", 0.100, 1.0),
    ("1N659", 0.006, 1.0),
    ("1N662", 0.010, 1.0),
    ("1N645", 0.400, 1.0),
    ("1N4007", 1.0, 1.1),
    ("1N540", 0.500, 1.1),
    ("1N2069", 0.500, 1.2),
    ("1N1202A", 12.0, 1.35),
    ("1N1186", 35.0, 1.2),
    ("1N34A", 0.005, 1.0),
    ("1N48", 0.004, 1.0),
    ("1N128A", 0.003, 1.0),
    ("1N270", 0.200, 1.0),
    ("1N276", 0.040, 1.0),
    ("1N277", 0.100, 1.0),
];

#[test]
fn diodes_drop_less_than_their_limit_and_not_absurdly_less() {
    for (name, amps, most) in FORWARD {
        let d = Devices::shipped()
            .diode(&kind(name), &Spread::default())
            .expect(name);
        let volts = d.n * VT * (amps / d.is.0 + 1.0).ln() + amps * d.rs.0;
        assert!(
            volts < *most,
            "{name} drops {volts:.3} V at {amps} A, its limit is {most} V"
        );
        assert!(
            volts > 0.55 * most,
            "{name} drops only {volts:.3} V at {amps} A under a limit of {most} V"
        );
    }
}

/// Gain limits at one current from an index of registered types that a maker printed about 1968 (public copy, read by
/// machine): name, polarity, least, most.
const GAIN: &[(&str, Polarity, f64, f64)] = &[
    ("2N1479", Polarity::Npn, 20.0, 60.0),
    ("2N1481", Polarity::Npn, 35.0, 100.0),
    ("2N1483", Polarity::Npn, 20.0, 60.0),
    ("2N1489", Polarity::Npn, 25.0, 75.0),
    ("2N1545", Polarity::Pnp, 75.0, 150.0),
    ("2N1549", Polarity::Pnp, 10.0, 30.0),
    ("2N1553", Polarity::Pnp, 30.0, 60.0),
    ("2N1557", Polarity::Pnp, 50.0, 100.0),
    ("2N2894", Polarity::Pnp, 40.0, 150.0),
    ("2N2904", Polarity::Pnp, 40.0, 120.0),
    ("2N2905A", Polarity::Pnp, 100.0, 300.0),
    ("2N2907", Polarity::Pnp, 100.0, 300.0),
    ("2N3700", Polarity::Npn, 100.0, 300.0),
    ("2N3702", Polarity::Pnp, 60.0, 300.0),
    ("2N3704", Polarity::Npn, 100.0, 300.0),
    ("2N3766", Polarity::Npn, 40.0, 160.0),
    ("2N3771", Polarity::Npn, 15.0, 60.0),
    ("2N3789", Polarity::Pnp, 25.0, 90.0),
    ("2N3791", Polarity::Pnp, 50.0, 180.0),
    ("2N4400", Polarity::Npn, 50.0, 150.0),
];

#[test]
fn nineteen_in_twenty_transistors_keep_the_registered_limits_of_gain() {
    for (name, polarity, least, most) in GAIN {
        let t = Devices::shipped()
            .transistor(&kind(name), &Spread::default())
            .expect(name);
        assert_eq!(Devices::shipped().polarity(name), Some(*polarity), "{name}");
        let sd = t.spread.bf_lot.ln().hypot(t.spread.bf_own.ln());
        let (low, high) = (t.bf / (2.0 * sd).exp(), t.bf * (2.0 * sd).exp());
        // Figures in the file are rounded to three places, gains below 100 to two.
        assert!(
            (low / least - 1.0).abs() < 0.03,
            "{name}: two sigma below is {low:.1}, the limit {least}"
        );
        assert!(
            (high / most - 1.0).abs() < 0.03,
            "{name}: two sigma above is {high:.1}, the limit {most}"
        );
    }
}

#[test]
fn base_emitter_voltages_stand_where_data_sheets_put_them() {
    // Name, collector amps, least and most volts. 2N404: 0.35 V saturated at 12 mA (seller's table); 2N1305: 0.15 to
    // 0.35 V saturated at 10 mA (maker's sheet); 2N2369: 0.70 to 0.85 V saturated at 10 mA (maker's sheet of 1989).
    let check = |name: &str, amps: f64, least: f64, most: f64| {
        let t = Devices::shipped()
            .transistor(&kind(name), &Spread::default())
            .expect(name);
        let volts = VT * (amps / t.is.0).ln();
        assert!(
            (least..=most).contains(&volts),
            "{name} has {volts:.3} V at {amps} A"
        );
    };
    check("2N404", 0.012, 0.15, 0.35);
    check("2N1305", 0.010, 0.15, 0.35);
    check("2N1304", 0.010, 0.15, 0.35);
    // A tenth of the collector current flows into the base, about 50 ohms: 0.05 V are not the junction's.
    check("2N2369", 0.010, 0.65, 0.80);
}

#[test]
fn the_table_is_wide_and_every_entry_says_where_it_comes_from() {
    let book = Devices::shipped();
    let registered = |sort: Sort, prefix: &str| {
        book.names(sort)
            .iter()
            .filter(|n| n.starts_with(prefix))
            .count()
    };
    assert!(registered(Sort::Diode, "1N") >= 45);
    assert!(registered(Sort::Transistor, "2N") >= 45);
    for sort in [Sort::Diode, Sort::Transistor] {
        for name in book.names(sort) {
            let source = book.source(sort, name).expect(name);
            assert!(source.split_whitespace().count() >= 2, "{name}: `{source}`");
        }
    }
    for name in book.names(Sort::Transistor) {
        assert_eq!(
            book.polarity(name).is_some(),
            name.starts_with("2N"),
            "{name}"
        );
        let t = book
            .transistor(&kind(name), &Spread::default())
            .expect(name);
        let r = t.ratings;
        assert!(
            r.vceo.is_some() && r.amps.is_some() && r.watts.is_some(),
            "{name} has no ratings"
        );
    }
    for name in book.names(Sort::Diode) {
        let d = book.diode(&kind(name), &Spread::default()).expect(name);
        assert!(
            d.ratings.volts.is_some() && d.ratings.amps.is_some(),
            "{name} has no ratings"
        );
    }
}
