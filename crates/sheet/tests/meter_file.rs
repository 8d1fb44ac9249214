//! Mistakes in a meter file are reported where they stand, with what would mend them, and cost their profile alone.

use proptest::prelude::*;
use sheet::meter::Meter;

/// Reads `text` and compares every diagnostic, written as `line:column message | mend`.
#[track_caller]
fn check(text: &str, expected: &[&str]) {
    let (meters, mistakes) = Meter::parse(text, "meter.kdl");
    let found: Vec<String> = mistakes
        .iter()
        .map(|m| {
            let place = m.place.as_ref().expect("a place");
            format!("{}:{} {} | {}", place.line, place.column, m.message, m.help)
        })
        .collect();
    assert_eq!(found, expected);
    assert!(
        meters.iter().all(|m| m.name == "good"),
        "a profile with a mistake was kept: {meters:?}"
    );
}

#[test]
fn the_good_profiles_of_a_file_are_kept() {
    let text = "meter good { volts ohms=1e7 }\nmeter bad { volts }\n";
    let (meters, mistakes) = Meter::parse(text, "meter.kdl");
    assert_eq!(meters.len(), 1);
    assert_eq!(mistakes.len(), 1);
}

#[test]
fn every_mistake_has_its_sentence_and_its_mend() {
    check(
        "metre A { volts ohms=1e7 }",
        &["1:1 A meter file has no `metre`. | Did you mean `meter`?"],
    );
    check(
        "meter { volts ohms=1e7 }",
        &[
            "1:1 Meter has no name. | Write it so: meter NAME { ohms { ... }; diode ...; volts ... }",
        ],
    );
    check(
        "meter A",
        &[
            "1:1 The meter A measures nothing. | Write it so: meter NAME { ohms { ... }; diode ...; volts ... }",
        ],
    );
    check(
        "meter A { amps ohms=1 }",
        &["1:11 A meter has no `amps`. | It may have: ohms, diode, volts."],
    );
    check(
        "meter A { volt ohms=1 }",
        &["1:11 A meter has no `volt`. | Did you mean `volts`?"],
    );
    check(
        "meter A { volts ohms=1e7; volts ohms=1e6 }",
        &[
            "1:27 The meter A has `volts` twice. | Keep one of the two; all ranges of ohms stand in one pair of braces.",
        ],
    );
    check(
        "meter A { ohms }",
        &[
            "1:11 `ohms` has no range. | Write it so: ohms { range \"2k\" amps=1e-3 limit=3.0 accuracy=\"0.3%\" floor=\"1R\" }",
        ],
    );
    check(
        "meter A { ohms { rang \"2k\" amps=1e-3 limit=3 } }",
        &[
            "1:11 `ohms` has no range. | Write it so: ohms { range \"2k\" amps=1e-3 limit=3.0 accuracy=\"0.3%\" floor=\"1R\" }",
            "1:18 `ohms` has no `rang`. | Did you mean `range`?",
        ],
    );
    check(
        "meter A { ohms { range x1 amps=1e-3 limit=3 } }",
        &[
            "1:24 The name of the range `x1` is not its full scale in ohms. | Name it after the largest resistance it shows, such as \"2k\".",
        ],
    );
    check(
        "meter A { ohms { range \"2k\" amps=1e-3 } }",
        &[
            "1:18 Range 2k has no `limit=`. | Write it so: range \"2k\" amps=1e-3 limit=3.0 accuracy=\"0.3%\" floor=\"1R\"",
        ],
    );
    check(
        "meter A { ohms { range \"2k\" limit=3 } }",
        &[
            "1:18 Range 2k has no `amps=`. | Write it so: range \"2k\" amps=1e-3 limit=3.0 accuracy=\"0.3%\" floor=\"1R\"",
        ],
    );
    check(
        "meter A { ohms { range amps=1e-3 limit=3 } }",
        &[
            "1:18 Range has no name. | Write it so: range \"2k\" amps=1e-3 limit=3.0 accuracy=\"0.3%\" floor=\"1R\"",
        ],
    );
    check(
        "meter A { ohms { range \"2k\" amps=0 limit=3 } }",
        &[
            "1:29 `amps` of range 2k must be above zero, and `0` is not. | Write a value such as \"0.6A\".",
        ],
    );
    check(
        "meter A { ohms { range \"2k\" amps=1e-3 limit=3 floor=-1 } }",
        &[
            "1:47 `floor` of range 2k must not be negative, and `-1` is not. | Write a value such as \"4k7\".",
        ],
    );
    check(
        "meter A { ohms { range \"2k\" amps=1e-3 limit=3 accuracy=\"x\" } }",
        &["1:47 `x` cannot be read as per cent. | Write a share such as accuracy=\"5%\"."],
    );
    check(
        "meter A { ohms { range \"2k\" amps=1e-3 limit=3 acuracy=\"1%\" } }",
        &["1:47 Range 2k has no property `acuracy`. | Did you mean `accuracy`?"],
    );
    check(
        "meter A { ohms { range \"2k\" amps=1e-3 limit=3; range x1 source=15 open=1.5 } }",
        &[
            "1:48 Ranges with `amps=` and ranges with `source=` stand in one meter. | Write two meters, one for each way of measuring.",
        ],
    );
    check(
        "meter A { ohms { range x1 source=15 } }",
        &[
            "1:18 Range x1 has no `open=`. | Write it so: range x1 source=\"15R\" open=1.5 full=\"1k5\" reversed=#true accuracy=\"5%\"",
        ],
    );
    check(
        "meter A { ohms { range x1 open=1.5 } }",
        &[
            "1:18 Range x1 has no `source=`. | Write it so: range x1 source=\"15R\" open=1.5 full=\"1k5\" reversed=#true accuracy=\"5%\"",
        ],
    );
    check(
        "meter A { ohms { range x1 source=15 open=1.5 reversed=yes } }",
        &[
            "1:46 `reversed` of range x1 is neither true nor false: `yes`. | Write reversed=#true or reversed=#false.",
        ],
    );
    check(
        "meter A { diode amps=1e-3 }",
        &[
            "1:11 Diode has no `limit=`. | Write it so: diode amps=1e-3 limit=2.5 accuracy=\"0.5%\" floor=\"1m\"",
        ],
    );
    check(
        "meter A { diode amps=\"1 V\" limit=2 }",
        &["1:17 `1 V` is in volts, but amperes are wanted here. | Write a value such as \"0.6A\"."],
    );
    check(
        "meter A { volts ohms-per-volt=\"20k\" }",
        &[
            "1:11 Volts has no `range=`. | Write it so: volts ohms-per-volt=\"20k\" range=50 accuracy=\"3%\" max=1000",
        ],
    );
    check(
        "meter A { volts accuracy=\"1%\" }",
        &[
            "1:11 Volts has no `ohms=`. | Write it so: volts ohms=\"10M\" accuracy=\"0.3%\" floor=\"1m\" max=600",
        ],
    );
    check(
        "meter A { volts ohms=1e7 accuracy=\"-1%\" }",
        &[
            "1:11 `accuracy` of volts must not be negative. | Write a share such as accuracy=\"0.5%\".",
        ],
    );
    check(
        "meter good { volts ohms=1e7 }\nmeter good { volts ohms=1e6 }",
        &["2:1 The meter good stands in the file twice. | Give one of the two another name."],
    );
    check(
        "meter A { volts ohms=10M }",
        &[
            "1:22 `10M` starts with a digit and is not a plain number, so it must be quoted. | Quote it: \"10M\".",
        ],
    );
    check(
        "meter good { volts ohms=1e7",
        &[
            "1:12 The brace opened on line 1 is never closed. | Add a `}` on a line of its own where it ends.",
        ],
    );
}

proptest! {
    #[test]
    fn no_text_makes_it_panic(text in "[a-z0-9 {};=\"#%.\\n-]{0,120}") {
        let _ = Meter::parse(&text, "meter.kdl");
    }

    #[test]
    fn no_mangled_profile_makes_it_panic(cut in 0usize..400, insert in "[{}\"=;#a-z0-9 ]{0,4}") {
        let good = "meter A { ohms { range \"2k\" amps=1e-3 limit=3.0 accuracy=\"0.3%\" floor=\"1R\" }; \
                    diode amps=1e-3 limit=2.5; volts ohms-per-volt=\"20k\" range=50 max=1000 }\n";
        let at = cut.min(good.len());
        let text = format!("{}{insert}{}", &good[..at], &good[at..]);
        let _ = Meter::parse(&text, "meter.kdl");
    }
}
