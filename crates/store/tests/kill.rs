//! The process is killed while readings are entered: every acknowledged one is there afterwards, and the chain is whole.
//!
//! This test starts its own executable again as the process that is killed.

mod generate;

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use generate::{folder, reading};
use record::{Attachment, Ledger};
use store::{Store, verify};

const PLACE: &str = "KNOWNGOOD_KILL_PLACE";

/// Enters readings for ever and says the number of each that was acknowledged; with every fifth a picture.
fn enter(place: &Path) -> ! {
    let store = Store::open(place).expect("opened");
    let first = store.last().expect("read") as usize + 1;
    for number in first.. {
        if number % 5 == 0 {
            let bytes = vec![(number % 251) as u8; 20_000];
            let media = "image/jpeg".to_owned();
            store
                .attach(&Attachment { media, bytes })
                .expect("attached");
        }
        let entry = store.append(&reading(number, "child")).expect("appended");
        let mut out = std::io::stdout().lock();
        writeln!(out, "\nacknowledged {}", entry.number).expect("said");
        out.flush().expect("said");
    }
    unreachable!("numbers do not end")
}

/// Starts a process that enters readings, kills it after a while and returns the last number that it said.
fn killed(place: &Path, after: Duration) -> Option<u64> {
    let mut child = Command::new(std::env::current_exe().expect("this file"))
        .args([
            "--exact",
            "every_acknowledged_reading_outlives_the_process",
            "--nocapture",
        ])
        .env(PLACE, place)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("started");
    let mut out = BufReader::new(child.stdout.take().expect("piped"));
    // The while begins with the first reading, so that a slow start does not make the test an empty one.
    let mut said = Vec::new();
    let mut line = String::new();
    while said.is_empty() && out.read_line(&mut line).expect("read") > 0 {
        said.extend(acknowledged(&line));
        line.clear();
    }
    std::thread::sleep(after);
    // SIGKILL on Unix: nothing in the process can answer it.
    child.kill().expect("killed");
    let rest: Vec<String> = out.lines().map_while(Result::ok).collect();
    child.wait().expect("ended");
    // A line without its end may be cut off in the number; `lines` gives it all the same, so the last may be short, and
    // a short number is a smaller one, which must be there, too.
    said.extend(rest.iter().filter_map(|l| acknowledged(l)));
    said.into_iter().max()
}

/// The number at random of a kill, from 0 to below 1 (SplitMix64: Steele, Lea, Flood, OOPSLA 2014; its seed is the kill's).
fn random(kill: u64) -> f64 {
    let mut z = (kill + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
}

fn acknowledged(line: &str) -> Option<u64> {
    line.trim().strip_prefix("acknowledged ")?.parse().ok()
}

#[test]
fn every_acknowledged_reading_outlives_the_process() {
    if let Some(place) = std::env::var_os(PLACE) {
        enter(&PathBuf::from(place));
    }
    let kills: u64 = if std::env::var_os("KNOWNGOOD_FULL").is_some() {
        300
    } else {
        30
    };
    let place = folder("kill").join("bench.db");
    drop(Store::create(&place).expect("made"));
    let mut most = 0;
    for kill in 0..kills {
        // At random over two orders of magnitude: a different moment of the write each time.
        let after = Duration::from_micros((300.0 * 100f64.powf(random(kill))) as u64);
        let said = killed(&place, after).expect("at least one reading was acknowledged");
        assert!(said > most, "the child went on where the last one ended");
        most = said;
        let report = verify(&place).expect("checked");
        assert_eq!(report.faults, []);
        let entries = Store::open(&place).expect("opened").since(0).expect("read");
        assert!(
            entries.len() as u64 >= said,
            "{said} were acknowledged, {} are there",
            entries.len()
        );
        for (entry, number) in entries.iter().zip(1usize..) {
            assert_eq!(entry.event, reading(number, "child").event);
        }
    }
    println!("{kills} kills, {most} readings");
}
