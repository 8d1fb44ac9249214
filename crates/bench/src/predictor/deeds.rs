//! What may be wrong, as deeds on this sheet's circuit: variants that do the same share one.

use std::collections::HashMap;

use circuit::{Fault, Node};
use diagnose::{Change, Deed, deed};
use sheet::Sheet;

/// What a variant of a change does, found on this sheet.
#[derive(Clone, Debug)]
pub(super) enum Done {
    Fault(Fault),
    Exchange(Node, Node),
    /// This unit has not the part.
    Nothing,
}

/// All changes and what they do.
#[derive(Clone, Debug, Default)]
pub(super) struct Deeds {
    pub changes: Vec<Change>,
    /// Each variant's number among all different deeds.
    cells: Vec<Vec<usize>>,
    /// The different deeds.
    pub done: Vec<Done>,
    /// Their texts.
    pub words: Vec<String>,
    /// Of each deed those that do the same and more, one to either side: where they move nothing,
    /// it does not, as a reading of parts that only take power falls or rises with each of them.
    pub bounds: Vec<Vec<usize>>,
    /// The first so many are always considered; those after them depend on what was read.
    pub fixed: usize,
    /// Changes that are always considered.
    first: usize,
}

impl Deeds {
    /// The changes that are always considered, and those that what was read proposes.
    pub fn new(always: Vec<Change>, proposed: Vec<Change>, sheet: &Sheet) -> Self {
        let mut known: HashMap<String, usize> = HashMap::new();
        let mut found = Self::default();
        let mut number = |change: &Change| -> Vec<usize> {
            let magnitudes = change.magnitudes.iter().map(|m| Some(*m));
            let each: Vec<Option<f64>> = match change.magnitudes.len() {
                0 => vec![None],
                _ => magnitudes.collect(),
            };
            each.into_iter()
                .map(|magnitude| {
                    let deed = deed(change, magnitude);
                    *known.entry(format!("{deed:?}")).or_insert_with_key(|text| {
                        found.done.push(done(&deed, sheet));
                        found.words.push(text.clone());
                        found.done.len() - 1
                    })
                })
                .collect()
        };
        let mut cells: Vec<Vec<usize>> = always.iter().map(&mut number).collect();
        let fixed = cells.iter().flatten().max().map_or(0, |d| d + 1);
        cells.extend(proposed.iter().map(&mut number));
        found.bounds = bounds(&known, found.done.len());
        found.first = always.len();
        found.changes = always;
        found.changes.extend(proposed);
        found.cells = cells;
        found.fixed = fixed;
        found
    }

    /// The same that are always considered, with other proposals.
    pub fn with(&self, proposed: Vec<Change>, sheet: &Sheet) -> Self {
        Self::new(self.always().to_vec(), proposed, sheet)
    }

    /// Changes that are always considered.
    pub fn always(&self) -> &[Change] {
        &self.changes[..self.first]
    }

    /// Changes that what was read proposes.
    pub fn proposed(&self) -> &[Change] {
        &self.changes[self.first..]
    }

    /// The deed of a variant of a change.
    pub fn of(&self, (change, variant): (usize, usize)) -> usize {
        self.cells[change][variant]
    }

    /// The deeds of all magnitudes of each change, in their order.
    pub fn by_change(&self) -> impl Iterator<Item = (&Change, &[usize])> {
        let cells = self.cells.iter().map(Vec::as_slice);
        self.changes.iter().zip(cells)
    }
}

/// A drift lies between open and short, a leak short of a short.
fn bounds(known: &HashMap<String, usize>, count: usize) -> Vec<Vec<usize>> {
    let mut found = vec![Vec::new(); count];
    for (text, deed) in known {
        let fault = text
            .strip_prefix("Fault(\"")
            .and_then(|t| t.strip_suffix("\")"));
        let Some((part, mode)) = fault.and_then(|t| t.split_once(' ')) else {
            continue;
        };
        let wider: &[&str] = match mode.split_once('=') {
            Some(("high" | "low", _)) => &["open", "short"],
            Some(("leaky", _)) => &["short"],
            _ => continue,
        };
        let all: Option<Vec<usize>> = wider
            .iter()
            .map(|m| {
                known
                    .get(&format!("{:?}", Deed::Fault(format!("{part} {m}"))))
                    .copied()
            })
            .collect();
        found[*deed] = all.unwrap_or_default();
    }
    found
}

fn done(deed: &Deed, sheet: &Sheet) -> Done {
    match deed {
        Deed::Fault(text) => Fault::parse(text, sheet).map_or(Done::Nothing, Done::Fault),
        Deed::Exchange(a, b) => match (sheet.net(a), sheet.net(b)) {
            (Some(a), Some(b)) => Done::Exchange(a.0, b.0),
            _ => Done::Nothing,
        },
    }
}
