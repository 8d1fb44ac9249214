//! What rulings do to probabilities, against Bayes' rule worked by hand.

use super::*;
use crate::case::{self, Options};
use crate::loading::Text;
use crate::meters::MeterChoice;
use crate::suspects::Opinion;

/// A divider of which unit 1 reads as with R2 open: 16k8 at MID, 6k8 at OUT; unit 2 as healthy: 1k945 and 4k366.
const SHEET: &str = r#"sheet A2 {
    net "0V" role=ground
    net "+12V" role=rail volts=12
    resistor R1 "4k7" "+12V" MID tolerance="5%"
    resistor R2 "2k2" MID "0V" tolerance="5%"
    resistor R3 "10k" MID OUT tolerance="5%"
    resistor R4 "6k8" OUT "0V" tolerance="5%"
}
"#;
const READINGS: &str = "unit,state,kind,red,black,value\n\
    1,cold,ohms,MID,0V,16k8\n1,cold,ohms,OUT,0V,6k75\n2,cold,ohms,MID,0V,1k95\n2,cold,ohms,OUT,0V,4k35\n";

fn case() -> Case {
    let sheet = Text {
        file: "a2.kdl".to_owned(),
        text: SHEET.to_owned(),
    };
    let options = Options {
        readings: Text {
            file: "a2.csv".to_owned(),
            text: READINGS.to_owned(),
        },
        machine: None,
        meter: MeterChoice::default(),
        unit: None,
        priors: Opinion::Published,
        lenient: false,
    };
    let kept = crate::Kept::default();
    let mut case = case::open(&sheet, &options, &|_, _| Vec::new(), &kept, &|| false)
        .unwrap_or_else(|e| panic!("{:?}", e.complaints()));
    case.focus(&kept, &|_, _| {}, &|| false).expect("focused");
    case
}

fn ruled(unit: &str, suspect: &str, out: bool) -> Ruled {
    Ruled {
        entry: "e".to_owned(),
        unit: unit.to_owned(),
        suspect: suspect.to_owned(),
        out,
        reason: "lifted and measured".to_owned(),
    }
}

fn of(case: &Case, ranking: &Ranking, unit: usize, name: &str) -> f64 {
    let changes = case.units[unit].predictor.changes();
    let named = |c: usize| format!("{} {}", changes[c].part, changes[c].name) == name;
    let all = &ranking.units[unit].suspects;
    all.iter()
        .find(|s| named(s.change))
        .unwrap_or_else(|| panic!("{name} is no suspect"))
        .probability
}

/// All shares of a unit.
fn sum(ranking: &Ranking, unit: usize) -> f64 {
    let r = &ranking.units[unit];
    let singles: f64 = r.suspects.iter().map(|s| s.probability).sum();
    singles + r.healthy + r.multiple + r.reading_error + r.sheet
}

fn leading(case: &Case, ranking: &Ranking, unit: usize) -> String {
    let first = &ranking.units[unit].suspects[0];
    let change = &case.units[unit].predictor.changes()[first.change];
    format!("{} {}", change.part, change.name)
}

fn is_near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-6 * a.abs().max(b.abs())
}

#[test]
fn what_was_not_ruled_on_keeps_its_odds() {
    let case = case();
    let before = rank(&case, &[]);
    let out = leading(&case, &before, 0);
    let p = of(&case, &before, 0, &out);
    assert!(p > 0.3, "{out} leads with {p}");
    let after = rank(&case, &[ruled("1", &out, true)]);
    assert_eq!(of(&case, &after, 0, &out), 0.0);
    let changes = case.units[0].predictor.changes();
    let is_ruled = |c: usize| format!("{} {}", changes[c].part, changes[c].name) == out;
    let pairs = &after.units[0].pairs;
    assert!(
        pairs
            .iter()
            .all(|(a, b, p)| *p == 0.0 || !is_ruled(*a) && !is_ruled(*b)),
        "{pairs:?}"
    );
    // The odds of any two hypotheses without the ruled one are as before (Bayes): other suspects, a wrong reading, nothing
    // wrong at all, and the drawing, in which case nothing is wrong with either unit.
    let other = {
        let second = before.units[0]
            .suspects
            .iter()
            .find(|s| !is_ruled(s.change));
        let c = &changes[second.expect("another").change];
        format!("{} {}", c.part, c.name)
    };
    let compared = |r: &Ranking| {
        let u = &r.units[0];
        let other = of(&case, r, 0, &other);
        [
            u.healthy / other,
            u.reading_error / other,
            r.doubts[0].probability / other,
            u.sheet / other,
        ]
    };
    let (then, now) = (compared(&before), compared(&after));
    for (then, now) in then.iter().zip(now) {
        assert!(is_near(*then, now), "{other}: {then} before, {now} after");
    }
    assert!(of(&case, &after, 0, &other) > of(&case, &before, 0, &other));
    // Doubts about the drawing are shared, so the other unit's share of them grows alike, and its own odds stay.
    assert!(after.units[1].sheet > before.units[1].sheet);
    assert!(is_near(after.units[0].sheet, after.units[1].sheet));
    let healthy = |r: &Ranking| r.units[1].healthy / of(&case, r, 1, &out);
    assert!(is_near(healthy(&before), healthy(&after)));
    for unit in 0..2 {
        assert!((sum(&after, unit) - 1.0).abs() < 1e-9);
    }
}

#[test]
fn what_was_ruled_in_is_certain_alone_or_with_another() {
    let case = case();
    let before = rank(&case, &[]);
    assert!(of(&case, &before, 1, "R3 open") < 0.01);
    let after = rank(&case, &[ruled("2", "R3 open", false)]);
    let unit = &after.units[1];
    let with = of(&case, &after, 1, "R3 open") + unit.multiple;
    assert!((with - 1.0).abs() < 1e-9, "{with}");
    assert_eq!(leading(&case, &after, 1), "R3 open");
    assert!(unit.healthy < 1e-12 && unit.reading_error < 1e-12 && unit.sheet < 1e-12);
    // It is none of unit 1's business, but that the drawing is right.
    let odds = |r: &Ranking| r.units[0].healthy / of(&case, r, 0, "R2 open");
    assert!(is_near(odds(&before), odds(&after)));
    // Two of them are more than one fault.
    let both = [ruled("2", "R3 open", false), ruled("2", "R1 open", false)];
    let after = rank(&case, &both);
    assert!((after.units[1].multiple - 1.0).abs() < 1e-9);
    for unit in 0..2 {
        assert!((sum(&after, unit) - 1.0).abs() < 1e-9);
    }
}
