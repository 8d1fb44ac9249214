//! What is wrong with a text that a person wrote, where, and what would mend it.

/// One mistake or doubtful place in a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostic {
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1; 1 when the whole line is meant.
    pub column: usize,
    /// What is wrong, a whole sentence.
    pub message: String,
    /// What would mend it, a whole sentence.
    pub help: String,
}

impl Diagnostic {
    pub(crate) fn at(
        line: usize,
        column: usize,
        message: impl Into<String>,
        help: impl Into<String>,
    ) -> Self {
        Self {
            line,
            column,
            message: message.into(),
            help: help.into(),
        }
    }
}
