//! One byte of the file is flipped: it is said, and what can be read is exported.

mod generate;

use std::collections::{BTreeMap, BTreeSet};
use std::io::Cursor;
use std::path::{Path, PathBuf};

use generate::{folder, reading};
use proptest::prelude::*;
use record::event::{Face, Photo, Site};
use record::{Attachment, Draft, Entry, Event, Id, Ledger, LedgerFault};
use store::{Store, export, import, sum, verify};

const READINGS: usize = 150;

/// A project with readings and photographs, closed, and what is in it.
struct Whole {
    folder: PathBuf,
    bytes: Vec<u8>,
    entries: Vec<Entry>,
    attachments: usize,
}

/// Bytes without a pattern, so that any thirty of them are found in one place only.
fn noise(seed: usize) -> Vec<u8> {
    let blocks = (0..300usize).flat_map(|i| sum(&[seed.to_le_bytes(), i.to_le_bytes()].concat()).0);
    blocks.collect()
}

fn whole(name: &str) -> Whole {
    let folder = folder(name);
    let place = folder.join("bench.db");
    let store = Store::create(&place).expect("made");
    for number in 1..=READINGS {
        store.append(&reading(number, "me")).expect("appended");
        if number % 25 == 0 {
            let bytes = noise(number);
            let picture = Attachment {
                media: "image/jpeg".to_owned(),
                bytes,
            };
            let attachment = store.attach(&picture).expect("attached");
            let photo = Photo {
                site: Site {
                    unit: "1".to_owned(),
                    board: Some("A2".to_owned()),
                },
                face: Face::Component,
                caption: "as found".to_owned(),
                attachment,
            };
            let id = Id::new(&format!("photo-{number}")).expect("an id");
            store
                .append(&Draft {
                    id,
                    event: Event::Photo(photo),
                    ..reading(number, "me")
                })
                .expect("appended");
        }
    }
    let entries = store.since(0).expect("read");
    drop(store);
    assert!(
        !folder.join("bench.db-wal").exists(),
        "all is in one file once it is closed"
    );
    Whole {
        bytes: std::fs::read(&place).expect("read"),
        attachments: READINGS / 25,
        entries,
        folder,
    }
}

/// The entries of an export, by number, as `HASH BODY`.
fn exported_lines(zip: &[u8]) -> BTreeMap<u64, String> {
    let mut zip = zip::ZipArchive::new(Cursor::new(zip)).expect("a zip");
    let file = zip.by_name("ledger/entries.txt").expect("entries");
    let text = std::io::read_to_string(file).expect("text");
    let number = |line: &str| {
        let body: serde_json::Value = serde_json::from_str(&line[65..]).expect("JSON");
        body["number"].as_u64().expect("a number")
    };
    text.lines()
        .map(|line| (number(line), line.to_owned()))
        .collect()
}

fn damaged(w: &Whole, name: &str, at: usize, flip: u8) -> PathBuf {
    let folder = folder(name);
    let mut bytes = w.bytes.clone();
    bytes[at] ^= flip;
    std::fs::write(folder.join("bench.db"), bytes).expect("written");
    folder
}

/// Checks one flip; returns whether it was noticed, and how many entries came through as they were.
fn check(w: &Whole, lines: &BTreeMap<u64, String>, folder: &Path) -> (bool, usize) {
    let place = folder.join("bench.db");
    let report = match verify(&place) {
        // The format number itself may have been hit: then the file is left alone, and that is said.
        Err(LedgerFault::Newer { .. }) => return (true, lines.len()),
        report => report.expect("checked"),
    };
    let mut zip = Cursor::new(Vec::new());
    let done = export(folder, &mut zip).expect("exported");
    let got = exported_lines(&zip.into_inner());
    let same = lines
        .iter()
        .filter(|(number, line)| got.get(number) == Some(line))
        .count();
    assert_eq!(
        done.faults, report.faults,
        "the export says the same as the check"
    );
    if report.faults.is_empty() {
        // Not noticed: then nothing that was written is touched, and opening gives all of it.
        assert_eq!(got, *lines);
        assert_eq!(done.attachments, w.attachments as u64);
        let store = Store::open(&place).expect("opened");
        assert_eq!(store.since(0).expect("read"), w.entries);
    } else {
        // What the ledger hands out is right, or it says that it is damaged.
        let read = Store::open(&place).and_then(|store| store.since(0));
        if let Ok(entries) = read {
            assert_eq!(entries, w.entries);
        }
    }
    (!report.faults.is_empty(), same)
}

#[test]
fn an_entry_whose_text_was_changed_is_named() {
    let w = whole("named");
    let needle = br#""id":"me-77""#;
    let at = w
        .bytes
        .windows(needle.len())
        .position(|b| b == needle)
        .expect("in the file");
    // The value of that reading stands behind the id's number and time.
    let value = w.bytes[..at]
        .windows(11)
        .rposition(|b| b == br#""value":"77"#)
        .expect("in the file")
        + 9;
    let folder = damaged(&w, "named-flip", value, 0b100);
    let number = w
        .entries
        .iter()
        .find(|e| e.id.as_str() == "me-77")
        .expect("there")
        .number;
    let report = verify(&folder.join("bench.db")).expect("checked");
    let said: Vec<_> = report
        .faults
        .iter()
        .map(|f| (f.entry, f.what.as_str()))
        .collect();
    let what = format!(
        "Entry {number} was changed: its text and the hash before it do not give its hash."
    );
    assert_eq!(said, [(Some(number), what.as_str())]);
    let store = Store::open(&folder.join("bench.db")).expect("opened");
    let fault = store.since(0).expect_err("damage");
    assert_eq!(
        fault.to_string(),
        format!("The ledger is damaged at entry {number}: its text does not give its hash.")
    );
    // It is exported all the same, said in the export, and what is made from that says it again.
    let mut zip = Cursor::new(Vec::new());
    let done = export(&folder, &mut zip).expect("exported");
    assert_eq!(done.entries, w.entries.len() as u64);
    assert_eq!(done.faults, report.faults);
    let mut archive = zip::ZipArchive::new(zip.clone()).expect("a zip");
    let readme =
        std::io::read_to_string(archive.by_name("README.txt").expect("a page")).expect("text");
    assert!(readme.contains(&what), "{readme}");
    assert_eq!(
        import(zip, &generate::folder("named-again"))
            .expect("imported")
            .faults,
        report.faults
    );
}

#[test]
fn an_attachment_that_was_changed_is_named() {
    let w = whole("picture");
    let place = w.folder.join("bench.db");
    let store = Store::open(&place).expect("opened");
    let hash = w
        .entries
        .iter()
        .flat_map(|e| e.event.attachments())
        .next()
        .expect("a photograph");
    let bytes = store.attachment(hash).expect("read").expect("there").bytes;
    drop(store);
    let part = &bytes[6000..6030];
    let at = w
        .bytes
        .windows(30)
        .position(|b| b == part)
        .expect("in the file");
    let folder = damaged(&w, "picture-flip", at, 1);
    let report = verify(&folder.join("bench.db")).expect("checked");
    let said: Vec<_> = report.faults.iter().map(|f| f.what.clone()).collect();
    assert_eq!(
        said,
        [format!(
            "The attachment {hash} was changed: its content does not give its hash."
        )]
    );
    let store = Store::open(&folder.join("bench.db")).expect("opened");
    assert_eq!(
        store.attachment(hash),
        Err(LedgerFault::DamagedAttachment(hash))
    );
    assert_eq!(store.since(0).expect("the entries are whole"), w.entries);
}

/// The file's header says by a number how its tables are described (SQLite, Database File Format, 1.3.9): 1 to 4, of which
/// SQLite looks at the last byte.
#[test]
fn a_header_that_says_it_is_of_another_kind_is_damage_and_not_the_machines_fault() {
    let w = whole("kind");
    assert_eq!(&w.bytes[44..48], [0, 0, 0, 4]);
    for (at, flip) in [(47, 1), (47, 32), (47, 128)] {
        let folder = damaged(&w, "kind-flip", at, flip);
        let report = verify(&folder.join("bench.db")).expect("checked");
        assert!(!report.faults.is_empty(), "byte {at}");
        let mut zip = Cursor::new(Vec::new());
        let done = export(&folder, &mut zip).expect("exported");
        assert_eq!(done.faults, report.faults);
        assert_eq!(done.entries, w.entries.len() as u64, "byte {at}");
    }
}

/// Removing the last entries leaves a chain that is whole in itself; the file's word on where it ends tells.
#[test]
fn entries_cut_off_at_the_end_are_missed() {
    let w = whole("cut");
    let place = w.folder.join("bench.db");
    let connection = rusqlite::Connection::open(&place).expect("opened");
    connection
        .execute_batch("DROP TRIGGER entry_stays; DELETE FROM entry WHERE number > 150;")
        .expect("deleted");
    drop(connection);
    let report = verify(&place).expect("checked");
    let off: BTreeSet<_> = report.faults.iter().filter_map(|f| f.entry).collect();
    assert_eq!(off, (151..=w.entries.len() as u64).collect());
    let fault = Store::open(&place)
        .expect("opened")
        .since(0)
        .expect_err("damage");
    assert_eq!(
        fault.to_string(),
        "The ledger is damaged at entry 151: it is missing."
    );
}

#[test]
fn any_flipped_byte_is_said_or_harmless_and_the_rest_is_exported() {
    let w = whole("flips");
    let mut zip = Cursor::new(Vec::new());
    export(&w.folder, &mut zip).expect("exported");
    let lines = exported_lines(&zip.into_inner());
    assert_eq!(lines.len(), w.entries.len());
    let size = w.bytes.len();
    let cases = if std::env::var_os("KNOWNGOOD_FULL").is_some() {
        4000
    } else {
        200
    };
    let mut worst = lines.len();
    let mut noticed = 0;
    let mut runner = proptest::test_runner::TestRunner::new(ProptestConfig::with_cases(cases));
    let positions = prop_oneof![4 => 0..size, 1 => 0usize..400];
    let mut tally = std::cell::RefCell::new(Vec::new());
    runner
        .run(&(positions, 1u8..), |(at, flip)| {
            let folder = damaged(&w, "flip", at, flip);
            tally.borrow_mut().push(check(&w, &lines, &folder));
            Ok(())
        })
        .expect("every flip is said or harmless");
    for (said, same) in tally.get_mut() {
        noticed += usize::from(*said);
        worst = worst.min(*same);
    }
    println!(
        "{noticed} of {cases} flips were noticed; the worst left {worst} of {} entries",
        lines.len()
    );
    assert!(noticed > 0);
    // At most the entries of one page of the file are lost.
    assert!(
        worst + 16 >= lines.len(),
        "only {worst} entries came through"
    );
}

/// A ledger whose process was killed: what was acknowledged stands in the journal beside the file.
fn killed(name: &str, readings: usize) -> PathBuf {
    let here = folder(&format!("{name}-alive"));
    let store = Store::create(&here.join("bench.db")).expect("made");
    for number in 1..=readings {
        store.append(&reading(number, "me")).expect("appended");
    }
    let there = folder(name);
    for file in ["bench.db", "bench.db-wal"] {
        std::fs::copy(here.join(file), there.join(file)).expect("copied as the disk holds it");
    }
    there
}

#[test]
fn a_flipped_byte_of_the_journal_hides_no_entry() {
    const COUNT: usize = 40;
    let folder = killed("journal", COUNT);
    let (place, wal) = (folder.join("bench.db"), folder.join("bench.db-wal"));
    let bytes = std::fs::read(&wal).expect("a journal");
    let main = std::fs::read(&place).expect("a file");
    let again = |bytes: &[u8]| {
        std::fs::write(&place, &main).expect("written");
        std::fs::write(&wal, bytes).expect("written");
        let _ = std::fs::remove_file(folder.join("bench.db-shm"));
    };
    let frame = 24 + 4096;
    let frames = (bytes.len() - 32) / frame;
    // The head, heads and contents of frames all along; the last frame cannot be told from a write that was cut off.
    let mut places: Vec<usize> = (0..32).collect();
    places.extend(
        (0..frames - 1)
            .flat_map(|k| [0, 5, 9, 17, 23, 24, 600, 4000].map(|at| 32 + k * frame + at)),
    );
    let mut least = COUNT;
    for at in places.into_iter().step_by(13) {
        let mut flipped = bytes.clone();
        flipped[at] ^= 0x10;
        again(&flipped);
        // Opening says so and leaves everything as it was; or it opens, and all is there.
        match Store::open(&place) {
            Ok(store) => {
                assert_eq!(store.last(), Ok(COUNT as u64), "byte {at}");
                continue;
            }
            Err(LedgerFault::Damaged { what, .. }) => assert!(what.contains("-wal"), "{what}"),
            Err(other) => panic!("byte {at}: {other}"),
        }
        assert_eq!(std::fs::read(&wal).expect("read"), flipped, "byte {at}");
        let report = verify(&place).expect("checked");
        assert!(!report.faults.is_empty(), "byte {at}");
        let mut zip = Cursor::new(Vec::new());
        export(&folder, &mut zip).expect("exported");
        let count = exported_lines(&zip.into_inner()).len();
        least = least.min(count);
    }
    assert!(
        least + 2 >= COUNT,
        "at worst {least} of {COUNT} were exported"
    );
    // What a kill leaves is no damage of the journal: cut off anywhere, it is an unfinished write. Cut off before the tables
    // were made, there is no ledger yet.
    for length in (32..bytes.len()).step_by(4999) {
        again(&bytes[..length]);
        match Store::open(&place) {
            Ok(_) => {}
            Err(LedgerFault::Damaged { what, .. }) => assert_eq!(what, "it holds no ledger"),
            Err(other) => panic!("{length} bytes: {other}"),
        }
    }
    // Nor is what a write left that was undone, or an older journal behind a newer one.
    again(&bytes);
    let store = Store::open(&place).expect("opened");
    for number in COUNT + 1..COUNT + 700 {
        store.append(&reading(number, "me")).expect("appended");
        if number % 100 == 0 {
            Store::open(&place).expect("opened beside it");
        }
    }
}
