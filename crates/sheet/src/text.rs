//! The text form: KDL 2.0 read into plain statements, so that a bad line costs that line alone.

mod line;
mod recovery;
mod scan;
mod spelling;
mod words;

use kdl::{KdlDocument, KdlEntry, KdlNode, KdlValue};

use crate::Span;
use crate::diagnostic::Remarks;

pub(crate) use line::{Bound, Line, Wanted};
pub use spelling::did_you_mean;
pub(crate) use spelling::nearest;

/// A statement: a word, its entries, and what stands in its braces.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Node {
    pub(crate) name: String,
    /// Of the name.
    pub(crate) span: Span,
    pub(crate) entries: Vec<Entry>,
    /// None without braces.
    pub(crate) children: Option<Vec<Node>>,
    pub(crate) state: State,
}

/// How far a statement could be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum State {
    Sound,
    /// It was remarked on, and with the quotes that are missing it can be read: not for use, but for what else is wrong.
    Mended,
    /// It was remarked on, and its entries are just its words.
    Broken,
}

impl Node {
    pub(crate) fn is_sound(&self) -> bool {
        self.state == State::Sound
    }
}

/// An argument, or with a key a property.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Entry {
    pub(crate) key: Option<String>,
    pub(crate) scalar: Scalar,
    pub(crate) span: Span,
}

#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Scalar {
    Text(String),
    /// A number as written.
    Number(String),
    Truth(bool),
    Null,
}

impl Entry {
    /// As written, without quotes.
    pub(crate) fn written(&self) -> String {
        match &self.scalar {
            Scalar::Text(text) | Scalar::Number(text) => text.clone(),
            Scalar::Truth(yes) => format!("#{yes}"),
            Scalar::Null => "#null".to_owned(),
        }
    }
}

/// All statements that can be read; what cannot is remarked.
pub(crate) fn read(text: &str, remarks: &mut Remarks) -> Vec<Node> {
    let scanned = scan::scan(text);
    // The KDL reader recurses with nesting and with errors, so only texts that look sound reach it as a whole.
    if scanned.is_shallow
        && scanned.faults.is_empty()
        && recovery::is_clean(text, &scanned.pieces)
        && let Ok(document) = KdlDocument::parse_v2(text)
    {
        return nodes(&document, 0);
    }
    recovery::recover(text, scanned, remarks)
}

fn nodes(document: &KdlDocument, offset: usize) -> Vec<Node> {
    document.nodes().iter().map(|n| node(n, offset)).collect()
}

fn node(node: &KdlNode, offset: usize) -> Node {
    let name = node.name();
    Node {
        name: name.value().to_owned(),
        span: Span {
            start: name.span().offset() + offset,
            length: name.span().len(),
        },
        entries: node.entries().iter().map(|e| entry(e, offset)).collect(),
        children: node.children().map(|c| nodes(c, offset)),
        state: State::Sound,
    }
}

fn entry(entry: &KdlEntry, offset: usize) -> Entry {
    let written = || entry.format().map(|f| f.value_repr.clone());
    let scalar = match entry.value() {
        KdlValue::String(text) => Scalar::Text(text.clone()),
        KdlValue::Integer(number) => Scalar::Number(plain(written(), number.to_string())),
        KdlValue::Float(number) => Scalar::Number(plain(written(), format!("{number:e}"))),
        KdlValue::Bool(yes) => Scalar::Truth(*yes),
        KdlValue::Null => Scalar::Null,
    };
    Entry {
        key: entry.name().map(|n| n.value().to_owned()),
        scalar,
        span: Span {
            start: entry.span().offset() + offset,
            length: entry.span().len(),
        },
    }
}

/// A number as written if it is plain decimal; KDL's own forms (`0x10`, `1_000`) give way to the number they mean.
fn plain(written: Option<String>, meant: String) -> String {
    let is_decimal = |w: &String| {
        !w.is_empty()
            && w.bytes()
                .all(|b| b.is_ascii_digit() || b"+-.eE".contains(&b))
    };
    written.filter(is_decimal).unwrap_or(meant)
}
