//! Explanations as a page tells them: grouped by what no read can tell apart, each with the bits that it touches.

use crate::memory::{
    ExplanationView, Held, MapRow, MeasurementView, PartView, Store, StoreView, VoteView, WeakView,
};

/// The bits of one unit by address: steadily wrong, and unsteady.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// The unit.
    pub unit: String,
    /// Steadily wrong bits.
    pub wrong: Vec<u128>,
    /// Unsteady bits.
    pub unsteady: Vec<u128>,
}

/// What was found in one unit, or between two.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// What was held against what.
    pub title: String,
    /// Reads of one unit, held against each other: nothing says what is wrong.
    pub is_alone: bool,
    /// Words that were compared.
    pub words: u64,
    /// Wrong bits.
    pub wrong: u64,
    /// Unsteady bits.
    pub unsteady: u64,
    /// What explains the wrong bits, the likeliest first.
    pub causes: Vec<Cause>,
    /// Explanations beyond those.
    pub more: usize,
    /// Fewer elements than these cannot explain them.
    pub fewest: bool,
    /// No other set of so few elements does.
    pub complete: bool,
    /// What explains the unsteady bits.
    pub weak: Vec<WeakView>,
    /// Votes on unsteady bits, with their address.
    pub votes: Vec<(u32, VoteView)>,
    /// What to measure next.
    pub next: Vec<MeasurementView>,
    /// How the files were used.
    pub note: Option<String>,
    /// Words that read zero and should not.
    pub zero_words: Vec<u32>,
}

/// One element of a cause.
#[derive(Clone, Debug, PartialEq)]
pub struct Element {
    /// Its likeliest name.
    pub name: String,
    /// The kind of difference.
    pub class: &'static str,
    /// Wrong bits that stay if it is left out.
    pub explains: u64,
    /// Where it lies on the drawing, in the shape file's own units; empty if that does not say.
    pub place: String,
    /// The bits that read otherwise without it, by address.
    pub touched: Vec<u128>,
}

/// Elements that explain all wrong bits, with what no read tells from them.
#[derive(Clone, Debug, PartialEq)]
pub struct Cause {
    /// Its elements.
    pub elements: Vec<Element>,
    /// Other names for the same reads.
    pub alike: Vec<String>,
    /// Wrong bits explained.
    pub explains: u64,
    /// Wrong bits left, and right ones spoiled.
    pub leaves: u64,
    /// Probability of all these names together.
    pub probability: f64,
    /// The unit that would have failed.
    pub unit: Option<String>,
}

/// Causes that a page lists.
const LISTED: usize = 8;
/// Elements of a cause that can be pointed at.
const POINTED: usize = 12;

impl Picture {
    /// The bits that a view calls wrong or unsteady.
    pub fn of(store: &Store, unit: &str, view: &StoreView) -> Self {
        let mut picture = Self {
            unit: unit.to_owned(),
            wrong: vec![0; store.space()],
            unsteady: vec![0; store.space()],
        };
        let word = |bits: &[u8]| bits.iter().fold(0u128, |w, b| w | 1 << b);
        for row in &view.map {
            picture.wrong[row.address as usize] = word(&row.wrong);
            picture.unsteady[row.address as usize] = word(&row.unstable);
        }
        picture
    }
}

/// Pictures of units that are held against each other: the same bits differ in both, each has its own unsteady ones.
pub(super) fn differing_pictures(store: &Store, units: &[Held]) -> Vec<Picture> {
    let others = |n: usize| units.iter().enumerate().filter(move |(m, _)| *m != n);
    let wrong = |n: usize, a: usize| {
        others(n).fold(0, |all, (_, other)| {
            match (units[n].words[a], other.words[a]) {
                (Some(x), Some(y)) => all | (x ^ y) & !units[n].unsteady[a] & !other.unsteady[a],
                _ => all,
            }
        })
    };
    let picture = |n: usize| Picture {
        unit: units[n].unit.clone(),
        wrong: (0..store.space()).map(|a| wrong(n, a)).collect(),
        unsteady: units[n].unsteady.clone(),
    };
    (0..units.len()).map(picture).collect()
}

impl Finding {
    /// A finding of one unit, or of two where `unit` is none; `contents` says what each unit's store should hold, if
    /// that is known.
    pub(super) fn of(
        store: &Store,
        title: String,
        unit: Option<&str>,
        view: &StoreView,
        contents: &[(&str, Option<&[u128]>)],
    ) -> Self {
        let mut groups: Vec<(usize, Vec<&ExplanationView>)> = Vec::new();
        for e in &view.explanations {
            match groups.iter_mut().find(|(g, _)| *g == e.group) {
                Some((_, all)) => all.push(e),
                None => groups.push((e.group, vec![e])),
            }
        }
        let more = groups.len().saturating_sub(LISTED);
        groups.truncate(LISTED);
        let causes = groups
            .iter()
            .map(|(_, all)| cause(store, unit, all, contents))
            .collect();
        let votes = |row: &MapRow| {
            let address = row.address;
            row.votes.clone().into_iter().map(move |v| (address, v))
        };
        Self {
            title,
            is_alone: false,
            words: view.words,
            wrong: view.wrong,
            unsteady: view.unstable,
            causes,
            more,
            fewest: view.fewest,
            complete: view.complete,
            weak: view.weak.clone(),
            votes: view.map.iter().flat_map(votes).collect(),
            next: view.next.clone(),
            note: view.note.clone(),
            // Between two units nothing says which of them should not be zero.
            zero_words: match unit {
                Some(_) => view.zero_words.clone(),
                None => Vec::new(),
            },
        }
    }
}

fn cause(
    store: &Store,
    unit: Option<&str>,
    all: &[&ExplanationView],
    contents: &[(&str, Option<&[u128]>)],
) -> Cause {
    let first = all[0];
    let blamed = first
        .blames
        .as_deref()
        .and_then(|b| b.strip_prefix("unit "))
        .or(unit);
    let stored = contents
        .iter()
        .find(|(u, _)| Some(*u) == blamed)
        .and_then(|(_, c)| *c);
    let place = |part: &PartView| {
        let points = part.position.iter().flatten();
        let points: Vec<String> = points.map(|(x, y)| format!("{x}, {y}")).collect();
        points.join(" to ")
    };
    // Of hundreds of single bits not each is pointed at.
    let element = |(n, part): (usize, &PartView)| Element {
        name: part.element.clone(),
        class: part.class,
        explains: part.explains,
        place: place(part),
        touched: match first.faults.get(n) {
            Some(_) if n < POINTED => store.touched(&first.faults, n, stored),
            _ => Vec::new(),
        },
    };
    Cause {
        elements: first.parts.iter().enumerate().map(element).collect(),
        alike: all[1..].iter().map(|e| e.elements.join(", and ")).collect(),
        explains: first.explains,
        leaves: first.leaves,
        probability: all.iter().map(|e| e.probability).sum(),
        unit: blamed.map(str::to_owned),
    }
}
