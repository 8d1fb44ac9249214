//! Verbs about sheets and meter profiles.

use std::path::Path;
use std::process::ExitCode;

use bench::{MeterChoice, meters};

use crate::arguments::MeterVerb;
use crate::{files, output};

/// Lists or shows meter profiles.
pub fn meter(verb: MeterVerb) -> ExitCode {
    match verb {
        MeterVerb::List { json } => {
            let names = meters::Meters::settle(&MeterChoice::default())
                .map(|m| m.all.iter().map(|m| m.name.clone()).collect::<Vec<_>>());
            output::answer(names, json, |names| names.join("\n") + "\n")
        }
        MeterVerb::Show { name, json } => {
            let text = files::meter(Some(&name), Path::new(""))
                .and_then(|choice| meters::Meters::settle(&choice))
                .map(|m| meters::to_text(m.current()));
            output::answer(text, json, String::clone)
        }
    }
}
