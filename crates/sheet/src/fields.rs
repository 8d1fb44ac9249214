//! The arguments and properties of one line of a device or meter file, each taken once and what is left reported.

use kdl::{KdlDocument, KdlEntry, KdlNode, KdlValue};

use crate::Span;

/// Something in a text that a person wrote which could not be used, where it stands, and what would mend it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TextDiagnostic {
    /// Where it stands, in bytes.
    pub span: Span,
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// What is wrong, a whole sentence.
    pub message: String,
    /// What would mend it, a whole sentence.
    pub help: String,
}

/// A text with the mistakes found in it so far.
pub(crate) struct Mistakes<'a> {
    text: &'a str,
    found: Vec<TextDiagnostic>,
}

impl<'a> Mistakes<'a> {
    pub(crate) fn of(text: &'a str) -> Self {
        Self {
            text,
            found: Vec::new(),
        }
    }

    pub(crate) fn at(&mut self, span: Span, message: String, help: String) {
        let start = (0..=span.start.min(self.text.len()))
            .rev()
            .find(|i| self.text.is_char_boundary(*i))
            .unwrap_or(0);
        let before = &self.text[..start];
        let line_start = before.rfind('\n').map_or(0, |i| i + 1);
        self.found.push(TextDiagnostic {
            span,
            line: before.matches('\n').count() + 1,
            column: before[line_start..].chars().count() + 1,
            message,
            help,
        });
    }

    pub(crate) fn count(&self) -> usize {
        self.found.len()
    }

    pub(crate) fn into_found(mut self) -> Vec<TextDiagnostic> {
        self.found.sort_by_key(|d| d.span.start);
        self.found
    }
}

/// The lines of a KDL text; none if its syntax is broken anywhere.
pub(crate) fn document(text: &str, mistakes: &mut Mistakes) -> KdlDocument {
    KdlDocument::parse_v2(text).unwrap_or_else(|broken| {
        for d in broken.diagnostics {
            let span = Span { start: d.span.offset(), length: d.span.len() };
            let message = d.message.or(d.label).unwrap_or_else(|| "This cannot be read".to_owned());
            let help = d.help.unwrap_or_else(|| {
                "Quote words that start with a digit or a sign, and close every quote and brace.".to_owned()
            });
            mistakes.at(span, sentence(&message), sentence(&help));
        }
        KdlDocument::new()
    })
}

fn sentence(text: &str) -> String {
    let mut letters = text.trim().trim_end_matches('.').chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).chain(['.']).collect()
    })
}

/// Byte range of a node's name.
pub(crate) fn name_span(node: &KdlNode) -> Span {
    let s = node.name().span();
    Span {
        start: s.offset(),
        length: s.len(),
    }
}

/// What a property may hold.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Wanted {
    /// Above zero.
    Positive,
    /// Zero or above.
    NotNegative,
}

/// The entries of one node.
pub(crate) struct Fields<'n> {
    left: Vec<&'n KdlEntry>,
    here: Span,
    what: String,
}

impl<'n> Fields<'n> {
    /// `what` names the node in messages, such as "the diode".
    pub(crate) fn of(node: &'n KdlNode, what: &str) -> Self {
        Self {
            left: node.entries().iter().collect(),
            here: name_span(node),
            what: what.to_owned(),
        }
    }

    pub(crate) fn here(&self) -> Span {
        self.here
    }

    pub(crate) fn call(&mut self, what: String) {
        self.what = what;
    }

    fn take(&mut self, key: &str) -> Option<&'n KdlEntry> {
        // KDL 2.0, properties: the rightmost of a repeated property counts.
        let last = self
            .left
            .iter()
            .rposition(|e| e.name().is_some_and(|n| n.value() == key))?;
        let entry = self.left[last];
        self.left
            .retain(|e| e.name().is_none_or(|n| n.value() != key));
        Some(entry)
    }

    /// The next argument as text; a number is given as written.
    pub(crate) fn argument(&mut self) -> Option<(String, Span)> {
        let first = self.left.iter().position(|e| e.name().is_none())?;
        let entry = self.left.remove(first);
        Some((written(entry), span(entry)))
    }

    /// A property as text.
    pub(crate) fn text(&mut self, key: &str) -> Option<(String, Span)> {
        self.take(key).map(|e| (written(e), span(e)))
    }

    /// A property that says yes or no.
    pub(crate) fn flag(&mut self, key: &str, mistakes: &mut Mistakes) -> Option<bool> {
        let entry = self.take(key)?;
        if let KdlValue::Bool(yes) = entry.value() {
            return Some(*yes);
        }
        let message = format!(
            "`{key}` of {} is neither true nor false: `{}`.",
            self.what,
            written(entry)
        );
        mistakes.at(
            span(entry),
            message,
            format!("Write {key}=#true or {key}=#false."),
        );
        None
    }

    /// A property that holds a quantity in the unit of that symbol.
    pub(crate) fn number(
        &mut self,
        key: &str,
        unit: &str,
        wanted: Wanted,
        mistakes: &mut Mistakes,
    ) -> Option<f64> {
        let entry = self.take(key)?;
        let text = written(entry);
        let Some(value) = crate::value::quantity(&text, unit) else {
            let message = format!(
                "`{key}` of {} cannot be read as a quantity: `{text}`.",
                self.what
            );
            mistakes.at(
                span(entry),
                message,
                format!("Write a value such as {key}={}.", example(unit)),
            );
            return None;
        };
        let (bad, rule) = match wanted {
            Wanted::Positive => (value <= 0.0, "must be above zero"),
            Wanted::NotNegative => (value < 0.0, "must not be negative"),
        };
        if bad {
            let message = format!("`{key}` of {} {rule}, and is `{text}`.", self.what);
            mistakes.at(
                span(entry),
                message,
                format!("Write a value such as {key}={}.", example(unit)),
            );
            return None;
        }
        Some(value)
    }

    /// A property that must be there.
    pub(crate) fn required(
        &mut self,
        key: &str,
        unit: &str,
        mistakes: &mut Mistakes,
    ) -> Option<f64> {
        if self
            .left
            .iter()
            .all(|e| e.name().is_none_or(|n| n.value() != key))
        {
            let message = format!("`{key}` of {} is not given.", self.what);
            mistakes.at(
                self.here,
                message,
                format!(
                    "Add {key}= with its value, such as {key}={}.",
                    example(unit)
                ),
            );
            return None;
        }
        self.number(key, unit, Wanted::Positive, mistakes)
    }

    /// Reports every argument and property that nothing asked for.
    pub(crate) fn finish(self, known: &str, mistakes: &mut Mistakes) {
        for entry in self.left {
            let message = match entry.name() {
                Some(name) => format!("`{}` is not a property of {}.", name.value(), self.what),
                None => format!(
                    "`{}` is one word too many for {}.",
                    written(entry),
                    self.what
                ),
            };
            mistakes.at(
                span(entry),
                message,
                format!("What may stand here: {known}."),
            );
        }
    }
}

fn example(unit: &str) -> &'static str {
    match unit {
        "A" => "1e-3",
        "Ω" => "\"4k7\"",
        "%" => "\"5%\"",
        _ => "1.5",
    }
}

fn span(entry: &KdlEntry) -> Span {
    let s = entry.span();
    Span {
        start: s.offset(),
        length: s.len(),
    }
}

fn written(entry: &KdlEntry) -> String {
    match entry.value() {
        KdlValue::String(text) => text.clone(),
        KdlValue::Integer(number) => number.to_string(),
        KdlValue::Float(number) => number.to_string(),
        KdlValue::Bool(yes) => format!("#{yes}"),
        KdlValue::Null => "#null".to_owned(),
    }
}
