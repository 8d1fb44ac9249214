//! The `knowngood` binary: arguments in, text or JSON out.

mod arguments;
mod board;
mod capture;
mod demo;
mod files;
mod ledger;
mod logic;
mod memory;
mod open;
mod output;
mod power;
mod sheets;
mod usage;

use std::ffi::OsString;
use std::process::ExitCode;

use clap::Parser;

use arguments::{Arguments, BenchVerb, Group};

fn main() -> ExitCode {
    let words: Vec<OsString> = std::env::args_os().collect();
    match Arguments::try_parse_from(&words) {
        Ok(arguments) => run(arguments),
        Err(e) => output::usage(&e, &words),
    }
}

fn run(arguments: Arguments) -> ExitCode {
    let Some(group) = arguments.group else {
        return open::open(None, None);
    };
    match group {
        Group::Board(verb) => board::run(verb),
        Group::Sheet(verb) => sheets::sheet(verb),
        Group::Logic(verb) => logic::run(verb),
        Group::Capture(verb) => capture::run(verb),
        Group::Memory(verb) => memory::run(verb),
        Group::Power(verb) => power::run(verb),
        Group::Meter(verb) => sheets::meter(verb),
        Group::Bench(BenchVerb::Open { project, port }) => open::open(project, port),
        Group::Bench(BenchVerb::New { folder, json }) => ledger::new(&folder, json),
        Group::Bench(BenchVerb::Verify { project, json }) => ledger::verify(&project, json),
        Group::Bench(BenchVerb::Export {
            project,
            output,
            json,
        }) => ledger::export(&project, &output, json),
        Group::Bench(BenchVerb::Import { file, folder, json }) => {
            ledger::import(&file, folder, json)
        }
    }
}
