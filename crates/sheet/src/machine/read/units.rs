//! The units of a machine file: how each board of each differs from its sheet.

use super::Reader;
use crate::machine::{Change, Difference, Differences, Unit};
use crate::text::{Bound, Line, Node, State};

const UNIT: &str = "unit \"1\" serial=\"0217\" { on A2 { replace R4 \"2k4\" } }";
const ON: &str = "on A2 { replace R4 \"2k4\"; absent C9; bridge NET1 NET2 }";
const REPLACE: &str = "replace R4 \"2k4\"";
const ABSENT: &str = "absent C9";
const BRIDGE: &str = "bridge NET1 NET2 \"0R1\"";

impl Reader {
    pub(super) fn unit(&mut self, node: &Node) {
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
}
