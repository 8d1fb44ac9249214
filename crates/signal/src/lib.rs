//! Recorded waveforms: read from bytes handed in, measured, aligned and compared.
//!
//! Nothing here opens a file, a socket or a clock, and nothing here guesses: a capture that does not say how fast it was
//! sampled is refused until a person says it.

pub mod about;
pub mod align;
pub mod axis;
pub mod blocks;
pub mod bounce;
pub mod capture;
pub mod compare;
pub mod curve;
pub mod demo;
pub mod differences;
pub mod edges;
pub mod fault;
pub mod flow;
pub mod levels;
pub mod matching;
pub mod measure;
pub mod number;
mod plateaus;
pub mod pyramid;
pub mod read;
mod shapes;
pub mod states;
pub mod track;
pub mod tube;

pub use capture::{Capture, Channel, Format, Steps, Trace};
pub use fault::{Fault, Place, Wrong};
