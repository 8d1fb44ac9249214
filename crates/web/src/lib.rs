//! The bench in the browser: pages on the loopback address, nothing fetched from outside.

mod assets;
mod download;
mod gate;
mod pages;
mod project;
mod server;
mod work;

pub use project::Source;
pub use server::{Fault, Server};
