//! A store as a picture: where each bit lies by address and by position, and which bits an explanation touches.

use ::memory::explain::{Path, Scratch};
use ::memory::fault::Fault;
use ::memory::plant::{Chance, content};
use ::memory::shape::{Organisation, Word};

use super::Store;

/// Where the bits of a store lie: panels of cells, counted from the upper left.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// Panels from left to right: one, or one a plane.
    pub panels: Vec<Panel>,
    /// Columns of each.
    pub columns: u32,
    /// Rows of each.
    pub rows: u32,
    /// Words above columns: column, words.
    pub heads: Vec<(u32, String)>,
    /// Words before rows: row, words.
    pub sides: Vec<(u32, String)>,
    kind: Kind,
}

/// A panel of cells.
#[derive(Clone, Debug, PartialEq)]
pub struct Panel {
    /// What it is, such as `bit 3`; empty where there is only one.
    pub name: String,
    /// Cells that hold a bit.
    pub ground: Vec<Run>,
}

/// Cells side by side: column and row of the first, and how many.
pub type Run = (u32, u32, u32);

#[derive(Clone, Copy, Debug, PartialEq)]
enum Kind {
    /// Words side by side in order of address, their highest bit first.
    Address { words: u32 },
    /// One plane a bit, X across, Y down.
    Planes,
    /// Word lines down, bits across.
    Lines,
}

/// Cells that a row by address holds at most; chosen so that a bit is still seen on a phone.
const ROW: u32 = 44;

impl Store {
    /// Cells in order of address.
    pub fn by_address(&self) -> Layout {
        let bits = u32::from(self.wiring.shape().bits);
        let fit = ((ROW + 1) / (bits + 1)).max(1);
        // A power of two, so that rows begin at round addresses.
        let words = 1 << (31 - fit.leading_zeros());
        let last = self.wiring.addresses().last().copied().unwrap_or(0);
        let rows = last / words + 1;
        let heads = (0..words).map(|w| (w * (bits + 1), format!("+{w:X}")));
        let side = |r: u32| (r, format!("{:X}", r * words));
        self.filled(Layout {
            panels: Vec::new(),
            columns: words * (bits + 1) - 1,
            rows,
            heads: if words == 1 {
                Vec::new()
            } else {
                heads.collect()
            },
            sides: (0..rows).step_by(4).map(side).collect(),
            kind: Kind::Address { words },
        })
    }

    /// Cells where they lie in the store.
    pub fn by_position(&self) -> Layout {
        let shape = self.wiring.shape();
        let every = |lines: u32, step: usize, name: &str| -> Vec<(u32, String)> {
            (0..lines)
                .step_by(step)
                .map(|n| (n, format!("{name}{n}")))
                .collect()
        };
        let layout = if shape.organisation == Organisation::CoincidentCurrent {
            let (x, y) = (shape.axes[0].lines, shape.axes[1].lines);
            Layout {
                panels: Vec::new(),
                columns: x,
                rows: y,
                heads: vec![(0, "X0".to_owned())],
                sides: every(y, 5, "Y"),
                kind: Kind::Planes,
            }
        } else {
            let lines = shape.axes[0].lines;
            Layout {
                panels: Vec::new(),
                columns: u32::from(shape.bits),
                rows: lines,
                heads: vec![(0, "bit 0".to_owned())],
                sides: every(lines, 8, ""),
                kind: Kind::Lines,
            }
        };
        self.filled(layout)
    }

    /// The panel, column and row of a bit.
    pub fn cell(&self, layout: &Layout, address: u32, bit: u8) -> (usize, u32, u32) {
        let bits = u32::from(self.wiring.shape().bits);
        match layout.kind {
            Kind::Address { words } => {
                let column = (address % words) * (bits + 1) + bits - 1 - u32::from(bit);
                (0, column, address / words)
            }
            Kind::Planes => {
                let (x, y) = (self.wiring.line(0, address), self.wiring.line(1, address));
                (usize::from(bit), x, y)
            }
            Kind::Lines => (0, u32::from(bit), self.wiring.line(0, address)),
        }
    }

    fn filled(&self, mut layout: Layout) -> Layout {
        let bits = self.wiring.shape().bits;
        let all: Vec<Word> = vec![self.wiring.shape().mask(); self.wiring.space()];
        let names: Vec<String> = match layout.kind {
            Kind::Planes => (0..bits).map(|b| format!("bit {b}")).collect(),
            _ => vec![String::new()],
        };
        let ground = self.runs(&layout, names.len(), &all);
        let panel = |(name, ground)| Panel { name, ground };
        layout.panels = names.into_iter().zip(ground).map(panel).collect();
        layout
    }

    /// The cells of chosen bits (by address), panel by panel, as runs from the upper left.
    pub fn marked(&self, layout: &Layout, chosen: &[Word]) -> Vec<Vec<Run>> {
        self.runs(layout, layout.panels.len(), chosen)
    }

    fn runs(&self, layout: &Layout, panels: usize, chosen: &[Word]) -> Vec<Vec<Run>> {
        let mut cells: Vec<(usize, u32, u32)> = Vec::new();
        for a in self.wiring.addresses() {
            let mut left = chosen[*a as usize] & self.wiring.shape().mask();
            while left != 0 {
                let (panel, column, row) = self.cell(layout, *a, left.trailing_zeros() as u8);
                cells.push((panel, row, column));
                left &= left - 1;
            }
        }
        cells.sort_unstable();
        let mut runs: Vec<Vec<Run>> = vec![Vec::new(); panels];
        for (panel, row, column) in cells {
            match runs[panel].last_mut() {
                Some((from, r, long)) if *r == row && *from + *long == column => *long += 1,
                _ => runs[panel].push((column, row, 1)),
            }
        }
        runs
    }

    /// The bits, by address, that read otherwise if one of the faults is left out: over the content given, or, where what
    /// was written changes, over several contents.
    pub(crate) fn touched(
        &self,
        faults: &[Fault],
        left_out: usize,
        stored: Option<&[Word]>,
    ) -> Vec<Word> {
        let mask = self.wiring.shape().mask();
        let contents: Vec<Vec<Word>> = match stored {
            Some(words) => vec![words.to_vec()],
            None => {
                let mut chance = Chance::new(1);
                let mut all = vec![
                    vec![0; self.wiring.space()],
                    vec![mask; self.wiring.space()],
                ];
                for _ in 0..4 {
                    let words = content(&self.wiring, &mut chance);
                    all.push(words.iter().map(|w| w ^ mask).collect());
                    all.push(words);
                }
                all
            }
        };
        let mut others = faults.to_vec();
        others.remove(left_out);
        let (with, without) = (
            Path::new(&self.wiring, faults),
            Path::new(&self.wiring, &others),
        );
        let mut scratch = Scratch::default();
        let mut touched = vec![0; self.wiring.space()];
        for stored in contents {
            let pulses: Vec<Word> = stored.iter().map(|w| self.wiring.sensed(*w)).collect();
            for a in self.wiring.addresses() {
                let changed = with.read(&pulses, *a, &mut scratch);
                let unchanged = without.read(&pulses, *a, &mut scratch);
                touched[*a as usize] |= (changed ^ unchanged) & mask;
            }
        }
        touched
    }
}
