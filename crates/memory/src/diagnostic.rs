//! A mistake in a text that a person wrote: where it stands, what is wrong, what would mend it.

use std::fmt;

/// Something in a text that could not be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostic {
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// What is wrong, a whole sentence.
    pub message: String,
    /// What would mend it, a whole sentence.
    pub help: String,
}

impl Diagnostic {
    /// A mistake at a line and column.
    pub fn at(
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

    /// A mistake at a byte offset of `text`.
    pub fn at_offset(
        text: &str,
        offset: usize,
        message: impl Into<String>,
        help: impl Into<String>,
    ) -> Self {
        let mut start = offset.min(text.len());
        while !text.is_char_boundary(start) {
            start -= 1;
        }
        let before = &text[..start];
        let line_start = before.rfind('\n').map_or(0, |i| i + 1);
        Self::at(
            before.matches('\n').count() + 1,
            before[line_start..].chars().count() + 1,
            message,
            help,
        )
    }
}

impl fmt::Display for Diagnostic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "line {}, column {}: {} {}",
            self.line, self.column, self.message, self.help
        )
    }
}
