//! What a healthy or faulty board would read: the circuit meets the solver.

mod adapter;
mod assembly;
mod band;
mod board;
mod carriers;
mod changed;
mod distribution;
pub mod faults;
mod line;
mod probe;
pub mod random;
mod sensitivity;
mod settings;
mod settling;
pub mod stress;
pub mod time;

pub use band::{Healthy, healthy};
pub use board::{Board, Refusal, Solved};
pub use carriers::{Carrier, Place, carriers};
pub use changed::{ChangedBoard, Sensed};
pub use distribution::{Distribution, Draw};
pub use probe::{Outcome, Probe, Question, Shown};
pub use sensitivity::slopes;
pub use settling::{Storage, settling};
