//! Suspects on the demo: what was planted in it leads, and what agrees is healthy.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use bench::suspects::{Opinion, Options, UnitView, View, suspects};
use bench::{MeterChoice, Text};

const MACHINE: &str = include_str!("../demo/machine.kdl");

fn demo(board: &str, readings: Option<&str>, priors: Opinion) -> View {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/demo");
    let read = |file: String| Text {
        text: std::fs::read_to_string(&file).expect("the demo is part of the crate"),
        file,
    };
    let sheet = read(format!("{folder}/sheets/{board}.kdl"));
    let options = Options {
        readings: match readings {
            Some(text) => Text {
                file: "readings.csv".to_owned(),
                text: text.to_owned(),
            },
            None => read(format!("{folder}/readings/{board}.csv")),
        },
        machine: Some(Text {
            file: "machine.kdl".to_owned(),
            text: MACHINE.to_owned(),
        }),
        meter: MeterChoice::default(),
        unit: None,
        priors,
        lenient: false,
    };
    suspects(
        &sheet,
        &options,
        &bench::Kept::default(),
        &|_, _| {},
        &|| false,
    )
    .expect("the demo is well formed")
}

fn sums_to_one(unit: &UnitView) {
    let suspects: f64 = unit.suspects.iter().map(|s| s.probability).sum();
    let all = unit.healthy + unit.multiple + unit.reading_error + unit.sheet + suspects;
    assert!((all - 1.0).abs() < 1e-9, "{all}");
    let groups: f64 = unit.groups.iter().map(|g| g.probability).sum();
    assert!((groups - suspects).abs() < 1e-9);
    let members: usize = unit.groups.iter().map(|g| g.members.len()).sum();
    assert_eq!(members, unit.suspects.len());
}

/// The group that leads in a unit, and the doubt that leads, must be what was planted.
fn check(view: &View, unit: usize, planted: &str) {
    view.units.iter().for_each(sums_to_one);
    let group = &view.units[unit].groups[0];
    let found = group
        .members
        .iter()
        .any(|m| m == planted || m.starts_with(&format!("{planted}=")));
    assert!(found, "{planted} is not in {:?}", group);
}

#[test]
fn a_capacitor_that_leaks_in_both_units_leads_in_both() {
    let view = demo("a1", None, Opinion::Published);
    check(&view, 0, "C6 leaky");
    check(&view, 1, "C6 leaky");
    let c6 = &view.units[0].suspects[0];
    assert_eq!((c6.part.as_str(), c6.fault.as_str()), ("C6", "leaky"));
    let ohms = c6.value.expect("a leak has ohms");
    assert!(
        (ohms / 330.0).ln().abs() < 0.1,
        "330 was planted, {ohms} fitted"
    );
    let strongest = &c6.reasons[0];
    assert_eq!(strongest.speaks, "for");
    assert!(
        strongest.red == "+6V" || strongest.black == "+6V",
        "{strongest:?}"
    );
}

#[test]
fn a_short_in_one_unit_leads_and_the_other_is_healthy() {
    let view = demo("a3", None, Opinion::Published);
    check(&view, 0, "Q4 bc-short");
    assert!(view.units[1].healthy > 0.8);
}

#[test]
fn an_open_plate_load_leads() {
    let view = demo("a4", None, Opinion::Published);
    check(&view, 1, "R16 open");
    assert!(view.units[1].groups[0].probability > 0.6);
    assert!(view.units[0].healthy > 0.8);
}

#[test]
fn an_earlier_owners_alteration_is_no_fault() {
    let view = demo("a2", None, Opinion::Published);
    for unit in &view.units {
        sums_to_one(unit);
        assert!(unit.healthy > 0.6, "{}", unit.healthy);
    }
}

#[test]
fn a_late_change_that_both_units_have_is_the_drawings_fault() {
    let view = demo("a5", None, Opinion::Published);
    let doubt = &view.sheet_doubts[0];
    assert_eq!((doubt.part.as_str(), doubt.doubt.as_str()), ("R6", "value"));
    assert!(doubt.probability > 0.8, "{doubt:?}");
    let factor = doubt.value.expect("a value has a factor");
    assert!((factor / (15.0 / 4.7)).ln().abs() < 0.1, "{factor}");
    assert!(
        view.units
            .iter()
            .all(|u| (u.sheet - view.units[0].sheet).abs() < 1e-12)
    );
}

#[test]
fn flat_opinion_is_what_the_formats_say() {
    // No reading at all: healthy 0.1, more than one fault 0.1, and each part's modes alike.
    let header = "unit,state,kind,red,black,value\n1,cold,ohms,AC3,AC4,OL\n";
    let view = demo("a1", Some(header), Opinion::Flat);
    let unit = &view.units[0];
    sums_to_one(unit);
    assert!((unit.healthy + unit.reading_error - 0.1).abs() < 0.01);
    assert!((unit.multiple - 0.1).abs() < 0.01);
    assert_eq!(unit.sheet, 0.0);
    let of = |part: &str| -> f64 {
        let list = unit.suspects.iter().filter(|s| s.part == part);
        list.map(|s| s.probability).sum()
    };
    assert!((of("R4") - of("Q1")).abs() < 0.1 * of("R4"));
    assert!(
        unit.suspects
            .iter()
            .all(|s| s.part != "F1" && s.part != "bridge")
    );
}

/// Readings that come one by one must end where all at once end: what is kept between them changes the cost only.
#[test]
fn long_work_says_how_far_it_is_and_stops_when_asked() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/demo");
    let read = |file: String| Text {
        text: std::fs::read_to_string(&file).expect("the demo is part of the crate"),
        file,
    };
    let sheet = read(format!("{folder}/sheets/a3.kdl"));
    let options = Options {
        readings: read(format!("{folder}/readings/a3.csv")),
        machine: None,
        meter: MeterChoice::default(),
        unit: None,
        priors: Opinion::Published,
        lenient: false,
    };
    let seen = Mutex::new(Vec::new());
    let progress = |done: usize, all: usize| seen.lock().expect("whole").push((done, all));
    let kept = bench::Kept::default();
    suspects(&sheet, &options, &kept, &progress, &|| false).expect("the demo is well formed");
    let mut seen = seen.into_inner().expect("whole");
    let (last, all) = *seen.last().expect("something was said");
    assert_eq!(last, all);
    // Two cores may say their steps in another order, but each is said once.
    assert!(
        seen.len() > 10 && seen.len() <= all,
        "{} of {all}",
        seen.len()
    );
    seen.sort_unstable();
    seen.dedup_by_key(|s| s.0);
    assert!(seen.iter().all(|s| s.0 >= 1 && s.1 == all));
    assert!(seen.len() > 10);

    let asked = AtomicUsize::new(0);
    let stop = || asked.fetch_add(1, Ordering::Relaxed) > 20;
    let kept = bench::Kept::default();
    let stopped = suspects(&sheet, &options, &kept, &|_, _| {}, &stop);
    let refused = stopped.expect_err("it was stopped");
    assert!(refused.complaints()[0].message.contains("Stopped"));
}

#[test]
fn readings_one_by_one_end_where_all_at_once_end() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/demo");
    let read = |file: String| std::fs::read_to_string(file).expect("the demo is part of the crate");
    for board in ["a1", "a3", "a4", "a5"] {
        let csv = read(format!("{folder}/readings/{board}.csv"));
        let lines: Vec<&str> = csv.lines().collect();
        let sheet = Text {
            file: format!("{board}.kdl"),
            text: read(format!("{folder}/sheets/{board}.kdl")),
        };
        let ask = |count: usize, kept: &bench::Kept| {
            let options = Options {
                readings: Text {
                    file: "readings.csv".to_owned(),
                    text: lines[..count].join("\n"),
                },
                machine: Some(Text {
                    file: "machine.kdl".to_owned(),
                    text: MACHINE.to_owned(),
                }),
                meter: MeterChoice::default(),
                unit: None,
                priors: Opinion::Published,
                lenient: false,
            };
            suspects(&sheet, &options, kept, &|_, _| {}, &|| false).expect("well formed")
        };
        let kept = bench::Kept::default();
        let mut view = ask(lines.len() - 5, &kept);
        for count in lines.len() - 4..=lines.len() {
            view = ask(count, &kept);
        }
        let anew = ask(lines.len(), &bench::Kept::default());
        for (one, all) in view.units.iter().zip(&anew.units) {
            sums_to_one(one);
            let told = || format!("{board}, unit {}", one.unit);
            assert!((one.healthy - all.healthy).abs() < 0.05, "{}", told());
            assert!((one.sheet - all.sheet).abs() < 0.05, "{}", told());
            let lead = |u: &UnitView| u.suspects.first().map(|s| (s.part.clone(), s.probability));
            let (Some(a), Some(b)) = (lead(one), lead(all)) else {
                panic!("no suspects: {}", told());
            };
            assert!((a.1 - b.1).abs() < 0.05, "{}: {a:?} {b:?}", told());
            assert!(a.0 == b.0 || b.1 < 0.05, "{}: {a:?} {b:?}", told());
        }
    }
}
