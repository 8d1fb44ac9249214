//! Broken and doubtful sheets, and broken machine files, each with every message that it must give, word by word.
//!
//! The samples are blocks: `=== what is broken`, the text, `---`, and for each diagnostic its place, grade and sentence
//! on one line and the help, indented, on the next.

use sheet::{Diagnostic, check as check_sheet, parse};

fn check(samples: &str, least: usize, read: impl Fn(&str) -> Vec<Diagnostic>) {
    let mut count = 0;
    for block in samples.split("=== ").skip(1) {
        let (what, rest) = block.split_once('\n').expect("a title");
        let (text, expected) = rest.split_once("\n---\n").expect("a line of three dashes");
        let found: String = read(text).iter().map(shown).collect();
        assert_eq!(found, expected, "{what}:\n{text}");
        count += 1;
    }
    assert!(count >= least, "only {count} samples were found");
}

fn shown(diagnostic: &Diagnostic) -> String {
    let place = diagnostic.place.as_ref().expect("a place in the text");
    let grade = if diagnostic.is_error() {
        "error"
    } else {
        "doubt"
    };
    format!(
        "{}:{} {grade}: {}\n    {}\n",
        place.line, place.column, diagnostic.message, diagnostic.help
    )
}

#[test]
fn every_broken_sheet_gives_exactly_its_messages() {
    check(include_str!("samples/broken-sheets.txt"), 80, |text| {
        parse(text, "a.kdl").1
    });
}

#[test]
fn every_broken_machine_file_gives_exactly_its_messages() {
    check(include_str!("samples/broken-machines.txt"), 25, |text| {
        sheet::machine::parse(text, "machine.kdl").1
    });
}

#[test]
fn every_doubtful_sheet_gives_exactly_its_doubts() {
    check(include_str!("samples/doubtful-sheets.txt"), 25, |text| {
        check_sheet(text, "a.kdl").1
    });
}

#[test]
fn a_bad_line_costs_that_line_alone() {
    let text = "sheet S {\nresistor R1 4k7 A B\nresistor R2 \"4k7 A B\nresistor R3 \"4k7\" A B\nresistr R4 \"4k7\" A B\nresistor R5 \"4k7\" A B\n}";
    let (sheet, found) = parse(text, "a.kdl");
    let names: Vec<&str> = sheet.parts.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names, ["R3", "R5"]);
    assert_eq!(found.iter().filter(|d| d.is_error()).count(), 3);
}

#[test]
fn a_diagnostic_shows_the_line_and_points_at_the_place() {
    let (_, found) = parse("sheet S {\n  resistor R1 4k7 µA B\n}", "boards/a.kdl");
    assert_eq!(
        found[0].to_string(),
        "boards/a.kdl:2:15: error: `4k7` starts with a digit and is not a plain number, so it must be quoted.\n\
         2 |   resistor R1 4k7 µA B\n  |               ^\n  = Quote it: \"4k7\"."
    );
}

#[test]
fn columns_count_characters_and_lines_count_from_the_top() {
    let (_, found) = parse("\u{feff}sheet S title=\"Ω µ é\" typo=1 {\r\n}\r\n", "a.kdl");
    let place = found[0].place.as_ref().expect("a place");
    assert_eq!((place.line, place.column), (1, 23));
    assert_eq!(place.source_line, "sheet S title=\"Ω µ é\" typo=1 {");
}

#[test]
fn nothing_that_nests_overflows_the_stack() {
    for unit in [
        "a {", "/*", "/-", "{", "}", "\"", "\\\n", "(", "#\"", "\"\"\"",
    ] {
        let _ = parse(&unit.repeat(4_000), "a.kdl");
        let _ = parse(&format!("sheet S {{ {} }}", unit.repeat(4_000)), "a.kdl");
    }
}
