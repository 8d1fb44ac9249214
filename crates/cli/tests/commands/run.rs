//! Runs the program in the folder of samples.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

/// How a run ended.
#[derive(Clone, Debug, PartialEq)]
pub struct Ended {
    /// Exit code.
    pub code: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

/// Runs `knowngood` with these words in the folder of samples.
pub fn run<S: AsRef<OsStr>>(words: &[S]) -> Ended {
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/commands/samples");
    let output = Command::new(env!("CARGO_BIN_EXE_knowngood"))
        .args(words)
        .current_dir(samples)
        .output()
        .expect("the program starts");
    Ended {
        code: output.status.code().expect("the program is not killed"),
        out: String::from_utf8(output.stdout).expect("output is UTF-8"),
        err: String::from_utf8(output.stderr).expect("errors are UTF-8"),
    }
}

/// Runs with `--json`; asserts exit code 0 and returns the one document.
pub fn json(words: &[&str]) -> Value {
    let ended = run(&[words, &["--json"]].concat());
    assert_eq!(ended.code, 0, "{words:?}: {}{}", ended.out, ended.err);
    document(&ended)
}

/// The only thing on standard output is one line that is one JSON document.
pub fn document(ended: &Ended) -> Value {
    assert_eq!(ended.err, "", "nothing but the document");
    assert_eq!(ended.out.matches('\n').count(), 1, "{}", ended.out);
    serde_json::from_str(&ended.out).unwrap_or_else(|e| panic!("{e}: {}", ended.out))
}

/// Writes a file of a test's own and returns its path.
pub fn file(name: &str, text: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("commands");
    std::fs::create_dir_all(&folder).expect("the folder can be made");
    let path = folder.join(format!("{}-{name}", std::process::id()));
    std::fs::write(&path, text).expect("the file can be written");
    path
}

/// Member of an object, as a number.
pub fn number(row: &Value, key: &str) -> f64 {
    row[key]
        .as_f64()
        .unwrap_or_else(|| panic!("{key} of {row} is no number"))
}

/// Member of an object, as text.
pub fn text<'a>(row: &'a Value, key: &str) -> &'a str {
    row[key]
        .as_str()
        .unwrap_or_else(|| panic!("{key} of {row} is no text"))
}

/// Names of an object's members, in order of the alphabet.
pub fn keys(row: &Value) -> Vec<&str> {
    let mut keys: Vec<&str> = row
        .as_object()
        .unwrap_or_else(|| panic!("{row} is no object"))
        .keys()
        .map(String::as_str)
        .collect();
    keys.sort_unstable();
    keys
}

/// Within a fraction of what is wanted.
pub fn near(got: f64, wanted: f64, fraction: f64) {
    assert!(
        (got - wanted).abs() <= fraction * wanted.abs(),
        "{got} is not {wanted} within {fraction}"
    );
}
