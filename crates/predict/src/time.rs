//! Circuits in time: capacitors and inductors followed step by step, supplies from the mains, and what stays behind at switch-off.

mod core;
mod course;
mod discharge;
mod filament;
mod lamp;
mod rectified;

pub use core::{CoreSurge, core_surge};
pub use course::{Course, Drive};
pub use discharge::{Fall, Left, fall, falls};
pub use filament::Filament;
pub use lamp::{SeriesPoint, series_lamp};
pub use rectified::{Cycle, Mains, Rectified, run_up};
