//! The verbs of the group `memory`.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use bench::Refused;
use bench::memory::{self, Source, Store, Writing};
use clap::{Args, Subcommand};

use crate::{files, output};

/// Verbs about stores.
#[derive(Debug, Subcommand)]
pub enum MemoryVerb {
    /// Reads of a store held against a reference, another unit, or each other; what explains the wrong bits.
    Dump {
        /// Reads: hex text, CSV, colon records, S-records or binary. `UNIT=FILE` says which unit was read; a `*` in FILE
        /// stands for anything, as in 1=1-read-*.hex. Without a
        /// reference the first file, or the first unit, is what the others are held against.
        #[arg(required = true)]
        reads: Vec<String>,
        /// What the store should hold.
        #[arg(long, value_name = "FILE")]
        reference: Option<PathBuf>,
        /// What all verbs take.
        #[command(flatten)]
        common: Common,
    },
    /// The log of a march test; what explains the failures.
    Plane {
        /// Log: CSV with the columns step, address, expected, read.
        log: PathBuf,
        /// What all verbs take.
        #[command(flatten)]
        common: Common,
    },
    /// March tests with what they are sure to find; with --test, the operations for a store.
    March {
        /// Shape file of the store.
        #[arg(long, value_name = "FILE")]
        shape: Option<PathBuf>,
        /// A test by its name, or worst, worst-inverse: the patterns of most half-select noise.
        #[arg(long, value_name = "NAME", requires = "shape")]
        test: Option<String>,
        /// A complete first read of the store, which has been kept.
        #[arg(long, value_name = "FILE")]
        saved: Option<PathBuf>,
        /// The store holds nothing worth keeping.
        #[arg(long)]
        nothing_to_save: bool,
        /// One JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
    /// Words by the fields that the shape file names; of two units, the fields that differ.
    Words {
        /// Reads of the store, as for `memory dump`; `UNIT=FILE` says which unit was read.
        #[arg(required = true)]
        reads: Vec<String>,
        /// Only words that hold this value (hexadecimal) in this field; may be given again.
        #[arg(long, value_name = "FIELD=VALUE")]
        find: Vec<String>,
        /// What all verbs take.
        #[command(flatten)]
        common: Common,
    },
    /// Two captured sequences of micro-addresses: where they part, and which bit of which word made them.
    Follow {
        /// Reads of the store in both units, as UNIT=FILE.
        #[arg(required = true)]
        reads: Vec<String>,
        /// A captured sequence: addresses in order, or CSV with a column `address`. Once for each unit.
        #[arg(long, value_name = "UNIT=FILE", required = true)]
        sequence: Vec<String>,
        /// What all verbs take.
        #[command(flatten)]
        common: Common,
    },
    /// A map of passes and failures over two parameters: margins and drift.
    Map {
        /// CSV: two parameters and errors.
        map: PathBuf,
        /// The working point, such as 380,210; not needed if the map has a line `# at 380,210`.
        #[arg(long, value_name = "A,B", value_parser = point)]
        at: Option<(f64, f64)>,
        /// An earlier map.
        #[arg(long, value_name = "FILE")]
        earlier: Option<PathBuf>,
        /// One JSON document instead of text.
        #[arg(long)]
        json: bool,
    },
}

/// What verbs about a store take.
#[derive(Debug, Args)]
pub struct Common {
    /// Shape file: how the store is built.
    #[arg(long, value_name = "FILE")]
    shape: PathBuf,
    /// Addresses are decimal.
    #[arg(long)]
    decimal: bool,
    /// The least significant byte of a word comes first (records and binary files).
    #[arg(long)]
    low_byte_first: bool,
    /// Binary words follow each other bit by bit.
    #[arg(long)]
    packed: bool,
    /// Use the good lines of a file in spite of bad ones.
    #[arg(long)]
    lenient: bool,
    /// One JSON document instead of text.
    #[arg(long)]
    json: bool,
}

impl Common {
    fn writing(&self) -> Writing {
        Writing {
            decimal: self.decimal,
            low_byte_first: self.low_byte_first,
            packed: self.packed,
            lenient: self.lenient,
        }
    }
}

fn point(text: &str) -> Result<(f64, f64), String> {
    let wrong = || "give two numbers, such as 380,210".to_owned();
    let (a, b) = text.split_once(',').ok_or_else(wrong)?;
    let number = |s: &str| {
        s.trim()
            .parse::<f64>()
            .ok()
            .filter(|x| x.is_finite())
            .ok_or_else(wrong)
    };
    Ok((number(a)?, number(b)?))
}

/// Runs a verb.
pub fn run(verb: MemoryVerb) -> ExitCode {
    match verb {
        MemoryVerb::Dump {
            reads,
            reference,
            common,
        } => {
            let view = dump(&reads, reference.as_deref(), &common);
            answer(view, common.json)
        }
        MemoryVerb::Plane { log, common } => {
            let view = store(&common.shape)
                .and_then(|s| memory::plane(&s, &source(&log, None)?, common.writing(), &|| true));
            answer(view, common.json)
        }
        MemoryVerb::March {
            shape,
            test,
            saved,
            nothing_to_save,
            json,
        } => match (shape, test) {
            (Some(shape), Some(test)) => {
                let view = operations(&shape, &test, saved.as_deref(), nothing_to_save);
                output::answer(view, json, memory::MarchView::to_csv)
            }
            _ => output::answer(Ok(memory::march()), json, |t| memory::march_text(t)),
        },
        MemoryVerb::Words {
            reads,
            find,
            common,
        } => {
            let view = store(&common.shape)
                .and_then(|s| memory::words(&s, &all(&reads)?, &find, common.writing()));
            if let Ok(view) = &view
                && !common.json
            {
                output::skipped(&view.skipped);
            }
            output::answer(view, common.json, memory::WordsView::to_text)
        }
        MemoryVerb::Follow {
            reads,
            sequence,
            common,
        } => {
            let view = store(&common.shape).and_then(|s| {
                let (reads, sequences) = (all(&reads)?, all(&sequence)?);
                memory::follow_sequences(&s, &reads, &sequences, common.writing())
            });
            output::answer(view, common.json, memory::FollowView::to_text)
        }
        MemoryVerb::Map {
            map,
            at,
            earlier,
            json,
        } => {
            let view = files::read(&map).and_then(|map| {
                let earlier = earlier.as_deref().map(files::read).transpose()?;
                memory::pass_map(&map, earlier.as_ref(), at)
            });
            output::answer(view, json, memory::MapView::to_text)
        }
    }
}

fn answer(view: Result<memory::StoreView, Refused>, json: bool) -> ExitCode {
    if let Ok(view) = &view
        && !json
    {
        output::skipped(&view.skipped);
    }
    output::answer(view, json, memory::StoreView::to_text)
}

fn store(shape: &Path) -> Result<Store, Refused> {
    Store::read(&files::read(shape)?)
}

fn source(path: &Path, unit: Option<&str>) -> Result<Source, Refused> {
    let file = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|e| {
        Refused::input(
            format!("`{file}` cannot be read: {e}."),
            "Check the name, and that the file may be read.",
        )
    })?;
    Ok(Source {
        file,
        unit: unit.map(str::to_owned),
        bytes,
    })
}

/// A read as it was named: a file, or `UNIT=FILE` where no file has that whole name.
fn named(text: &str) -> Result<Source, Refused> {
    match text.split_once('=') {
        Some((unit, file)) if !Path::new(text).exists() => source(Path::new(file), Some(unit)),
        _ => source(Path::new(text), None),
    }
}

/// Files as they were named; in `UNIT=FILE` a `*` in the file's name stands for anything, because no shell fills it in
/// behind `UNIT=`.
fn all(reads: &[String]) -> Result<Vec<Source>, Refused> {
    let mut sources = Vec::new();
    for text in reads {
        match text.split_once('=') {
            Some((unit, pattern)) if pattern.contains('*') && !Path::new(text).exists() => {
                for path in filled(Path::new(pattern))? {
                    sources.push(source(&path, Some(unit))?);
                }
            }
            _ => sources.push(named(text)?),
        }
    }
    Ok(sources)
}

/// The files that a name with one `*` in it stands for, in order.
fn filled(pattern: &Path) -> Result<Vec<PathBuf>, Refused> {
    let none = || {
        Refused::input(
            format!("No file is called `{}`.", pattern.display()),
            "Check the folder, and write one `*` in the name of the file, as in 1=control/1-read-*.hex.",
        )
    };
    let name = pattern
        .file_name()
        .and_then(|n| n.to_str())
        .ok_or_else(none)?;
    let (before, after) = name.split_once('*').ok_or_else(none)?;
    let folder = match pattern.parent() {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    };
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let fits = |n: &str| {
        n.len() >= before.len() + after.len() && n.starts_with(before) && n.ends_with(after)
    };
    let mut found: Vec<PathBuf> = entries
        .filter(|e| e.file_name().to_str().is_some_and(fits) && e.path().is_file())
        .map(|e| e.path())
        .collect();
    found.sort();
    if found.is_empty() {
        Err(none())
    } else {
        Ok(found)
    }
}

fn dump(
    reads: &[String],
    reference: Option<&Path>,
    common: &Common,
) -> Result<memory::StoreView, Refused> {
    let store = store(&common.shape)?;
    let sources = all(reads)?;
    let reference = reference.map(|r| source(r, None)).transpose()?;
    memory::dump(
        &store,
        sources,
        reference.as_ref(),
        common.writing(),
        &|| true,
    )
}

fn operations(
    shape: &Path,
    test: &str,
    saved: Option<&Path>,
    nothing: bool,
) -> Result<memory::MarchView, Refused> {
    let store = store(shape)?;
    let saved = saved.map(|s| source(s, None)).transpose()?;
    let permit = store.permit(saved.as_ref(), nothing, Writing::default())?;
    memory::patterns(&store, test, &permit)
}
