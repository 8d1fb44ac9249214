//! Machines in time: stepped from a state, held against recorded sequences, and what would explain the difference.

mod explain;
mod fault;
mod probe;
mod record;
mod step;
mod stimulus;
mod strong;
mod unroll;

pub use explain::{Contradiction, Explained, Model, explain};
pub use fault::{Fault, possible};
pub use probe::{Probe, probes};
pub use record::{Row, Sequence, Sequences, enter_levels, read_sequences};
pub use step::{Level, Run, Stepper, run};
pub use stimulus::{Stimulus, stimuli};
pub use strong::{StrongSets, strong, strong_among};
