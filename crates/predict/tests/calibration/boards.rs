//! The boards that are drawn and read: those of the demo, those of the outside check, and a generated one.

use std::path::{Path, PathBuf};

use circuit::meter::Function;
use circuit::{Node, State};
use predict::{Board, random};
use rand::Rng;
use sheet::Sheet;
use sheet::device::Devices;

/// A board in both states.
pub struct Bench {
    /// The sheet.
    pub sheet: Sheet,
    /// Without supplies.
    pub cold: Board,
    /// With them.
    pub powered: Board,
}

/// Where the leads are.
#[derive(Clone, Debug)]
pub struct Place {
    /// For messages.
    pub name: String,
    /// Red lead.
    pub red: Node,
    /// Black lead.
    pub black: Node,
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// The folder of generated boards, which is not part of the project; says loudly when it is absent.
pub fn generated() -> Option<PathBuf> {
    let folder = std::env::var_os("KNOWNGOOD_DATA")
        .map_or_else(|| root().join("../shared/data"), PathBuf::from)
        .join("boards");
    if folder.is_dir() {
        return Some(folder);
    }
    eprintln!(
        "NOT CHECKED: {} is absent; set KNOWNGOOD_DATA to the folder of the data",
        folder.display()
    );
    None
}

/// All boards.
pub fn all() -> Vec<Bench> {
    let mut files: Vec<PathBuf> = ["crates/bench/demo/sheets", "tests/outside/boards"]
        .iter()
        .flat_map(|folder| {
            let folder = root().join(folder);
            std::fs::read_dir(&folder)
                .unwrap_or_else(|e| panic!("{}: {e}", folder.display()))
                .map(|entry| entry.expect("the folder can be read").path())
        })
        .filter(|path| path.extension().is_some_and(|e| e == "kdl"))
        .collect();
    files.sort();
    assert!(files.len() >= 8, "{files:?}");
    files.extend(generated().map(|folder| folder.join("board60.kdl")));
    files.iter().map(|file| Bench::read(file)).collect()
}

impl Bench {
    fn read(file: &Path) -> Self {
        let text =
            std::fs::read_to_string(file).unwrap_or_else(|e| panic!("{}: {e}", file.display()));
        let name = file.display().to_string();
        let (sheet, diagnostics) = sheet::parse(&text, &name);
        let mistakes: Vec<String> = diagnostics
            .iter()
            .filter(|d| d.is_error())
            .map(ToString::to_string)
            .collect();
        assert!(mistakes.is_empty(), "{}", mistakes.join("\n"));
        let board = |state| {
            Board::new(circuit::build(&sheet, Devices::shipped(), state))
                .unwrap_or_else(|e| panic!("{name}: {e}"))
        };
        Self {
            cold: board(State::Cold),
            powered: board(State::Powered),
            sheet,
        }
    }

    /// Up to `count` places: half against ground, half between any two nets, the same every time.
    pub fn places(&self, function: Function, count: usize) -> Vec<Place> {
        let mut g = random::stream(77, self.sheet.parts.len() as u64 * 8 + function as u64);
        let nets = self.sheet.nets.len() as Node;
        let ground = self.sheet.ground().map_or(0, |n| n.0);
        let mut list: Vec<Place> = Vec::new();
        for k in 0..4 * count {
            let first = g.random_range(0..nets);
            let second = if k % 2 == 0 {
                ground
            } else {
                g.random_range(0..nets)
            };
            let (red, black) = if g.random_bool(0.5) {
                (first, second)
            } else {
                (second, first)
            };
            let new = !list.iter().any(|p| (p.red, p.black) == (red, black));
            if red == black || !new || list.len() == count {
                continue;
            }
            let net = |n: Node| &self.sheet.nets[n as usize].name;
            list.push(Place {
                name: format!(
                    "{} {function:?} {} {}",
                    self.sheet.name,
                    net(red),
                    net(black)
                ),
                red,
                black,
            });
        }
        list
    }
}
