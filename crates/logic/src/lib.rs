//! Gates, packages and sequences, and the fewest parts that explain the levels that were seen.
//!
//! Deliberately absent: files, clocks (a time budget comes in as a question) and anything analogue. Whoever finds a set of parts does
//! not certify it: every set is replayed by [`Simulator`], which shares no code with the search.

mod cone;
mod core;
mod diagnose;
mod diagnostic;
mod difference;
mod expand;
mod gates;
mod joint;
mod keyboard;
mod netlist;
mod network;
mod next;
mod observation;
mod search;
mod sequence;
mod simulate;
mod stuck;

pub use diagnose::{Basis, Diagnosis, GateId, Method, diagnose, diagnose_by};
pub use diagnostic::Diagnostic;
pub use gates::{
    Levels, Listed, Machine, Part, Pin, Section, Seen, Store, StoreKind, packages, read_gates,
    sections,
};
pub use joint::{Unit, diagnose_units, minimal_units};
pub use keyboard::{KeyFault, Keyboard, NamedKeyFault};
pub use netlist::parse_netlist;
pub use network::{Function, Gate, Net, NetId, Network, NetworkError};
pub use next::{Choice, Vector, choices, fewest_probes, vectors};
pub use observation::{Observation, Observed, parse_observations};
pub use sequence::{
    Contradiction, Explained, Fault, Level, Model, Probe, Row, Run, Sequence, Sequences, Stepper,
    Stimulus, StrongSets, enter_levels, explain, possible, probes, read_sequences, run, stimuli,
    strong, strong_among,
};
pub use simulate::{LANES, Simulator, Word};
pub use stuck::{Stuck, single_stuck};
