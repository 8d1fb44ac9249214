//! Preferred values and colour bands against the published tables.

use units::Colour::*;
use units::{BandsUnreadable, Colour, Ohms, Series, bands, read_bands};

/// IEC 60063, table of the E12 series.
const E12: [f64; 12] = [1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2];

/// What the E24 series has besides (IEC 60063).
const ALSO_IN_E24: [f64; 12] = [1.1, 1.3, 1.6, 2.0, 2.4, 3.0, 3.6, 4.3, 5.1, 6.2, 7.5, 9.1];

/// IEC 60063, table of the E96 series, in hundredths (from memory).
const E96: [u16; 96] = [
    100, 102, 105, 107, 110, 113, 115, 118, 121, 124, 127, 130, 133, 137, 140, 143, 147, 150, 154,
    158, 162, 165, 169, 174, 178, 182, 187, 191, 196, 200, 205, 210, 215, 221, 226, 232, 237, 243,
    249, 255, 261, 267, 274, 280, 287, 294, 301, 309, 316, 324, 332, 340, 348, 357, 365, 374, 383,
    392, 402, 412, 422, 432, 442, 453, 464, 475, 487, 499, 511, 523, 536, 549, 562, 576, 590, 604,
    619, 634, 649, 665, 681, 698, 715, 732, 750, 768, 787, 806, 825, 845, 866, 887, 909, 931, 953,
    976,
];

#[test]
fn the_coarse_series_are_the_published_ones() {
    assert_eq!(Series::E3.values(), [1.0, 2.2, 4.7]);
    assert_eq!(Series::E6.values(), [1.0, 1.5, 2.2, 3.3, 4.7, 6.8]);
    assert_eq!(Series::E12.values(), E12);
    let mut all: Vec<f64> = E12.into_iter().chain(ALSO_IN_E24).collect();
    all.sort_by(f64::total_cmp);
    assert_eq!(Series::E24.values(), all);
}

#[test]
fn eight_values_of_the_e24_series_are_not_the_rounded_powers() {
    let odd: Vec<f64> = Series::E24
        .values()
        .into_iter()
        .enumerate()
        .filter(|(i, v)| (10f64.powf(*i as f64 / 24.0) * 10.0).round() / 10.0 != *v)
        .map(|(_, v)| v)
        .collect();
    assert_eq!(odd, [2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 8.2]);
}

#[test]
fn the_fine_series_are_the_published_ones() {
    let hundredths = |s: Series| {
        s.values()
            .iter()
            .map(|v| (v * 100.0).round() as u16)
            .collect::<Vec<_>>()
    };
    assert_eq!(hundredths(Series::E96), E96);
    let every_second: Vec<u16> = E96.into_iter().step_by(2).collect();
    assert_eq!(hundredths(Series::E48), every_second);
}

#[test]
fn a_value_is_of_the_series_in_any_decade() {
    for value in [4.7e-12, 0.47, 4700.0, 4.7e6, 8.2e9] {
        assert!(Series::E24.contains(value), "{value}");
    }
    for value in [4800.0, 499.0, 0.0, -4.7, f64::NAN, f64::INFINITY] {
        assert!(!Series::E24.contains(value), "{value}");
    }
    assert!(Series::E96.contains(499.0));
    assert_eq!(Series::E24.nearest(4800.0), Some(4700.0));
    assert_eq!(Series::E24.nearest(9.8), Some(10.0));
    assert_eq!(Series::E24.nearest(0.97), Some(1.0));
    assert_eq!(Series::E24.nearest(0.0), None);
}

#[test]
fn colour_bands_are_read() {
    // IEC 60062: digits, multipliers and tolerances by colour.
    let cases: [(&[Colour], f64, f64, Option<f64>); 8] = [
        (&[Yellow, Violet, Red, Gold], 4700.0, 0.05, None),
        (&[Yellow, Violet, Red], 4700.0, 0.2, None),
        (&[Brown, Black, Orange, Silver], 10_000.0, 0.1, None),
        (&[Red, Red, Gold, Gold], 2.2, 0.05, None),
        (&[Blue, Grey, Silver, Red], 0.68, 0.02, None),
        (&[Brown, Black, Black, Red, Brown], 10_000.0, 0.01, None),
        (
            &[Yellow, White, White, Black, Brown, Red],
            499.0,
            0.01,
            Some(50.0),
        ),
        (
            &[White, Brown, Black, Blue, Violet, Brown],
            910e6,
            0.001,
            Some(100.0),
        ),
    ];
    for (colours, ohms, tolerance, ppm) in cases {
        let read = read_bands(colours).unwrap_or_else(|why| panic!("{colours:?}: {why}"));
        assert_eq!(
            (read.ohms, read.tolerance, read.ppm_per_kelvin),
            (Ohms(ohms), tolerance, ppm),
            "{colours:?}"
        );
    }
}

#[test]
fn bands_that_mean_nothing_are_refused() {
    assert_eq!(read_bands(&[Red, Red]), Err(BandsUnreadable::Count(2)));
    assert_eq!(
        read_bands(&[Gold, Violet, Yellow, Red]),
        Err(BandsUnreadable::Meaningless {
            colour: Gold,
            band: 1
        })
    );
    assert_eq!(
        read_bands(&[Red, Violet, Yellow, White]).map_err(|why| why.to_string()),
        Err("White means nothing as band 4; the bands may be read from the wrong end.".to_owned())
    );
}

#[test]
fn every_preferred_value_has_bands_that_say_it() {
    for (series, tolerance) in [(Series::E12, 0.1), (Series::E24, 0.05), (Series::E96, 0.01)] {
        for decade in -1..7 {
            for value in series.values() {
                let ohms: f64 = format!("{value}e{decade}").parse().expect("a number");
                let colours =
                    bands(Ohms(ohms), tolerance).unwrap_or_else(|| panic!("{ohms} has no bands"));
                let read = read_bands(&colours).unwrap_or_else(|why| panic!("{ohms}: {why}"));
                assert!(
                    (read.ohms.0 / ohms - 1.0).abs() < 1e-12,
                    "{ohms}: {colours:?}"
                );
                assert_eq!(read.tolerance, tolerance);
            }
        }
    }
    assert_eq!(bands(Ohms(4700.0), 0.2), Some(vec![Yellow, Violet, Red]));
    assert_eq!(bands(Ohms(4712.0), 0.05), None);
    assert_eq!(bands(Ohms(4700.0), 0.03), None);
}
