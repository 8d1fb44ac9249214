//! Mistakes of a gate sheet, each with its place in the text.

use kdl::{KdlDocument, KdlEntry, KdlNode};

use super::expression::Expression;
use crate::diagnostic::Diagnostic;

/// The text that is read, and what was found wrong with it.
pub(crate) struct Places<'t> {
    text: &'t str,
    pub(crate) found: Vec<Diagnostic>,
}

impl<'t> Places<'t> {
    pub(crate) fn new(text: &'t str) -> Self {
        Self {
            text,
            found: Vec::new(),
        }
    }

    /// The document; none if it is no KDL, and then it is said where.
    pub(crate) fn document(&mut self) -> Option<KdlDocument> {
        match KdlDocument::parse_v2(self.text) {
            Ok(document) => Some(document),
            Err(broken) => {
                for d in &broken.diagnostics {
                    let what = d.message.clone().or_else(|| d.label.clone());
                    let what = what.unwrap_or_else(|| "unreadable text".into());
                    self.wrong_at(
                        d.span.offset(),
                        format!("This is not KDL: {}.", what.trim_end_matches('.')),
                        "Quote words that start with a digit or a sign, and close every quote and brace.",
                    );
                }
                None
            }
        }
    }

    pub(crate) fn wrong(
        &mut self,
        node: &KdlNode,
        message: impl Into<String>,
        help: impl Into<String>,
    ) {
        self.wrong_at(node.name().span().offset(), message, help);
    }

    pub(crate) fn wrong_at(
        &mut self,
        offset: usize,
        message: impl Into<String>,
        help: impl Into<String>,
    ) {
        let mut start = offset.min(self.text.len());
        while !self.text.is_char_boundary(start) {
            start -= 1;
        }
        let before = &self.text[..start];
        let line_start = before.rfind('\n').map_or(0, |i| i + 1);
        self.found.push(Diagnostic::at(
            before.matches('\n').count() + 1,
            before[line_start..].chars().count() + 1,
            message,
            help,
        ));
    }

    /// An entry's text as an expression.
    pub(crate) fn expression(&mut self, entry: &KdlEntry) -> Option<Expression> {
        self.expression_after(entry, 0)
    }

    /// What stands in an entry's text after so many bytes, as an expression.
    pub(crate) fn expression_after(&mut self, entry: &KdlEntry, skip: usize) -> Option<Expression> {
        let whole = match entry.value().as_string() {
            Some(text) => text.to_owned(),
            None => entry.value().to_string(),
        };
        let text = whole.get(skip..).unwrap_or_default();
        match Expression::read(text) {
            Ok(e) => Some(e),
            Err(wrong) => {
                let offset = self.inside(entry) + skip + wrong.offset;
                self.wrong_at(
                    offset,
                    format!("In `{}` {}.", text.trim(), wrong.message),
                    "Use ! for not, & for and, ^ for differ, | for or, and brackets.",
                );
                None
            }
        }
    }

    /// Where the text of an entry's value begins.
    pub(crate) fn inside(&self, entry: &KdlEntry) -> usize {
        let start = entry.span().offset();
        let written = self
            .text
            .get(start..start + entry.span().len())
            .unwrap_or_default();
        let blank = written.len() - written.trim_start().len();
        let named = entry
            .name()
            .and_then(|_| written.find('='))
            .map_or(blank, |i| i + 1);
        let quote = written.get(named..).is_some_and(|t| t.starts_with('"'));
        start + named + usize::from(quote)
    }
}
