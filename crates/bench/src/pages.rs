//! What the pages of the browser show, as plain data.

pub mod advice;
pub mod alike;
pub mod bar;
pub mod board;
pub mod cautions;
pub mod harmless;
pub mod keyboard;
pub mod logic;
pub mod overview;
pub mod permit;
pub mod power;
mod rows;
mod rulings;
pub mod signals;
pub mod stores;
pub mod unnamed;
pub mod unread;

pub use cautions::{Caution, cautions};
pub use rows::Row;
