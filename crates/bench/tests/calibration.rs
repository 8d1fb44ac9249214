//! What the probabilities are worth: suspects of units whose faults were drawn at random, never on the program's own grid.
//!
//! The full size runs with KNOWNGOOD_FULL=1; by default a smaller number of units shows that nothing is badly off.

use bench::Text;
use bench::suspects::Opinion;
use bench::trial::{Result, Trial, Truth, run};

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
    };
    change(&mut trial);
    run(&text, &trial, &|| false).expect("the demo is well formed")
}

const BOARDS: [&str; 3] = ["a3", "a4", "a5"];

fn trials(small: u64, large: u64, change: impl Fn(&mut Trial) + Copy) -> Vec<Result> {
    let each = if full() { large } else { small } / BOARDS.len() as u64;
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

fn leading(list: &[Result]) -> Vec<(f64, bool)> {
    list.iter().map(|r| r.leading).collect()
}

#[test]
fn the_error_of_calibration_is_what_its_definition_says() {
    // By hand: in the lower bin 0.1 is said and 1 of 2 is so; in the upper 0.9 is said and 2 of 2.
    let list = vec![(0.1, true), (0.1, false), (0.9, true), (0.9, true)];
    assert!((calibration_error(list, 2) - (0.8 + 0.2) / 4.0).abs() < 1e-12);
}

#[test]
fn a_fault_that_shows_leads() {
    let list = trials(90, 600, |_| {});
    let eligible: Vec<&Result> = list
        .iter()
        .filter(|r| matches!(r.truth, Truth::Fault(..)) && r.visible >= 6.0)
        .collect();
    let found = eligible.iter().filter(|r| r.leading.1).count();
    let members: usize = eligible.iter().map(|r| r.members).sum();
    println!(
        "isolation: {found} of {} eligible, {:.1} members on average",
        eligible.len(),
        members as f64 / eligible.len() as f64
    );
    for r in eligible.iter().filter(|r| !r.leading.1).take(12) {
        println!("missed {r:?}");
    }
    // Nine in ten is the aim. The flip-flop board of the demo rests in two states with the power off,
    // so that its readings have two humps, which a middle and slopes cannot tell; it misses most.
    assert!(eligible.len() * 5 > list.len());
    assert!(
        found * 10 >= eligible.len() * 6,
        "{found} of {}",
        eligible.len()
    );
}

#[test]
fn what_is_said_with_so_many_in_a_hundred_is_so_as_often() {
    let list = trials(150, 2000, |_| {});
    let error = calibration_error(leading(&list), 10);
    println!("calibration error {error:.3} over {} units", list.len());
    // The aim is 0.05 at the full size. Ten bins of fifteen units scatter by about 0.08 by themselves;
    // the rest is the flip-flop board, as above.
    assert!(error <= 0.18, "{error}");
}

#[test]
fn wider_spreads_than_the_sheet_says_do_not_make_it_overconfident() {
    let list = trials(90, 2000, |t| t.width = 1.5);
    let error = calibration_error(leading(&list), 10);
    println!("calibration error {error:.3} with spreads half as wide again");
    // The aim is 0.10 at the full size.
    assert!(error <= 0.25, "{error}");
}

#[test]
fn healthy_units_are_not_convicted() {
    let list = trials(150, 1500, |t| {
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
