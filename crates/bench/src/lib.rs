//! The facade: everything that the command line and the pages can ask, as plain view data.
//!
//! Commands come in as texts and options; nothing here opens a file or reads a clock.

mod alike;
pub mod campaign;
mod candidates;
pub mod captures;
pub mod carried;
mod case;
pub mod checked;
mod course;
pub mod entered;
pub mod expect;
mod focus;
pub mod judged;
pub mod kept;
pub mod loading;
pub mod logic;
pub mod machine;
pub mod memory;
pub mod meters;
pub mod next;
pub mod pages;
pub mod places;
pub mod power;
mod predictor;
pub mod profile;
pub mod project;
pub mod proves;
pub mod refused;
pub mod risk;
pub mod signal;
pub mod simulated;
pub mod start;
pub mod stores;
pub mod suspects;
pub mod table;
pub mod trial;
pub mod typed;
mod variables;

pub use kept::Kept;
pub use loading::{Loaded, Text};
pub use meters::MeterChoice;
pub use record::State;
pub use refused::{Complaint, Refused};

/// Called with (done, all) while long work goes on.
pub type Progress<'a> = &'a (dyn Fn(usize, usize) + Sync);
/// Asked now and then; true means stop.
pub type Stop<'a> = &'a (dyn Fn() -> bool + Sync);
