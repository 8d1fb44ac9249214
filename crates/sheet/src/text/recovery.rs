//! Reads what can be read of a text whose KDL is broken, statement by statement.

use kdl::KdlDocument;

use super::scan::{Fault, Piece, Scanned};
use super::{Entry, Node, Scalar, State, nodes, words};
use crate::Span;
use crate::diagnostic::{Lines, Remarks};

/// Longer statements are no part of a sheet: a line of a dozen properties has about 300 bytes.
const LONGEST: usize = 8192;

/// Comments, slashdashes or backslashes in one statement; chosen far above what anybody writes.
const MOST_MARKS: usize = 64;

pub(super) fn recover(text: &str, scanned: Scanned, remarks: &mut Remarks) -> Vec<Node> {
    let is_too_deep = scanned
        .faults
        .iter()
        .any(|f| matches!(f, Fault::TooDeep(_)));
    for fault in &scanned.faults {
        // Of a heap of braces, one remark is enough.
        if is_too_deep && matches!(fault, Fault::NeverClosed(_)) {
            continue;
        }
        remark_fault(text, fault, remarks);
    }
    statements(text, scanned.pieces, remarks)
}

fn statements(text: &str, pieces: Vec<Piece>, remarks: &mut Remarks) -> Vec<Node> {
    pieces
        .into_iter()
        .filter_map(|piece| statement(text, piece, remarks))
        .collect()
}

fn statement(text: &str, piece: Piece, remarks: &mut Remarks) -> Option<Node> {
    let Span { start, length } = piece.header;
    let header = &text[start..start + length];
    if let Some(kept) = header.strip_suffix("/-") {
        // The braces that follow are commented out.
        return one(kept, start).ok().flatten();
    }
    let read = match piece.open_quote {
        Some(quote) => {
            remarks.error(
                quote,
                "A quote is opened and not closed on this line.",
                "Close it with a second straight quote.",
            );
            None
        }
        None if !is_bearable(header) => {
            remarks.error(
                piece.header,
                "This statement is too long or too entangled to be read.",
                "Split it, or take out comments and continuations.",
            );
            None
        }
        None if words::explain(header, start, remarks) => mended(header, start),
        None => match one(header, start) {
            // A header that is commented out takes its braces with it.
            Ok(None) if !header.is_empty() => return None,
            Ok(node) => node,
            Err(reader) => joined(header, start).or_else(|| {
                words::repeat(&reader, piece.header, remarks);
                None
            }),
        },
    };
    let node = read.unwrap_or_else(|| broken(header, piece.header));
    let children = piece.children.map(|p| statements(text, p, remarks));
    Some(Node { children, ..node })
}

/// Whether every statement is one that the KDL reader will take, as far as can be told without it.
pub(super) fn is_clean(text: &str, pieces: &[Piece]) -> bool {
    pieces.iter().all(|piece| {
        let Span { start, length } = piece.header;
        let header = &text[start..start + length];
        piece.open_quote.is_none()
            && is_bearable(header)
            && !words::explain(header, start, &mut Remarks::default())
            && is_clean(text, piece.children.as_deref().unwrap_or_default())
    })
}

/// The KDL reader recurses with errors, comments and continuations, so it gets statements of bounded size only.
fn is_bearable(header: &str) -> bool {
    let is_entangled = |mark: &str| header.matches(mark).count() > MOST_MARKS;
    header.len() <= LONGEST && !["/-", "/*", "\\"].into_iter().any(is_entangled)
}

/// KDL allows blanks around an equals sign, and the reader does not.
fn joined(header: &str, start: usize) -> Option<Node> {
    let joined = words::joined_at_equals(header)?;
    one(&joined, start).ok().flatten()
}

/// The statement as it would be with the quotes that it lacks.
fn mended(header: &str, start: usize) -> Option<Node> {
    let with_quotes = words::with_quotes(header)?;
    let mut node = one(&with_quotes.text, 0).ok().flatten()?;
    node.state = State::Mended;
    let place = |span: Span| {
        let first = with_quotes.original(span.start);
        Span {
            start: start + first,
            length: with_quotes.original(span.start + span.length) - first,
        }
    };
    node.span = place(node.span);
    for entry in &mut node.entries {
        entry.span = place(entry.span);
    }
    Some(node)
}

/// The words of a statement that cannot be read: names among them are still known to exist.
fn broken(header: &str, span: Span) -> Node {
    let mut words = words::bare_words(header).into_iter();
    Node {
        name: words.next().unwrap_or_default(),
        span,
        entries: words
            .map(|word| Entry {
                key: None,
                scalar: Scalar::Text(word),
                span,
            })
            .collect(),
        children: None,
        state: State::Broken,
    }
}

/// The one node of a header; none if it is commented out; an error as the KDL reader words it.
fn one(header: &str, offset: usize) -> Result<Option<Node>, String> {
    match KdlDocument::parse_v2(header) {
        Ok(document) => Ok(nodes(&document, offset).into_iter().next()),
        Err(broken) => Err(broken
            .diagnostics
            .into_iter()
            .find_map(|d| d.message)
            .unwrap_or_else(|| "it is no KDL".to_owned())),
    }
}

fn remark_fault(text: &str, fault: &Fault, remarks: &mut Remarks) {
    match fault {
        Fault::ClosedTooOften(span) => remarks.error(
            *span,
            "This brace closes nothing.",
            "Remove it, or add the `{` that it belongs to.",
        ),
        Fault::NeverClosed(span) => {
            let (line, ..) = Lines::of(text).locate(span.start);
            remarks.error(
                *span,
                format!("The brace opened on line {line} is never closed."),
                "Add a `}` on a line of its own where it ends.",
            );
        }
        Fault::CommentNeverClosed(span) => remarks.error(
            *span,
            "A comment is opened with `/*` and never closed.",
            "Close it with `*/`, or begin it with `//` if it is one line.",
        ),
        Fault::StringNeverClosed(span) => remarks.error(
            *span,
            "A text is opened with three quotes and never closed.",
            "Close it with three quotes, or use one quote at each end.",
        ),
        Fault::TooDeep(span) => remarks.error(
            *span,
            "Braces stand too deep inside each other here.",
            "Close the braces that were opened before; no file needs more than a few levels.",
        ),
    }
}
