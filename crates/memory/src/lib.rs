//! Stores: how bits map to wires, cores, diodes and drivers; from wrong bits to the element behind them.

pub mod diagnostic;
pub mod explain;
pub mod fault;
pub mod plant;
pub mod shape;
pub mod simulate;
pub mod wiring;
