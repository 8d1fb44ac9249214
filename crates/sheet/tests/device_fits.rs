//! Figures learned from measured devices are recomputed here from the measurements.
//!
//! The measurements are of public course laboratories and hobby pages, named in the case files beside them; they are
//! not part of this project, and these checks say so and stop where they are absent.

use std::path::PathBuf;

use sheet::device::{Devices, DiodeModel, TransistorModel};
use sheet::{DeviceType, Spread};

/// Thermal voltage at 300 K, as the sheet format fixes it.
const VT: f64 = 0.025852;

/// Rows of a file of measurements, or none, loudly.
fn rows(file: &str) -> Option<Vec<Vec<String>>> {
    let root = std::env::var_os("KNOWNGOOD_DATA").map_or_else(
        || PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data"),
        PathBuf::from,
    );
    let path = root.join("real/curves").join(file);
    let Ok(mut reader) = csv::Reader::from_path(&path) else {
        eprintln!(
            "NOT CHECKED: measurements are absent at {}; set KNOWNGOOD_DATA to their folder",
            path.display()
        );
        return None;
    };
    Some(
        reader
            .records()
            .map(|r| r.expect("a row").iter().map(str::to_owned).collect())
            .collect(),
    )
}

fn number(text: &str) -> f64 {
    text.parse().expect("a number")
}

/// (volts, amps) of one curve, amps above zero.
fn curve(rows: &[Vec<String>], name: &str) -> Vec<(f64, f64)> {
    let points = rows
        .iter()
        .filter(|r| r[0] == name)
        .map(|r| (number(&r[1]), number(&r[2])));
    points.filter(|(_, i)| *i > 0.0).collect()
}

fn names(rows: &[Vec<String>]) -> Vec<String> {
    let mut names: Vec<String> = rows.iter().map(|r| r[0].clone()).collect();
    names.dedup();
    names
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    (values[n / 2] + values[(n - 1) / 2]) / 2.0
}

/// Mean and standard deviation (n - 1).
fn moments(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let square = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
    (mean, (square / (n - 1.0)).sqrt())
}

/// Geometric mean and factor of one standard deviation.
fn geometric(values: &[f64]) -> (f64, f64) {
    let (mean, sd) = moments(&values.iter().map(|v| v.ln()).collect::<Vec<_>>());
    (mean.exp(), sd.exp())
}

fn batch(rows: &[Vec<String>], name: &str, quantity: &str) -> Vec<f64> {
    let values = rows
        .iter()
        .filter(|r| r[0] == name && r[1] == quantity)
        .map(|r| number(&r[3]));
    values.collect()
}

fn kind(name: &str) -> DeviceType {
    DeviceType {
        name: name.to_owned(),
        ..DeviceType::default()
    }
}

fn transistor(name: &str) -> TransistorModel {
    Devices::shipped()
        .transistor(&kind(name), &Spread::default())
        .expect(name)
}

fn diode(name: &str) -> DiodeModel {
    Devices::shipped()
        .diode(&kind(name), &Spread::default())
        .expect(name)
}

/// Voltage of the junction law at a current.
fn volts(d: &DiodeModel, amps: f64) -> f64 {
    d.n * VT * (amps / d.is.0 + 1.0).ln() + amps * d.rs.0
}

#[track_caller]
fn close(what: &str, book: f64, measured: f64, fraction: f64) {
    let off = (book / measured - 1.0).abs();
    assert!(
        off <= fraction,
        "{what}: the device file has {book}, the measurements give {measured:.4e}"
    );
}

#[test]
fn saturation_current_of_2n3904_is_that_of_nine_measured_curves() {
    let (Some(joined), Some(active)) = (rows("diode-connected-2n3904.csv"), rows("bjt2n3904.csv"))
    else {
        return;
    };
    let mut each = Vec::new();
    for rows in [&joined, &active] {
        for lab in names(rows) {
            // Between 0.1 uA and 1 mA leakage and series resistance are both below a millivolt.
            let inner = curve(rows, &lab)
                .into_iter()
                .filter(|(_, i)| (1e-7..=1e-3).contains(i));
            each.push(
                median(
                    inner
                        .map(|(v, i)| (i / ((v / VT).exp() - 1.0)).ln())
                        .collect(),
                )
                .exp(),
            );
        }
    }
    assert_eq!(each.len(), 9);
    let (is, lot) = geometric(&each);
    let book = transistor("2N3904");
    close("is of 2N3904", book.is.0, is, 0.01);
    close("is-lot of 2N3904", book.spread.is_lot, lot, 0.01);
}

#[test]
fn gain_of_2n3904_is_that_of_four_laboratories_and_a_lot() {
    let (Some(active), Some(batches)) = (rows("bjt2n3904.csv"), rows("batches.csv")) else {
        return;
    };
    let gain = |lab: &String| {
        let points = active
            .iter()
            .filter(|r| r[0] == *lab)
            .map(|r| (number(&r[2]), number(&r[3])));
        median(
            points
                .filter(|(ic, ib)| (1e-5..=1e-2).contains(ic) && *ib > 0.0)
                .map(|(ic, ib)| ic / ib)
                .collect(),
        )
    };
    let mut gains: Vec<f64> = names(&active).iter().map(gain).collect();
    let (lot, own) = geometric(&batch(&batches, "2N3904 lot", "hfe"));
    gains.push(lot);
    let (bf, between) = geometric(&gains);
    let book = transistor("2N3904");
    close("bf of 2N3904", book.bf, bf, 0.01);
    close("bf-lot of 2N3904", book.spread.bf_lot, between, 0.01);
    close("bf-own of 2N3904", book.spread.bf_own, own, 0.01);
}

#[test]
fn figures_of_2n3906_are_those_of_eight_of_one_lot() {
    let Some(batches) = rows("batches.csv") else {
        return;
    };
    let (mean, sd) = moments(&batch(&batches, "2N3906 one maker", "veb"));
    let (bf, own) = geometric(&batch(&batches, "2N3906 one maker", "hfe"));
    let book = transistor("2N3906");
    close(
        "is of 2N3906, 0.1 mA assumed",
        book.is.0,
        1e-4 / (mean * 1e-3 / VT).exp(),
        0.03,
    );
    close(
        "is-own of 2N3906",
        book.spread.is_own,
        (sd * 1e-3 / VT).exp(),
        0.01,
    );
    close(
        "is-own of 2N3904",
        transistor("2N3904").spread.is_own,
        (sd * 1e-3 / VT).exp(),
        0.01,
    );
    close("bf of 2N3906", book.bf, bf, 0.01);
    close("bf-own of 2N3906", book.spread.bf_own, own, 0.01);
}

/// Voltage at 1 mA, on a straight line in ln(I) between the two neighbouring points.
fn at_one_milliampere(points: &[(f64, f64)]) -> f64 {
    let after = points
        .iter()
        .position(|(_, i)| *i >= 1e-3)
        .expect("the curve passes 1 mA");
    let ((v0, i0), (v1, i1)) = (points[after - 1], points[after]);
    v0 + (v1 - v0) * (1e-3 / i0).ln() / (i1 / i0).ln()
}

#[test]
fn saturation_current_of_1n4148_is_that_of_the_measured_family() {
    let Some(rows) = rows("diodes.csv") else {
        return;
    };
    let at = |name: &str| at_one_milliampere(&curve(&rows, name));
    let family = [at("si-1n4148-family-1"), at("si-1n4148-3")];
    let (_, sd) = moments(&[family[0], family[1], at("si-2")]);
    let book = diode("1N4148");
    // n and rs: the mean of three simulation models that makers published (1N4148 twice, 1N914B).
    close("n of 1N4148", book.n, (1.94 + 1.906 + 2.0) / 3.0, 0.005);
    close(
        "rs of 1N4148",
        book.rs.0,
        (0.7017 + 0.6458 + 0.8622) / 3.0,
        0.01,
    );
    let inner = (family[0] + family[1]) / 2.0 - 1e-3 * book.rs.0;
    close(
        "is of 1N4148",
        book.is.0,
        1e-3 / (inner / (book.n * VT)).exp_m1(),
        0.02,
    );
    close(
        "is-lot of 1N4148",
        book.spread.is_lot,
        (sd / (book.n * VT)).exp(),
        0.03,
    );
}

/// Least squares in volts over ln(is) for a given n, with the best rs that is not negative: (square, is, rs).
fn best_is(points: &[(f64, f64)], n: f64) -> (f64, f64, f64) {
    let at = |ln_is: f64| {
        let left: Vec<(f64, f64)> = points
            .iter()
            .map(|(v, i)| (v - n * VT * (i / ln_is.exp() + 1.0).ln(), *i))
            .collect();
        let squares = left.iter().map(|(_, i)| i * i).sum::<f64>();
        let rs = (left.iter().map(|(v, i)| v * i).sum::<f64>() / squares).max(0.0);
        (
            left.iter().map(|(v, i)| (v - rs * i).powi(2)).sum::<f64>(),
            ln_is.exp(),
            rs,
        )
    };
    let (mut low, mut high) = (1e-13_f64.ln(), 1e-3_f64.ln());
    for _ in 0..80 {
        let third = (high - low) / 3.0;
        if at(low + third).0 < at(high - third).0 {
            high -= third;
        } else {
            low += third;
        }
    }
    at(low)
}

#[test]
fn gold_bonded_types_are_the_measured_gold_bonded_diode() {
    let Some(rows) = rows("diodes.csv") else {
        return;
    };
    let points = curve(&rows, "ge-gold-bonded-1");
    let fits = (100..300).map(|n| (f64::from(n) / 100.0, best_is(&points, f64::from(n) / 100.0)));
    let (n, (_, is, rs)) = fits.min_by(|a, b| a.1.0.total_cmp(&b.1.0)).expect("a fit");
    let book = diode("1N270");
    close("n of 1N270", book.n, n, 0.01);
    close("is of 1N270", book.is.0, is, 0.02);
    close("rs of 1N270", book.rs.0, rs, 0.05);
}

/// Mean and root mean square of measured minus law, volts.
fn residue(d: &DiodeModel, points: &[(f64, f64)]) -> (f64, f64) {
    let off: Vec<f64> = points.iter().map(|(v, i)| v - volts(d, *i)).collect();
    let n = off.len() as f64;
    (
        off.iter().sum::<f64>() / n,
        (off.iter().map(|v| v * v).sum::<f64>() / n).sqrt(),
    )
}

#[test]
fn class_words_pass_between_the_measured_diodes() {
    let Some(rows) = rows("diodes.csv") else {
        return;
    };
    let check = |class: &str, devices: &[&str], most: f64| {
        for name in devices {
            let (_, rms) = residue(&diode(class), &curve(&rows, name));
            assert!(rms < most, "{class} is {rms:.4} V from {name}");
        }
    };
    check("germanium-signal", &["ge-gold-bonded-1", "ge-2"], 0.025);
    check(
        "silicon-signal",
        &["si-1n4148-family-1", "si-1n4148-3", "si-2"],
        0.050,
    );
    let between = |class: &str, a: &str, b: &str| {
        let side = |name: &str| residue(&diode(class), &curve(&rows, name)).0;
        assert!(
            side(a) * side(b) < 0.0,
            "{class} passes on one side of {a} and {b}"
        );
    };
    between("silicon-signal", "si-1n4148-family-1", "si-1n4148-3");
    // The two lowest points of the rectifier are at the resolution of the meter (said with the measurements).
    let rectifier: Vec<_> = curve(&rows, "si-rectifier-4")
        .into_iter()
        .filter(|(_, i)| *i > 1e-6)
        .collect();
    let (_, rms) = residue(&diode("silicon-rectifier"), &rectifier);
    assert!(
        rms < 0.015,
        "silicon-rectifier is {rms:.4} V from the measured rectifier"
    );
}

#[test]
fn point_contact_class_drops_what_six_measured_ones_do() {
    let Some(batches) = rows("batches.csv") else {
        return;
    };
    let measured = batch(&batches, "germanium point-contact D9B", "vf-diode-test");
    assert_eq!(measured.len(), 6);
    let (mean, _) = moments(&measured);
    // 1 mA is what a bench meter's diode test sends (common practice).
    let drop = volts(&diode("germanium-point-contact"), 1e-3);
    assert!(
        (drop - mean * 1e-3).abs() < 0.005,
        "the class drops {drop:.4} V, the six {:.4} V",
        mean * 1e-3
    );
}
