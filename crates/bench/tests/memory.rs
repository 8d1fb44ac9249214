//! The store verbs' views: the demonstration's planted faults are found from its files, and writing is blocked until it may be.

use bench::memory::{
    Source, Store, StoreView, Writing, dump, follow_sequences, march, patterns, plane, words,
};
use bench::pages::stores::Kept;
use bench::stores::{StoreFile, StoreText, gather};
use bench::{Text, pages};
use memory::demo::{DemoFile, demo_files};

fn text(files: &[DemoFile], name: &str) -> Text {
    let file = files
        .iter()
        .find(|f| f.name == name)
        .expect("a file of the demonstration");
    Text {
        file: name.to_owned(),
        text: file.text.clone(),
    }
}

fn source(files: &[DemoFile], name: &str, unit: Option<&str>) -> Source {
    let Text { file, text } = text(files, name);
    Source {
        file,
        unit: unit.map(str::to_owned),
        bytes: text.into_bytes(),
    }
}

fn names(view: &StoreView) -> Vec<String> {
    let mut names = view.explanations[0].elements.clone();
    names.sort();
    names
}

#[test]
fn two_units_of_the_control_store() {
    let files = demo_files();
    let store = Store::read(&text(&files, "control.kdl")).expect("its own shape");
    let mut sources: Vec<Source> = (1..=5)
        .map(|n| source(&files, &format!("control/1-read-{n}.hex"), Some("1")))
        .collect();
    sources.extend((1..=3).map(|n| source(&files, &format!("control/2-read-{n}.hex"), Some("2"))));
    let view = dump(&store, sources, None, Writing::default(), &|| true).expect("good files");
    assert_eq!((view.words, view.bits), (96, 20));
    assert!(view.fewest);
    assert_eq!(
        names(&view),
        ["address line 4 stuck at 0", "word wire 43 open"]
    );
    assert_eq!(view.explanations[0].blames.as_deref(), Some("unit 2"));
    // What is unsteady in the other unit is told, too.
    assert_eq!(view.weak.len(), 1);
    assert_eq!(view.weak[0].of.as_deref(), Some("unit 1"));
    assert_eq!(
        (view.explanations[0].explains, view.explanations[0].leaves),
        (view.wrong, 0)
    );
    let total: f64 = view.explanations.iter().map(|e| e.probability).sum();
    assert!((total - 1.0).abs() < 1e-9, "{total}");
}

// Two reads are too few for a weak line: what it lost in both looks like a fault of the other unit, and that is said.
#[test]
fn pulses_that_a_weak_line_lost_in_every_read_are_pointed_out() {
    let files = demo_files();
    let store = Store::read(&text(&files, "control.kdl")).expect("its own shape");
    let reads = |count: usize| {
        let of = |unit: &'static str, n| {
            source(&files, &format!("control/{unit}-read-{n}.hex"), Some(unit))
        };
        let mut all: Vec<Source> = (1..=count).map(|n| of("1", n)).collect();
        all.push(of("2", 1));
        dump(&store, all, None, Writing::default(), &|| true).expect("good files")
    };
    let (few, many) = (reads(2), reads(5));
    let singles = few.explanations[0]
        .parts
        .iter()
        .filter(|p| p.class == "single bit")
        .count();
    assert!(singles > 0);
    let note = few.note.unwrap_or_default();
    let said = "of the single bits among them may be pulses that unit 1 lost in every read (sense line 13 weak)";
    assert!(note.contains(said), "{note}");
    assert!(!many.note.unwrap_or_default().contains("lost in every read"));
    assert!(
        many.explanations[0]
            .parts
            .iter()
            .all(|p| p.class != "single bit")
    );
}

#[test]
fn repeated_reads_of_one_unit_show_what_is_unsteady() {
    let files = demo_files();
    let store = Store::read(&text(&files, "control.kdl")).expect("its own shape");
    let sources: Vec<Source> = (1..=5)
        .map(|n| source(&files, &format!("control/1-read-{n}.hex"), Some("1")))
        .collect();
    let view = dump(&store, sources, None, Writing::default(), &|| true).expect("good files");
    assert_eq!(view.wrong, 0);
    assert!(view.unstable > 20, "{}", view.unstable);
    assert_eq!(view.reminder, None);
    assert_eq!(view.weak.len(), 1);
    let all: Vec<&String> = view.weak[0]
        .alternatives
        .iter()
        .chain([&view.weak[0].element])
        .collect();
    assert!(all.iter().any(|n| *n == "sense line 13 weak"), "{all:?}");
}

#[test]
fn march_logs_of_the_register_store() {
    let files = demo_files();
    let store = Store::read(&text(&files, "registers.kdl")).expect("its own shape");
    for (unit, name) in [
        (1, "core X5 Y11 bit 3 stuck at 0"),
        (2, "X selection diode 7 shorted"),
    ] {
        let log = source(&files, &format!("registers/{unit}-march.csv"), None);
        let view = plane(&store, &log, Writing::default(), &|| true).expect("a good log");
        assert_eq!(view.explanations[0].elements, [name]);
        // `dump` knows a log when it sees one.
        assert_eq!(
            dump(&store, vec![log], None, Writing::default(), &|| true).expect("a good log"),
            view
        );
    }
}

#[test]
fn neither_of_two_files_is_believed() {
    let shape = "store s {\n organisation woven\n address bits=5\n data bits=8\n word lines=32 address=\"0-4\"\n}\n";
    let store = Store::read(&Text {
        file: "s.kdl".to_owned(),
        text: shape.to_owned(),
    })
    .expect("a good shape");
    let words: Vec<u32> = (0..32u32)
        .map(|a| a.wrapping_mul(0x9E37_79B1) >> 13 & 0xFF)
        .collect();
    let read = |name: &str, line: u32| {
        let rows: Vec<String> = (0..32u32)
            .map(|a| format!("{a:X},{:02X}", words[(a & !line) as usize]))
            .collect();
        Source {
            file: name.to_owned(),
            unit: None,
            bytes: format!("address,word\n{}\n", rows.join("\n")).into_bytes(),
        }
    };
    let (good, bad) = (read("good", 0), read("bad", 8));
    for sources in [vec![good.clone(), bad.clone()], vec![bad, good]] {
        let view = dump(&store, sources, None, Writing::default(), &|| true).expect("good files");
        assert_eq!(view.explanations[0].elements, ["address line 3 stuck at 0"]);
        assert_eq!(view.explanations[0].blames.as_deref(), Some("bad"));
        assert!(view.wrong > 0 && view.unstable == 0);
    }
}

#[test]
fn writing_is_blocked_until_a_complete_first_read_is_kept() {
    let files = demo_files();
    let store = Store::read(&text(&files, "registers.kdl")).expect("its own shape");
    let refused = store
        .permit(None, false, Writing::default())
        .expect_err("nothing is kept");
    assert_eq!(refused.exit_code(), 1);
    let mut partial = source(&files, "registers/1-first.hex", None);
    let permit = store
        .permit(Some(&partial), false, Writing::default())
        .expect("it is complete");
    let view = patterns(&store, "March C-", &permit).expect("a known test");
    assert_eq!(view.operations.len(), 240 * 10 * 4);
    assert!(
        patterns(&store, "worst", &permit)
            .expect("a coincident store")
            .noise
            .is_some_and(|n| n > 10)
    );
    let read = dump(
        &store,
        vec![partial.clone()],
        None,
        Writing::default(),
        &|| true,
    )
    .expect("a good file");
    assert!(
        read.reminder
            .is_some_and(|r| r.contains("before anything is written"))
    );
    partial.bytes.truncate(200);
    let refused = store.permit(
        Some(&partial),
        true,
        Writing {
            lenient: true,
            ..Writing::default()
        },
    );
    assert!(refused.is_err());
    let control = Store::read(&text(&files, "control.kdl")).expect("its own shape");
    assert!(control.permit(None, true, Writing::default()).is_err());
    assert_eq!(march().len(), 12);
}

/// `crates/bench/demo/stores`, where the files of the demonstration stand.
fn demo_folder() -> std::path::PathBuf {
    std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/stores")
}

// KNOWNGOOD_WRITE=1 writes them anew.
#[test]
fn the_stores_of_the_demo_are_those_that_their_seeds_draw() {
    let folder = demo_folder();
    for file in demo_files() {
        let path = folder.join(&file.name);
        if std::env::var_os("KNOWNGOOD_WRITE").is_some() {
            std::fs::create_dir_all(path.parent().expect("a folder")).expect("made");
            std::fs::write(&path, &file.text).expect("written");
        }
        let found = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(found == file.text, "{} is another", file.name);
    }
}

/// The demo's stores as the pages read them.
fn demo_stores() -> Vec<StoreText> {
    let file = |f: DemoFile| StoreFile {
        file: format!("stores/{}", f.name),
        bytes: f.text.into_bytes().into(),
    };
    gather(
        "stores/",
        demo_files().into_iter().map(file).collect(),
        &mut Vec::new(),
    )
}

#[test]
fn the_page_of_a_store_names_what_was_planted() {
    let units = ["1", "2"].map(str::to_owned);
    let stores = demo_stores();
    let control = pages::stores::store(&stores[0], &units, &|| true);
    assert!(control.remarks.is_empty(), "{:?}", control.remarks);
    assert_eq!(
        (control.name.as_str(), control.is_written),
        ("control", false)
    );
    let reads = &control.parts[0];
    let cause = &reads.findings[0].causes[0];
    let names: Vec<&str> = cause.elements.iter().map(|e| e.name.as_str()).collect();
    assert_eq!(names, ["address line 4 stuck at 0", "word wire 43 open"]);
    assert_eq!(cause.unit.as_deref(), Some("2"));
    // What is pointed at for an element is what stays unexplained without it, steady bits of unit 1 only being counted.
    for element in &cause.elements {
        let wrong = &reads.pictures[1].wrong;
        let pointed = wrong
            .iter()
            .zip(&element.touched)
            .map(|(w, t)| u64::from((w & t).count_ones()));
        assert!(
            pointed.sum::<u64>() <= element.explains && element.explains > 10,
            "{}",
            element.name
        );
        assert!(
            element
                .touched
                .iter()
                .map(|t| u64::from(t.count_ones()))
                .sum::<u64>()
                >= element.explains
        );
    }
    assert!(reads.pictures[0].unsteady.contains(&(1 << 13)));
    assert!(reads.pictures[1].unsteady.iter().all(|w| *w == 0));
    let says = control.parting.map(|p| p.says).unwrap_or_default();
    assert!(says.contains("and so"), "{says}");

    let registers = pages::stores::store(&stores[1], &units, &|| true);
    let march = registers
        .parts
        .iter()
        .find(|p| p.title == "March tests")
        .expect("logs");
    let first: Vec<&str> = march
        .findings
        .iter()
        .map(|f| f.causes[0].elements[0].name.as_str())
        .collect();
    assert_eq!(
        first,
        [
            "core X5 Y11 bit 3 stuck at 0",
            "X selection diode 7 shorted"
        ]
    );
    let (_, map) = &registers.maps[0];
    assert_eq!(map.point, (400.0, 220.0));
    assert!(
        map.drift
            .is_some_and(|(a, b)| (a - 20.0).abs() < 5.0 && (b - 10.0).abs() < 3.0),
        "{:?}",
        map.drift
    );
    for unit in &registers.units {
        assert_eq!(
            unit.kept,
            Kept::By(format!("stores/registers/{}-first.hex", unit.name))
        );
    }
}

#[test]
fn without_a_whole_first_read_the_page_blocks_writing() {
    let units = ["1", "2"].map(str::to_owned);
    let mut stores = demo_stores();
    let registers = &mut stores[1];
    registers.files.retain(|f| !f.file.ends_with("1-first.hex"));
    for file in registers
        .files
        .iter_mut()
        .filter(|f| f.file.ends_with("2-first.hex"))
    {
        file.bytes = file.bytes[..200].into();
    }
    let view = pages::stores::store(registers, &units, &|| true);
    let [
        Kept::Blocked {
            why,
            is_written: true,
        },
        Kept::Blocked { why: partly, .. },
    ] = [0, 1].map(|n| view.units[n].kept.clone())
    else {
        panic!("{:?}", view.units);
    };
    assert_eq!(why, "No read of it is kept.");
    assert!(partly.contains("lacks"), "{partly}");
    // Only unit 2 was read, in part: nothing is said of right and wrong.
    assert!(view.parts[0].findings[0].is_alone && view.parts[0].findings[0].wrong == 0);
    for unit in ["1", "2"] {
        assert!(pages::stores::march_csv(registers, &units, unit, "March C-").is_err());
    }
    let whole = demo_stores();
    let csv =
        pages::stores::march_csv(&whole[1], &units, "1", "March C-").expect("a first read is kept");
    assert_eq!(csv.lines().count(), 1 + 240 * 10 * 4);
}

#[test]
fn a_file_that_is_sent_must_be_what_it_is_said_to_be() {
    let units = ["1", "2"].map(str::to_owned);
    let stores = demo_stores();
    let sent = |name: &str, text: &str| {
        let file = StoreFile {
            file: name.to_owned(),
            bytes: text.as_bytes().into(),
        };
        let checked = pages::stores::check(&stores[0], &units, &file);
        checked.map_err(|refused| refused.complaints()[0].message.clone())
    };
    assert_eq!(sent("1-read-1.txt", "00: 12345 -"), Ok(()));
    assert_eq!(sent("2-sequence-1.txt", "address\n01\n5F\n"), Ok(()));
    assert_eq!(
        sent("2-sequence-1.txt", "01 80"),
        Err("Address 80 lies beyond the store, which has 7 address lines.".to_owned())
    );
    assert_eq!(
        sent("1-read-1.txt", "00: 123456"),
        Err("`123456` does not fit into a word of 20 bits.".to_owned())
    );
    assert_eq!(
        sent("1-map-1.txt", "a,b,errors\n1,2,0\n"),
        Err("The working point is not known.".to_owned())
    );
    assert!(sent("9-read.txt", "00: 12345").is_err());
}

#[test]
fn fields_are_found_compared_and_followed() {
    let files = demo_files();
    let store = Store::read(&text(&files, "control.kdl")).expect("its own shape");
    let reads: Vec<Source> = (1..=3)
        .flat_map(|n| {
            ["1", "2"].map(|u| source(&files, &format!("control/{u}-read-{n}.hex"), Some(u)))
        })
        .collect();
    let ones: Vec<Source> = reads
        .iter()
        .filter(|s| s.unit.as_deref() == Some("1"))
        .cloned()
        .collect();
    let all = words(&store, &ones, &[], Writing::default()).expect("good files");
    assert_eq!((all.words.len(), all.fields.len()), (96, 6));
    let wanted = ["function=3".to_owned(), "branch=1".to_owned()];
    let found = words(&store, &ones, &wanted, Writing::default()).expect("good files");
    assert!(
        !found.words.is_empty()
            && found
                .words
                .iter()
                .all(|w| (w.values[3], w.values[4]) == (3, 1))
    );
    let all_of = all
        .words
        .iter()
        .filter(|w| (w.values[3], w.values[4]) == (3, 1))
        .count();
    assert_eq!(found.words.len(), all_of);
    let refused = words(&store, &ones, &["colour=3".to_owned()], Writing::default())
        .expect_err("no such field");
    assert_eq!(
        refused.complaints()[0].message,
        "The store has no field `colour`."
    );
    let both = words(&store, &reads, &[], Writing::default()).expect("good files");
    // Half of the words are read from elsewhere, and word 2B not at all.
    assert!(
        both.differences
            .iter()
            .all(|d| d.address >> 4 & 1 == 1 || d.address == 0x2B || d.bits == [13])
    );
    let sequences =
        ["1", "2"].map(|u| source(&files, &format!("control/{u}-sequence.txt"), Some(u)));
    let parting =
        follow_sequences(&store, &reads, &sequences, Writing::default()).expect("good files");
    let after = parting.after.expect("they part");
    assert!(after >> 4 & 1 == 1 || after == 0x2B, "{after:X}");
    assert!(
        !parting.differences.is_empty() && parting.says.contains("unit 2 read"),
        "{}",
        parting.says
    );
}
