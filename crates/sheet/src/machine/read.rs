//! The machine file as text.

use std::collections::HashSet;

use super::{
    Assembly, Board, Change, Check, Difference, Differences, HoldPoint, Join, Machine, Need,
    PinPlace, Step, Unit,
};
use crate::Span;
use crate::diagnostic::{Diagnostic, Remarks};
use crate::text::{self, Bound, Line, Node, State, did_you_mean, nearest};

const MACHINE: &str = "machine \"Tamarisk 40\" { ... }";
const ASSEMBLY: &str = "assembly \"Supplies\" { board A1 sheet=\"sheets/a1.kdl\" slot=1 }";
const BOARD: &str = "board A1 sheet=\"sheets/a1.kdl\" slot=1";
const JOIN: &str = "join A1.J1.2 A2.J1.1";
const UNIT: &str = "unit \"1\" serial=\"0217\" { on A2 { replace R4 \"2k4\" } }";
const ON: &str = "on A2 { replace R4 \"2k4\"; absent C9; bridge NET1 NET2 }";
const REPLACE: &str = "replace R4 \"2k4\"";
const ABSENT: &str = "absent C9";
const BRIDGE: &str = "bridge NET1 NET2 \"0R1\"";
const BRING_UP: &str = "bring-up { step \"Supplies\"; hold \"Rails\" { needs \"...\" } }";
const STEP: &str = "step \"Supplies\"";
const HOLD: &str = "hold \"Rails\" { needs \"all rails agree\" check=rails board=A1 }";
const NEEDS: &str = "needs \"all rails agree\" check=rails board=A1";

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

    fn unit(&mut self, node: &Node) {
        let mut line = Line::of(node, UNIT);
        let mut name = None;
        let mut serial = None;
        if node.state != State::Broken {
            name = self.own_name(&mut line);
            serial = line.text("serial", &mut self.remarks);
            line.finish(true, &mut self.remarks);
        }
        if let Some((name, span)) = &name {
            let is_known = self.machine.unit(name).is_some();
            self.forbid_twice(is_known, *span, &mut line);
        }
        let mut boards = Vec::new();
        for child in node.children.as_deref().unwrap_or_default() {
            if child.name == "on" {
                boards.extend(self.differences(child));
            } else {
                self.stray(child, "a unit", &["on"], UNIT);
            }
        }
        let unit = name.map(|(name, _)| Unit {
            name,
            serial,
            boards,
            span: node.span,
        });
        let unit = self.accept(node, &line, unit);
        self.machine.units.extend(unit);
    }

    fn differences(&mut self, node: &Node) -> Option<Differences> {
        let mut line = Line::of(node, ON);
        let mut board = None;
        if node.state != State::Broken {
            board = line.name("board", &mut self.remarks);
            line.finish(true, &mut self.remarks);
        }
        let board =
            board.and_then(|(name, span)| self.known_board(&name, span, &mut line).map(|()| name));
        let mut changes = Vec::new();
        for child in node.children.as_deref().unwrap_or_default() {
            let what = match child.name.as_str() {
                _ if child.state == State::Broken => None,
                "replace" => self.replace(child),
                "absent" => self.absent(child),
                "bridge" => self.bridge(child),
                _ => {
                    self.stray(
                        child,
                        "a board of a unit",
                        &["replace", "absent", "bridge"],
                        ON,
                    );
                    None
                }
            };
            changes.extend(what.map(|what| Change {
                what,
                span: child.span,
            }));
        }
        self.accept(
            node,
            &line,
            board.map(|board| Differences { board, changes }),
        )
    }

    fn replace(&mut self, node: &Node) -> Option<Difference> {
        let mut line = Line::of(node, REPLACE);
        let part = self.own_name(&mut line);
        let value = line
            .has_argument()
            .then(|| line.name("value", &mut self.remarks))
            .flatten();
        let properties = line.all_properties();
        line.finish(false, &mut self.remarks);
        if value.is_none() && properties.is_empty() && part.is_some() {
            let message = format!(
                "{} says nothing new.",
                line.what().replacen("replace", "Replace", 1)
            );
            line.error(
                &mut self.remarks,
                node.span,
                message,
                format!("Write it so: {REPLACE}"),
            );
        }
        let found = part.map(|(part, _)| Difference::Replace {
            part,
            value: value.map(|(value, _)| value),
            properties,
        });
        self.accept(node, &line, found)
    }

    fn absent(&mut self, node: &Node) -> Option<Difference> {
        let mut line = Line::of(node, ABSENT);
        let part = line.name("part", &mut self.remarks);
        line.finish(false, &mut self.remarks);
        self.accept(
            node,
            &line,
            part.map(|(part, _)| Difference::Absent { part }),
        )
    }

    fn bridge(&mut self, node: &Node) -> Option<Difference> {
        let mut line = Line::of(node, BRIDGE);
        let first = line.name("first net", &mut self.remarks);
        let second = line.name("second net", &mut self.remarks);
        let ohms = line
            .has_argument()
            .then(|| line.value(Bound::Positive, &mut self.remarks))
            .flatten();
        line.finish(false, &mut self.remarks);
        let nets = first.zip(second).map(|((a, _), (b, _))| [a, b]);
        self.accept(
            node,
            &line,
            nets.map(|nets| Difference::Bridge { nets, ohms }),
        )
    }

    fn bring_up(&mut self, node: &Node) {
        if node.state != State::Broken {
            Line::of(node, BRING_UP).finish(true, &mut self.remarks);
        }
        for child in node.children.as_deref().unwrap_or_default() {
            let step = match child.name.as_str() {
                "step" => self.step(child),
                "hold" => self.hold(child),
                _ => {
                    self.stray(child, "the bring-up", &["step", "hold"], BRING_UP);
                    None
                }
            };
            self.machine.bring_up.extend(step);
        }
    }

    fn step(&mut self, node: &Node) -> Option<Step> {
        if node.state == State::Broken {
            return None;
        }
        let mut line = Line::of(node, STEP);
        let name = line.name("assembly", &mut self.remarks);
        line.finish(false, &mut self.remarks);
        let (name, span) = name?;
        let known: Vec<String> = self
            .machine
            .assemblies
            .iter()
            .map(|a| a.name.clone())
            .collect();
        if !known.contains(&name) {
            self.unknown("assembly", &name, &known, span, &mut line);
            return None;
        }
        self.accept(node, &line, Some(Step::Assembly(name)))
    }

    fn hold(&mut self, node: &Node) -> Option<Step> {
        let mut line = Line::of(node, HOLD);
        let mut name = None;
        if node.state != State::Broken {
            name = self.own_name(&mut line);
            line.finish(true, &mut self.remarks);
        }
        let mut needs = Vec::new();
        for child in node.children.as_deref().unwrap_or_default() {
            if child.name == "needs" {
                needs.extend(self.need(child));
            } else {
                self.stray(child, "a hold point", &["needs"], HOLD);
            }
        }
        if node.is_sound() && node.children.iter().flatten().all(|c| c.name != "needs") {
            let message = format!(
                "{} needs nothing, so it holds nothing.",
                line.what().replacen("hold", "Hold", 1)
            );
            self.remarks
                .doubt(node.span, message, format!("Write it so: {HOLD}"));
        }
        let hold = name.map(|(name, _)| HoldPoint {
            name,
            needs,
            span: node.span,
        });
        self.accept(node, &line, hold.map(Step::Hold))
    }

    fn need(&mut self, node: &Node) -> Option<Need> {
        if node.state == State::Broken {
            return None;
        }
        let mut line = Line::of(node, NEEDS);
        let text = line.name("condition", &mut self.remarks);
        let checks = [
            ("cold-card", Check::ColdCard),
            ("rails", Check::Rails),
            ("readings", Check::Readings),
        ];
        let check = line.choice("check", &checks, &mut self.remarks);
        let board = line.name_of("board", &mut self.remarks);
        line.finish(false, &mut self.remarks);
        let board = match board {
            Some((name, span)) => {
                self.known_board(&name, span, &mut line)?;
                Some(name)
            }
            None => None,
        };
        let need = text.map(|(text, _)| Need { text, check, board });
        self.accept(node, &line, need)
    }

    /// The order of the assemblies, where the file gives none; what the given one forgets is doubtful.
    fn order(&mut self) {
        let names: Vec<(String, Span)> = self
            .machine
            .assemblies
            .iter()
            .map(|a| (a.name.clone(), a.span))
            .collect();
        if self.machine.bring_up.is_empty() {
            self.machine.bring_up = names
                .into_iter()
                .map(|(name, _)| Step::Assembly(name))
                .collect();
            return;
        }
        for (name, span) in names {
            if !self
                .machine
                .bring_up
                .contains(&Step::Assembly(name.clone()))
            {
                self.remarks.doubt(
                    span,
                    format!("Assembly {name} has no step in the bring-up."),
                    format!("Add a line such as: {STEP}"),
                );
            }
        }
    }
}
