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
    /// The line itself, without its end; of a very long one the beginning.
    pub source_line: String,
}

impl Diagnostic {
    /// Whether the line cannot be used.
    pub fn is_error(&self) -> bool {
        self.severity == Severity::Error
    }

    /// The same, with line and column found in the text that the span belongs to.
    pub fn placed(self, file: &str, text: &str) -> Self {
        self.placed_among(file, &Lines::of(text))
    }

    fn placed_among(mut self, file: &str, lines: &Lines) -> Self {
        let (line, column, source_line) = lines.locate(self.span.start);
        self.place = Some(Place {
            file: file.to_owned(),
            line,
            column,
            source_line: source_line.chars().take(LONGEST_SHOWN).collect(),
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

/// Characters of a line that are shown; chosen because nobody reads further.
const LONGEST_SHOWN: usize = 1000;

/// A text and where its lines start.
pub(crate) struct Lines<'a> {
    text: &'a str,
    starts: Vec<usize>,
}

impl<'a> Lines<'a> {
    pub(crate) fn of(text: &'a str) -> Self {
        let ends = text.bytes().enumerate().filter(|(_, b)| *b == b'\n');
        let starts = std::iter::once(0).chain(ends.map(|(i, _)| i + 1));
        Self {
            text,
            starts: starts.collect(),
        }
    }

    /// Line and column, both counted from 1, and the line itself. Offsets beyond the end are at the end.
    pub(crate) fn locate(&self, offset: usize) -> (usize, usize, &'a str) {
        let mut at = offset.min(self.text.len());
        while !self.text.is_char_boundary(at) {
            at -= 1;
        }
        let line = self.starts.partition_point(|start| *start <= at);
        let start = self.starts[line - 1];
        let end = self
            .starts
            .get(line)
            .map_or(self.text.len(), |next| next - 1);
        // A byte order mark is no column.
        let unmarked = |text: &'a str| text.trim_start_matches('\u{feff}');
        let column = unmarked(&self.text[start..at]).chars().count() + 1;
        (
            line,
            column,
            unmarked(&self.text[start..end]).trim_end_matches('\r'),
        )
    }
}

/// The diagnostics of one text as they are found.
#[derive(Debug, Default)]
pub(crate) struct Remarks {
    found: Vec<Diagnostic>,
    errors: usize,
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
        self.errors += usize::from(severity == Severity::Error);
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
        self.errors
    }

    /// All of them in the order of the text.
    pub(crate) fn sorted(mut self) -> Vec<Diagnostic> {
        self.found.sort_by_key(|d| d.span.start);
        self.found
    }

    /// All of them in the order of the text, with their places.
    pub(crate) fn placed(self, file: &str, text: &str) -> Vec<Diagnostic> {
        let lines = Lines::of(text);
        self.sorted()
            .into_iter()
            .map(|d| d.placed_among(file, &lines))
            .collect()
    }
}
