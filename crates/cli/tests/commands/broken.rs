//! What people get wrong: the exact words for each, on standard error and as JSON.
//!
//! The cases stand in `broken.txt`: a command, its exit code, and what is said. `[...]` in a line
//! stands for anything, where the rest of the line grows with the program.

use serde_json::Value;

use crate::run::{Ended, document, keys, run};

struct Case {
    words: Vec<String>,
    code: i32,
    says: String,
}

fn cases() -> Vec<Case> {
    let mut list: Vec<Case> = Vec::new();
    for line in include_str!("broken.txt").lines() {
        if let Some(words) = line.strip_prefix("$ ") {
            list.push(Case {
                words: words_of(words),
                code: -1,
                says: String::new(),
            });
        } else if let Some(case) = list.last_mut() {
            match line.strip_prefix("exit ") {
                Some(code) if case.code == -1 => case.code = code.parse().expect("a code"),
                _ if line.starts_with("# ") || line.is_empty() => {}
                _ => {
                    case.says += line;
                    case.says += "\n";
                }
            }
        }
    }
    list
}

/// Words parted by blanks; double quotes hold one together.
fn words_of(line: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut quoted = false;
    for c in line.chars() {
        match c {
            '"' => quoted = !quoted,
            ' ' if !quoted => words.push(String::new()),
            c => words.last_mut().expect("never empty").push(c),
        }
    }
    words
}

/// Whether the lines are the same, `[...]` standing for anything.
fn same(expected: &str, got: &str) -> bool {
    expected.lines().count() == got.lines().count()
        && expected.lines().zip(got.lines()).all(|(expected, got)| {
            match expected.split_once("[...]") {
                Some((before, after)) => {
                    got.len() >= before.len() + after.len()
                        && got.starts_with(before)
                        && got.ends_with(after)
                }
                None => expected == got,
            }
        })
}

#[test]
fn each_mistake_is_told_in_the_words_of_the_table() {
    let cases = cases();
    assert!(cases.len() >= 40, "{} cases", cases.len());
    let mut wrong = String::new();
    for case in &cases {
        let ended = run(&case.words);
        assert!(!ended.err.contains("panicked"), "{}", ended.err);
        if ended.code != case.code || !ended.out.is_empty() || !same(&case.says, &ended.err) {
            wrong += &format!(
                "\n{:?} ended with {} instead of {}, out {:?}, and said:\n{}instead of:\n{}",
                case.words, ended.code, case.code, ended.out, ended.err, case.says
            );
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}

#[test]
fn each_mistake_is_one_document_with_the_same_words() {
    for mut case in cases() {
        case.words.push("--json".to_owned());
        let ended = run(&case.words);
        assert_eq!(ended.code, case.code, "{:?}: {}", case.words, ended.out);
        let document = document(&ended);
        assert_eq!(keys(&document), ["error", "errors"], "{:?}", case.words);
        let errors = document["errors"].as_array().expect("a list");
        assert_eq!(errors.first(), Some(&document["error"]));
        let said: String = errors.iter().map(as_text).collect();
        // The line itself and its mark are for people only.
        let without_source: String = case
            .says
            .lines()
            .filter(|l| !l.starts_with("    "))
            .map(|l| format!("{l}\n"))
            .collect();
        assert!(
            same(&without_source, &said),
            "{:?}:\n{said}instead of:\n{without_source}",
            case.words
        );
    }
}

/// A complaint of the contract's shape in the words for people; fails on any other shape.
fn as_text(error: &Value) -> String {
    for key in keys(error) {
        assert!(
            ["message", "file", "line", "column", "help"].contains(&key),
            "{error}"
        );
    }
    let text = |key: &str| error[key].as_str().unwrap_or_default();
    let mut said = String::new();
    if error["line"].is_u64() {
        let (line, column) = (&error["line"], &error["column"]);
        said += &format!("{}:{line}:{column}: ", text("file"));
    }
    assert_ne!(text("message"), "", "{error}");
    assert_ne!(text("help"), "", "{error}");
    said + &format!("{}\n  {}\n", text("message"), text("help"))
}

#[test]
fn a_group_alone_tells_its_verbs() {
    let ended = run(&["sheet"]);
    assert_eq!(ended.code, 2);
    assert!(ended.err.contains("check") && ended.err.contains("print"));
    let ended = run(&["sheet", "--json"]);
    assert_eq!(ended.code, 2);
    assert_eq!(keys(&document(&ended)), ["error", "errors"]);
}

#[test]
fn asking_for_help_is_no_mistake() {
    for words in [
        &["--help"][..],
        &["board", "expect", "--help"],
        &["--version"],
    ] {
        let Ended { code, out, err } = run(words);
        assert_eq!((code, err.as_str()), (0, ""));
        assert!(!out.is_empty());
    }
}

#[cfg(unix)]
#[test]
fn a_word_that_is_not_text_is_told_and_not_stumbled_over() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    let odd = OsStr::from_bytes(b"caf\xe9");
    // A file may be called so.
    let ended = run(&[OsStr::new("board"), OsStr::new("expect"), odd]);
    assert_eq!(ended.code, 2);
    assert_eq!(
        ended.err,
        "There is no file `caf\u{fffd}`.\n  Check the name, and the folder that you are in.\n"
    );
    // A fault may not.
    let words = ["board", "expect", "divider.kdl", "--with"].map(OsStr::new);
    let ended = run(&[&words[..], &[odd]].concat());
    assert_eq!(ended.code, 2);
    assert_eq!(
        ended.err,
        "A word of the command line is not UTF-8 text.\n  Only names of files may hold other bytes.\n"
    );
}

#[test]
fn checking_a_sheet_with_mistakes_gives_them_in_both_places() {
    let ended = run(&[
        "sheet",
        "check",
        "five-mistakes.kdl",
        "divider.kdl",
        "--json",
    ]);
    assert_eq!(ended.code, 2);
    let document = document(&ended);
    assert_eq!(keys(&document), ["error", "errors", "sheets"]);
    assert_eq!(document["errors"].as_array().map(Vec::len), Some(4));
    assert_eq!(document["sheets"][0]["errors"], document["errors"]);
    assert_eq!(
        document["sheets"][1]["errors"].as_array().map(Vec::len),
        Some(0)
    );
}
