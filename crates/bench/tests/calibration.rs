//! What the probabilities are worth: suspects of units whose faults were drawn at random, never on the program's own grid.
//!
//! The full size runs with KNOWNGOOD_FULL=1, any other with KNOWNGOOD_UNITS=number; by default a few units show that nothing
//! is badly off.

use bench::Text;
use bench::suspects::Opinion;
use bench::trial::{Result, SHOWS, Trial, Truth, run};

fn full() -> bool {
    std::env::var_os("KNOWNGOOD_FULL").is_some()
}

fn sheet(board: &str) -> Text {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/demo/sheets");
    let file = format!("{folder}/{board}.kdl");
    Text {
        text: std::fs::read_to_string(&file).expect("the demo is part of the crate"),
        file,
    }
}

/// Ohms of every named point against ground, both ways.
fn places(text: &Text) -> Text {
    let (sheet, _) = sheet::parse(&text.text, &text.file);
    let mut csv = "unit,state,kind,red,black,value\n".to_owned();
    for point in sheet
        .points
        .iter()
        .filter(|p| Some(p.net) != sheet.ground())
    {
        csv += &format!("1,cold,ohms,{},0V,1k\n", point.name);
        csv += &format!("1,cold,ohms,0V,{},1k\n", point.name);
    }
    Text {
        file: "places.csv".to_owned(),
        text: csv,
    }
}

fn trial(board: &str, units: u64, change: impl Fn(&mut Trial)) -> Vec<Result> {
    let text = sheet(board);
    let mut trial = Trial {
        places: places(&text),
        units,
        seed: 20,
        width: 1.0,
        healthy_only: false,
        priors: Opinion::Flat,
        classes: 0,
    };
    change(&mut trial);
    run(&text, &trial, &|| false).expect("the demo is well formed")
}

const BOARDS: [&str; 3] = ["a3", "a4", "a5"];

fn trials(small: u64, large: u64, change: impl Fn(&mut Trial) + Copy) -> Vec<Result> {
    let asked = std::env::var("KNOWNGOOD_UNITS")
        .ok()
        .and_then(|n| n.parse().ok());
    let each = asked.unwrap_or(if full() { large } else { small }) / BOARDS.len() as u64;
    BOARDS.iter().flat_map(|b| trial(b, each, change)).collect()
}

/// Expected calibration error over equal-count bins of (probability, whether it was so).
fn calibration_error(mut list: Vec<(f64, bool)>, bins: usize) -> f64 {
    list.sort_by(|a, b| a.0.total_cmp(&b.0));
    let all = list.len();
    (0..bins)
        .map(|k| &list[k * all / bins..(k + 1) * all / bins])
        .filter(|bin| !bin.is_empty())
        .map(|bin| {
            let said: f64 = bin.iter().map(|p| p.0).sum::<f64>();
            let so = bin.iter().filter(|p| p.1).count() as f64;
            (said - so).abs() / all as f64
        })
        .sum()
}

/// Error of what is said of the leading group: ten bins at the full size, and at the reduced one as
/// many as hold twenty units each, which scatter by about 0.05 by themselves.
fn said_of_leading(list: &[Result]) -> f64 {
    let bins = (list.len() / 20).clamp(3, 10);
    calibration_error(list.iter().map(|r| r.leading).collect(), bins)
}

#[test]
fn the_error_of_calibration_is_what_its_definition_says() {
    // By hand: in the lower bin 0.1 is said and 1 of 2 is so; in the upper 0.9 is said and 2 of 2.
    let list = vec![(0.1, true), (0.1, false), (0.9, true), (0.9, true)];
    assert!((calibration_error(list, 2) - (0.8 + 0.2) / 4.0).abs() < 1e-12);
}

#[test]
fn a_fault_that_shows_leads() {
    let list = trials(90, 600, |t| t.classes = 8);
    let eligible: Vec<&Result> = list
        .iter()
        .filter(|r| matches!(r.truth, Truth::Fault(..)) && r.visible >= SHOWS)
        .collect();
    let found = eligible.iter().filter(|r| r.leading.1).count();
    let mean = |list: &[f64]| list.iter().sum::<f64>() / list.len() as f64;
    // Where nothing stands out the leading group is all that no reading sees; that is a miss, above.
    let counted: Vec<(f64, f64)> = eligible
        .iter()
        .filter(|r| r.leading.1)
        .filter_map(|r| Some((r.members as f64, r.class? as f64)))
        .collect();
    let (members, class): (Vec<f64>, Vec<f64>) = counted.into_iter().unzip();
    println!(
        "isolation: {found} of {} eligible; of {} leading groups that hold the truth the mean size is {:.1}, that of the exact classes {:.1}",
        eligible.len(),
        class.len(),
        mean(&members),
        mean(&class)
    );
    for r in eligible.iter().filter(|r| !r.leading.1).take(20) {
        println!("missed {r:?}");
    }
    // Nine in ten is the aim, and met at the full size; of a few dozen one or two more may be missed.
    let least = if full() { 90 } else { 80 };
    assert!(eligible.len() * 3 > list.len());
    assert!(
        found * 100 >= eligible.len() * least,
        "{found} of {}",
        eligible.len()
    );
    assert!(
        mean(&members) <= 1.5 * mean(&class),
        "{members:?} {class:?}"
    );
}

#[test]
fn what_is_said_with_so_many_in_a_hundred_is_so_as_often() {
    let list = trials(90, 2000, |_| {});
    let error = said_of_leading(&list);
    println!("calibration error {error:.3} over {} units", list.len());
    // The aim is 0.05 at the full size.
    assert!(error <= if full() { 0.05 } else { 0.13 }, "{error}");
}

#[test]
fn wider_spreads_than_the_sheet_says_do_not_make_it_overconfident() {
    let list = trials(90, 2000, |t| t.width = 1.5);
    let error = said_of_leading(&list);
    println!("calibration error {error:.3} with spreads half as wide again");
    // The aim is 0.10 at the full size.
    assert!(error <= if full() { 0.10 } else { 0.19 }, "{error}");
}

#[test]
fn healthy_units_are_not_convicted() {
    let list = trials(60, 1500, |t| {
        t.healthy_only = true;
        t.priors = Opinion::Published;
    });
    let convicted = list.iter().filter(|r| r.convicted > 0.5).count();
    println!("healthy units convicted: {convicted} of {}", list.len());
    assert!(
        convicted * 50 < list.len() + 50,
        "{convicted} of {}",
        list.len()
    );
}
