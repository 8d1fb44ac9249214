//! Verbs about sheets and meter profiles.

use std::path::Path;
use std::process::ExitCode;

use bench::{MeterChoice, Refused, checked, meters, profile};

use crate::arguments::{MeterVerb, SheetVerb};
use crate::{files, output};

/// Checks or prints sheets.
pub fn sheet(verb: SheetVerb) -> ExitCode {
    match verb {
        SheetVerb::Check { sheets, json } => {
            let views: Result<Vec<_>, Refused> = sheets
                .iter()
                .map(|path| files::read(path).map(|text| checked::check(&text)))
                .collect();
            let views = views.map(checked::Views::new);
            let faulty = views.as_ref().is_ok_and(|v| v.error.is_some());
            let code = output::answer(views, json, checked::Views::to_text);
            if faulty { ExitCode::from(2) } else { code }
        }
        SheetVerb::Print { sheets, json } => {
            let texts: Result<Vec<String>, Refused> = sheets
                .iter()
                .map(|path| checked::print(&files::read(path)?))
                .collect();
            output::answer(texts, json, |texts| texts.concat())
        }
    }
}

/// Lists or shows meter profiles.
pub fn meter(verb: MeterVerb) -> ExitCode {
    match verb {
        MeterVerb::List { json } => {
            let names = meters::Meters::settle(&MeterChoice::default())
                .map(|m| m.all.iter().map(|m| m.name.clone()).collect::<Vec<_>>());
            output::answer(names, json, |names| names.join("\n") + "\n")
        }
        MeterVerb::Show { name, json } => {
            let view = files::meter(Some(&name), Path::new(""))
                .and_then(|choice| meters::Meters::settle(&choice))
                .map(|m| profile::show(m.current()));
            output::answer(view, json, profile::View::to_text)
        }
    }
}
