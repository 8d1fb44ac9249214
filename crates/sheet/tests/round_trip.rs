//! Printing a sheet and reading it back gives the same sheet, and printing is stable.

mod generate;

use generate::without_spans;
use proptest::prelude::*;
use sheet::{parse, print};

proptest! {
    #![proptest_config(generate::cases(200))]

    #[test]
    fn what_is_printed_reads_back_as_the_same_sheet(sheet in generate::sheet()) {
        let text = print(&sheet);
        let (back, found) = parse(&text, "printed.kdl");
        prop_assert!(found.is_empty(), "{text}\n{found:#?}");
        prop_assert_eq!(without_spans(back), sheet, "{}", text);
    }

    #[test]
    fn printing_what_was_printed_changes_nothing(sheet in generate::sheet()) {
        let once = print(&sheet);
        prop_assert_eq!(print(&parse(&once, "").0), once);
    }
}

#[test]
fn the_canonical_form_of_a_sheet_stays_as_it_was_released() {
    let (sheet, _) = parse(include_str!("samples/every-kind.kdl"), "every-kind.kdl");
    assert_eq!(
        print(&sheet),
        include_str!("samples/every-kind.canonical.kdl")
    );
}
