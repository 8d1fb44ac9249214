//! The browser beside an editor: the same files changed by both, and nothing lost.

use std::fs::{File, read_to_string};
use std::path::Path;

use crate::stage::{Bench, Folder, urlencoded};

const MACHINE: &str = r#"// Written by hand; the comments are to stay.
machine "Invented 9" {
    assembly "Supplies" { board A1 sheet="sheets/a1.kdl" } // in the lid
    unit "1" serial="0217" // from the barn
}
"#;

const SHEET: &str =
    "sheet A1 {\n    net \"0V\" role=ground\n    resistor R1 \"1k\" IN \"0V\" // as printed\n}\n";

fn project() -> Folder {
    Folder::of(&[("machine.kdl", MACHINE), ("sheets/a1.kdl", SHEET)])
}

/// Sends a form to a page, without a browser.
fn post(bench: &Bench, path: &str, fields: &[(&str, &str)]) -> String {
    let head = format!(
        "Host: {0}\r\nOrigin: http://{0}\r\nContent-Type: application/x-www-form-urlencoded\r\n",
        bench.host
    );
    bench.send(path, &head, urlencoded(fields).as_bytes())
}

fn machine(folder: &Folder) -> String {
    read_to_string(folder.0.join("machine.kdl")).expect("a machine file")
}

/// Saves a file so that its length and its time are as before: nothing but its content tells that it was changed.
fn save_unseen(path: &Path, before: &str, after: &str) {
    let text = read_to_string(path).expect("read");
    let changed = text.replacen(before, after, 1);
    assert_ne!(changed, text);
    assert_eq!(changed.len(), text.len());
    let time = std::fs::metadata(path)
        .expect("there")
        .modified()
        .expect("a time");
    std::fs::write(path, changed).expect("written");
    let file = File::options().write(true).open(path).expect("opened");
    file.set_modified(time).expect("set");
}

#[test]
fn what_an_editor_saved_stays_beside_what_a_page_adds() {
    let folder = project();
    let bench = Bench::open(Some(&folder.0));
    bench.settled("/");
    save_unseen(&folder.0.join("machine.kdl"), "0217", "0218");
    let unit = [("kind", "unit"), ("name", "2"), ("serial", "0342")];
    let answer = post(&bench, "/machine", &unit);
    assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
    save_unseen(&folder.0.join("machine.kdl"), "in the lid", "in the box");
    let board = [
        ("kind", "board"),
        ("name", "A2"),
        ("assembly", "Supplies"),
        ("slot", "2"),
    ];
    let answer = post(&bench, "/machine", &board);
    assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
    let wanted = r#"// Written by hand; the comments are to stay.
machine "Invented 9" {
    assembly "Supplies" { board A1 sheet="sheets/a1.kdl"
        board "A2" slot="2"
} // in the box
    unit "1" serial="0218" // from the barn
    unit "2" serial="0342"
}
"#;
    assert_eq!(machine(&folder), wanted);
}

#[test]
fn two_who_add_at_once_both_find_theirs() {
    const EACH: usize = 12;
    let folder = project();
    let bench = Bench::open(Some(&folder.0));
    let add = |who: &str| {
        for n in 0..EACH {
            let name = format!("{who}{n}");
            let fields = [
                ("kind", "board"),
                ("name", name.as_str()),
                ("assembly", who),
            ];
            let answer = post(&bench, "/machine", &fields);
            assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
        }
    };
    std::thread::scope(|scope| {
        scope.spawn(|| add("B"));
        scope.spawn(|| add("C"));
    });
    let text = machine(&folder);
    for who in ["B", "C"] {
        for n in 0..EACH {
            let line = format!("board \"{who}{n}\"\n");
            assert_eq!(text.matches(&line).count(), 1, "{line}: {text}");
        }
    }
    assert!(text.contains("// from the barn"), "{text}");
}

#[test]
fn a_name_that_was_given_meanwhile_is_not_painted_over() {
    let folder = project();
    let bench = Bench::open(Some(&folder.0));
    bench.settled("/");
    save_unseen(&folder.0.join("machine.kdl"), "Invented 9", "Invented 8");
    // Another file makes the bench look again.
    folder.write("sheets/b1.kdl", SHEET);
    bench.until("/", |page| page.contains("Invented 8"));
    let rename = [("kind", "name"), ("was", "Invented 9"), ("name", "Mine")];
    let answer = post(&bench, "/machine", &rename);
    assert!(
        answer.starts_with("HTTP/1.1 422") && answer.contains("is called Invented 8 there now"),
        "{answer}"
    );
    assert!(machine(&folder).contains("Invented 8"));
}

#[test]
fn a_sheet_that_was_saved_meanwhile_is_not_saved_over_unseen() {
    let folder = project();
    let bench = Bench::open(Some(&folder.0));
    let page = bench.settled("/board/A1/sheet");
    let seen = |page: &str| {
        let (_, rest) = page.split_once("name=\"seen\" value=\"").expect("a sum");
        rest.split('"').next().expect("a sum").to_owned()
    };
    let first = seen(&page);
    let typed = |seen: &str| {
        [
            ("do", "save"),
            ("seen", seen),
            ("ground", "0V"),
            ("part-kind", "resistor"),
            ("part-name", "R1"),
            ("part-value", "1k2"),
            ("part-nets", "IN 0V"),
            ("part-more", ""),
            ("rest", ""),
        ]
        .map(|(a, b)| (a.to_owned(), b.to_owned()))
    };
    let send = |seen: &str| {
        let fields = typed(seen);
        let fields: Vec<(&str, &str)> = fields
            .iter()
            .map(|(a, b)| (a.as_str(), b.as_str()))
            .collect();
        post(&bench, "/board/A1/sheet", &fields)
    };
    let theirs = SHEET.replace(
        "\n}",
        "\n    resistor   R9 \"4k7\" IN OUT // found on the solder side\n}",
    );
    folder.write("sheets/a1.kdl", &theirs);
    let answer = send(&first);
    assert!(answer.starts_with("HTTP/1.1 409"), "{answer}");
    for wanted in [
        "sheets/a1.kdl was saved by somebody else since this table was opened; nothing was written.",
        "In the file and not in this table: resistor R9 &quot;4k7&quot; IN OUT",
        "value=\"1k2\"",
    ] {
        assert!(answer.contains(wanted), "{wanted}: {answer}");
    }
    let file = || read_to_string(folder.0.join("sheets/a1.kdl")).expect("a sheet");
    assert_eq!(file(), theirs);
    // Who has seen it may save; the comment at what stays is kept.
    let second = seen(&answer);
    assert_ne!(second, first);
    let answer = send(&second);
    assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
    let text = file();
    assert!(
        text.contains("R1 \"1k2\"") && text.contains("// as printed"),
        "{text}"
    );
    assert!(!text.contains("R9"), "{text}");
}

#[test]
fn what_an_older_copy_was_saved_over_can_be_added_again() {
    let folder = project();
    let bench = Bench::open(Some(&folder.0));
    let unit = [("kind", "unit"), ("name", "2"), ("serial", "0342")];
    post(&bench, "/machine", &unit);
    let board = [("kind", "board"), ("name", "A2"), ("slot", "7")];
    post(&bench, "/machine", &board);
    assert!(!bench.settled("/").contains("does not name"));
    folder.write("machine.kdl", MACHINE);
    let page = bench.until("/", |page| page.contains("does not name"));
    for wanted in [
        "Add unit 2 again",
        "value=\"0342\"",
        "assembly Boards, slot 7",
    ] {
        assert!(page.contains(wanted), "{wanted}: {page}");
    }
    let answer = post(&bench, "/machine", &unit);
    assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
    assert!(machine(&folder).contains("unit \"2\" serial=\"0342\""));
    let page = bench.settled("/");
    assert!(
        !page.contains("Add unit 2 again") && page.contains("Add board A2 again"),
        "{page}"
    );
}

#[test]
fn a_new_project_is_named_and_filled_from_its_page() {
    let folder = Folder::new();
    let place = folder.0.join("mine");
    let made = std::process::Command::new(env!("CARGO_BIN_EXE_knowngood"))
        .args(["bench", "new"])
        .arg(&place)
        .output();
    assert!(made.expect("started").status.success());
    let bench = Bench::open(Some(&place));
    for fields in [
        &[
            ("kind", "name"),
            ("was", "My machine"),
            ("name", "Invented 5"),
        ][..],
        &[("kind", "unit"), ("name", "1"), ("serial", "0101")],
        &[("kind", "board"), ("name", "A1"), ("assembly", "Supplies")],
    ] {
        let answer = post(&bench, "/machine", fields);
        assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
    }
    let text = read_to_string(place.join("machine.kdl")).expect("a machine file");
    for wanted in [
        "// The machine that all units share",
        "machine \"Invented 5\" {\n",
        "    // unit \"1\" serial=\"0001\"\n    unit \"1\" serial=\"0101\"\n",
        "    assembly \"Supplies\" {\n        board \"A1\"\n    }\n}\n",
    ] {
        assert!(text.contains(wanted), "{wanted}: {text}");
    }
}
