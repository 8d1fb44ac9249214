//! The `knowngood` binary: arguments in, text or JSON out.

mod arguments;
mod board;
mod capture;
mod files;
mod logic;
mod output;
mod sheets;

use std::process::ExitCode;

use clap::Parser;

use arguments::{Arguments, Group};

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().collect();
    let json = words.iter().any(|w| w == "--json");
    match Arguments::try_parse_from(&words) {
        Ok(arguments) => run(arguments),
        Err(e) => output::usage(&e, json),
    }
}

fn run(arguments: Arguments) -> ExitCode {
    match arguments.group {
        Group::Board(verb) => board::run(verb),
        Group::Sheet(verb) => sheets::sheet(verb),
        Group::Logic(verb) => logic::run(verb),
        Group::Capture(verb) => capture::run(verb),
        Group::Meter(verb) => sheets::meter(verb),
    }
}
