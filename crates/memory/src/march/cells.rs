//! A few one-bit cells with one static fault, for judging march tests.

/// A static fault of a store of single cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum CellFault {
    /// A cell holds one level.
    Stuck { cell: usize, level: bool },
    /// A cell cannot change to this level.
    Transition { cell: usize, to: bool },
    /// No cell answers an address; reads float to a level.
    NoCell { address: usize, floats: bool },
    /// An address leads to another address's cell.
    Shared { address: usize, cell: usize },
    /// An address opens a second cell; reads are wired AND or wired OR.
    TwoCells {
        address: usize,
        second: usize,
        low_wins: bool,
    },
    /// When the aggressor changes to a level, the victim inverts.
    Inversion {
        aggressor: usize,
        victim: usize,
        to: bool,
    },
    /// When the aggressor changes to a level, the victim is forced.
    Idempotent {
        aggressor: usize,
        victim: usize,
        to: bool,
        forced: bool,
    },
    /// While the aggressor holds a level, the victim is forced.
    State {
        aggressor: usize,
        victim: usize,
        holds: bool,
        forced: bool,
    },
}

/// The cells, as bits of one number.
pub(super) struct Cells {
    levels: u32,
    fault: CellFault,
}

impl Cells {
    pub(super) fn new(start: u32, fault: CellFault) -> Self {
        let mut cells = Self {
            levels: start,
            fault,
        };
        cells.settle();
        cells
    }

    fn level(&self, cell: usize) -> bool {
        self.levels >> cell & 1 == 1
    }

    fn set(&mut self, cell: usize, level: bool) {
        self.levels = self.levels & !(1 << cell) | u32::from(level) << cell;
    }

    /// Forces what the fault forces whatever is done.
    fn settle(&mut self) {
        match self.fault {
            CellFault::Stuck { cell, level } => self.set(cell, level),
            CellFault::State {
                aggressor,
                victim,
                holds,
                forced,
            } if self.level(aggressor) == holds => {
                self.set(victim, forced);
            }
            _ => {}
        }
    }

    /// The cells that an address opens.
    fn opened(&self, address: usize) -> (Option<usize>, Option<usize>) {
        match self.fault {
            CellFault::NoCell { address: a, .. } if a == address => (None, None),
            CellFault::Shared { address: a, cell } if a == address => (Some(cell), None),
            CellFault::TwoCells {
                address: a, second, ..
            } if a == address => (Some(address), Some(second)),
            _ => (Some(address), None),
        }
    }

    pub(super) fn write(&mut self, address: usize, level: bool) {
        let (first, second) = self.opened(address);
        for cell in [first, second].into_iter().flatten() {
            let before = self.level(cell);
            if let CellFault::Transition { cell: c, to } = self.fault
                && c == cell
                && level == to
                && before != to
            {
                continue;
            }
            self.set(cell, level);
            match self.fault {
                CellFault::Inversion {
                    aggressor,
                    victim,
                    to,
                } if aggressor == cell && before != level && level == to => {
                    self.set(victim, !self.level(victim));
                }
                CellFault::Idempotent {
                    aggressor,
                    victim,
                    to,
                    forced,
                } if aggressor == cell && before != level && level == to => {
                    self.set(victim, forced);
                }
                _ => {}
            }
        }
        self.settle();
    }

    pub(super) fn read(&self, address: usize) -> bool {
        match (self.opened(address), self.fault) {
            ((None, _), CellFault::NoCell { floats, .. }) => floats,
            ((Some(a), Some(b)), CellFault::TwoCells { low_wins, .. }) => {
                if low_wins {
                    self.level(a) && self.level(b)
                } else {
                    self.level(a) || self.level(b)
                }
            }
            ((Some(a), _), _) => self.level(a),
            ((None, _), _) => false,
        }
    }
}
