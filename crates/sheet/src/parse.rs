//! From statements to a sheet: names are resolved, and every mistake of the file is reported in one pass.

mod header;
mod parts;
mod statements;

use std::collections::{HashMap, HashSet};

use crate::device::Devices;
use crate::diagnostic::{Diagnostic, Lines, Remarks};
use crate::text::{self, Line, Node, State, did_you_mean};
use crate::{Net, NetId, Part, PartId, Sheet, Span};

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
        lines: Lines::of(text),
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

/// Reads the line of one part of a sheet anew; none if it cannot be used.
pub(crate) fn reread(
    sheet: &Sheet,
    id: PartId,
    node: &Node,
    remarks: &mut Remarks,
) -> Option<Part> {
    let numbered = |(i, net): (usize, &Net)| (net.name.clone(), NetId(i as u32));
    let mut reader = Reader {
        lines: Lines::of(""),
        devices: Devices::shipped(),
        remarks: std::mem::take(remarks),
        nets: sheet.nets.iter().enumerate().map(numbered).collect(),
        sheet: sheet.clone(),
        parts: HashMap::new(),
        unusable: HashSet::new(),
        ideal: Vec::new(),
    };
    let before = reader.sheet.nets.len();
    let others = sheet
        .parts
        .iter()
        .enumerate()
        .filter(|(i, _)| *i != id.index());
    for (_, part) in others {
        parts::join_ideal(&part.kind, &mut reader);
    }
    let part = reader.attempt(|reader| parts::part(node, reader));
    for net in &reader.sheet.nets[before..] {
        let names = sheet.nets.iter().map(|n| n.name.as_str());
        let help = did_you_mean(&net.name, names, "Write a net of the sheet.");
        let message = format!("There is no net `{}` on sheet {}.", net.name, sheet.name);
        reader.remarks.error(node.span, message, help);
    }
    *remarks = reader.remarks;
    part.filter(|_| reader.sheet.nets.len() == before)
}

/// A sheet as far as it is read.
struct Reader<'a> {
    lines: Lines<'a>,
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
            match node.state {
                State::Sound => self.declaring(node),
                State::Mended => {
                    self.attempt(|reader| -> Option<()> {
                        reader.declaring(node);
                        None
                    });
                }
                State::Broken => {}
            }
            if !node.is_sound() {
                self.unusable
                    .extend(node.entries.iter().map(|e| e.written()));
            }
        }
        for node in statements.iter().filter(|n| n.is_sound()) {
            statements::refer(node, self);
        }
    }

    /// Statements that declare nets and parts.
    fn declaring(&mut self, node: &Node) {
        if parts::is_kind(&node.name) {
            self.part(node);
        } else if node.name == "net" {
            self.attempt(|reader| statements::net(node, reader));
        } else if !statements::is_statement(&node.name) {
            let words = parts::kinds().chain(statements::words());
            let others = statements::words().collect::<Vec<_>>().join(", ");
            let all = format!("A line starts with a kind of part, or with one of: {others}.");
            let help = did_you_mean(&node.name, words, all);
            let message = format!("`{}` is not a word that a sheet knows.", node.name);
            self.remarks.error(node.span, message, help);
            self.unusable
                .extend(node.entries.iter().map(|e| e.written()));
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
        self.lines.locate(span.start).0
    }
}
