//! Every single fault against a reading: what the meter would show with it.

mod balance;
mod campaign;
mod change;
mod curve;
mod dense;
mod engine;
mod layout;
mod list;
mod nearness;
mod plain;
mod point;
mod reduced;
mod tangent;
mod whole;

pub use campaign::{Tally, tally};
pub use change::Change;
pub use engine::{Answer, FaultBoard, FaultEngine, Way};
pub use list::{campaign_faults, campaign_places};
pub use plain::{faulty_values, read_anew, slopes_anew};
