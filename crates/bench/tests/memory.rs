//! The store verbs' views: the demonstration's planted faults are found from its files, and writing is blocked until it may be.

use bench::Text;
use bench::memory::{Source, Store, StoreView, Writing, dump, march, patterns, plane};
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
    let store = Store::read(&text(&files, "control-store.kdl")).expect("its own shape");
    let mut sources: Vec<Source> = (1..=5)
        .map(|n| source(&files, &format!("control-unit1-{n}.hex"), Some("1")))
        .collect();
    sources.extend((1..=3).map(|n| source(&files, &format!("control-unit2-{n}.hex"), Some("2"))));
    let view = dump(&store, sources, None, Writing::default(), &|| true).expect("good files");
    assert_eq!((view.words, view.bits), (96, 20));
    assert!(view.fewest);
    assert_eq!(
        names(&view),
        ["address line 4 stuck at 0", "word wire 43 open"]
    );
    assert!(
        view.explanations[0]
            .blames
            .as_ref()
            .is_some_and(|b| b.contains("unit2"))
    );
    assert_eq!(
        (view.explanations[0].explains, view.explanations[0].leaves),
        (view.wrong, 0)
    );
    let total: f64 = view.explanations.iter().map(|e| e.probability).sum();
    assert!((total - 1.0).abs() < 1e-9, "{total}");
}

#[test]
fn repeated_reads_of_one_unit_show_what_is_unsteady() {
    let files = demo_files();
    let store = Store::read(&text(&files, "control-store.kdl")).expect("its own shape");
    let sources: Vec<Source> = (1..=5)
        .map(|n| source(&files, &format!("control-unit1-{n}.hex"), Some("1")))
        .collect();
    let view = dump(&store, sources, None, Writing::default(), &|| true).expect("good files");
    assert_eq!(view.wrong, 0);
    assert!(view.unstable > 20, "{}", view.unstable);
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
    let store = Store::read(&text(&files, "register-store.kdl")).expect("its own shape");
    for (unit, name) in [
        (1, "core X5 Y11 bit 3 stuck at 0"),
        (2, "X selection diode 7 shorted"),
    ] {
        let log = source(&files, &format!("registers-unit{unit}-march.csv"), None);
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
    let store = Store::read(&text(&files, "register-store.kdl")).expect("its own shape");
    let refused = store
        .permit(None, false, Writing::default())
        .expect_err("nothing is kept");
    assert_eq!(refused.exit_code(), 1);
    let mut partial = source(&files, "registers-unit1-first.hex", None);
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
    let control = Store::read(&text(&files, "control-store.kdl")).expect("its own shape");
    assert!(control.permit(None, true, Writing::default()).is_err());
    assert_eq!(march().len(), 12);
}
