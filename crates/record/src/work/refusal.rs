//! Why an event does not count.

use std::fmt;

/// The rule that an event breaks, and what would mend it; both whole sentences.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// What is wrong.
    pub message: String,
    /// What would mend it.
    pub help: String,
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.message, self.help)
    }
}

impl std::error::Error for Refusal {}

pub(super) fn refuse(message: impl Into<String>, help: impl Into<String>) -> Result<(), Refusal> {
    Err(refusal(message, help))
}

pub(super) fn refusal(message: impl Into<String>, help: impl Into<String>) -> Refusal {
    Refusal {
        message: message.into(),
        help: help.into(),
    }
}
