//! A shape from the text of its file, with every mistake in it.

use kdl::{KdlDocument, KdlNode, KdlValue};

use super::{
    Alter, Axis, DriveMatrix, Field, Grid, MOST_ADDRESS_BITS, Organisation, Place, Shape,
    WIDEST_WORD, Weave, Word, mask,
};
use crate::diagnostic::Diagnostic;

/// Reads a shape file (`docs/shape-file.md`). All mistakes are given, in the order of the text; a shape only if the
/// text has none, because a store wired wrongly on paper would blame the wrong wire.
pub fn read_shape(text: &str) -> Result<Shape, Vec<Diagnostic>> {
    let mut reader = Reader {
        text,
        found: Vec::new(),
    };
    let shape = reader.document();
    reader.found.sort_by_key(|d| (d.line, d.column));
    match shape {
        Some(shape) if reader.found.is_empty() => Ok(shape),
        _ => Err(reader.found),
    }
}

struct Reader<'t> {
    text: &'t str,
    found: Vec<Diagnostic>,
}

const KNOWN: &str = "organisation, address, data, word, x, y, sense, inhibit, strobe, field, zero-words, grid, place, alter";

impl Reader<'_> {
    fn wrong(&mut self, node: &KdlNode, message: impl Into<String>, help: impl Into<String>) {
        self.found.push(Diagnostic::at_offset(
            self.text,
            node.name().span().offset(),
            message,
            help,
        ));
    }

    fn document(&mut self) -> Option<Shape> {
        let document = match KdlDocument::parse_v2(self.text) {
            Ok(document) => document,
            Err(broken) => {
                for d in &broken.diagnostics {
                    let what = d
                        .message
                        .clone()
                        .or_else(|| d.label.clone())
                        .unwrap_or_else(|| "unreadable text".into());
                    self.found.push(Diagnostic::at_offset(
                        self.text,
                        d.span.offset(),
                        format!("This is not KDL: {}.", what.trim_end_matches('.')),
                        "Quote words that start with a digit or a sign, and close every quote and brace.",
                    ));
                }
                return None;
            }
        };
        let mut stores = document.nodes().iter();
        let Some(store) = stores.next() else {
            self.found.push(Diagnostic::at(
                1,
                1,
                "The file describes no store.",
                "Begin with `store \"name\" {`.",
            ));
            return None;
        };
        if store.name().value() != "store" {
            self.wrong(
                store,
                format!("`{}` is not known here.", store.name().value()),
                "A shape file begins with `store \"name\" {`.",
            );
            return None;
        }
        if let Some(second) = stores.next() {
            self.wrong(
                second,
                "A shape file describes one store only.",
                "Put the second store into a file of its own.",
            );
        }
        self.store(store)
    }

    fn store(&mut self, store: &KdlNode) -> Option<Shape> {
        let name = argument(store, 0).and_then(as_text).unwrap_or_default();
        if name.is_empty() {
            self.wrong(
                store,
                "The store has no name.",
                "Write `store \"control store\" {`.",
            );
        }
        let none = KdlDocument::new();
        let children = store.children().unwrap_or(&none);
        let mut shape = Shape {
            name,
            organisation: Organisation::Woven,
            address_bits: 0,
            bits: 0,
            idle: false,
            axes: Vec::new(),
            sense_segments: Vec::new(),
            weave: Weave::Diagonal,
            inhibit_segments: None,
            strobes: Vec::new(),
            fields: Vec::new(),
            zero_words: Vec::new(),
            grid: None,
            places: Vec::new(),
            alters: Vec::new(),
        };
        // What later lines are checked against is read first, so that the lines may stand in any order.
        self.sizes(store, children, &mut shape)?;
        for node in children.nodes() {
            self.line(node, &mut shape);
        }
        self.whole(store, &mut shape);
        Some(shape)
    }

    fn sizes(&mut self, store: &KdlNode, children: &KdlDocument, shape: &mut Shape) -> Option<()> {
        let mut organisation = None;
        for node in children.nodes() {
            match node.name().value() {
                "organisation" => organisation = self.organisation(node),
                "address" => {
                    shape.address_bits = self.count(node, "bits", MOST_ADDRESS_BITS)? as u8
                }
                "data" => {
                    shape.bits = self.count(node, "bits", WIDEST_WORD)? as u8;
                    shape.idle = match node.get("idle").map(integer) {
                        None => false,
                        Some(Some(0)) => false,
                        Some(Some(1)) => true,
                        Some(_) => {
                            self.wrong(
                                node,
                                "`idle` is neither 0 nor 1.",
                                "Give what a bit reads when nothing is sensed.",
                            );
                            false
                        }
                    };
                }
                _ => {}
            }
        }
        for (missing, line) in [
            (
                organisation.is_none() && self.found.is_empty(),
                "organisation woven",
            ),
            (shape.address_bits == 0, "address bits=7"),
            (shape.bits == 0, "data bits=20"),
        ] {
            if missing {
                self.wrong(
                    store,
                    format!(
                        "The line `{}` is missing.",
                        line.split(' ').next().unwrap_or(line)
                    ),
                    format!("Add a line such as `{line}`."),
                );
            }
        }
        shape.organisation = organisation?;
        (shape.address_bits > 0 && shape.bits > 0).then_some(())
    }

    fn organisation(&mut self, node: &KdlNode) -> Option<Organisation> {
        let word = argument(node, 0).and_then(as_text).unwrap_or_default();
        let all = [
            Organisation::LinearSelect,
            Organisation::CoincidentCurrent,
            Organisation::Woven,
            Organisation::DiodeMatrix,
        ];
        let found = all.into_iter().find(|o| o.word() == word);
        if found.is_none() {
            self.wrong(
                node,
                format!("`{word}` is not an organisation."),
                "Choose linear-select, coincident-current, woven or diode-matrix.",
            );
        }
        found
    }

    fn count(&mut self, node: &KdlNode, key: &str, most: usize) -> Option<usize> {
        match node.get(key).and_then(integer) {
            Some(n) if n >= 1 && n <= most as i128 => Some(n as usize),
            _ => {
                self.wrong(
                    node,
                    format!(
                        "`{}` needs `{key}=`, a whole number from 1 to {most}.",
                        node.name().value()
                    ),
                    format!("Write `{} {key}=N`.", node.name().value()),
                );
                None
            }
        }
    }

    fn line(&mut self, node: &KdlNode, shape: &mut Shape) {
        match node.name().value() {
            "organisation" | "address" | "data" => {}
            "word" | "x" | "y" => self.axis(node, shape),
            "sense" => {
                if let Some(by) = self.address_list(node, "segments-by", shape, true) {
                    shape.sense_segments = by;
                }
                if let Some(word) = node.get("weave").and_then(as_text) {
                    match Weave::ALL.iter().find(|(_, w)| *w == word) {
                        Some((weave, _)) => shape.weave = *weave,
                        None => self.wrong(
                            node,
                            format!("`{word}` is not a weave."),
                            "Choose diagonal, rows, columns or pairs.",
                        ),
                    }
                }
            }
            "inhibit" => {
                if shape.organisation != Organisation::CoincidentCurrent {
                    self.wrong(
                        node,
                        "Only a coincident-current store has inhibit lines.",
                        "Remove the line, or change the organisation.",
                    );
                }
                shape.inhibit_segments = self.address_list(node, "segments-by", shape, true);
            }
            "strobe" => self.strobe(node, shape),
            "field" => {
                let name = argument(node, 0).and_then(as_text).unwrap_or_default();
                if name.is_empty() {
                    self.wrong(
                        node,
                        "The field has no name.",
                        "Write `field \"next address\" bits=\"0-6\"`.",
                    );
                } else if let Some(bits) = self.numbers(node, "bits", shape.bits, "data bit") {
                    shape.fields.push(Field { name, bits });
                }
            }
            "zero-words" => self.zero_words(node, shape),
            "grid" => self.grid(node, shape),
            "place" => {
                let element = argument(node, 0).and_then(as_text).unwrap_or_default();
                match pair(node, "at") {
                    Some(at) if !element.is_empty() => shape.places.push(Place { element, at }),
                    _ => self.wrong(
                        node,
                        "The place cannot be read.",
                        "Write `place \"X line 3\" at=\"12.5,40\"`.",
                    ),
                }
            }
            "alter" => {
                let element = argument(node, 0).and_then(as_text).unwrap_or_default();
                match node.get("prior").and_then(decimal) {
                    Some(prior) if prior > 0.0 && prior.is_finite() && !element.is_empty() => {
                        shape.alters.push(Alter { element, prior });
                    }
                    _ => self.wrong(
                        node,
                        "`alter` needs an element and a factor above zero.",
                        "Write `alter \"selection diode\" prior=5`.",
                    ),
                }
            }
            other => {
                let message = format!("`{other}` is not known in a store.");
                self.wrong(node, message, format!("Known lines are {KNOWN}."));
            }
        }
    }

    fn axis(&mut self, node: &KdlNode, shape: &mut Shape) {
        let name = node.name().value();
        let wanted: &[&str] = if shape.organisation == Organisation::CoincidentCurrent {
            &["x", "y"]
        } else {
            &["word"]
        };
        let Some(place) = wanted.iter().position(|w| *w == name) else {
            let message = format!(
                "A {} store has no `{name}` lines.",
                shape.organisation.word()
            );
            self.wrong(
                node,
                message,
                format!("Describe its lines with `{}`.", wanted.join("` and `")),
            );
            return;
        };
        if shape.axes.len() != place {
            let (message, help) = if shape.axes.len() > place {
                (
                    format!("The `{name}` lines are described twice."),
                    "Keep one of the two.",
                )
            } else {
                (
                    "The `y` lines stand before the `x` lines.".to_owned(),
                    "Write the `x` line first.",
                )
            };
            self.wrong(node, message, help);
            return;
        }
        let Some(lines) = self.count(node, "lines", 1 << MOST_ADDRESS_BITS) else {
            return;
        };
        let Some(address) = self.address_list(node, "address", shape, false) else {
            return;
        };
        if lines > 1 << address.len() {
            self.wrong(
                node,
                format!(
                    "{lines} lines cannot be told apart by {} address bits.",
                    address.len()
                ),
                "Name more address bits, or fewer lines.",
            );
            return;
        }
        let matrix = self.matrix(node, lines);
        shape.axes.push(Axis {
            lines: lines as u32,
            address,
            matrix,
        });
    }

    fn matrix(&mut self, node: &KdlNode, lines: usize) -> Option<DriveMatrix> {
        if node.get("drivers").is_none() && node.get("sinks").is_none() {
            return None;
        }
        let drivers = self.count(node, "drivers", lines)?;
        let sinks = self.count(node, "sinks", lines)?;
        if drivers * sinks != lines {
            self.wrong(
                node,
                format!(
                    "{drivers} drivers and {sinks} sinks make {} lines, not {lines}.",
                    drivers * sinks
                ),
                "Line number = driver x sinks + sink; correct one of the three numbers.",
            );
        }
        let diodes = match node.get("diodes") {
            None => true,
            Some(KdlValue::Bool(b)) => *b,
            Some(_) => {
                self.wrong(
                    node,
                    "`diodes` is neither #true nor #false.",
                    "Write `diodes=#true`.",
                );
                true
            }
        };
        Some(DriveMatrix {
            drivers: drivers as u32,
            sinks: sinks as u32,
            diodes,
        })
    }

    fn strobe(&mut self, node: &KdlNode, shape: &mut Shape) {
        let next = shape.strobes.len() as i128;
        if argument(node, 0).and_then(integer) != Some(next) {
            self.wrong(
                node,
                format!("This is strobe {next}, but the line says another number."),
                "Number the strobes from 0 in order.",
            );
            return;
        }
        let Some(bits) = self.numbers(node, "bits", shape.bits, "data bit") else {
            return;
        };
        let group = bits.iter().fold(0 as Word, |w, b| w | 1 << b);
        if let Some(twice) = bits
            .iter()
            .find(|b| shape.strobes.iter().any(|s| s >> **b & 1 == 1))
        {
            self.wrong(
                node,
                format!("Data bit {twice} already has a strobe."),
                "Give every data bit one strobe.",
            );
        }
        shape.strobes.push(group);
    }

    fn zero_words(&mut self, node: &KdlNode, shape: &mut Shape) {
        let text = argument(node, 0).and_then(as_text).unwrap_or_default();
        for word in text.split_whitespace() {
            match u32::from_str_radix(word, 16) {
                Ok(w) if w >> shape.address_bits == 0 => shape.zero_words.push(w),
                _ => self.wrong(
                    node,
                    format!("`{word}` is not an address of this store."),
                    "List hexadecimal addresses, separated by spaces.",
                ),
            }
        }
    }

    fn grid(&mut self, node: &KdlNode, shape: &mut Shape) {
        match (pair(node, "origin"), pair(node, "pitch")) {
            (Some(origin), Some(pitch)) => {
                shape.grid = Some(Grid {
                    origin,
                    pitch,
                    plane: pair(node, "plane").unwrap_or((0.0, 0.0)),
                });
            }
            _ => self.wrong(
                node,
                "`grid` needs `origin` and `pitch`, two numbers each.",
                "Write `grid origin=\"0,0\" pitch=\"1.5,1.5\"`.",
            ),
        }
    }

    fn address_list(
        &mut self,
        node: &KdlNode,
        key: &str,
        shape: &Shape,
        may_miss: bool,
    ) -> Option<Vec<u8>> {
        if may_miss && node.get(key).is_none() {
            return Some(Vec::new());
        }
        self.numbers(node, key, shape.address_bits, "address bit")
    }

    fn numbers(&mut self, node: &KdlNode, key: &str, below: u8, what: &str) -> Option<Vec<u8>> {
        let text = match node.get(key) {
            Some(KdlValue::Integer(n)) => n.to_string(),
            Some(KdlValue::String(s)) => s.clone(),
            _ => {
                self.wrong(
                    node,
                    format!("`{key}` is missing."),
                    format!("Write `{key}=\"0-3 7\"`."),
                );
                return None;
            }
        };
        match number_list(&text, below) {
            Ok(list) => Some(list),
            Err(part) => {
                self.wrong(
                    node,
                    format!("`{part}` is not a {what} of this store, or is named twice."),
                    format!(
                        "Numbers run from 0 to {}, written like \"0-3 7\".",
                        below.saturating_sub(1)
                    ),
                );
                None
            }
        }
    }

    fn whole(&mut self, store: &KdlNode, shape: &mut Shape) {
        if !self.found.is_empty() {
            return;
        }
        let wanted = if shape.organisation == Organisation::CoincidentCurrent {
            2
        } else {
            1
        };
        if shape.axes.len() != wanted {
            let line = if wanted == 1 {
                "word"
            } else if shape.axes.is_empty() {
                "x"
            } else {
                "y"
            };
            self.wrong(
                store,
                format!("The `{line}` lines are not described."),
                format!("Add a line such as `{line} lines=16 address=\"0-3\"`."),
            );
            return;
        }
        let mut uses = vec![0; shape.address_bits as usize];
        for bit in shape.axes.iter().flat_map(|a| &a.address) {
            uses[*bit as usize] += 1;
        }
        if let Some(bit) = uses.iter().position(|n| *n != 1) {
            let often = if uses[bit] == 0 {
                "selects no line"
            } else {
                "is used by both sets of lines"
            };
            self.wrong(
                store,
                format!("Address bit {bit} {often}."),
                "Every address bit belongs to exactly one set of lines.",
            );
        }
        if shape.strobes.is_empty() {
            shape.strobes.push(mask(shape.bits));
        }
        let strobed = shape.strobes.iter().fold(0, |w, s| w | s);
        if strobed != mask(shape.bits) {
            let bit = (!strobed).trailing_zeros();
            self.wrong(
                store,
                format!("Data bit {bit} has no strobe."),
                "Add it to a `strobe` line, or leave all strobe lines out.",
            );
        }
    }
}

fn argument(node: &KdlNode, at: usize) -> Option<&KdlValue> {
    node.entries()
        .iter()
        .filter(|e| e.name().is_none())
        .nth(at)
        .map(|e| e.value())
}

fn as_text(value: &KdlValue) -> Option<String> {
    match value {
        KdlValue::String(s) => Some(s.clone()),
        KdlValue::Integer(n) => Some(n.to_string()),
        _ => None,
    }
}

fn integer(value: &KdlValue) -> Option<i128> {
    match value {
        KdlValue::Integer(n) => Some(*n),
        _ => None,
    }
}

fn decimal(value: &KdlValue) -> Option<f64> {
    match value {
        KdlValue::Integer(n) => Some(*n as f64),
        KdlValue::Float(x) => Some(*x),
        _ => None,
    }
}

fn pair(node: &KdlNode, key: &str) -> Option<(f64, f64)> {
    let text = node.get(key).and_then(as_text)?;
    let (a, b) = text.split_once(',')?;
    let number = |s: &str| s.trim().parse::<f64>().ok().filter(|x| x.is_finite());
    Some((number(a)?, number(b)?))
}

/// `0-3 7` as numbers below `below`, none twice; or the part that is wrong.
fn number_list(text: &str, below: u8) -> Result<Vec<u8>, String> {
    let mut list: Vec<u8> = Vec::new();
    for part in text.split_whitespace() {
        let (first, last) = part.split_once('-').unwrap_or((part, part));
        let bad = || part.to_owned();
        let first: u8 = first.parse().map_err(|_| bad())?;
        let last: u8 = last.parse().map_err(|_| bad())?;
        if first > last || last >= below {
            return Err(bad());
        }
        for n in first..=last {
            if list.contains(&n) {
                return Err(bad());
            }
            list.push(n);
        }
    }
    if list.is_empty() {
        Err(text.to_owned())
    } else {
        Ok(list)
    }
}
