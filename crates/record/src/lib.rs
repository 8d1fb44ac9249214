//! Readings and verdicts as plain data, and the text forms in which readings are exchanged.

mod columns;
mod lead;
mod pairs;
mod print;
mod reading;
mod readings;
mod settle;
mod table;
mod verdict;

pub use lead::{At, Lead, NoSuchPlace, resolve};
pub use pairs::{Pair, parse_pairs};
pub use print::print_readings;
pub use reading::{Conditions, Placement, Reading, ReadingKind, ReadingValue, Shown, State};
pub use readings::{Known, parse_readings, places_named};
pub use settle::settle;
pub use verdict::{Expected, Side, Twin, TwinCase, Verdict, VerdictWord};
