//! Verbs about sheets and meter profiles.

use std::path::Path;
use std::process::ExitCode;

use bench::{MeterChoice, Refused, checked, meters};

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
            let faulty = views
                .as_ref()
                .is_ok_and(|v| v.iter().any(|v| !v.errors.is_empty()));
            let code = output::answer(views, json, |views| {
                views.iter().map(checked::View::to_text).collect()
            });
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
            let text = files::meter(Some(&name), Path::new(""))
                .and_then(|choice| meters::Meters::settle(&choice))
                .map(|m| meters::to_text(m.current()));
            output::answer(text, json, String::clone)
        }
    }
}
