//! The boards that are tried: three generated ones and the demo's.

use circuit::meter::{Function, setups};
use predict::Question;
use sheet::Sheet;
use sheet::meter::Meter;

/// A sheet to try.
pub struct Case {
    /// The sheet.
    pub sheet: Sheet,
}

fn read(path: &str) -> Option<Case> {
    let text = std::fs::read_to_string(path).ok()?;
    let (sheet, _) = sheet::parse(&text, path);
    Some(Case { sheet })
}

/// A generated board (invented data, the project's own); says loudly that it is not there if so.
pub fn generated(name: &str) -> Option<Case> {
    let beside = format!("{}/../../../shared/data", env!("CARGO_MANIFEST_DIR"));
    let root = std::env::var("KNOWNGOOD_DATA").unwrap_or(beside);
    let case = read(&format!("{root}/boards/{name}.kdl"));
    if case.is_none() {
        eprintln!("*** no generated boards at {root}: {name} WAS NOT TRIED ***");
    }
    case
}

/// The five sheets of the demo.
pub fn sheets_of_the_demo() -> Vec<Case> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../bench/demo/sheets");
    ["a1", "a2", "a3", "a4", "a5"]
        .iter()
        .map(|name| read(&format!("{folder}/{name}.kdl")).expect("the demo is there"))
        .collect()
}

/// What the shipped default meter asks.
pub fn question(function: Function) -> Question {
    let meter = Meter::shipped()
        .iter()
        .find(|m| m.name == Meter::DEFAULT)
        .expect("the default meter ships");
    let (setups, choice) = setups(meter, function).expect("it has the function");
    Question {
        function,
        setups,
        choice,
    }
}
