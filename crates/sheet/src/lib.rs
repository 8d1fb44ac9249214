//! Circuit drawings as text: parts, pins, nets, points, and the rules a sheet must obey.

pub mod model;
pub use model::*;
