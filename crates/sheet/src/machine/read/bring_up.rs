//! The bring-up of a machine file: the order of the assemblies and the hold points among them.

use super::Reader;
use crate::Span;
use crate::machine::{Check, HoldPoint, Need, Step};
use crate::text::{Line, Node, State};

const BRING_UP: &str = "bring-up { step \"Supplies\"; hold \"Rails\" { needs \"...\" } }";
const STEP: &str = "step \"Supplies\"";
const HOLD: &str = "hold \"Rails\" { needs \"all rails agree\" check=rails board=A1 }";
const NEEDS: &str = "needs \"all rails agree\" check=rails board=A1";

impl Reader {
    pub(super) fn bring_up(&mut self, node: &Node) {
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
    pub(super) fn order(&mut self) {
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
