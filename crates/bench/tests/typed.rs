//! Sheets that are opened as a table and saved again say the same as before.

use bench::Text;
use bench::project::BoardText;
use bench::typed::{open, save};

#[test]
fn the_demo_survives_the_table() {
    for name in ["a1", "a2", "a3", "a4", "a5"] {
        let path = format!("{}/demo/sheets/{name}.kdl", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(path).expect("a demo sheet");
        let (before, _) = sheet::check(&text, "");
        let board = BoardText {
            sheet: Some(Text {
                file: format!("sheets/{name}.kdl"),
                text,
            }),
            ..BoardText::default()
        };
        let (saved, _) = save(&before.name, &open(&board)).expect("saved");
        let (after, _) = sheet::check(&saved, "");
        let names = |s: &sheet::Sheet| {
            let mut lines: Vec<String> = sheet::print(s).lines().map(str::to_owned).collect();
            lines.sort();
            lines
        };
        let (before, after) = (names(&before), names(&after));
        let lost: Vec<_> = before.iter().filter(|l| !after.contains(l)).collect();
        // A net's line may be needed or not, as the order of lines has it; what says nothing more may go.
        let lost: Vec<_> = lost
            .into_iter()
            .filter(|l| l.split_whitespace().count() > 2)
            .collect();
        assert!(lost.is_empty(), "{name}: {lost:?}");
    }
}
