//! From statements to a sheet: names are resolved, and every mistake of the file is reported in one pass.

mod header;
mod parts;
mod statements;

use std::collections::{HashMap, HashSet};

use crate::device::Devices;
use crate::diagnostic::{Diagnostic, Remarks, locate};
use crate::text::{self, Line, Node, did_you_mean};
use crate::{Net, NetId, PartId, Sheet, Span};

/// Reads a sheet. Never fails as a whole: a bad line costs that line alone, because a drawing half transcribed is worth
/// having. The diagnostics are in the order of the text; with an error among them the input is at fault.
///
/// ```
/// let (sheet, mistakes) = sheet::parse("sheet A2 {\n resistor R1 \"4k7\" IN OUT\n}", "a2.kdl");
/// assert!(mistakes.is_empty());
/// assert_eq!(sheet.parts.len(), 1);
/// ```
pub fn parse(text: &str, file: &str) -> (Sheet, Vec<Diagnostic>) {
    parse_with(text, file, Devices::shipped())
}

/// The same with a device file of one's own.
pub fn parse_with(text: &str, file: &str, devices: &Devices) -> (Sheet, Vec<Diagnostic>) {
    let mut remarks = Remarks::default();
    let nodes = text::read(text, &mut remarks);
    let mut reader = Reader {
        text,
        devices,
        remarks,
        sheet: Sheet::default(),
        nets: HashMap::new(),
        parts: HashMap::new(),
        unusable: HashSet::new(),
        ideal: Vec::new(),
    };
    let statements = header::open(&nodes, &mut reader);
    reader.read(&statements);
    (reader.sheet, reader.remarks.placed(file, text))
}

/// A sheet as far as it is read.
struct Reader<'a> {
    text: &'a str,
    devices: &'a Devices,
    remarks: Remarks,
    sheet: Sheet,
    nets: HashMap<String, NetId>,
    parts: HashMap<String, PartId>,
    /// Names on lines that could not be used: not known, and no second error either.
    unusable: HashSet<String>,
    /// For each net, the net that ideal sources lead to (a forest).
    ideal: Vec<usize>,
}

impl Reader<'_> {
    fn read(&mut self, statements: &[&Node]) {
        // Names may be used before the line that declares them, so what only refers to names comes last.
        for node in statements {
            if node.is_broken {
                self.unusable
                    .extend(node.entries.iter().map(|e| e.written()));
            } else if parts::is_kind(&node.name) {
                self.part(node);
            } else if node.name == "net" {
                self.attempt(|reader| statements::net(node, reader));
            } else if !statements::is_statement(&node.name) {
                let words = parts::kinds().chain(statements::words());
                let help = did_you_mean(
                    &node.name,
                    words,
                    "A line starts with a kind of part, or with one of: net, point, adjacent, alter, never, irreplaceable, fits.",
                );
                self.remarks.error(
                    node.span,
                    format!("`{}` is not a word that a sheet knows.", node.name),
                    help,
                );
                self.unusable
                    .extend(node.entries.iter().map(|e| e.written()));
            }
        }
        for node in statements.iter().filter(|n| !n.is_broken) {
            statements::refer(node, self);
        }
    }

    fn part(&mut self, node: &Node) {
        let read = self.attempt(|reader| parts::part(node, reader));
        match read {
            Some(part) => {
                let id = PartId(self.sheet.parts.len() as u32);
                self.parts.insert(part.name.clone(), id);
                self.sheet.parts.push(part);
            }
            None => self
                .unusable
                .extend(node.entries.first().map(|e| e.written())),
        }
    }

    /// Reads something; if that fails, the nets that it would have declared are not declared.
    fn attempt<T>(&mut self, read: impl FnOnce(&mut Self) -> Option<T>) -> Option<T> {
        let before = self.sheet.nets.len();
        let found = read(self);
        if found.is_none() {
            for net in self.sheet.nets.drain(before..) {
                self.nets.remove(&net.name);
                self.unusable.insert(net.name);
            }
        }
        found
    }

    /// The net of that name, declared if it is new.
    fn declare(&mut self, name: String, span: Span) -> NetId {
        if let Some(id) = self.nets.get(&name) {
            return *id;
        }
        let id = NetId(self.sheet.nets.len() as u32);
        self.nets.insert(name.clone(), id);
        self.sheet.nets.push(Net {
            name,
            role: None,
            volts: None,
            tolerance: None,
            source: None,
            span,
        });
        id
    }

    /// The next argument as a net.
    fn net(&mut self, line: &mut Line, wanted: &str) -> Option<NetId> {
        let (name, span) = line.name(wanted, &mut self.remarks)?;
        Some(self.declare(name, span))
    }

    /// A property as a net.
    fn net_of(&mut self, line: &mut Line, key: &'static str) -> Option<NetId> {
        let (name, span) = line.required_name(key, &mut self.remarks)?;
        Some(self.declare(name, span))
    }

    /// Line of a span, counted from 1.
    fn line_number(&self, span: Span) -> usize {
        locate(self.text, span.start).0
    }
}
