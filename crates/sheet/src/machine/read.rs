//! The machine file as text.

mod bring_up;
mod units;

use std::collections::HashSet;

use super::{Assembly, Board, Join, Machine, PinPlace};
use crate::Span;
use crate::diagnostic::{Diagnostic, Remarks};
use crate::text::{self, Line, Node, State, did_you_mean, nearest};

const MACHINE: &str = "machine \"Tamarisk 40\" { ... }";
const ASSEMBLY: &str = "assembly \"Supplies\" { board A1 sheet=\"sheets/a1.kdl\" slot=1 }";
const BOARD: &str = "board A1 sheet=\"sheets/a1.kdl\" slot=1";
const JOIN: &str = "join A1.J1.2 A2.J1.1";

/// Reads a machine file. Never fails as a whole: a bad line costs that line alone.
pub fn parse(text: &str, file: &str) -> (Machine, Vec<Diagnostic>) {
    let mut remarks = Remarks::default();
    let nodes = text::read(text, &mut remarks);
    let mut reader = Reader {
        remarks,
        machine: Machine::default(),
        unusable: HashSet::new(),
    };
    reader.file(&nodes);
    (reader.machine, reader.remarks.placed(file, text))
}

struct Reader {
    remarks: Remarks,
    machine: Machine,
    /// Names on lines that could not be used.
    unusable: HashSet<String>,
}

impl Reader {
    fn file(&mut self, nodes: &[Node]) {
        let mut machine = None;
        for node in nodes {
            let is_meant = node.name == "machine" || nearest(&node.name, ["machine"]).is_some();
            if node.name != "machine" {
                self.stray(node, "a machine file", &["machine"], MACHINE);
            }
            if is_meant && machine.is_some() {
                let help = "Put it into a file of its own.";
                let message = "A file holds one machine, and this is a second one.";
                self.remarks.error(node.span, message, help);
            } else if is_meant {
                machine = Some(node);
            }
        }
        if let Some(node) = machine {
            self.machine(node);
        } else if nodes.is_empty() {
            let help = format!("Begin with {MACHINE}");
            self.remarks
                .error(Span::default(), "This file holds no machine.", help);
        }
    }

    fn machine(&mut self, node: &Node) {
        let mut line = Line::of(node, MACHINE);
        if node.state != State::Broken {
            if let Some((name, _)) = line.name("name", &mut self.remarks) {
                line.call(&name);
                self.machine.name = name;
            }
            line.finish(true, &mut self.remarks);
        }
        let inside = node.children.as_deref().unwrap_or_default();
        let words = ["assembly", "join", "unit", "bring-up"];
        for child in inside {
            match child.name.as_str() {
                "assembly" => self.assembly(child),
                "join" | "unit" | "bring-up" => {}
                _ => self.stray(child, "a machine", &words, MACHINE),
            }
        }
        // What refers to boards and assemblies comes after all of them.
        for child in inside {
            match child.name.as_str() {
                "join" => self.join(child),
                "unit" => self.unit(child),
                "bring-up" => self.bring_up(child),
                _ => {}
            }
        }
        self.order();
    }

    /// A statement that does not belong where it stands.
    fn stray(&mut self, node: &Node, inside: &str, words: &[&str], usage: &str) {
        self.give_up(node);
        if node.is_sound() {
            let message = format!("`{}` is not a word that {inside} knows.", node.name);
            let help = did_you_mean(
                &node.name,
                words.iter().copied(),
                format!("Write it so: {usage}"),
            );
            self.remarks.error(node.span, message, help);
        }
    }

    /// Names on a statement that cannot be used raise no second error.
    fn give_up(&mut self, node: &Node) {
        self.unusable
            .extend(node.entries.iter().map(|e| e.written()));
        for child in node.children.as_deref().unwrap_or_default() {
            self.give_up(child);
        }
    }

    /// Takes a line if it is sound and nothing on it failed.
    fn accept<T>(&mut self, node: &Node, line: &Line, found: Option<T>) -> Option<T> {
        let kept = found.filter(|_| node.is_sound() && !line.has_failed());
        if kept.is_none() {
            self.give_up(node);
        }
        kept
    }

    fn assembly(&mut self, node: &Node) {
        let mut line = Line::of(node, ASSEMBLY);
        let mut name = None;
        if node.state != State::Broken {
            name = self.own_name(&mut line);
            line.finish(true, &mut self.remarks);
        }
        if let Some((name, span)) = &name {
            let is_known = self.machine.assemblies.iter().any(|a| a.name == *name);
            self.forbid_twice(is_known, *span, &mut line);
        }
        // The boards are of use even if the line of the assembly is not.
        self.machine.assemblies.push(Assembly {
            name: name.map_or_else(|| "?".to_owned(), |(name, _)| name),
            boards: Vec::new(),
            span: node.span,
        });
        for child in node.children.as_deref().unwrap_or_default() {
            if child.name == "board" {
                self.board(child);
            } else {
                self.stray(child, "an assembly", &["board"], ASSEMBLY);
            }
        }
    }

    fn board(&mut self, node: &Node) {
        if node.state == State::Broken {
            return self.give_up(node);
        }
        let mut line = Line::of(node, BOARD);
        let name = self.own_name(&mut line);
        let remarks = &mut self.remarks;
        let title = line.text("title", remarks);
        let sheet = line.text("sheet", remarks);
        let slot = line.text("slot", remarks);
        line.finish(false, remarks);
        if let Some((name, span)) = &name {
            let is_known = self.machine.board(name).is_some();
            self.forbid_twice(is_known, *span, &mut line);
        }
        let board = name.map(|(name, _)| Board {
            name,
            title,
            sheet,
            slot,
            span: node.span,
        });
        let board = self.accept(node, &line, board);
        if let Some(assembly) = self.machine.assemblies.last_mut() {
            assembly.boards.extend(board);
        }
    }

    fn own_name(&mut self, line: &mut Line) -> Option<(String, Span)> {
        let found = line.name("name", &mut self.remarks)?;
        line.call(&found.0);
        Some(found)
    }

    fn forbid_twice(&mut self, is_known: bool, span: Span, line: &mut Line) {
        if is_known {
            let message = format!("There is a second {} in this machine.", line.what());
            line.error(
                &mut self.remarks,
                span,
                message,
                "Give each a name of its own.",
            );
        }
    }

    fn join(&mut self, node: &Node) {
        if node.state == State::Broken {
            return;
        }
        let mut line = Line::of(node, JOIN);
        let first = self.pin(&mut line, "first pin");
        let second = self.pin(&mut line, "second pin");
        line.finish(false, &mut self.remarks);
        let pins = first.zip(second).map(|(a, b)| [a, b]);
        if let Some([a, b]) = &pins
            && a == b
        {
            line.error(
                &mut self.remarks,
                node.span,
                format!("Pin {a} is joined to itself."),
                format!("Write it so: {JOIN}"),
            );
        }
        if let Some(pins) = self.accept(node, &line, pins) {
            self.machine.joins.push(Join {
                pins,
                span: node.span,
            });
        }
    }

    fn pin(&mut self, line: &mut Line, wanted: &str) -> Option<PinPlace> {
        let (text, span) = line.name(wanted, &mut self.remarks)?;
        let parts: Vec<&str> = text.splitn(3, '.').collect();
        let [board, connector, pin] = parts.as_slice() else {
            let message = format!("`{text}` is not a pin of a board.");
            line.error(
                &mut self.remarks,
                span,
                message,
                "Write board, connector and pin with points between them, such as A1.J1.2.",
            );
            return None;
        };
        self.known_board(board, span, line)?;
        Some(PinPlace {
            board: (*board).to_owned(),
            connector: (*connector).to_owned(),
            pin: (*pin).to_owned(),
        })
    }

    fn known_board(&mut self, name: &str, span: Span, line: &mut Line) -> Option<()> {
        if self.machine.board(name).is_some() {
            return Some(());
        }
        let names: Vec<String> = self.machine.boards().map(|b| b.name.clone()).collect();
        self.unknown("board", name, &names, span, line);
        None
    }

    fn unknown(&mut self, what: &str, name: &str, known: &[String], span: Span, line: &mut Line) {
        if self.unusable.contains(name) {
            self.remarks.doubt(
                span,
                format!("This line is left out, because {what} `{name}` stands only on lines that cannot be used."),
                "Mend those lines first.",
            );
            return;
        }
        let all = format!(
            "Known are: {}.",
            if known.is_empty() {
                "none".to_owned()
            } else {
                known.join(", ")
            }
        );
        let help = did_you_mean(name, known.iter().map(String::as_str), all);
        line.error(
            &mut self.remarks,
            span,
            format!("There is no {what} `{name}` in this machine."),
            help,
        );
    }
}
