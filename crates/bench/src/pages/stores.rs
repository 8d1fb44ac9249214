//! A store of the project: what explains its wrong bits, where they lie, and whether it may be written.

mod causes;

use crate::memory::picture::Layout;
use crate::memory::{
    DifferenceView, FollowView, Held, MapView, Source, Store, Writing, differing, dump, followed,
    held, pass_map, plane, sequence,
};
use crate::refused::{Complaint, Refused};
use crate::stores::{Role, StoreFile, StoreText, role};
use crate::{Text, memory};

pub use causes::{Cause, Element, Finding, Picture};

/// A store, as far as its files tell.
#[derive(Clone, Debug)]
pub struct View {
    /// Its name.
    pub name: String,
    /// How it is built, in words.
    pub built: String,
    /// It can be written, so that what it holds can be lost.
    pub is_written: bool,
    /// The units, in the order of the project.
    pub units: Vec<UnitView>,
    /// What the reads say, and what the logs of march tests say; parts without files are left out.
    pub parts: Vec<Part>,
    /// The store itself with its layouts by address and by position; none without a usable shape file.
    pub drawn: Option<(Store, [Layout; 2])>,
    /// Fields of micro-words in which the first two units differ.
    pub differences: Vec<DifferenceView>,
    /// Where the captured sequences of the first two units part.
    pub parting: Option<FollowView>,
    /// Maps of passes and failures: the unit, and the last map held against the one before.
    pub maps: Vec<(String, MapView)>,
    /// What could not be used.
    pub remarks: Vec<Complaint>,
}

/// What was read of one unit.
#[derive(Clone, Debug, PartialEq)]
pub struct UnitView {
    /// The unit.
    pub name: String,
    /// Reads of the store.
    pub reads: usize,
    /// Whether what it held is kept.
    pub kept: Kept,
}

/// Whether what a store held when it came is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Kept {
    /// A read-only store: nothing can be lost by writing.
    Fixed,
    /// By this file: the first complete read.
    By(String),
    /// No: writes are blocked, and why.
    Blocked {
        /// What is missing.
        why: String,
        /// A march test was run nevertheless.
        is_written: bool,
    },
}

/// What files of one kind say, of all units.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// `Reads` or `March tests`.
    pub title: &'static str,
    /// What a bit, and bits, that are marked do: `is wrong`, `are wrong`.
    pub verb: [&'static str; 2],
    /// The bits, a picture a unit.
    pub pictures: Vec<Picture>,
    /// What was found, in the order of units.
    pub findings: Vec<Finding>,
}

/// The files of a store, by what they are for.
#[derive(Default)]
struct Sorted {
    reference: Option<Source>,
    reads: Vec<Source>,
    logs: Vec<Source>,
    maps: Vec<(String, Text)>,
    sequences: Vec<Source>,
}

/// Looks at a store. Never fails as a whole: files that cannot be used become remarks. `go_on` is asked during long
/// searches; `false` ends them, and the findings say so.
pub fn store(text: &StoreText, units: &[String], go_on: &dyn Fn() -> bool) -> View {
    let mut view = View {
        name: text.name.clone(),
        built: String::new(),
        is_written: false,
        units: Vec::new(),
        parts: Vec::new(),
        drawn: None,
        differences: Vec::new(),
        parting: None,
        maps: Vec::new(),
        remarks: Vec::new(),
    };
    let Some(shape) = &text.shape else {
        view.remarks.push(Complaint::new(
            format!(
                "There is no shape file stores/{}.kdl: nothing says how the bits are wired.",
                text.name
            ),
            "Write one; docs/shape-file.md has samples.",
        ));
        return view;
    };
    let store = match Store::read(shape) {
        Ok(store) => store,
        Err(refused) => {
            view.remarks.extend_from_slice(refused.complaints());
            return view;
        }
    };
    view.built = store.built();
    view.is_written = store.is_written();
    let sorted = sort(&store, text, units, &mut view.remarks);
    view.units = units.iter().map(|u| unit(&store, u, &sorted)).collect();
    let mut skipped = Vec::new();
    let by_unit = held(&store, &sorted.reads, LENIENT, &mut skipped).unwrap_or_default();
    view.parts
        .extend(reads(&store, &sorted, &by_unit, units, go_on));
    view.parts.extend(logs(&store, &sorted, units, go_on));
    if let [first, second, ..] = &by_unit[..] {
        if store.has_fields() {
            view.differences = differing(&store, first, second);
        }
        view.parting = parting(&store, [first, second], &sorted, &mut view.remarks);
    }
    maps(&sorted, units, &mut view);
    let layouts = [store.by_address(), store.by_position()];
    view.drawn = Some((store, layouts));
    view
}

/// Whether a file can be used as what its name says.
///
/// # Errors
/// Why not.
pub fn check(text: &StoreText, units: &[String], file: &StoreFile) -> Result<(), Refused> {
    let shape = text.shape.as_ref().ok_or_else(|| {
        Refused::input(
            "The store has no shape file.",
            "Write one; docs/shape-file.md has samples.",
        )
    })?;
    let store = Store::read(shape)?;
    let source = Source {
        file: file.file.clone(),
        unit: None,
        bytes: file.bytes.to_vec(),
    };
    match role(&file.file, units) {
        Some(Role::Map(_)) => {
            let text = Text {
                file: file.file.clone(),
                text: String::from_utf8_lossy(&file.bytes).into_owned(),
            };
            pass_map(&text, None, None).map(|_| ())
        }
        Some(Role::Sequence(_)) => sequence(&store, &source, Writing::default()).map(|_| ()),
        Some(Role::Reference | Role::Reads(_)) => match store.look(&source)? {
            (_, bad) if !bad.is_empty() => Err(Refused::Input(bad)),
            _ => Ok(()),
        },
        None => Err(Refused::input(
            "The file belongs to no unit.",
            "Choose the unit that was read.",
        )),
    }
}

const LENIENT: Writing = Writing {
    decimal: false,
    low_byte_first: false,
    packed: false,
    lenient: true,
};

fn sort(store: &Store, text: &StoreText, units: &[String], remarks: &mut Vec<Complaint>) -> Sorted {
    let mut sorted = Sorted::default();
    for file in &text.files {
        let source = |unit: Option<&String>| Source {
            file: file.file.clone(),
            unit: unit.cloned(),
            bytes: file.bytes.to_vec(),
        };
        match role(&file.file, units) {
            None => remarks.push(Complaint {
                file: Some(file.file.clone()),
                ..Complaint::new(
                    "The name of this file begins with no unit.",
                    "Name it after its unit, as in 2-first.hex, or reference.hex for what the store should hold.",
                )
            }),
            Some(Role::Reference) => sorted.reference = Some(source(None)),
            Some(Role::Map(unit)) => match String::from_utf8(file.bytes.to_vec()) {
                Ok(text) => sorted.maps.push((
                    unit,
                    Text {
                        file: file.file.clone(),
                        text,
                    },
                )),
                Err(_) => remarks.push(not_text(file)),
            },
            Some(Role::Sequence(unit)) => sorted.sequences.push(source(Some(&unit))),
            Some(Role::Reads(unit)) => {
                let source = source(Some(&unit));
                match store.look(&source) {
                    Ok((is_log, skipped)) => {
                        remarks.extend(skipped);
                        if is_log {
                            sorted.logs.push(source);
                        } else {
                            sorted.reads.push(source);
                        }
                    }
                    Err(refused) => remarks.extend_from_slice(refused.complaints()),
                }
            }
        }
    }
    // Units in the project's order, whatever their files are called.
    let place = |s: &Source| units.iter().position(|u| Some(u) == s.unit.as_ref());
    sorted.reads.sort_by_key(place);
    sorted.logs.sort_by_key(place);
    sorted
}

fn not_text(file: &StoreFile) -> Complaint {
    Complaint {
        file: Some(file.file.clone()),
        ..Complaint::new("The file is not UTF-8 text.", "Save it as UTF-8.")
    }
}

fn of_unit<'s>(sources: &'s [Source], unit: &str) -> impl Iterator<Item = &'s Source> {
    let unit = unit.to_owned();
    sources
        .iter()
        .filter(move |s| s.unit.as_ref() == Some(&unit))
}

fn unit(store: &Store, name: &str, sorted: &Sorted) -> UnitView {
    let mut kept = Kept::Fixed;
    if store.is_written() {
        let mut why = "No read of it is kept.".to_owned();
        let first = of_unit(&sorted.reads, name).find(|source| {
            let permit = store.permit(Some(source), false, LENIENT);
            if let Err(refused) = &permit {
                why = refused.complaints()[0].message.clone();
            }
            permit.is_ok()
        });
        kept = match first {
            Some(source) => Kept::By(source.file.clone()),
            None => Kept::Blocked {
                why,
                is_written: of_unit(&sorted.logs, name).next().is_some(),
            },
        };
    }
    UnitView {
        name: name.to_owned(),
        reads: of_unit(&sorted.reads, name).count(),
        kept,
    }
}

fn clones(sources: &[Source], unit: &str) -> Vec<Source> {
    of_unit(sources, unit).cloned().collect()
}

fn reads(
    store: &Store,
    sorted: &Sorted,
    by_unit: &[Held],
    units: &[String],
    go_on: &dyn Fn() -> bool,
) -> Option<Part> {
    if sorted.reads.is_empty() {
        return None;
    }
    let mut part = Part {
        title: "Reads",
        verb: ["is wrong", "are wrong"],
        pictures: Vec::new(),
        findings: Vec::new(),
    };
    if let Some(reference) = &sorted.reference {
        let stored = store.one(reference);
        for unit in units {
            let own = clones(&sorted.reads, unit);
            if own.is_empty() {
                continue;
            }
            if let Ok(view) = dump(store, own, Some(reference), LENIENT, go_on) {
                part.pictures.push(Picture::of(store, unit, &view));
                let title = format!("Unit {unit} held against the reference");
                let contents = [(unit.as_str(), stored.as_deref())];
                let finding = Finding::of(store, title, Some(unit), &view, &contents);
                part.findings.push(finding);
            }
        }
        return Some(part);
    }
    part.verb = ["differs", "differ"];
    part.pictures = causes::differing_pictures(store, by_unit);
    let view = dump(store, sorted.reads.clone(), None, LENIENT, go_on).ok()?;
    // The store of a unit that would have failed should hold what the other one reads; where that is unsteady, what its
    // own reads say.
    let full = |h: &Held, own: &Held| -> Vec<u128> {
        let word = |a: usize| {
            let (word, other) = (h.words[a].unwrap_or(0), own.words[a].unwrap_or(0));
            word & !h.unsteady[a] | other & h.unsteady[a]
        };
        (0..h.words.len()).map(word).collect()
    };
    let (title, contents) = match by_unit {
        [first, second, ..] => (
            format!(
                "Unit {} and unit {} held against each other",
                first.unit, second.unit
            ),
            vec![
                (first.unit.as_str(), Some(full(second, first))),
                (second.unit.as_str(), Some(full(first, second))),
            ],
        ),
        [only] => (
            format!("Reads of unit {} held against each other", only.unit),
            vec![(only.unit.as_str(), Some(full(only, only)))],
        ),
        [] => return None,
    };
    let contents: Vec<(&str, Option<&[u128]>)> =
        contents.iter().map(|(u, c)| (*u, c.as_deref())).collect();
    let only = (by_unit.len() == 1).then(|| by_unit[0].unit.as_str());
    let mut finding = Finding::of(store, title, only, &view, &contents);
    finding.is_alone = only.is_some();
    part.findings.push(finding);
    Some(part)
}

fn logs(
    store: &Store,
    sorted: &Sorted,
    units: &[String],
    go_on: &dyn Fn() -> bool,
) -> Option<Part> {
    let mut part = Part {
        title: "March tests",
        verb: ["fails", "fail"],
        pictures: Vec::new(),
        findings: Vec::new(),
    };
    for unit in units {
        // The last log is how the unit is now.
        let Some(log) = of_unit(&sorted.logs, unit).last() else {
            continue;
        };
        let Ok(view) = plane(store, log, LENIENT, go_on) else {
            continue;
        };
        part.pictures.push(Picture::of(store, unit, &view));
        let title = format!("March test of unit {unit}");
        part.findings.push(Finding::of(
            store,
            title,
            Some(unit),
            &view,
            &[(unit.as_str(), None)],
        ));
    }
    (!part.findings.is_empty()).then_some(part)
}

fn parting(
    store: &Store,
    units: [&Held; 2],
    sorted: &Sorted,
    remarks: &mut Vec<Complaint>,
) -> Option<FollowView> {
    let mut read = |unit: &Held| -> Option<Vec<u32>> {
        let source = of_unit(&sorted.sequences, &unit.unit).last()?;
        match sequence(store, source, Writing::default()) {
            Ok(addresses) => Some(addresses),
            Err(refused) => {
                remarks.extend_from_slice(refused.complaints());
                None
            }
        }
    };
    let (first, second) = (read(units[0]), read(units[1]));
    Some(followed(store, units, [&first?, &second?]))
}

fn maps(sorted: &Sorted, units: &[String], view: &mut View) {
    for unit in units {
        let own: Vec<&Text> = sorted
            .maps
            .iter()
            .filter(|(u, _)| u == unit)
            .map(|(_, t)| t)
            .collect();
        let Some((now, before)) = own.split_last() else {
            continue;
        };
        match pass_map(now, before.last().copied(), None) {
            Ok(map) => view.maps.push((unit.clone(), map)),
            Err(refused) => view.remarks.extend_from_slice(refused.complaints()),
        }
    }
}

/// The operations of a march test for a unit whose first read is kept, as CSV.
///
/// # Errors
/// If writing is blocked, or the test is not known.
pub fn march_csv(
    text: &StoreText,
    units: &[String],
    unit: &str,
    test: &str,
) -> Result<String, Refused> {
    let shape = text.shape.as_ref().ok_or_else(|| {
        Refused::input(
            "The store has no shape file.",
            "Write one; docs/shape-file.md has samples.",
        )
    })?;
    let store = Store::read(shape)?;
    let sorted = sort(&store, text, units, &mut Vec::new());
    let whole = of_unit(&sorted.reads, unit)
        .find(|s| store.permit(Some(s), false, LENIENT).is_ok())
        .or_else(|| of_unit(&sorted.reads, unit).next());
    let permit = store.permit(whole, false, LENIENT)?;
    Ok(memory::patterns(&store, test, &permit)?.to_csv())
}
