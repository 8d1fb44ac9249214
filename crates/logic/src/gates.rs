//! Gate sheets: packages, modules and gates with their nets, read from text and built into a machine that can be stepped.

mod block;
mod build;
mod expression;
mod levels;
mod machine;
mod place;
mod read;
mod section;
mod series;
mod table;

pub use block::StoreKind;
pub use levels::{Levels, Seen};
pub use machine::{Machine, Part, Pin, Store};
pub(crate) use place::Places;
pub use read::read_gates;
pub use section::{Section, sections};
pub use series::{Listed, packages};
