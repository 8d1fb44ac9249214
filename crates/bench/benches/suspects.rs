//! Suspects and the next reading of a generated board of 300 parts: from nothing, and after one more reading.
//!
//! In processor time and in wall time. The board is looked for in `../shared/data` or in `KNOWNGOOD_DATA`; its unit and its
//! fault are invented.

use std::path::PathBuf;
use std::time::Instant;

use bench::simulated::simulate;
use bench::suspects::{Opinion, Options, suspects};
use bench::{Kept, MeterChoice, State, Text, next, simulated};
use cpu_time::ProcessTime;

/// Readings of the unit, and how many of them come one by one at the end.
const READINGS: usize = 30;
const LATE: usize = 6;

fn main() {
    let sheet = sheet();
    for fault in [None, Some("Q3 bc-short"), Some("C5 leaky=60")] {
        let lines = readings(&sheet, fault);
        let options = |count: usize| Options {
            readings: Text {
                file: "readings.csv".to_owned(),
                text: lines[..=count].join("\n"),
            },
            machine: None,
            meter: MeterChoice::default(),
            unit: Some("1".to_owned()),
            priors: Opinion::Published,
            lenient: false,
        };
        let words = fault.unwrap_or("nothing wrong");
        let none = |_, _| {};
        timed(&format!("{words}: suspects from nothing"), || {
            let found = suspects(&sheet, &options(READINGS), &Kept::default(), &none, &|| {
                false
            });
            assert!(found.is_ok(), "the board can be solved");
        });
        let kept = Kept::default();
        let ask = |count: usize| {
            let found = next::next(&sheet, &options(count), false, &kept, &none, &|| false);
            assert!(found.is_ok(), "the board can be solved");
        };
        timed(&format!("{words}: next reading from nothing"), || {
            ask(READINGS - LATE);
        });
        for count in READINGS - LATE + 1..=READINGS {
            timed(
                &format!("{words}: one more reading, {count} in all"),
                || ask(count),
            );
        }
    }
    println!("largest memory {} MB", peak());
}

fn timed(what: &str, work: impl FnOnce()) {
    let (cpu, wall) = (ProcessTime::now(), Instant::now());
    work();
    println!(
        "{what}: {:.0} ms of processor time, {:.0} ms on the clock",
        1e3 * cpu.elapsed().as_secs_f64(),
        1e3 * wall.elapsed().as_secs_f64()
    );
}

/// Largest resident memory so far in megabytes, as Linux tells it.
fn peak() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmHWM"));
    let kilobytes = line.and_then(|l| l.split_whitespace().nth(1)?.parse::<u64>().ok());
    kilobytes.unwrap_or(0) / 1024
}

fn sheet() -> Text {
    let folder = std::env::var_os("KNOWNGOOD_DATA").map_or_else(
        || PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared/data")),
        PathBuf::from,
    );
    let file = folder.join("boards/board300.kdl");
    let text = std::fs::read_to_string(&file)
        .unwrap_or_else(|e| panic!("{}: {e}; set KNOWNGOOD_DATA", file.display()));
    Text {
        file: "board300.kdl".to_owned(),
        text,
    }
}

/// A heading and the lines of an invented unit: nets spread over the board against ground, every third a diode test.
fn readings(sheet: &Text, fault: Option<&str>) -> Vec<String> {
    let (drawn, _) = sheet::parse(&sheet.text, &sheet.file);
    let ground = drawn.ground().expect("the board has a ground");
    let nets: Vec<&str> = (0..drawn.nets.len() as u32)
        .map(sheet::NetId)
        .filter(|n| *n != ground)
        .map(|n| drawn.net_name(n))
        .collect();
    let mut pairs = vec!["kind,red,black".to_owned()];
    for k in 0..READINGS {
        let net = nets[k * nets.len() / READINGS];
        let kind = if k % 3 == 0 { "diode" } else { "ohms" };
        let ground = drawn.net_name(ground);
        let (red, black) = if k % 2 == 0 {
            (ground, net)
        } else {
            (net, ground)
        };
        pairs.push(format!("{kind},{red},{black}"));
    }
    let options = simulated::Options {
        seed: 5,
        pairs: Text {
            file: "pairs.csv".to_owned(),
            text: pairs.join("\n"),
        },
        state: State::Cold,
        with: fault.map(str::to_owned).into_iter().collect(),
        unit: "1".to_owned(),
        meter: MeterChoice::default(),
        lenient: false,
    };
    let csv = simulate(sheet, &options).expect("the unit can be read");
    csv.lines().map(str::to_owned).collect()
}
