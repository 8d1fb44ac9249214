//! Stores: how bits map to wires, cores, diodes and drivers; from wrong bits to the element behind them.

pub mod demo;
pub mod diagnostic;
pub mod dump;
pub mod element;
pub mod explain;
pub mod fault;
pub mod first_read;
pub mod half_select;
pub mod march;
pub mod micro_word;
pub mod next;
pub mod pass_map;
pub mod plane;
pub mod plant;
pub mod read;
pub mod shape;
pub mod simulate;
pub mod votes;
pub mod weak;
pub mod wiring;
