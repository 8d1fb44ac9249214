//! Circuit drawings as text: parts, pins, nets, points, and the rules a sheet must obey.

pub mod device;
mod diagnostic;
mod fields;
pub mod meter;
pub mod model;
mod parse;
mod text;
mod value;
pub use diagnostic::{Diagnostic, Place, Severity};
pub use model::*;
pub use parse::{parse, parse_with};
