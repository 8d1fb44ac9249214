//! The rules of the house: who may import whom, who may touch the world, how a file looks.
//!
//! Each rule is itself tested: a breach is planted in a copy of the project, and must be found.

mod architecture;
mod doors;
mod imports;
mod manifest;
mod rust;
mod shape;
mod tree;
mod words;

use std::fmt;

use tree::Tree;

/// A place where a rule is broken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Breach {
    /// File, from the project's root.
    pub file: String,
    /// Line, counted from 1.
    pub line: usize,
    /// Which rule, and how.
    pub what: String,
}

impl fmt::Display for Breach {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}: {}", self.file, self.line, self.what)
    }
}

/// Every breach of every rule.
fn breaches(tree: &Tree) -> Vec<Breach> {
    [
        imports::breaches,
        doors::breaches,
        words::breaches,
        shape::breaches,
        architecture::breaches,
    ]
    .iter()
    .flat_map(|rule| rule(tree))
    .collect()
}

/// The breaches of a copy that the project itself has not.
fn new_breaches(copy: &Tree, known: &[Breach]) -> Vec<Breach> {
    let mut found = breaches(copy);
    found.retain(|b| !known.contains(b));
    found
}

fn listed(found: &[Breach]) -> String {
    found.iter().map(|b| format!("\n{b}")).collect()
}

#[test]
fn the_project_keeps_the_rules_of_the_house() {
    let tree = Tree::read(&tree::root());
    assert!(
        tree.crates().len() >= 10,
        "the crates were not found: {:?}",
        tree.crates()
    );
    let found = breaches(&tree);
    assert!(found.is_empty(), "{}", listed(&found));
}

/// A breach to plant: a file, what is written there (appended, unless the file is new), and a
/// piece of what must be said about it.
struct Planted {
    file: &'static str,
    text: &'static str,
    said: &'static str,
}

const fn plant(file: &'static str, text: &'static str, said: &'static str) -> Planted {
    Planted { file, text, said }
}

const PLANTED: &[Planted] = &[
    // Imports, by manifest in each way of writing it, and by path.
    plant(
        "crates/sheet/Cargo.toml",
        "\n[dependencies]\nrecord.workspace = true\n",
        "sheet may not import record",
    ),
    plant(
        "crates/units/Cargo.toml",
        "\n[dependencies]\nsheet = { path = \"../sheet\" }\n",
        "units may not import sheet",
    ),
    plant(
        "crates/web/Cargo.toml",
        "\n[dependencies]\nnumbers = { package = \"predict\", path = \"../predict\" }\n",
        "web may not import predict",
    ),
    plant(
        "crates/cli/Cargo.toml",
        "\n[dependencies.solve]\nworkspace = true\n",
        "cli may not import solve",
    ),
    plant(
        "crates/solve/Cargo.toml",
        "\n[target.'cfg(unix)'.dependencies]\nunits.workspace = true\n",
        "solve may not import units",
    ),
    plant(
        "crates/record/Cargo.toml",
        "\n[dev-dependencies]\nbench.workspace = true\n",
        "record may not import bench",
    ),
    plant(
        "crates/diagnose/Cargo.toml",
        "\n[build-dependencies]\npredict.workspace = true\n",
        "diagnose may not import predict",
    ),
    plant(
        "crates/cli/src/shortcut.rs",
        "//! A short cut.\n\nuse predict::Board;\n",
        "cli may not import predict",
    ),
    plant(
        "crates/web/src/shortcut.rs",
        "//! A short cut.\n\nfn f() {\n    let _ = ::circuit::VT;\n}\n",
        "web may not import circuit",
    ),
    plant(
        "crates/bench/src/backdoor.rs",
        "//! A back door.\n\npub use predict::Board;\n",
        "bench hands on predict",
    ),
    plant(
        "crates/novelty/Cargo.toml",
        "[package]\nname = \"novelty\"\n",
        "novelty has no row in the import table",
    ),
    // The world.
    plant(
        "crates/bench/src/peek.rs",
        "//! A peek.\n\nuse std::{fs, io};\n",
        "bench may not open files",
    ),
    plant(
        "crates/record/src/peek.rs",
        "//! A peek.\n\nfn f() {\n    let _ = File::open(\"x\");\n}\n",
        "record may not open files",
    ),
    plant(
        "crates/cli/src/listen.rs",
        "//! An ear.\n\nuse std::net::TcpListener;\n",
        "cli may not open sockets",
    ),
    plant(
        "crates/predict/src/clock.rs",
        "//! A clock.\n\nfn f() {\n    let _ = std::time::Instant::now();\n}\n",
        "predict may not read clocks",
    ),
    plant(
        "crates/solve/src/clock.rs",
        "//! A clock.\n\nuse std::time::SystemTime;\n",
        "solve may not read clocks",
    ),
    // Words.
    plant(
        "crates/solve/src/word.rs",
        "//! Steps towards the diode's knee.\n",
        "`diode` is a word of electronics",
    ),
    plant(
        "crates/solve/src/word.rs",
        "//! Steps.\n\nfn f(baseVoltage: f64) {}\n",
        "`voltage` is a word of electronics",
    ),
    plant(
        "crates/solve/src/word.rs",
        "//! Steps.\n\nconst MAX_AMPS: f64 = 1.0;\n",
        "`amps` is a word of electronics",
    ),
    // The look of a file.
    plant(
        "crates/units/src/bare.rs",
        "/// Says nothing of itself.\npub struct Bare;\n",
        "begins without a `//!` sentence",
    ),
    plant(
        "crates/units/src/half.rs",
        "//! not a sentence\n",
        "begins without a `//!` sentence",
    ),
    plant(
        "crates/units/src/later.rs",
        "//! Later.\n\nfn f() {\n    todo!()\n}\n",
        "`todo!` is unfinished work",
    ),
    plant(
        "crates/units/tests/skipped.rs",
        "//! Skipped.\n\n#[test]\n#[ignore]\nfn f() {}\n",
        "`#[ignore]` hides a test",
    ),
    plant(
        "crates/units/src/string_utils.rs",
        "//! Strings.\n",
        "`utils` says nothing",
    ),
    // The page about it.
    plant(
        "crates/exact/Cargo.toml",
        "[package]\nname = \"exact\"\n",
        "says nothing of exact",
    ),
];

#[test]
fn every_planted_breach_is_found() {
    let clean = Tree::read(&tree::root());
    let known = breaches(&clean);
    for planted in PLANTED {
        let found = new_breaches(&clean.with(planted.file, planted.text), &known);
        assert!(
            found
                .iter()
                .any(|b| b.file == planted.file && b.what.contains(planted.said)
                    || b.file == "ARCHITECTURE.md" && b.what.contains(planted.said)),
            "{} in {} was not found among:{}",
            planted.said,
            planted.file,
            listed(&found)
        );
    }
}

#[test]
fn a_breach_on_disk_is_found() {
    let copy = tree::copy("house");
    std::fs::write(
        copy.join("crates/solve/src/planted.rs"),
        "//! A breach: `solve` asks the sheet.\n\nuse sheet::Sheet;\n",
    )
    .expect("the copy can be written to");
    let found = new_breaches(&Tree::read(&copy), &breaches(&Tree::read(&tree::root())));
    std::fs::remove_dir_all(&copy).expect("the copy can be removed");
    let [only] = &found[..] else {
        panic!("one breach was planted:{}", listed(&found));
    };
    assert_eq!(
        only.to_string(),
        "crates/solve/src/planted.rs:3: solve may not import sheet"
    );
}

#[test]
fn what_only_looks_like_a_breach_is_none() {
    let clean = Tree::read(&tree::root());
    let known = breaches(&clean);
    for (file, text) in [
        // Comments and strings open nothing.
        (
            "crates/bench/src/innocent.rs",
            "//! Opens no std::fs::File.\n\n// Not Instant::now either.\nconst S: &str = \"std::fs and \\\" File::open\";\nconst R: &str = r#\"a \" std::fs\"#;\nconst C: char = '\"';\nfn f<'a>(x: &'a str) -> &'a str { x }\n",
        ),
        // A module of one's own may share its name with a crate.
        (
            "crates/cli/src/innocent.rs",
            "//! Uses a module of the facade.\n\nuse bench::signal;\n\nfn f() {\n    signal::measure();\n}\n",
        ),
        // An enum may have a variant called File.
        (
            "crates/bench/src/innocent.rs",
            "//! An enum.\n\nenum Chosen {\n    File(String),\n}\n\nfn f() -> Chosen {\n    Chosen::File(String::new())\n}\n",
        ),
        // Words that only contain a word of electronics.
        (
            "crates/solve/src/innocent.rs",
            "//! Revolting examples of amplitude, at the current iterate.\n",
        ),
    ] {
        let found = new_breaches(&clean.with(file, text), &known);
        assert!(found.is_empty(), "in {text:?}:{}", listed(&found));
    }
}

#[test]
fn a_file_too_long_is_found() {
    let clean = Tree::read(&tree::root());
    let long = format!("//! Long.\n{}", "\n// And so on.".repeat(599));
    let found = new_breaches(
        &clean.with("crates/units/src/long.rs", &long),
        &breaches(&clean),
    );
    assert_eq!(found.len(), 1, "{}", listed(&found));
    assert!(found[0].what.starts_with("601 lines"), "{}", found[0]);
}
