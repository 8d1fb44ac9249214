//! What is wrong in a text that a person wrote, where, and what would mend it.

use std::fmt;

use crate::Span;

/// How grave it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The line cannot be used.
    Error,
    /// The line is used, and the person should look at it.
    Doubt,
}

/// One thing that is wrong or doubtful.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostic {
    /// How grave it is.
    pub severity: Severity,
    /// What is wrong, a whole sentence.
    pub message: String,
    /// What would mend it, a whole sentence.
    pub help: String,
    /// Where it stands, in bytes.
    pub span: Span,
    /// The same for people; none while the text is not at hand, see [`Diagnostic::placed`].
    pub place: Option<Place>,
}

/// A place in a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// Name of the file as it was given.
    pub file: String,
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// The line itself, without its end.
    pub source_line: String,
}

impl Diagnostic {
    /// Whether the line cannot be used.
    pub fn is_error(&self) -> bool {
        self.severity == Severity::Error
    }

    /// The same, with line and column found in the text that the span belongs to.
    pub fn placed(mut self, file: &str, text: &str) -> Self {
        let (line, column, source_line) = locate(text, self.span.start);
        self.place = Some(Place {
            file: file.to_owned(),
            line,
            column,
            source_line: source_line.to_owned(),
        });
        self
    }
}

impl fmt::Display for Diagnostic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let grade = match self.severity {
            Severity::Error => "error",
            Severity::Doubt => "doubt",
        };
        let Some(place) = &self.place else {
            return write!(f, "{grade}: {}\n  {}", self.message, self.help);
        };
        let Place {
            file,
            line,
            column,
            source_line,
        } = place;
        writeln!(f, "{file}:{line}:{column}: {grade}: {}", self.message)?;
        let number = line.to_string();
        let margin = " ".repeat(number.len());
        writeln!(f, "{number} | {source_line}")?;
        let before: String = source_line
            .chars()
            .take(column - 1)
            .map(|c| if c == '\t' { '\t' } else { ' ' })
            .collect();
        writeln!(f, "{margin} | {before}^")?;
        write!(f, "{margin} = {}", self.help)
    }
}

/// Line and column, both counted from 1, and the line itself. Offsets beyond the end are at the end.
pub(crate) fn locate(text: &str, offset: usize) -> (usize, usize, &str) {
    let mut at = offset.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    let before = &text[..at];
    let line_start = before.rfind('\n').map_or(0, |i| i + 1);
    let line_end = text[at..].find('\n').map_or(text.len(), |i| at + i);
    let line = before.bytes().filter(|b| *b == b'\n').count() + 1;
    // A byte order mark is no column.
    let shown = text[line_start..line_end].trim_start_matches('\u{feff}');
    let column = text[line_start..at]
        .trim_start_matches('\u{feff}')
        .chars()
        .count()
        + 1;
    (line, column, shown.trim_end_matches('\r'))
}

/// The diagnostics of one text as they are found.
#[derive(Debug, Default)]
pub(crate) struct Remarks {
    found: Vec<Diagnostic>,
}

impl Remarks {
    pub(crate) fn error(
        &mut self,
        span: Span,
        message: impl Into<String>,
        help: impl Into<String>,
    ) {
        self.push(Severity::Error, span, message.into(), help.into());
    }

    pub(crate) fn doubt(
        &mut self,
        span: Span,
        message: impl Into<String>,
        help: impl Into<String>,
    ) {
        self.push(Severity::Doubt, span, message.into(), help.into());
    }

    fn push(&mut self, severity: Severity, span: Span, message: String, help: String) {
        self.found.push(Diagnostic {
            severity,
            message,
            help,
            span,
            place: None,
        });
    }

    /// How many errors there are so far.
    pub(crate) fn errors(&self) -> usize {
        self.found.iter().filter(|d| d.is_error()).count()
    }

    /// All of them in the order of the text.
    pub(crate) fn sorted(mut self) -> Vec<Diagnostic> {
        self.found.sort_by_key(|d| d.span.start);
        self.found
    }

    /// All of them in the order of the text, with their places.
    pub(crate) fn placed(self, file: &str, text: &str) -> Vec<Diagnostic> {
        self.sorted()
            .into_iter()
            .map(|d| d.placed(file, text))
            .collect()
    }
}
