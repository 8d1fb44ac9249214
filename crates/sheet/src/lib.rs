//! Circuit drawings as text: parts, pins, nets, points, and the rules a sheet must obey.

pub mod device;
mod diagnostic;
pub mod machine;
pub mod meter;
pub mod model;
mod parse;
mod print;
mod rules;
mod text;
pub use diagnostic::{Diagnostic, Place, Severity};
pub use model::*;
pub use parse::{parse, parse_with};
pub use print::print;
pub use rules::{check, rules};
pub use text::did_you_mean;
