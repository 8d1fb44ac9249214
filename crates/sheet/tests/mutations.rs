//! Whatever is done to a good text, reading it gives diagnostics and never a panic.

mod generate;

use proptest::prelude::*;
use proptest::sample::Index;
use sheet::machine;
use sheet::{check, parse, print};

const SHEET: &str = include_str!("samples/every-kind.kdl");
const MACHINE: &str = include_str!("samples/machine.kdl");

/// One change to a text.
#[derive(Clone, Debug)]
enum Change {
    Cut(Index, usize),
    Insert(Index, String),
    Copy(Index, Index, usize),
}

fn change() -> impl Strategy<Value = Change> {
    let piece = prop_oneof![
        "[ -~]{1,3}",
        "\\PC{1,2}",
        prop::sample::select(vec![
            "{", "}", "\"", "\"\"\"", "#", "/*", "*/", "/-", "//", "\\", "\n", "\r", "=", ";",
            "\0", "\u{feff}", "\u{202e}", "-", "1e999", "(", "µ"
        ])
        .prop_map(str::to_owned),
    ];
    prop_oneof![
        (any::<Index>(), 1usize..20).prop_map(|(at, length)| Change::Cut(at, length)),
        (any::<Index>(), piece).prop_map(|(at, text)| Change::Insert(at, text)),
        (any::<Index>(), any::<Index>(), 1usize..30)
            .prop_map(|(from, to, length)| Change::Copy(from, to, length)),
    ]
}

fn changed(text: &str, changes: &[Change]) -> String {
    let mut letters: Vec<char> = text.chars().collect();
    for change in changes {
        if letters.is_empty() {
            break;
        }
        let (count, at) = (letters.len(), |i: &Index| i.index(letters.len()));
        match change {
            Change::Cut(from, length) => {
                let from = at(from);
                letters.drain(from..(from + length).min(count));
            }
            Change::Insert(to, text) => {
                let to = at(to);
                letters.splice(to..to, text.chars());
            }
            Change::Copy(from, to, length) => {
                let (from, to) = (at(from), at(to));
                let copy: Vec<char> = letters[from..(from + length).min(count)].to_vec();
                letters.splice(to..to, copy);
            }
        }
    }
    letters.into_iter().collect()
}

/// Places lie in the text, sentences are whole, and whatever was understood can be printed and read again.
fn survives(text: &str) -> Result<(), TestCaseError> {
    let (sheet, found) = check(text, "a.kdl");
    let lines = text.split('\n').count();
    for diagnostic in &found {
        let place = diagnostic.place.as_ref().expect("a place in the text");
        prop_assert!((1..=lines).contains(&place.line), "{diagnostic}");
        prop_assert!(
            place.column >= 1 && place.column <= place.source_line.chars().count() + 1,
            "{diagnostic}"
        );
        for sentence in [&diagnostic.message, &diagnostic.help] {
            prop_assert!(!sentence.is_empty(), "{diagnostic}");
        }
        let _ = diagnostic.to_string();
    }
    let _ = parse(&print(&sheet), "a.kdl");
    Ok(())
}

proptest! {
    #![proptest_config(generate::cases(150))]

    #[test]
    fn a_mangled_sheet_is_read_as_far_as_it_goes(changes in prop::collection::vec(change(), 1..6)) {
        survives(&changed(SHEET, &changes))?;
    }

    #[test]
    fn a_mangled_machine_file_is_read_as_far_as_it_goes(changes in prop::collection::vec(change(), 1..6)) {
        let text = changed(MACHINE, &changes);
        let (machine, _) = machine::parse(&text, "machine.kdl");
        let (sheet, _) = parse(SHEET, "a2.kdl");
        for unit in &machine.units {
            let (built, _) = machine::as_built(&sheet, "A2", unit);
            let _ = print(&built);
        }
        let _ = machine::join(&[("A1", &sheet), ("A2", &sheet)], &machine.joins);
        let _ = machine::parse(&machine::print(&machine), "machine.kdl");
    }

    #[test]
    fn any_text_at_all_is_read(text in "\\PC{0,60}(\n\\PC{0,30}){0,3}") {
        survives(&text)?;
    }

    #[test]
    fn one_broken_line_costs_no_other_line(sheet in generate::sheet(), bad in "[a-z]{1,8} [A-Z][0-9] [0-9][a-z]{1,3}") {
        let text = print(&sheet);
        let (header, rest) = text.split_once('\n').expect("more than one line");
        let (read, found) = parse(&format!("{header}\n{bad}\n{rest}"), "a.kdl");
        prop_assert!(!found.is_empty());
        prop_assert_eq!(generate::without_spans(read), sheet);
    }
}
