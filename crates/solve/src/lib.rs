//! Sparse algebra and Newton's method on plain numbers; nothing here knows what the numbers mean.
//!
//! The unknowns are potentials `x`. Linear links, fixed flows and non-linear elements exchange
//! flow between unknowns, and a solution is a point where the flows at every unknown balance.

mod elimination;
mod ladder;
mod lu;
mod newton;
mod system;

pub use elimination::elimination_order;
pub use ladder::{Attempt, Failure, Ladder, Method, solve};
pub use lu::{Factors, Pattern, SIDES, Singular};
pub use newton::{Settings, Solution, Workspace, newton};
pub use system::{Element, Flow, GROUND, Law, Link, Response, System};
