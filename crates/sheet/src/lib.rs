//! Circuit drawings as text: parts, pins, nets, points, and the rules a sheet must obey.

pub mod device;
mod fields;
pub mod meter;
pub mod model;
mod value;
pub use model::*;
