//! Values in text: what is read, what is refused, and that what is printed reads back.

use proptest::prelude::*;
use units::{
    OldSpelling, Unit, Unreadable, engineering, exact, is_over_range, number, print_percentage,
    read, read_percentage, rkm, significant,
};

fn check(unit: Unit, cases: &[(&str, f64)]) {
    for (text, expected) in cases {
        let value = read(text, unit).unwrap_or_else(|why| panic!("{text}: {why}"));
        // Exactly: a multiplier moves the decimal point, it does not multiply.
        assert_eq!(value.number, *expected, "{text}");
        assert_eq!(value.old_spelling, None, "{text}");
    }
}

#[test]
fn resistances_are_read() {
    check(
        Unit::Ohm,
        &[
            // IEC 60062, examples of the resistance code.
            ("R47", 0.47),
            ("4R7", 4.7),
            ("470R", 470.0),
            ("4K7", 4700.0),
            ("47K", 47_000.0),
            // The project's own format page.
            ("4k7", 4700.0),
            ("4.7k", 4700.0),
            ("4700", 4700.0),
            ("2R2", 2.2),
            ("1M", 1e6),
            ("0.02R", 0.02),
            ("1000R", 1000.0),
            ("5G", 5e9),
            ("0R05", 0.05),
            ("1k5", 1500.0),
            ("1m", 1e-3),
            ("4.7 kΩ", 4700.0),
            ("4.7 k\u{2126}", 4700.0),
            ("4k7 ohms", 4700.0),
            ("4.7e3", 4700.0),
            ("1E6", 1e6),
            ("+4k7", 4700.0),
            ("-4k7", -4700.0),
            ("\u{2212}4k7", -4700.0),
            (" 4k7 ", 4700.0),
            (".5", 0.5),
            ("5.", 5.0),
            ("0", 0.0),
            ("1T", 1e12),
        ],
    );
}

#[test]
fn other_quantities_are_read() {
    let farads = [
        ("470n", 470e-9),
        ("100uF", 100e-6),
        ("100µF", 100e-6),
        ("100μF", 100e-6),
        ("1e-8", 1e-8),
        ("4n7", 4.7e-9),
        ("4p7F", 4.7e-12),
        ("22pf", 22e-12),
        ("1m", 1e-3),
        ("4m7", 4.7e-3),
        ("4F7", 4.7),
        ("10 uFD", 10e-6),
    ];
    check(Unit::Farad, &farads);
    check(
        Unit::Volt,
        &[
            ("6.2V", 6.2),
            ("6V2", 6.2),
            ("-12", -12.0),
            ("2kV", 2000.0),
            ("1m", 1e-3),
            ("0.62 volts", 0.62),
        ],
    );
    check(
        Unit::Ampere,
        &[
            ("0.6A", 0.6),
            ("500mA", 0.5),
            ("2A", 2.0),
            ("10fA", 10e-15),
            ("1e-14", 1e-14),
            ("20 uA", 20e-6),
        ],
    );
    check(
        Unit::Henry,
        &[
            ("10m", 10e-3),
            ("10mH", 10e-3),
            ("2H2", 2.2),
            ("4u7", 4.7e-6),
        ],
    );
    check(Unit::Watt, &[("0.5W", 0.5), ("250mW", 0.25), ("10", 10.0)]);
    check(Unit::Second, &[("20ms", 0.02), ("5s", 5.0), ("1 us", 1e-6)]);
    check(
        Unit::Celsius,
        &[("25C", 25.0), ("25°C", 25.0), ("-5 C", -5.0), ("25", 25.0)],
    );
    check(Unit::One, &[("1.9", 1.9), ("120", 120.0), ("1k2", 1200.0)]);
}

#[test]
fn old_capacitor_spellings_are_reported_with_what_they_mean() {
    let cases = [
        ("100mF", "mF", "uF", 100e-6),
        ("100 MFD", "MFD", "uF", 100e-6),
        ("0.1 Mfd", "Mfd", "uF", 0.1e-6),
        ("0.1MF", "MF", "uF", 0.1e-6),
        ("220MMF", "MMF", "pF", 220e-12),
        ("47 mmfd", "mmfd", "pF", 47e-12),
        ("47uuF", "uuF", "pF", 47e-12),
        ("47µµF", "µµF", "pF", 47e-12),
    ];
    for (text, written, meant, number) in cases {
        let value = read(text, Unit::Farad).unwrap_or_else(|why| panic!("{text}: {why}"));
        assert_eq!(value.number, number, "{text}");
        let spelling = OldSpelling {
            written: written.to_owned(),
            meant,
        };
        assert_eq!(value.old_spelling, Some(spelling), "{text}");
    }
}

#[test]
fn what_is_no_value_is_refused_with_a_reason() {
    let cases = [
        ("", Unit::Ohm, "No value is written."),
        ("  ", Unit::Ohm, "No value is written."),
        (
            "4,7k",
            Unit::Ohm,
            "`4,7k` has a comma where a decimal point belongs.",
        ),
        (
            "5V",
            Unit::Ohm,
            "`5V` is in volts, but ohms are wanted here.",
        ),
        (
            "470n",
            Unit::Celsius,
            "`470n` cannot be read as degrees Celsius.",
        ),
        (
            "10F",
            Unit::Henry,
            "`10F` is in farads, but henries are wanted here.",
        ),
        (
            "1e999",
            Unit::Ohm,
            "`1e999` is beyond what can be computed with.",
        ),
        (
            "1e99999999999",
            Unit::Ohm,
            "`1e99999999999` is beyond what can be computed with.",
        ),
        ("four", Unit::Ohm, "`four` cannot be read as ohms."),
        ("4k7k", Unit::Ohm, "`4k7k` cannot be read as ohms."),
        ("4.7k7", Unit::Ohm, "`4.7k7` cannot be read as ohms."),
        ("4 k 7", Unit::Ohm, "`4 k 7` cannot be read as ohms."),
        ("1e3k", Unit::Ohm, "`1e3k` cannot be read as ohms."),
        ("k", Unit::Ohm, "`k` cannot be read as ohms."),
        ("R", Unit::Ohm, "`R` cannot be read as ohms."),
        (".", Unit::Ohm, "`.` cannot be read as ohms."),
        ("-", Unit::Ohm, "`-` cannot be read as ohms."),
        ("--5", Unit::Ohm, "`--5` cannot be read as ohms."),
        ("nan", Unit::Ohm, "`nan` cannot be read as ohms."),
        ("inf", Unit::Volt, "`inf` cannot be read as volts."),
        ("OL", Unit::Ohm, "`OL` cannot be read as ohms."),
        ("1.2.3", Unit::Ohm, "`1.2.3` cannot be read as ohms."),
        ("10nn", Unit::Farad, "`10nn` cannot be read as farads."),
        (
            "4R7",
            Unit::Farad,
            "`4R7` is in ohms, but farads are wanted here.",
        ),
    ];
    for (text, unit, message) in cases {
        let why = read(text, unit).expect_err(text);
        assert_eq!(why.to_string(), message, "{text}");
    }
}

#[test]
fn over_range_has_several_spellings_and_numbers_are_none_of_them() {
    for text in ["OL", "ol", " OL ", "O.L", "0L", "0.L", "-OL", "OVLD"] {
        assert!(is_over_range(text), "{text}");
    }
    for text in ["", "0", "L", "1k8", "1k8..OL", "OLD"] {
        assert!(!is_over_range(text), "{text}");
    }
}

#[test]
fn percentages_are_fractions_with_or_without_their_sign() {
    let cases = [
        ("5%", 0.05, false, true),
        ("+10%", 0.1, true, true),
        ("-10 %", -0.1, true, true),
        ("±5%", 0.05, false, true),
        ("0%", 0.0, false, true),
        ("0.3%", 0.003, false, true),
        ("5", 0.05, false, false),
        ("2.5e1", 0.25, false, false),
    ];
    for (text, fraction, signed, marked) in cases {
        let share = read_percentage(text).unwrap_or_else(|why| panic!("{text}: {why}"));
        assert_eq!(
            (share.fraction, share.signed, share.marked),
            (fraction, signed, marked),
            "{text}"
        );
    }
    for text in ["", "%", "5 percent", "5%%", "R5%", "1e999%", "five"] {
        assert!(read_percentage(text).is_err(), "{text}");
    }
    assert_eq!(print_percentage(0.05), "5%");
    assert_eq!(print_percentage(0.003), "0.3%");
    assert_eq!(print_percentage(2.0), "200%");
}

#[test]
fn values_are_shown_with_the_precision_that_their_uncertainty_deserves() {
    let cases = [
        // Particle Data Group, Review of Particle Physics, introduction, "Rounding": 0.827 +- 0.119 becomes 0.83 +- 0.12,
        // 0.827 +- 0.367 becomes 0.8 +- 0.4 (from memory).
        (0.827, 0.119, Unit::One, "0.83"),
        (0.827, 0.367, Unit::One, "0.8"),
        (1843.2, 40.0, Unit::Ohm, "1.84 kΩ"),
        (1843.2, 20.0, Unit::Ohm, "1.843 kΩ"),
        (123_456.0, 5_000.0, Unit::Ohm, "123 kΩ"),
        (123_456.0, 50_000.0, Unit::Ohm, "120 kΩ"),
        (0.6234, 0.02, Unit::Volt, "0.623 V"),
        (0.6234, 0.05, Unit::Volt, "0.62 V"),
        (0.0312, 0.001, Unit::Volt, "31.2 mV"),
        (-12.04, 0.1, Unit::Volt, "-12.04 V"),
        (999.96, 0.5, Unit::Volt, "1.0000 kV"),
        (0.05, 0.004, Unit::Ohm, "0.050 Ω"),
        (4.7e-9, 5e-10, Unit::Farad, "4.7 nF"),
        (2.2e-6, 4e-7, Unit::Farad, "2.2 µF"),
        (1e-14, 4e-15, Unit::Ampere, "10 fA"),
        (0.3e-3, 20e-3, Unit::Volt, "0 mV"),
        (8e-3, 50e-3, Unit::Volt, "10 mV"),
        (25.3, 1.0, Unit::Celsius, "25.3 °C"),
        (4700.0, 0.0, Unit::Ohm, "4.7 kΩ"),
        (4700.0, f64::NAN, Unit::Ohm, "4.7 kΩ"),
        (0.0, 0.0, Unit::Volt, "0 V"),
        (1e-20, 0.0, Unit::Ampere, "1e-20 A"),
    ];
    for (value, uncertainty, unit, expected) in cases {
        assert_eq!(
            engineering(value, uncertainty, unit),
            expected,
            "{value} ± {uncertainty}"
        );
    }
    assert_eq!(significant(4700.0, 3, Unit::Ohm), "4.70 kΩ");
    assert_eq!(significant(0.61234, 3, Unit::Volt), "0.612 V");
    assert_eq!(significant(999_960.0, 4, Unit::Ohm), "1.000 MΩ");
    assert_eq!(significant(f64::INFINITY, 3, Unit::Ohm), "not a number");
}

#[test]
fn the_letter_code_is_printed_as_it_is_read() {
    let cases = [
        (4700.0, Unit::Ohm, "4k7"),
        (2.2, Unit::Ohm, "2R2"),
        (0.47, Unit::Ohm, "0R47"),
        (1000.0, Unit::Ohm, "1k"),
        (470e-9, Unit::Farad, "470n"),
        (4.7e-6, Unit::Farad, "4u7"),
        (6.2, Unit::Volt, "6V2"),
        (0.01, Unit::Henry, "10m"),
        (1e-20, Unit::Ampere, "1e-20"),
    ];
    for (value, unit, expected) in cases {
        assert_eq!(exact(value, unit), expected);
    }
    assert_eq!(rkm(4712.3, 2, Unit::Ohm), "4k7");
    assert_eq!(rkm(999_999.0, 3, Unit::Ohm), "1M");
    assert_eq!(number(22.0), "22");
    assert_eq!(number(1e-14), "1e-14");
}

const UNITS: [Unit; 9] = [
    Unit::One,
    Unit::Ohm,
    Unit::Volt,
    Unit::Ampere,
    Unit::Farad,
    Unit::Henry,
    Unit::Watt,
    Unit::Second,
    Unit::Celsius,
];

fn any_unit() -> impl Strategy<Value = Unit> {
    prop::sample::select(UNITS.to_vec())
}

fn any_number() -> impl Strategy<Value = f64> {
    use prop::num::f64::{NEGATIVE, NORMAL, POSITIVE, SUBNORMAL, ZERO};
    prop_oneof![
        POSITIVE | NEGATIVE | NORMAL | SUBNORMAL | ZERO,
        (-9999i32..9999, -16i32..14)
            .prop_map(|(m, e)| format!("{m}e{e}").parse().expect("a number")),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(2000) })]

    #[test]
    fn whatever_is_typed_is_read_or_refused(text in "\\PC{0,12}", unit in any_unit()) {
        let _ = is_over_range(&text);
        let _ = read_percentage(&text);
        match read(&text, unit) {
            Ok(value) => prop_assert!(value.number.is_finite()),
            Err(why) => prop_assert!(why.to_string().ends_with('.')),
        }
    }

    #[test]
    fn what_looks_like_a_value_is_read_or_refused(text in "[-+±]?[0-9]{0,3}[.,RkKMVuµmnpF]?[0-9]{0,3}[eE]?[-+]?[0-9]{0,3} ?[a-zA-ZΩ%]{0,4}", unit in any_unit()) {
        let _ = read_percentage(&text);
        if let Ok(value) = read(&text, unit) {
            prop_assert!(value.number.is_finite());
        }
    }

    #[test]
    fn what_is_printed_exactly_reads_back_as_the_same_number(value in any_number(), unit in any_unit()) {
        for text in [exact(value, unit), number(value)] {
            prop_assert_eq!(read(&text, unit).map(|v| v.number), Ok(value), "{}", text);
        }
    }

    #[test]
    fn a_percentage_reads_back_as_the_same_fraction(value in any_number()) {
        prop_assume!(value.abs() < 1e300);
        let text = print_percentage(value);
        prop_assert_eq!(read_percentage(&text).map(|p| p.fraction), Ok(value), "{}", text);
    }

    /// A shown value is off by at most half of its last digit, and that is less than the uncertainty.
    #[test]
    fn a_shown_value_is_within_its_uncertainty(value in -1e9..1e9f64, share in 1e-6..3f64, unit in any_unit()) {
        // A megafarad would be read as the old drawings' microfarad.
        prop_assume!(unit != Unit::Farad);
        let uncertainty = (value.abs() * share).max(1e-12);
        let shown = engineering(value, uncertainty, unit);
        let back = read(&shown, unit).map(|v| v.number);
        prop_assert!(back.is_ok(), "{}", shown);
        let off = (back.unwrap_or(f64::NAN) - value).abs();
        prop_assert!(off <= 0.51 * 10f64.powf(uncertainty.log10() + 0.451), "{} for {} ± {}", shown, value, uncertainty);
    }

    #[test]
    fn rounding_the_letter_code_keeps_its_digits(value in 1e-9..1e9f64, digits in 1usize..6) {
        let text = rkm(value, digits, Unit::Ohm);
        let back = read(&text, Unit::Ohm).map(|v| v.number).unwrap_or(f64::NAN);
        prop_assert!((back / value - 1.0).abs() <= 0.5001 * 10f64.powi(1 - digits as i32), "{} for {}", text, value);
    }
}

#[test]
fn a_reason_is_data_and_not_only_a_sentence() {
    assert!(matches!(
        read("5V", Unit::Ohm),
        Err(Unreadable::OtherUnit {
            found: Unit::Volt,
            wanted: Unit::Ohm,
            ..
        })
    ));
}
