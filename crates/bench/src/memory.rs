//! Stores for the command line and the pages: bytes in, plain view data out.

mod patterns;
pub mod picture;
mod text;
mod view;
mod words;

pub use patterns::{CoverageView, MapView, MarchView, march, march_text, pass_map, patterns};
pub use text::of_hundred;
pub use view::{ExplanationView, MapRow, MeasurementView, PartView, StoreView, VoteView, WeakView};
pub use words::{DifferenceView, FollowView, WordView, WordsView, follow_sequences, words};
pub(crate) use words::{Held, differing, followed, held, sequence};

use ::memory::diagnostic::Diagnostic;
use ::memory::dump::{Comparison, compare};
use ::memory::explain::Limits;
use ::memory::fault::Fault;
use ::memory::first_read::{WritePermit, nothing_to_save, permit_writes};
use ::memory::plane::explain_log;
use ::memory::read::{Contents, LogRow, Reading, read_contents};
use ::memory::shape::{Word, read_shape};
use ::memory::votes::{Dump, Votes};
use ::memory::wiring::Wiring;

use crate::loading::Text;
use crate::refused::{Complaint, Refused};

/// A file that a reader, a terminal or a person wrote.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// Its name.
    pub file: String,
    /// The unit that it was read from, if that was said.
    pub unit: Option<String>,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// How the files are written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Writing {
    /// Addresses are decimal.
    pub decimal: bool,
    /// The least significant byte of a word comes first.
    pub low_byte_first: bool,
    /// Binary words follow each other without filling up bytes.
    pub packed: bool,
    /// Bad lines cost themselves alone.
    pub lenient: bool,
}

/// A store, by its shape file.
#[derive(Clone, Debug)]
pub struct Store {
    wiring: Wiring,
}

impl Store {
    /// Reads a shape file.
    ///
    /// # Errors
    /// All mistakes in it.
    pub fn read(shape: &Text) -> Result<Self, Refused> {
        match read_shape(&shape.text) {
            Ok(read) => Ok(Self {
                wiring: Wiring::new(read),
            }),
            Err(found) => Err(Refused::Input(complaints(
                &shape.file,
                Some(&shape.text),
                &found,
            ))),
        }
    }

    /// How it is built, in words: `woven, 96 words of 20 bits`.
    pub fn built(&self) -> String {
        let shape = self.wiring.shape();
        let words = self.wiring.addresses().len();
        format!(
            "{}, {words} words of {} bits",
            shape.organisation.word(),
            shape.bits
        )
    }

    /// Whether the machine writes it, so that what it holds can be lost.
    pub fn is_written(&self) -> bool {
        self.wiring.shape().organisation.is_writable()
    }

    /// Whether the shape file names fields of its words.
    pub fn has_fields(&self) -> bool {
        !self.wiring.shape().fields.is_empty()
    }

    /// Addresses that its address lines can express.
    pub fn space(&self) -> usize {
        self.wiring.space()
    }

    /// Whether a file is the log of a march test, and lines of it that cannot be used.
    ///
    /// # Errors
    /// If nothing of it can be used.
    pub fn look(&self, source: &Source) -> Result<(bool, Vec<Complaint>), Refused> {
        let mut skipped = Vec::new();
        let lenient = Writing {
            lenient: true,
            ..Writing::default()
        };
        let is_empty = match self.contents(source, lenient, &mut skipped)? {
            Contents::Log(log) if !log.is_empty() => return Ok((true, skipped)),
            Contents::Log(_) => true,
            Contents::Dumps(dumps) => dumps.iter().all(|d| d.words.iter().all(Option::is_none)),
        };
        if is_empty && skipped.is_empty() {
            return Err(Refused::input(
                format!("`{}` holds no word that was read.", source.file),
                "Read the store again.",
            ));
        }
        if is_empty {
            return Err(Refused::Input(skipped));
        }
        Ok((false, skipped))
    }

    /// The words of a file that holds one read; words that it lacks are zero.
    pub(crate) fn one(&self, source: &Source) -> Option<Vec<Word>> {
        let lenient = Writing {
            lenient: true,
            ..Writing::default()
        };
        let dumps = self.dumps(source, lenient, &mut Vec::new()).ok()?;
        let words = &dumps.first()?.words;
        Some(words.iter().map(|w| w.unwrap_or(0)).collect())
    }

    fn reading(&self, writing: Writing) -> Reading {
        Reading {
            decimal: writing.decimal,
            low_byte_first: writing.low_byte_first,
            packed: writing.packed,
            ..Reading::of(self.wiring.shape())
        }
    }

    fn contents(
        &self,
        source: &Source,
        writing: Writing,
        skipped: &mut Vec<Complaint>,
    ) -> Result<Contents, Refused> {
        let (contents, found) = read_contents(&source.file, &source.bytes, &self.reading(writing));
        let text = std::str::from_utf8(&source.bytes).ok();
        let list = complaints(&source.file, text, &found);
        if !list.is_empty() && !writing.lenient {
            return Err(Refused::Input(list));
        }
        skipped.extend(list);
        Ok(contents)
    }

    fn dumps(
        &self,
        source: &Source,
        writing: Writing,
        skipped: &mut Vec<Complaint>,
    ) -> Result<Vec<Dump>, Refused> {
        match self.contents(source, writing, skipped)? {
            Contents::Dumps(dumps) => Ok(dumps),
            Contents::Log(_) => Err(Refused::input(
                format!(
                    "`{}` is the log of a march test and stands among reads of the store.",
                    source.file
                ),
                "Give a log to `memory plane`, alone.",
            )),
        }
    }

    /// Leave to write into the store.
    ///
    /// # Errors
    /// If what it holds has not been kept, wholly.
    pub fn permit(
        &self,
        saved: Option<&Source>,
        nothing: bool,
        writing: Writing,
    ) -> Result<WritePermit, Refused> {
        let blocked = |e: ::memory::first_read::WritesBlocked| {
            Refused::unable(
                e.to_string(),
                "Read the whole store first, and keep that read.",
            )
        };
        match saved {
            Some(source) => {
                let dumps = self.dumps(source, writing, &mut Vec::new())?;
                permit_writes(&self.wiring, &dumps[0]).map_err(blocked)
            }
            None if nothing => nothing_to_save(&self.wiring).map_err(blocked),
            None => Err(Refused::unable(
                "Writing is blocked: what the store holds is history until it has been read and kept.",
                "Name the file of a complete first read with --saved FILE, or say --nothing-to-save.",
            )),
        }
    }
}

fn complaints(file: &str, text: Option<&str>, found: &[Diagnostic]) -> Vec<Complaint> {
    found
        .iter()
        .map(|d| Complaint {
            message: d.message.clone(),
            file: Some(file.to_owned()),
            line: Some(d.line),
            column: Some(d.column),
            help: Some(d.help.clone()),
            source_line: text
                .and_then(|t| t.lines().nth(d.line - 1))
                .map(str::to_owned),
        })
        .collect()
}

/// Holds reads of a store against a reference, against another unit, or against each other.
///
/// With a reference, all files are reads of the store in question. Without, the first file (or the first unit named) is
/// what the others are held against, but neither is believed: the side on which fewer failed elements explain the
/// differences is given, or both. One march log alone is explained as by [`plane`].
///
/// # Errors
/// Files that cannot be read.
pub fn dump(
    store: &Store,
    sources: Vec<Source>,
    reference: Option<&Source>,
    writing: Writing,
    go_on: &dyn Fn() -> bool,
) -> Result<StoreView, Refused> {
    let mut skipped = Vec::new();
    if let ([only], None) = (&sources[..], reference)
        && let Contents::Log(log) = store.contents(only, writing, &mut skipped)?
    {
        return Ok(log_view(store, &log, skipped, go_on));
    }
    skipped.clear();
    let mut reads: Vec<(Option<String>, Dump)> = Vec::new();
    for source in sources {
        // Each file's bytes are let go as soon as they are read: there may be a hundred of them.
        let dumps = store.dumps(&source, writing, &mut skipped)?;
        reads.extend(dumps.into_iter().map(|d| (source.unit.clone(), d)));
    }
    let reference = match reference {
        Some(source) => store
            .dumps(source, writing, &mut skipped)?
            .into_iter()
            .next(),
        None => None,
    };
    let mut view = match reference {
        Some(reference) => {
            let dumps: Vec<Dump> = reads.into_iter().map(|(_, d)| d).collect();
            one_sided(store, &dumps, &reference, go_on)
        }
        None => two_sided(store, reads, go_on),
    };
    view.skipped = skipped;
    view.reminder = store.is_written().then_some(
        "What this store holds is history, and the first write is the end of it: keep these reads before anything is written into it.",
    );
    Ok(view)
}

fn one_sided(
    store: &Store,
    reads: &[Dump],
    reference: &Dump,
    go_on: &dyn Fn() -> bool,
) -> StoreView {
    let limits = Limits {
        go_on,
        ..Limits::default()
    };
    let found = compare(&store.wiring, reads, reference, &limits);
    let mut view = StoreView::of(&store.wiring, &found);
    view.held_against = Some(reference.name.clone());
    view.explanations = view::explanations(&store.wiring, &[(None, &found)]);
    view.next = view::next(&store.wiring, &found.explanations);
    view
}

/// Splits reads into the side held against and the side held.
fn sides(reads: Vec<(Option<String>, Dump)>) -> (Vec<Dump>, Vec<Dump>) {
    let first = reads.first().and_then(|(unit, _)| unit.clone());
    let of_first = |n: usize, unit: &Option<String>| {
        if first.is_some() {
            *unit == first
        } else {
            n == 0
        }
    };
    let (mut against, mut held) = (Vec::new(), Vec::new());
    for (n, (unit, dump)) in reads.into_iter().enumerate() {
        if of_first(n, &unit) {
            against.push(dump);
        } else {
            held.push(dump);
        }
    }
    (against, held)
}

/// What a side is called: its unit, if it was named, else its files.
fn side_name(unit: Option<&String>, dumps: &[Dump]) -> String {
    match unit {
        Some(unit) => format!("unit {unit}"),
        None => dumps
            .iter()
            .map(|d| d.name.as_str())
            .collect::<Vec<_>>()
            .join(", "),
    }
}

/// What most reads say, as a read of its own; bits on which they disagree are taken from `else_from`.
fn majority(wiring: &Wiring, reads: &[Dump], else_from: Option<&Votes>) -> Dump {
    let votes = Votes::count(wiring, reads);
    let word = |a: usize| {
        let unsteady = votes.unstable[a];
        let other: Word = else_from.map_or(votes.majority[a], |v| v.majority[a]);
        (votes.reads[a] > 0).then_some(votes.majority[a] & !unsteady | other & unsteady)
    };
    let name = reads
        .iter()
        .map(|d| d.name.as_str())
        .collect::<Vec<_>>()
        .join(", ");
    Dump {
        name,
        words: (0..wiring.space()).map(word).collect(),
    }
}

/// Sizes of explanations tried in turn on both sides, so that the wrong side costs little.
const ROUNDS: [usize; 4] = [2, 4, 8, usize::MAX];

fn two_sided(
    store: &Store,
    reads: Vec<(Option<String>, Dump)>,
    go_on: &dyn Fn() -> bool,
) -> StoreView {
    let wiring = &store.wiring;
    let named = |is_first: bool| -> Option<String> {
        let first = reads.first()?.0.as_ref()?;
        let mut units: Vec<&String> = reads.iter().filter_map(|(u, _)| u.as_ref()).collect();
        units.retain(|u| (*u == first) == is_first);
        units.dedup();
        match &units[..] {
            [only] if reads.iter().all(|(u, _)| u.is_some()) => Some((*only).clone()),
            _ => None,
        }
    };
    let (first_unit, other_unit) = (named(true), named(false));
    let (against, held) = sides(reads);
    if held.is_empty() {
        let alone = majority(wiring, &against, None);
        let mut view = one_sided(store, &against, &alone, go_on);
        view.held_against = None;
        view.note = Some(if against.len() == 1 {
            "One read alone shows nothing wrong and nothing unsteady: read the store again, or give a reference or another unit.".to_owned()
        } else {
            "All files are reads of one unit: they show what is unsteady, not what is wrong."
                .to_owned()
        });
        return view;
    }
    let votes_held = Votes::count(wiring, &held);
    let forward_reference = majority(wiring, &against, Some(&votes_held));
    let backward_reference = majority(wiring, &held, Some(&Votes::count(wiring, &against)));
    let mut both: Vec<(String, Comparison)> = Vec::new();
    for largest in ROUNDS {
        let limits = Limits {
            go_on,
            largest,
            ..Limits::default()
        };
        let forward = compare(wiring, &held, &forward_reference, &limits);
        let backward = compare(wiring, &against, &backward_reference, &limits);
        if forward.wrong == 0
            || largest == usize::MAX
            || size(&forward).min(size(&backward)) < usize::MAX
        {
            both = vec![
                (side_name(other_unit.as_ref(), &held), forward),
                (side_name(first_unit.as_ref(), &against), backward),
            ];
            break;
        }
    }
    let mut view = StoreView::of_both(wiring, &both);
    view.held_against = both.get(1).map(|(name, _)| name.clone());
    view.note = (view.wrong > 0).then(|| {
        "The two differ; neither is the reference. Each explanation says in which of them its elements would have failed.".to_owned()
    });
    let smallest = both.iter().map(|(_, c)| size(c)).min();
    if let (Some(note), [held, against]) = (&mut view.note, &both[..]) {
        for (weak, blamed) in [(held, against), (against, held)] {
            if Some(size(&blamed.1)) == smallest {
                note.push_str(&lost_by_weak(store, weak, &blamed.1));
            }
        }
    }
    both.retain(|(_, c)| Some(size(c)) == smallest);
    let labelled: Vec<(Option<String>, &Comparison)> = both
        .iter()
        .map(|(name, c)| (Some(name.clone()), c))
        .collect();
    view.fewest = both.iter().all(|(_, c)| c.fewest);
    view.complete = both.iter().all(|(_, c)| c.complete);
    view.explanations = view::explanations(wiring, &labelled);
    let likeliest = view.explanations.first().and_then(|e| e.blames.clone());
    let side = both
        .iter()
        .find(|(name, _)| Some(name) == likeliest.as_ref())
        .or(both.first());
    view.next = side.map_or(Vec::new(), |(_, c)| view::next(wiring, &c.explanations));
    view
}

/// A sentence on single bits that one side is blamed for and a weak element of the other may have lost in every read;
/// empty if there are none.
fn lost_by_weak(store: &Store, (name, side): &(String, Comparison), blamed: &Comparison) -> String {
    let Some(first) = blamed.explanations.first() else {
        return String::new();
    };
    let single = |p: &::memory::dump::Part| match p.fault {
        Fault::Bit(word, bit, _) => Some((word as usize, bit)),
        _ => None,
    };
    let singles: Vec<(usize, u8)> = first.parts.iter().filter_map(single).collect();
    let mut says = String::new();
    for weak in side
        .weak
        .iter()
        .filter(|w| !matches!(w.fault, Fault::Bit(..)))
    {
        let may_lose = store.touched(&[weak.fault], 0, Some(&blamed.votes.majority));
        let lost = singles
            .iter()
            .filter(|(a, bit)| may_lose[*a] >> bit & 1 == 1);
        let count = lost.count();
        if count > 0 {
            says += &format!(
                " {count} of the single bits among them may be pulses that {name} lost in every read ({}): read it more often before anything is made of them.",
                weak.name
            );
        }
    }
    says
}

/// Elements of the likeliest explanation; the most there can be where there is none.
fn size(c: &Comparison) -> usize {
    c.explanations.first().map_or(usize::MAX, |e| e.parts.len())
}

/// Explains the log of a march test.
///
/// # Errors
/// Files that cannot be read, or that are no log.
pub fn plane(
    store: &Store,
    source: &Source,
    writing: Writing,
    go_on: &dyn Fn() -> bool,
) -> Result<StoreView, Refused> {
    let mut skipped = Vec::new();
    match store.contents(source, writing, &mut skipped)? {
        Contents::Log(log) => Ok(log_view(store, &log, skipped, go_on)),
        Contents::Dumps(_) => Err(Refused::input(
            format!("`{}` is not the log of a march test.", source.file),
            "A log is CSV and begins with `step,address,expected,read`; give reads of the store to `memory dump`.",
        )),
    }
}

fn log_view(
    store: &Store,
    log: &[LogRow],
    skipped: Vec<Complaint>,
    go_on: &dyn Fn() -> bool,
) -> StoreView {
    let limits = Limits {
        go_on,
        ..Limits::default()
    };
    let report = explain_log(&store.wiring, log, &limits);
    let mut view = StoreView::of_log(&store.wiring, &report);
    view.skipped = skipped;
    view
}
