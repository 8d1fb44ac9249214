//! Pictures that a beam draws from two deflection signals: painted, taken apart into strokes, held against another picture.

pub mod beam;
pub mod characters;
pub mod deflection;
mod fit;
pub mod geometry;
pub mod paint;
pub mod strokes;
pub mod words;

pub use beam::{Beam, Light};
pub use geometry::{Compared, compare};
pub use strokes::{Picture, Stroke};
