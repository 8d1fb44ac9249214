//! Everything in one file and back: the same hashes, the same attachments, the same files.

mod generate;

use std::io::{Cursor, Read, Write};
use std::path::Path;

use generate::{any_drafts, folder, reading};
use proptest::collection::{btree_map, vec};
use proptest::prelude::*;
use record::event::Note;
use record::event::Site;
use record::{Attachment, Draft, Event, Ledger, LedgerFault};
use store::{Store, create_project, export, import, sum, verify};

fn texts(zip: &[u8]) -> Vec<(String, String)> {
    let mut zip = zip::ZipArchive::new(Cursor::new(zip)).expect("a zip");
    let names: Vec<String> = zip.file_names().map(str::to_owned).collect();
    names
        .into_iter()
        .map(|name| {
            let mut bytes = Vec::new();
            zip.by_name(&name)
                .expect("a file")
                .read_to_end(&mut bytes)
                .expect("read");
            (name, String::from_utf8_lossy(&bytes).into_owned())
        })
        .collect()
}

fn exported(folder: &Path) -> Vec<u8> {
    let mut zip = Cursor::new(Vec::new());
    assert_eq!(export(folder, &mut zip).expect("exported").faults, []);
    zip.into_inner()
}

#[test]
fn a_new_project_is_empty_and_reads_without_fault() {
    let place = folder("new").join("mine");
    let store = create_project(&place).expect("made");
    assert_eq!(store.last(), Ok(0));
    let machine = std::fs::read_to_string(place.join("machine.kdl")).expect("read");
    let (machine, diagnostics) = sheet::machine::parse(&machine, "machine.kdl");
    assert_eq!(diagnostics, []);
    assert_eq!(machine.name, "My machine");
    assert!(place.join("sheets").is_dir() && place.join("readings").is_dir());
    assert!(matches!(
        create_project(&place),
        Err(LedgerFault::Occupied(_))
    ));
    assert_eq!(verify(&place.join("bench.db")).expect("checked").faults, []);
}

#[test]
fn an_export_is_read_without_the_program() {
    let place = folder("readable").join("mine");
    let store = create_project(&place).expect("made");
    std::fs::write(place.join("sheets/a2.kdl"), "sheet A2 { }").expect("written");
    std::fs::write(place.join(".hidden"), "no").expect("written");
    let picture = Attachment {
        media: "image/png".to_owned(),
        bytes: vec![137, 80, 78, 71],
    };
    let hash = store.attach(&picture).expect("attached");
    store.append(&reading(1, "me")).expect("appended");
    store.append(&reading(2, "me")).expect("appended");
    let site = Site {
        unit: "1".to_owned(),
        board: None,
    };
    let note = Event::Note(Note {
        site,
        text: "smells of shellac".to_owned(),
    });
    store
        .append(&Draft {
            event: note,
            ..reading(3, "me")
        })
        .expect("appended");
    drop(store);
    let zip = exported(&place);
    let files = texts(&zip);
    let text = |name: &str| {
        let found = files.iter().find(|(n, _)| n == name);
        found.unwrap_or_else(|| panic!("no {name}")).1.as_str()
    };
    assert!(text("README.txt").contains("No program is needed"));
    assert_eq!(text("project/sheets/a2.kdl"), "sheet A2 { }");
    assert!(text("project/machine.kdl").contains("My machine"));
    let ledger = "1  2024-03-01T10:00:01.000Z  me  [me-1]  unit 1 board A2: cold ohms REF to 0V: 1 with bench-digital, board-out (21.5 °C)\n\
                  2  2024-03-01T10:00:02.000Z  me  [me-2]  unit 1 board A2: cold ohms REF to 0V: 2 with bench-digital, board-out (21.5 °C)\n\
                  3  2024-03-01T10:00:03.000Z  me  [me-3]  unit 1: smells of shellac\n";
    assert_eq!(text("ledger/ledger.txt"), ledger);
    let readings = "unit,state,kind,red,black,value,meter,note,place,lifted,unplugged,celsius,minutes,cycle,time\n\
                    1,cold,ohms,REF,0V,1,bench-digital,,board-out,,,21.5,,,\n\
                    1,cold,ohms,REF,0V,2,bench-digital,,board-out,,,21.5,,,\n";
    assert_eq!(text("ledger/readings/A2.csv"), readings);
    let list =
        format!("sha256,media,file,bytes,entries\n{hash},image/png,attachments/{hash}.png,4,\n");
    assert_eq!(text("ledger/attachments.csv"), list);
    assert!(
        files
            .iter()
            .any(|(name, _)| *name == format!("attachments/{hash}.png"))
    );
    assert!(
        !files
            .iter()
            .any(|(name, _)| name.contains("hidden") || name.contains("bench.db"))
    );
    // The chain by the README's words: 32 zero bytes, then each entry's JSON.
    let mut before = [0; 32];
    for line in text("ledger/entries.txt").lines() {
        let (hash, body) = line.split_once(' ').expect("two words");
        before = sum(&[&before[..], body.as_bytes()].concat()).0;
        assert_eq!(record::Digest(before).to_string(), hash);
    }
}

#[test]
fn what_is_no_export_is_refused_and_leaves_nothing() {
    let place = folder("refused");
    let refuse = |name: &str, files: &[(&str, &str)]| {
        let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
        for (name, text) in files {
            zip.start_file(*name, zip::write::SimpleFileOptions::default())
                .expect("started");
            zip.write_all(text.as_bytes()).expect("written");
        }
        let target = place.join(name);
        let fault = import(zip.finish().expect("finished"), &target).expect_err("refused");
        assert!(!target.join("bench.db").exists(), "{fault}");
        fault.to_string()
    };
    let (entries, list) = (
        ("ledger/entries.txt", ""),
        ("ledger/attachments.csv", "sha256,media\n"),
    );
    assert_eq!(
        refuse("none", &[]),
        "This is no export of a project: it has no ledger/entries.txt."
    );
    assert_eq!(
        refuse("prose", &[("ledger/entries.txt", "Dear sir"), list]),
        "This is no export of a project: line 1 of ledger/entries.txt is no entry."
    );
    for outside in [
        "project/../../outside.txt",
        "project//etc/outside.txt",
        "project/bench.db",
    ] {
        let said = refuse("outside", &[entries, list, (outside, "gotcha")]);
        assert!(said.ends_with("is no name of a project's file."), "{said}");
    }
    assert!(
        !place.join("outside.txt").exists()
            && !place
                .parent()
                .expect("a folder")
                .join("outside.txt")
                .exists()
    );
    let no_zip = import(
        Cursor::new(b"PK but not really".to_vec()),
        &place.join("no-zip"),
    );
    assert!(matches!(no_zip, Err(LedgerFault::NoExport(_))));
    let full = folder("occupied");
    std::fs::write(full.join("mine.txt"), "mine").expect("written");
    let project = folder("one").join("mine");
    drop(create_project(&project).expect("made"));
    let occupied = import(Cursor::new(exported(&project)), &full);
    assert!(matches!(occupied, Err(LedgerFault::Occupied(_))));
    assert_eq!(
        std::fs::read_to_string(full.join("mine.txt")).expect("kept"),
        "mine"
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    /// Back from an export: entries, hashes, attachments, media types and files are the same, and exporting that gives
    /// the same file again.
    #[test]
    fn an_export_is_lossless_both_ways(
        drafts in any_drafts(vec![sum(b""), sum(b"two")], 16),
        more in vec((vec(any::<u8>(), 0..40), "[a-z]{1,5}/[a-z.+]{1,8}(; x=\"a,b\")?"), 0..4),
        files in btree_map("(sheets/|readings/|[a-z]{1,3}/)?[a-z][a-z ]{0,5}\\.(kdl|csv|txt)", "\\PC{0,20}", 0..4),
    ) {
        let place = folder("lossless").join("mine");
        let store = create_project(&place).expect("made");
        let mut hashes = Vec::new();
        for (bytes, media) in [(b"".to_vec(), String::new()), (b"two".to_vec(), "text/plain".to_owned())].into_iter().chain(more) {
            hashes.push(store.attach(&Attachment { media, bytes }).expect("attached"));
        }
        for draft in &drafts {
            store.append(draft).expect("appended");
        }
        for (name, text) in &files {
            let path = place.join(name);
            std::fs::create_dir_all(path.parent().expect("a folder")).expect("made");
            std::fs::write(path, text).expect("written");
        }
        let zip = exported(&place);
        let there = folder("lossless-again").join("again");
        let report = import(Cursor::new(zip.clone()), &there).expect("imported");
        prop_assert_eq!(report.faults, vec![]);
        let again = Store::open(&there.join("bench.db")).expect("opened");
        prop_assert_eq!(again.since(0), store.since(0));
        for hash in hashes {
            prop_assert_eq!(again.attachment(hash), store.attachment(hash));
        }
        for (name, text) in &files {
            prop_assert_eq!(&std::fs::read_to_string(there.join(name)).expect("there"), text);
        }
        // An imported ledger goes on where the first one ended.
        prop_assert_eq!(again.append(&reading(1, "next")), store.append(&reading(1, "next")));
        prop_assert_eq!(exported(&there), exported(&place));
    }
}
