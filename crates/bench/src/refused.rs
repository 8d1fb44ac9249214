//! Why a command was not done: the input is at fault, or the program could not do it.

use serde::Serialize;
use sheet::Diagnostic;

/// One thing that is wrong, in the shape of the command line's JSON.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Complaint {
    /// What is wrong.
    pub message: String,
    /// In which file.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub file: Option<String>,
    /// In which line, counted from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub line: Option<usize>,
    /// At which character, counted from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub column: Option<usize>,
    /// What would mend it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub help: Option<String>,
    /// The line itself, for people.
    #[serde(skip)]
    pub source_line: Option<String>,
}

/// Why a command was not done.
#[derive(Clone, Debug, PartialEq)]
pub enum Refused {
    /// The input is at fault; at least one complaint.
    Input(Vec<Complaint>),
    /// The program could not do it.
    Unable(Box<Complaint>),
}

impl Complaint {
    /// A complaint about nothing written in a file.
    pub fn new(message: impl Into<String>, help: impl Into<String>) -> Self {
        Self {
            message: message.into(),
            help: Some(help.into()),
            ..Self::default()
        }
    }
}

impl From<&Diagnostic> for Complaint {
    fn from(d: &Diagnostic) -> Self {
        Self {
            message: d.message.clone(),
            file: d.place.as_ref().map(|p| p.file.clone()),
            line: d.place.as_ref().map(|p| p.line),
            column: d.place.as_ref().map(|p| p.column),
            help: Some(d.help.clone()),
            source_line: d.place.as_ref().map(|p| p.source_line.clone()),
        }
    }
}

impl Refused {
    /// The input is at fault in one way.
    pub fn input(message: impl Into<String>, help: impl Into<String>) -> Self {
        Refused::Input(vec![Complaint::new(message, help)])
    }

    /// The program could not do it.
    pub fn unable(message: impl Into<String>, help: impl Into<String>) -> Self {
        Refused::Unable(Box::new(Complaint::new(message, help)))
    }

    /// All complaints.
    pub fn complaints(&self) -> &[Complaint] {
        match self {
            Refused::Input(list) => list,
            Refused::Unable(one) => std::slice::from_ref(one),
        }
    }

    /// The exit code of a command: 2 for the input, 1 for the program.
    pub fn exit_code(&self) -> u8 {
        match self {
            Refused::Input(_) => 2,
            Refused::Unable(_) => 1,
        }
    }
}
