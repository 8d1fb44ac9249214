//! The `knowngood` binary: arguments in, text or JSON out.

mod arguments;
mod board;
mod capture;
mod files;
mod logic;
mod memory;
mod output;
mod sheets;
mod usage;

use std::ffi::OsString;
use std::process::ExitCode;

use clap::Parser;

use arguments::{Arguments, Group};

fn main() -> ExitCode {
    let words: Vec<OsString> = std::env::args_os().collect();
    match Arguments::try_parse_from(&words) {
        Ok(arguments) => run(arguments),
        Err(e) => output::usage(&e, &words),
    }
}

fn run(arguments: Arguments) -> ExitCode {
    match arguments.group {
        Group::Board(verb) => board::run(verb),
        Group::Sheet(verb) => sheets::sheet(verb),
        Group::Logic(verb) => logic::run(verb),
        Group::Capture(verb) => capture::run(verb),
        Group::Memory(verb) => memory::run(verb),
        Group::Meter(verb) => sheets::meter(verb),
    }
}
