//! The fewest physical elements that explain every wrong bit exactly.
//!
//! Any explanation of a wrong bit must contain an element on that bit's own path, so the search branches over these
//! elements only, at the wrong bit that has fewest, and deepens until the first size that succeeds. A set of wrong
//! bits whose paths share no element proves that as many elements are needed. See `docs/shape-file.md` for the model
//! and for what is left out on large stores.

mod path;
mod plausible;
mod remedy;
mod search;

pub use path::{Path, Scratch};
pub use search::{Explanations, explain};

use crate::shape::Word;
use crate::wiring::Wiring;

/// What a store should hold and what was read from it, at one time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frame {
    /// Name of the time: the step of a march test, or empty.
    pub name: String,
    /// Content by address, as it should be.
    pub content: Vec<Word>,
    /// Addresses whose content is known.
    pub content_known: Vec<bool>,
    /// Words read, by address.
    pub read: Vec<Word>,
    /// Bits that were read, and read steadily, by address.
    pub known: Vec<Word>,
}

impl Frame {
    /// A frame in which everything was read, from words by address.
    pub fn complete(wiring: &Wiring, content: &[Word], read: &[Word]) -> Self {
        let mut known = vec![0; wiring.space()];
        let mut content_known = vec![false; wiring.space()];
        for a in wiring.addresses() {
            known[*a as usize] = wiring.shape().mask();
            content_known[*a as usize] = true;
        }
        Self {
            name: String::new(),
            content: content.to_vec(),
            content_known,
            read: read.to_vec(),
            known,
        }
    }

    /// Bits known to be wrong at an address.
    pub fn wrong(&self, address: u32) -> Word {
        let a = address as usize;
        if self.content_known[a] {
            (self.content[a] ^ self.read[a]) & self.known[a]
        } else {
            0
        }
    }
}

/// A frame as the search uses it: content in pulses.
struct Seen {
    pulses: Vec<Word>,
    content_known: Vec<bool>,
    read: Vec<Word>,
    known: Vec<Word>,
}

impl Seen {
    fn new(wiring: &Wiring, frame: &Frame) -> Self {
        Self {
            pulses: frame.content.iter().map(|w| wiring.sensed(*w)).collect(),
            content_known: frame.content_known.clone(),
            read: frame.read.clone(),
            known: frame.known.clone(),
        }
    }

    /// The bits of one read that the path does not give as they were read; none where the path leads to words whose
    /// content is not known.
    fn unexplained(&self, path: &Path, address: u32, scratch: &mut Scratch) -> Word {
        let read = path.read(&self.pulses, address, scratch);
        let a = address as usize;
        if scratch
            .words
            .iter()
            .all(|w| self.content_known[*w as usize])
        {
            (read ^ self.read[a]) & self.known[a]
        } else {
            0
        }
    }
}

/// How far a search may go.
pub struct Limits<'q> {
    /// Sets of faults to list at most.
    pub explanations: usize,
    /// Sets of more faults than this are not looked for; then there may be no explanation.
    pub largest: usize,
    /// Sets of faults to try at most.
    pub trials: u64,
    /// Asked now and then; `false` stops the search.
    pub go_on: &'q dyn Fn() -> bool,
}

impl Default for Limits<'_> {
    fn default() -> Self {
        Self {
            explanations: 2000,
            largest: usize::MAX,
            trials: 2_000_000,
            go_on: &|| true,
        }
    }
}
