//! The bench in the browser: pages on the loopback address, nothing fetched from outside.

mod assets;
mod book;
mod download;
mod edge;
mod entry;
mod form;
mod gate;
mod live;
mod outline;
mod pages;
mod photo;
mod project;
mod server;
mod work;

pub use book::Found;
pub use project::{Source, Unsaved};
pub use server::{Fault, Server};
