//! Device laws, faults as changes of a circuit, meters as circuits, and the current balance that certifies a solution.
//!
//! Nothing here solves anything: a [`Network`] says what flows at given potentials, and
//! [`balance`] says whether given potentials are a solution.

pub mod balance;
mod build;
pub mod fault;
pub mod laws;
pub mod meter;
pub mod network;
pub mod parameter;

pub use balance::{Balance, balance};
pub use build::{State, build};
pub use fault::{Edit, Fault, FaultError, Mode};
pub use laws::{Law, Response, thermal_voltage};
pub use network::{Branch, Element, Network, Node, Terminal};
pub use parameter::{Parameter, ParameterId, Population, Quantity, Variation};
