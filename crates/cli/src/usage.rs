//! What is said when the words of a command line are not understood.

use std::ffi::OsString;

use bench::Complaint;
use clap::error::{ContextKind, ContextValue, ErrorKind};
use clap::{Command, CommandFactory};

use crate::arguments::Arguments;

/// What was wrong with `words`, and what would mend it.
pub fn complaint(error: &clap::Error, words: &[OsString]) -> Complaint {
    let (path, command) = reached(words);
    let one = |kind| text(error, kind);
    let given = one(ContextKind::InvalidArg).map(|a| bare(&a));
    let value = one(ContextKind::InvalidValue).unwrap_or_default();
    match (error.kind(), given) {
        (ErrorKind::InvalidSubcommand, _) => {
            let word = one(ContextKind::InvalidSubcommand).unwrap_or_default();
            let help = if std::path::Path::new(&word).is_dir() {
                format!("To open that folder in the browser: knowngood bench open {word}")
            } else {
                meant(one(ContextKind::SuggestedSubcommand)) + &verbs(&command)
            };
            Complaint::new(format!("`{path}` has no command `{word}`."), help)
        }
        (ErrorKind::MissingSubcommand | ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand, _) => {
            Complaint::new(
                format!("`{path}` needs to be told what to do."),
                verbs(&command),
            )
        }
        (ErrorKind::UnknownArgument, Some(word)) if word.starts_with('-') => Complaint::new(
            format!("`{path}` has no option `{word}`."),
            meant(one(ContextKind::SuggestedArg).map(|a| bare(&a))) + &see(&path),
        ),
        (ErrorKind::UnknownArgument, Some(word)) => Complaint::new(
            format!("`{word}` is one word too many for `{path}`."),
            format!("Quote a name that has a space in it. {}", see(&path)),
        ),
        (ErrorKind::InvalidValue, Some(option)) if value.is_empty() => Complaint::new(
            format!("`{option}` needs a value after it."),
            values(error).unwrap_or_else(|| see(&path)),
        ),
        (ErrorKind::InvalidValue | ErrorKind::ValueValidation, Some(option)) => Complaint::new(
            format!("`{value}` is not a value that `{option}` can take."),
            values(error).unwrap_or_else(|| number(error)),
        ),
        (ErrorKind::MissingRequiredArgument, Some(_)) => {
            Complaint::new(format!("`{path}` lacks {}.", missing(error)), see(&path))
        }
        (ErrorKind::ArgumentConflict, Some(option)) => {
            match one(ContextKind::PriorArg).map(|a| bare(&a)) {
                Some(other) if other != option => Complaint::new(
                    format!("`{option}` and `{other}` cannot be used together."),
                    "Leave one of them out.",
                ),
                _ => Complaint::new(
                    format!("`{option}` is given twice."),
                    "Leave one of them out.",
                ),
            }
        }
        (ErrorKind::InvalidUtf8, _) => Complaint::new(
            "A word of the command line is not UTF-8 text.",
            "Only names of files may hold other bytes.",
        ),
        _ => {
            let whole = error.to_string();
            let first = whole.lines().next().unwrap_or_default();
            Complaint::new(first.strip_prefix("error: ").unwrap_or(first), see(&path))
        }
    }
}

/// The command that the words lead to, and how it is called.
fn reached(words: &[OsString]) -> (String, Command) {
    let mut command = Arguments::command();
    let mut path = command.get_name().to_owned();
    for word in words.iter().skip(1).filter_map(|w| w.to_str()) {
        let Some(next) = command.find_subcommand(word).cloned() else {
            break;
        };
        path = format!("{path} {word}");
        command = next;
    }
    (path, command)
}

fn text(error: &clap::Error, kind: ContextKind) -> Option<String> {
    match error.get(kind)? {
        ContextValue::String(one) => Some(one.clone()),
        // Suggestions come with the best one last.
        ContextValue::Strings(many) => many.iter().rfind(|word| *word != "help").cloned(),
        _ => None,
    }
}

fn all(error: &clap::Error, kind: ContextKind) -> Vec<String> {
    match error.get(kind) {
        Some(ContextValue::Strings(many)) => many.clone(),
        Some(ContextValue::String(one)) => vec![one.clone()],
        _ => Vec::new(),
    }
}

/// `--state` of `--state <STATE>`, `SHEET` of `<SHEET>...`.
fn bare(argument: &str) -> String {
    let word = argument.split_whitespace().next().unwrap_or(argument);
    word.trim_end_matches('.')
        .trim_matches(['<', '>', '[', ']'])
        .to_owned()
}

fn missing(error: &clap::Error) -> String {
    let names: Vec<String> = all(error, ContextKind::InvalidArg)
        .iter()
        .map(|a| format!("`{}`", bare(a)))
        .collect();
    listed(&names, "and")
}

fn values(error: &clap::Error) -> Option<String> {
    let possible = all(error, ContextKind::ValidValue);
    (!possible.is_empty()).then(|| format!("Write {}.", listed(&possible, "or")))
}

fn number(error: &clap::Error) -> String {
    use std::error::Error;
    let Some(source) = error.source() else {
        return "Write another value.".to_owned();
    };
    if source.is::<std::num::ParseIntError>() {
        "Write a whole number.".to_owned()
    } else if source.is::<std::num::ParseFloatError>() {
        "Write a number.".to_owned()
    } else {
        format!("Write another value: {source}.")
    }
}

fn meant(suggestion: Option<String>) -> String {
    suggestion.map_or_else(String::new, |s| format!("Did you mean `{s}`? "))
}

fn verbs(command: &Command) -> String {
    let names: Vec<String> = command
        .get_subcommands()
        .map(|c| c.get_name().to_owned())
        .filter(|n| n != "help")
        .collect();
    format!("Write {}.", listed(&names, "or"))
}

fn see(path: &str) -> String {
    format!("`{path} --help` tells what it takes.")
}

/// `a`, `a or b`, `a, b or c`.
fn listed(names: &[String], last: &str) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [many @ .., end] => format!("{} {last} {end}", many.join(", ")),
    }
}
