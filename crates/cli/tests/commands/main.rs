//! The command line from outside: what goes in, what comes out, and what is said when it cannot be done.

mod broken;
mod campaign;
mod expect;
mod judge;
mod ledger;
mod logic;
mod memory;
mod meters;
mod power;
mod risk;
mod run;
mod simulate;
