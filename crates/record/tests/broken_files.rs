//! Every mistake in a readings or pairs file is reported with its place, a sentence and a mend, all in one pass.

mod board;

use record::{Known, parse_pairs, parse_readings};
use sheet::meter::Meter;
use sheet::{Diagnostic, Sheet};

const HEADER: &str =
    "unit,state,kind,red,black,value,meter,note,place,lifted,unplugged,celsius,minutes";

/// What names are held against, without a machine file.
fn known(sheet: &Sheet) -> Known<'_> {
    Known {
        sheet,
        meters: Meter::shipped(),
        units: None,
    }
}

fn lines(diagnostics: &[Diagnostic]) -> Vec<String> {
    let line = |d: &Diagnostic| {
        let place = d.place.as_ref().expect("a place");
        let grade = if d.is_error() { "" } else { "doubt: " };
        format!(
            "{}:{} {grade}{} | {}",
            place.line, place.column, d.message, d.help
        )
    };
    diagnostics.iter().map(line).collect()
}

/// A whole file; each diagnostic as `line:column message | mend`.
#[track_caller]
fn file(text: &str, expected: &[&str]) {
    let sheet = board::sheet();
    assert_eq!(
        lines(&parse_readings(text, "r.csv", &known(&sheet)).1),
        expected
    );
}

/// One row below the full header; it is kept exactly if no diagnostic is an error.
#[track_caller]
fn row(row: &str, expected: &[&str]) {
    let sheet = board::sheet();
    let (readings, found) = parse_readings(&format!("{HEADER}\n{row}\n"), "r.csv", &known(&sheet));
    assert_eq!(lines(&found), expected);
    assert_eq!(
        readings.len(),
        usize::from(found.iter().all(|d| !d.is_error()))
    );
}

/// A pairs file.
#[track_caller]
fn pairs(text: &str, expected: &[&str]) {
    let sheet = board::sheet();
    assert_eq!(lines(&parse_pairs(text, "p.csv", &sheet).1), expected);
}

#[test]
fn headers() {
    file(
        "",
        &[
            "1:1 The file has no header. | Begin with the line unit,state,kind,red,black,value and put one row below it for each line.",
        ],
    );
    file(
        "unit,state,kind,red,black\n",
        &[
            "1:1 The header lacks value. | The first line of the file names its columns: unit,state,kind,red,black,value.",
        ],
    );
    file(
        "unit;state;kind;red;black;value\n1;cold;ohms;REF;0V;1k\n",
        &[
            "1:1 The header lacks unit, state, kind, red, black, value. | Separate the columns by commas, not semicolons.",
        ],
    );
    file(
        "unit,state,kind,red,black,value,value\n",
        &["1:33 The header has the column value twice. | Remove or rename one of the two."],
    );
    file(
        "unit,state,kind,red,black,value,notes\n",
        &["1:33 doubt: The column `notes` is not known and is ignored. | Did you mean `note`?"],
    );
    file(
        "1,cold,ohms,REF,0V,1k84\n",
        &[
            "1:1 The header lacks unit, state, kind, red, black, value. | The first line of the file names its columns: unit,state,kind,red,black,value.",
        ],
    );
    pairs(
        "",
        &[
            "1:1 The file has no header. | Begin with the line kind,red,black and put one row below it for each line.",
        ],
    );
    pairs(
        "kind,red\nohms,REF\n",
        &[
            "1:1 The header lacks black. | The first line of the file names its columns: kind,red,black.",
        ],
    );
}

#[test]
fn shapes_of_rows() {
    file(
        "unit,state,kind,red,black,value\n1,cold,ohms,REF,0V,1k,,spare\n",
        &[
            "2:24 The row has more fields than the header, which has 6. | Put quotes around a field that holds a comma.",
        ],
    );
    file(
        "unit,state,kind,red,black,value\n1,cold,ohms,REF,0V,\"1k\n1,cold,ohms,REF,0V,2k\n",
        &[
            "2:20 A quote is opened here and never closed. | Close it, or leave it out; a quote inside a quoted field is written twice.",
        ],
    );
    file(
        "unit,state,kind,red,black,value\n1,cold,ohms,REF,0V,\"1k\"5\n",
        &[
            "2:24 Something stands behind a closing quote. | Put a comma between the fields; a quote inside a quoted field is written twice.",
        ],
    );
    row(
        "1,cold,ohms,REF,0V",
        &["2:1 The row has no value. | Write the value, or OL if the meter showed over range."],
    );
    row(
        "1,cold,ohms,REF",
        &[
            "2:1 The row has no place for the black lead. | Write where it was: a net, a point or a part pin.",
            "2:1 The row has no value. | Write the value, or OL if the meter showed over range.",
        ],
    );
    row(
        ",cold,ohms,REF,0V,1k",
        &["2:1 The row has no unit. | Write which unit was measured, such as 1."],
    );
    row(
        "1,,ohms,REF,0V,1k",
        &["2:1 The row has no state. | Write cold or powered."],
    );
    row(
        "1,cold,,REF,0V,1k",
        &[
            "2:1 The row has no kind. | Write one of ohms, diode, volts, ripple, amps, capacitance, leakage.",
        ],
    );
}

#[test]
fn words() {
    row(
        "1,warm,ohms,REF,0V,1k",
        &["2:3 `warm` is no state of a circuit. | Write cold or powered."],
    );
    row(
        "1,cold,ohm,REF,0V,1k",
        &["2:8 `ohm` is no kind of reading. | Did you mean `ohms`?"],
    );
    row(
        "1,cold,sparks,REF,0V,1k",
        &[
            "2:8 `sparks` is no kind of reading. | Write one of ohms, diode, volts, ripple, amps, capacitance, leakage.",
        ],
    );
    row(
        "1,cold,ohms,REV,0V,1k",
        &["2:13 The sheet A2 has no net, point or part pin `REV`. | Did you mean `REF`?"],
    );
    row(
        "1,cold,ohms,REF,Q1,1k",
        &[
            "2:17 Q1 is a part, and a lead stands on one of its pins. | Write one of Q1.c, Q1.b, Q1.e.",
        ],
    );
    row(
        "1,cold,ohms,Q1.k,0V,1k",
        &["2:13 Q1 has no pin `k`. | Write one of Q1.c, Q1.b, Q1.e."],
    );
    row(
        "1,cold,ohms,REF,0V,1k,moving-cool",
        &["2:23 There is no meter profile `moving-cool`. | Did you mean `moving-coil`?"],
    );
    row(
        "1,cold,ohms,REF,0V,1k,,,drawer",
        &["2:25 `drawer` is no place where a board can be. | Write chassis or board-out."],
    );
    row(
        "1,cold,ohms,REF,0V,1k,,,,REF",
        &[
            "2:26 `REF` is not a part pin, and only pins are lifted. | Write pins with spaces between, such as R4.1 Q1.b.",
        ],
    );
    row(
        "1,cold,ohms,REF,0V,1k,,,,R9.1",
        &[
            "2:26 The sheet A2 has no net, point or part pin `R9.1`. | Write a net, a point or a part pin as the sheet spells it, such as Q1.b.",
        ],
    );
    row(
        "1,cold,ohms,REF,0V,1k,,,,,R1",
        &["2:27 The sheet A2 has no connector `R1`. | Did you mean `J1`?"],
    );
    row(
        "1,cold,ohms,REF,0V,1k,,,,,J2",
        &["2:27 The sheet A2 has no connector `J2`. | Did you mean `J1`?"],
    );
}

#[test]
fn values() {
    row(
        "1,cold,ohms,REF,0V,high",
        &[
            "2:20 `high` cannot be read as ohms. | Write a value such as 4k7, OL if it was over range, or 1k8..OL if it wandered.",
        ],
    );
    row(
        "1,cold,ohms,REF,0V,0.6V",
        &[
            "2:20 `0.6V` is in volts, but ohms are wanted here. | Write a value such as 4k7, OL if it was over range, or 1k8..OL if it wandered.",
        ],
    );
    row("1,cold,diode,REF,0V,1k8", &[]);
    row(
        "1,cold,ohms,REF,0V,\"1,84k\"",
        &[
            "2:20 `1,84k` has a comma where a decimal point belongs. | Write a value such as 4k7, OL if it was over range, or 1k8..OL if it wandered.",
        ],
    );
    row(
        "1,cold,ohms,REF,0V,1k8..",
        &[
            "2:20 No value is written. | Write a value such as 4k7, OL if it was over range, or 1k8..OL if it wandered.",
        ],
    );
    row(
        "1,cold,ohms,REF,0V,low..OL",
        &[
            "2:20 `low` cannot be read as ohms. | Write a value such as 4k7, OL if it was over range, or 1k8..OL if it wandered.",
        ],
    );
    row(
        "1,cold,ohms,REF,0V,-1k",
        &[
            "2:20 doubt: `-1k` is below zero, which no part is. | Something still held a charge: discharge it, prove it with volts, and read again.",
        ],
    );
    row(
        "1,cold,ohms,REF,0V,1k,,,,,,warm",
        &[
            "2:28 `warm` cannot be read as degrees Celsius. | Write celsius as a number, or leave the field empty.",
        ],
    );
    row(
        "1,cold,ohms,REF,0V,1k,,,,,,,-3",
        &["2:29 `-3` minutes cannot have passed. | Write the minutes since switch-on."],
    );
    row(
        "1,powered,ohms,REF,0V,1k",
        &[
            "2:1 doubt: Ohms and diode test are cold measurements, and this row says powered. | Write cold, unless supplies were really on.",
        ],
    );
    row(
        "1,cold,capacitance,C1.1,C1.2,470MFD",
        &["2:30 doubt: `MFD` is read as uF, as old drawings mean it. | Write uF if that is right."],
    );
}

#[test]
fn all_mistakes_of_all_rows_in_one_pass() {
    file(
        "unit,state,kind,red,black,value\n1,cold,ohms,REV,0V,1k\n1,hot,ohms,REF,OV,x\n",
        &[
            "2:13 The sheet A2 has no net, point or part pin `REV`. | Did you mean `REF`?",
            "3:3 `hot` is no state of a circuit. | Write cold or powered.",
            "3:16 The sheet A2 has no net, point or part pin `OV`. | Did you mean `0V`?",
            "3:19 `x` cannot be read as ohms. | Write a value such as 4k7, OL if it was over range, or 1k8..OL if it wandered.",
        ],
    );
}

#[test]
fn units_are_checked_only_against_a_machine_file() {
    let sheet = board::sheet();
    let text = format!("{HEADER}\n7,cold,ohms,REF,0V,1k\n");
    let (_, found) = parse_readings(&text, "r.csv", &known(&sheet));
    assert_eq!(lines(&found), [""; 0]);
    let units = ["1".to_owned(), "2".to_owned()];
    let (readings, found) = parse_readings(
        &text,
        "r.csv",
        &Known {
            units: Some(&units),
            ..known(&sheet)
        },
    );
    assert_eq!(
        lines(&found),
        ["2:1 The machine has no unit `7`. | Write one of 1, 2."]
    );
    assert_eq!(readings, []);
}

#[test]
fn pairs_have_rules_of_their_own() {
    pairs(
        "kind,red,black,state\nohms,REF,0V,warm\nvolt,REF,0V,\nohms,,0V,cold\n",
        &[
            "2:13 `warm` is no state of a circuit. | Write cold or powered.",
            "3:1 `volt` is no kind of reading. | Did you mean `volts`?",
            "4:1 The row has no place for the red lead. | Write where it was: a net, a point or a part pin.",
        ],
    );
    pairs(
        "kind,red,black,colour,value\nohms,REF,0V,green,unreadable\n",
        &[],
    );
}
