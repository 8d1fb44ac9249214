//! What is inside a package or a block that a person defined: outputs by expressions, and elements that keep a state.

use kdl::{KdlDocument, KdlNode, KdlValue};

use super::expression::Expression;
use super::place::Places;
use super::table;

/// How an element keeps its state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StoreKind {
    /// Takes `data` as it stood before the clock went high.
    Edge,
    /// Follows `data` while the clock is high.
    Latch,
    /// High from a rising clock to the end of the step: a one-shot, whose time a step-by-step model cannot know better.
    Pulse,
}

/// An element that keeps a state; absent functions are low.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Element {
    pub(crate) name: String,
    pub(crate) kind: StoreKind,
    pub(crate) data: Expression,
    pub(crate) clock: Expression,
    pub(crate) set: Expression,
    pub(crate) reset: Expression,
}

/// What an output does on a net that it shares.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Sharing {
    /// It shares with none.
    Alone,
    /// The lower voltage wins: open collectors, and three-state outputs, of which no two ought to drive at once.
    LowWins,
    /// The higher one wins: expanders.
    HighWins,
}

/// A package, a module, or a block of the sheet's own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Block {
    pub(crate) name: String,
    /// What it is, in a few words.
    pub(crate) title: String,
    /// Where its function was taken from.
    pub(crate) source: String,
    /// Pins for the supply, which carry no level.
    pub(crate) power: Vec<String>,
    /// Inputs that may be left off the sheet, and then read low.
    pub(crate) idle: Vec<String>,
    /// Inner names and outputs with their functions, in the order of the text.
    pub(crate) equations: Vec<(String, Expression)>,
    pub(crate) elements: Vec<Element>,
    /// Names that are brought out.
    pub(crate) outputs: Vec<String>,
    /// Whether several of its outputs may share a net.
    pub(crate) sharing: Sharing,
    /// Outputs that let go of their net, with what makes them drive it.
    pub(crate) enables: Vec<(String, Expression)>,
    pub(crate) is_positive: bool,
}

impl Block {
    /// Names that are used and not made inside: the inputs, each once, in the order of the text.
    pub(crate) fn inputs(&self) -> Vec<&str> {
        let mut used = Vec::new();
        self.equations.iter().for_each(|(_, e)| e.names(&mut used));
        self.enables.iter().for_each(|(_, e)| e.names(&mut used));
        for element in &self.elements {
            for e in [&element.data, &element.clock, &element.set, &element.reset] {
                e.names(&mut used);
            }
        }
        let made = |n: &str| {
            self.equations.iter().any(|(name, _)| name == n)
                || self.elements.iter().any(|e| e.name == n)
        };
        let mut inputs: Vec<&str> = Vec::new();
        for name in used {
            if !made(name) && !inputs.contains(&name) {
                inputs.push(name);
            }
        }
        inputs
    }

    /// Reads `package NAME TITLE { ... }` or `block NAME { ... }`; what cannot be read is said and left out.
    pub(crate) fn read(node: &KdlNode, is_package: bool, places: &mut Places<'_>) -> Option<Self> {
        let word = |at: usize| {
            node.entry(at)
                .and_then(|e| e.value().as_string())
                .map(str::to_owned)
        };
        let Some(name) = word(0) else {
            places.wrong(node, "The block has no name.", "Write `block \"name\" {`.");
            return None;
        };
        let list = |key: &str| -> Vec<String> {
            let text = node
                .get(key)
                .and_then(KdlValue::as_string)
                .unwrap_or_default();
            text.split_whitespace().map(str::to_owned).collect()
        };
        let is_set = |key: &str| node.get(key).and_then(KdlValue::as_bool) == Some(true);
        let mut block = Self {
            name,
            title: word(1).unwrap_or_default(),
            source: node
                .get("source")
                .and_then(KdlValue::as_string)
                .unwrap_or_default()
                .to_owned(),
            power: list("power"),
            idle: list("idle"),
            equations: Vec::new(),
            elements: Vec::new(),
            outputs: list("out"),
            sharing: match (is_set("open-collector"), is_set("expander")) {
                (true, _) => Sharing::LowWins,
                (_, true) => Sharing::HighWins,
                _ => Sharing::Alone,
            },
            enables: Vec::new(),
            is_positive: is_package,
        };
        let before = places.found.len();
        let none = KdlDocument::new();
        for line in node.children().unwrap_or(&none).nodes() {
            block.line(line, places);
        }
        block.whole(node, places.found.len() == before, places);
        Some(block)
    }

    fn line(&mut self, line: &KdlNode, places: &mut Places<'_>) {
        match line.name().value() {
            "out" => {
                let enable = line
                    .entry("enable")
                    .and_then(|entry| places.expression(entry));
                for (name, e) in equations(line, places) {
                    if let Some(enable) = &enable {
                        self.enables.push((name.clone(), enable.clone()));
                    }
                    if !self.outputs.contains(&name) {
                        self.outputs.push(name.clone());
                    }
                    self.equations.push((name, e));
                }
            }
            "let" => self.equations.extend(equations(line, places)),
            "table" => {
                for (name, e) in table::read(line, places) {
                    self.outputs.push(name.clone());
                    self.equations.push((name, e));
                }
            }
            word @ ("edge" | "latch" | "jk" | "jk-pulse" | "pulse") => {
                self.element(word, line, places)
            }
            other => places.wrong(
                line,
                format!("`{other}` is not known inside a block."),
                "Write out, let, table, edge, latch, jk, jk-pulse or pulse.",
            ),
        }
    }

    fn element(&mut self, word: &str, line: &KdlNode, places: &mut Places<'_>) {
        let Some(name) = line.entry(0).and_then(|e| e.value().as_string()) else {
            places.wrong(
                line,
                "The element has no name.",
                format!("Write `{word} S data=\"...\"`."),
            );
            return;
        };
        let low = Expression::Level(false);
        let mut of = |key: &str| match line.entry(key) {
            None => low.clone(),
            Some(entry) => places.expression(entry).unwrap_or(low.clone()),
        };
        let (data, clock, set, reset) = (of("data"), of("clock"), of("set"), of("reset"));
        let (j, k) = (of("j"), of("k"));
        let state = Expression::name(name);
        let mut add = |name: &str, kind, data, clock, set, reset| {
            self.elements.push(Element {
                name: name.to_owned(),
                kind,
                data,
                clock,
                set,
                reset,
            });
        };
        match word {
            "edge" => add(name, StoreKind::Edge, data, clock, set, reset),
            "latch" => add(name, StoreKind::Latch, data, clock, set, reset),
            "pulse" => add(name, StoreKind::Pulse, data, clock, set, reset),
            "jk" => {
                let next = Expression::Or(vec![
                    Expression::And(vec![j, state.clone().not()]),
                    Expression::And(vec![k.not(), state]),
                ]);
                add(name, StoreKind::Edge, next, clock, set, reset);
            }
            // Master and slave: the master catches J or K at any time while the clock is high, also a short one.
            _ => {
                let master = format!("{name}.master");
                let catch = |level: Expression, now: Expression, force: &Expression| {
                    Expression::Or(vec![
                        force.clone(),
                        Expression::And(vec![clock.clone(), level, now]),
                    ])
                };
                let on = catch(j, state.clone().not(), &set);
                let off = catch(k, state, &reset);
                add(&master, StoreKind::Latch, low.clone(), low.clone(), on, off);
                add(
                    name,
                    StoreKind::Latch,
                    Expression::Name(master),
                    clock.not(),
                    set,
                    reset,
                );
            }
        }
    }

    fn whole(&self, node: &KdlNode, is_read: bool, places: &mut Places<'_>) {
        for (at, (name, _)) in self.equations.iter().enumerate() {
            let twice = self.equations[..at].iter().any(|(n, _)| n == name)
                || self.elements.iter().any(|e| &e.name == name);
            if twice {
                places.wrong(
                    node,
                    format!("`{name}` is made twice in block {}.", self.name),
                    "Give one of them another name.",
                );
            }
        }
        if self.outputs.is_empty() && is_read {
            places.wrong(
                node,
                format!("Block {} brings nothing out.", self.name),
                "Add a line such as `out \"y = !(a & b)\"`.",
            );
        }
    }
}

/// The equations of a line, each a string `name = expression`.
fn equations(line: &KdlNode, places: &mut Places<'_>) -> Vec<(String, Expression)> {
    let mut found = Vec::new();
    for entry in line.entries().iter().filter(|e| e.name().is_none()) {
        let text = entry.value().as_string().unwrap_or_default();
        let Some((name, _)) = text.split_once('=') else {
            places.wrong_at(
                entry.span().offset(),
                format!("`{text}` is no equation."),
                "Write `\"3 = !(1 & 2)\"`.",
            );
            continue;
        };
        if let Some(e) = places.expression_after(entry, name.len() + 1) {
            found.push((name.trim().to_owned(), e));
        }
    }
    found
}
