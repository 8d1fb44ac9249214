//! The disk fills up: a clear message, and nothing lost.
//!
//! The limit is SQLite's own largest number of pages, which gives the same answer as a full disk (SQLITE_FULL); where
//! this user may mount one, a small file system in memory is filled as well.

mod generate;

use std::path::Path;
use std::process::Command;

use generate::{folder, reading};
use record::{Attachment, Draft, Entry, Ledger, LedgerFault};
use store::{Store, verify};

/// Appends until it fails; what was acknowledged, and the fault.
fn fill(store: &Store) -> (Vec<Entry>, LedgerFault) {
    let mut acknowledged = Vec::new();
    for number in 1..100_000 {
        match store.append(&reading(number, "me")) {
            Ok(entry) => acknowledged.push(entry),
            Err(fault) => return (acknowledged, fault),
        }
    }
    panic!("the disk does not fill up");
}

fn photograph() -> Attachment {
    Attachment {
        media: "image/jpeg".to_owned(),
        bytes: vec![7; 3_000_000],
    }
}

#[track_caller]
fn nothing_lost(place: &Path, acknowledged: &[Entry]) {
    let report = verify(place).expect("checked");
    assert_eq!(report.faults, []);
    let store = Store::open(place).expect("opened");
    assert_eq!(store.since(0).expect("read"), acknowledged);
}

#[test]
fn a_full_disk_is_said_and_nothing_is_lost() {
    let place = folder("full").join("bench.db");
    let store = Store::create(&place).expect("made");
    store.limit(40).expect("limited");
    assert_eq!(store.attach(&photograph()), Err(LedgerFault::Full));
    let (mut acknowledged, fault) = fill(&store);
    assert!(acknowledged.len() > 50, "{}", acknowledged.len());
    assert_eq!(fault, LedgerFault::Full);
    assert_eq!(
        fault.to_string(),
        "The disk is full: the entry was not written, and nothing that was written before is lost."
    );
    assert_eq!(
        fault.help(),
        "Free some room on that disk and enter it again."
    );
    nothing_lost(&place, &acknowledged);
    // With room again the same draft goes in, by the same store.
    store.limit(10_000).expect("limited");
    let refused: Draft = reading(acknowledged.len() + 1, "me");
    acknowledged.push(store.append(&refused).expect("appended"));
    store.attach(&photograph()).expect("attached");
    drop(store);
    nothing_lost(&place, &acknowledged);
}

#[test]
fn a_full_file_system_is_said_and_nothing_is_lost() {
    let mount = folder("tmpfs");
    let done = Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=2m", "tmpfs"])
        .arg(&mount)
        .output();
    if !done.is_ok_and(|o| o.status.success()) {
        // The same promise is kept by the test above; this user may not mount.
        println!("no file system could be mounted: only the injected limit was tried");
        return;
    }
    let ended = std::panic::catch_unwind(|| {
        let place = mount.join("bench.db");
        let store = Store::create(&place).expect("made");
        let (acknowledged, fault) = fill(&store);
        assert_eq!(fault, LedgerFault::Full);
        assert!(acknowledged.len() > 100, "{}", acknowledged.len());
        assert_eq!(store.since(0).expect("read"), acknowledged);
        drop(store);
        // Read where there is room: a reader needs some of its own.
        let copy = folder("tmpfs-copy").join("bench.db");
        for ending in ["", "-wal"] {
            let from = format!("{}{ending}", place.display());
            if Path::new(&from).exists() {
                std::fs::copy(&from, format!("{}{ending}", copy.display())).expect("copied");
            }
        }
        nothing_lost(&copy, &acknowledged);
    });
    let unmounted = Command::new("umount")
        .arg(&mount)
        .status()
        .expect("started");
    assert!(unmounted.success());
    if let Err(panic) = ended {
        std::panic::resume_unwind(panic);
    }
}
