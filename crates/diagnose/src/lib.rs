//! Judges readings against expectations and compares units.

mod judge;
mod twin;

pub use judge::{Held, judge};
pub use twin::{Compared, twin};
