//! The share of each class of static faults that a march test is sure to find.

use super::cells::{CellFault, Cells};
use super::{March, Order, Step};

/// Classes of static faults, as the literature names them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FaultClass {
    /// Stuck-at: a cell holds one level.
    StuckAt,
    /// Transition: a cell cannot rise, or cannot fall.
    Transition,
    /// Address decoder: no cell, a shared cell, or two cells at an address.
    Address,
    /// Inversion coupling.
    CouplingInversion,
    /// Idempotent coupling.
    CouplingIdempotent,
    /// State coupling.
    CouplingState,
}

impl FaultClass {
    /// All classes, in the order of the usual tables.
    pub const ALL: [FaultClass; 6] = [
        FaultClass::StuckAt,
        FaultClass::Transition,
        FaultClass::Address,
        FaultClass::CouplingInversion,
        FaultClass::CouplingIdempotent,
        FaultClass::CouplingState,
    ];

    /// The usual abbreviation.
    pub fn letters(self) -> &'static str {
        match self {
            Self::StuckAt => "SAF",
            Self::Transition => "TF",
            Self::Address => "AF",
            Self::CouplingInversion => "CFin",
            Self::CouplingIdempotent => "CFid",
            Self::CouplingState => "CFst",
        }
    }
}

/// What a test is sure to find of one class.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Coverage {
    /// Faults found whatever the cells held before.
    pub found: usize,
    /// Faults of the class.
    pub all: usize,
}

impl Coverage {
    /// As a percentage.
    pub fn percent(self) -> f64 {
        100.0 * self.found as f64 / self.all as f64
    }
}

/// Simulates a test on `cells` one-bit cells (at most 16) with every fault of a class. A fault counts as found only if
/// every starting content finds it.
pub fn coverage(march: &March, class: FaultClass, cells: usize) -> Coverage {
    let faults = faults_of(class, cells);
    let found = faults
        .iter()
        .filter(|f| (0..1u32 << cells).all(|start| finds(march, cells, start, **f)))
        .count();
    Coverage {
        found,
        all: faults.len(),
    }
}

fn faults_of(class: FaultClass, cells: usize) -> Vec<CellFault> {
    let both = [false, true];
    let mut all = Vec::new();
    let pairs = (0..cells).flat_map(|a| (0..cells).filter(move |b| *b != a).map(move |b| (a, b)));
    match class {
        FaultClass::StuckAt => {
            all.extend(
                (0..cells).flat_map(|cell| both.map(|level| CellFault::Stuck { cell, level })),
            );
        }
        FaultClass::Transition => {
            all.extend(
                (0..cells).flat_map(|cell| both.map(|to| CellFault::Transition { cell, to })),
            );
        }
        FaultClass::Address => {
            all.extend(
                (0..cells)
                    .flat_map(|address| both.map(|floats| CellFault::NoCell { address, floats })),
            );
            for (address, other) in pairs {
                all.push(CellFault::Shared {
                    address,
                    cell: other,
                });
                all.extend(both.map(|low_wins| CellFault::TwoCells {
                    address,
                    second: other,
                    low_wins,
                }));
            }
        }
        FaultClass::CouplingInversion => {
            for (aggressor, victim) in pairs {
                all.extend(both.map(|to| CellFault::Inversion {
                    aggressor,
                    victim,
                    to,
                }));
            }
        }
        FaultClass::CouplingIdempotent => {
            for (aggressor, victim) in pairs {
                for to in both {
                    all.extend(both.map(|forced| CellFault::Idempotent {
                        aggressor,
                        victim,
                        to,
                        forced,
                    }));
                }
            }
        }
        FaultClass::CouplingState => {
            for (aggressor, victim) in pairs {
                for holds in both {
                    all.extend(both.map(|forced| CellFault::State {
                        aggressor,
                        victim,
                        holds,
                        forced,
                    }));
                }
            }
        }
    }
    all
}

fn finds(march: &March, count: usize, start: u32, fault: CellFault) -> bool {
    let mut cells = Cells::new(start, fault);
    for element in &march.elements {
        for n in 0..count {
            let address = if element.order == Order::Falling {
                count - 1 - n
            } else {
                n
            };
            let turned = march.checkered && address % 2 == 1;
            for step in &element.steps {
                match step {
                    Step::Write(level) => cells.write(address, level ^ turned),
                    Step::Read(level) if cells.read(address) != level ^ turned => return true,
                    Step::Read(_) => {}
                }
            }
        }
    }
    false
}
