//! The text about a set of recordings (`docs/capture-file.md`): what could be used, and every mistake.

use kdl::{KdlDocument, KdlNode, KdlValue};
use units::Unit;

use super::{About, Dimensions, Expect, Mistake, Pin, Want, What, Words};
use crate::states::Thresholds;

/// Room of a level that does not say its own, as a share of the amplitude; chosen as wide as logic of the time usually is.
const LEVEL_ROOM: f64 = 0.1;
/// Room of a time that does not say its own.
const TIME_ROOM: f64 = 0.1;

/// Reads the text; lines that cannot be used are left out and told.
pub fn read_about(text: &str) -> (About, Vec<Mistake>) {
    let mut reader = Reader {
        text,
        found: Vec::new(),
    };
    let about = reader.document();
    reader.found.sort_by_key(|m| (m.line, m.column));
    (about, reader.found)
}

struct Reader<'t> {
    text: &'t str,
    found: Vec<Mistake>,
}

fn arguments(node: &KdlNode) -> Vec<String> {
    let plain = node.entries().iter().filter(|e| e.name().is_none());
    plain.filter_map(|e| word(e.value())).collect()
}

fn word(value: &KdlValue) -> Option<String> {
    match value {
        KdlValue::String(s) => Some(s.clone()),
        KdlValue::Integer(n) => Some(n.to_string()),
        KdlValue::Float(x) => Some(x.to_string()),
        KdlValue::Bool(b) => Some(b.to_string()),
        KdlValue::Null => None,
    }
}

fn property(node: &KdlNode, key: &str) -> Option<String> {
    node.get(key).and_then(word)
}

impl Reader<'_> {
    fn wrong(&mut self, offset: usize, message: impl Into<String>, help: impl Into<String>) {
        let mut start = offset.min(self.text.len());
        while !self.text.is_char_boundary(start) {
            start -= 1;
        }
        let before = &self.text[..start];
        let from = before.rfind('\n').map_or(0, |i| i + 1);
        self.found.push(Mistake {
            line: before.matches('\n').count() + 1,
            column: before[from..].chars().count() + 1,
            message: message.into(),
            help: help.into(),
        });
    }

    fn wrong_at(&mut self, node: &KdlNode, message: impl Into<String>, help: impl Into<String>) {
        self.wrong(node.name().span().offset(), message, help);
    }

    fn document(&mut self) -> About {
        let mut about = About::default();
        let document = match KdlDocument::parse_v2(self.text) {
            Ok(document) => document,
            Err(broken) => {
                for d in &broken.diagnostics {
                    let what = d
                        .message
                        .clone()
                        .or_else(|| d.label.clone())
                        .unwrap_or_else(|| "unreadable text".into());
                    self.wrong(
                        d.span.offset(),
                        format!("This is not KDL: {}.", what.trim_end_matches('.')),
                        "Quote words that start with a digit or a sign, and close every quote and brace.",
                    );
                }
                return about;
            }
        };
        let [capture] = document.nodes() else {
            self.wrong(
                0,
                "The file does not describe one set of recordings.",
                "Write one `capture board=NAME { ... }`, and everything between its braces.",
            );
            return about;
        };
        if capture.name().value() != "capture" {
            let name = capture.name().value().to_owned();
            self.wrong_at(
                capture,
                format!("`{name}` is not known here."),
                "Begin with `capture board=NAME {`.",
            );
            return about;
        }
        self.keys(capture, &["board"]);
        about.board = property(capture, "board");
        for node in capture.children().map_or(&[][..], KdlDocument::nodes) {
            match node.name().value() {
                "expect" => about.expects.extend(self.expect(node)),
                "flow" => self.flow(node, &mut about),
                "states" => about.states = self.states(node),
                "curve" => about.curve = self.curve(node),
                "tube" => about.tube = self.tube(node),
                other => {
                    let message = format!("`{other}` is not known here.");
                    self.wrong_at(
                        node,
                        message,
                        "Known are expect, flow, states, tube and curve.",
                    );
                }
            }
        }
        about
    }

    /// Names properties that nobody reads.
    fn keys(&mut self, node: &KdlNode, known: &[&str]) {
        for entry in node.entries() {
            if let Some(name) = entry.name()
                && !known.contains(&name.value())
            {
                let message = format!("`{}` is not known on this line.", name.value());
                self.wrong(
                    name.span().offset(),
                    message,
                    format!("Known are {}.", known.join(", ")),
                );
            }
        }
    }

    /// A quantity and whether it is a limit.
    fn quantity(&mut self, node: &KdlNode, key: &str, unit: Unit) -> Option<(f64, bool)> {
        let entry = node.entry(key)?;
        let text = word(entry.value())?;
        let (most, plain) = match text.trim().strip_prefix('<') {
            Some(rest) => (true, rest.trim()),
            None => (false, text.trim()),
        };
        match units::read(plain, unit) {
            Ok(value) => Some((value.number, most)),
            Err(e) => {
                let help = format!("Write it like {}.", unit.example());
                self.wrong(entry.span().offset(), e.to_string(), help);
                None
            }
        }
    }

    fn share(&mut self, node: &KdlNode, key: &str) -> Option<f64> {
        let entry = node.entry(key)?;
        let text = word(entry.value())?;
        match units::read_percentage(&text) {
            Ok(p) if p.fraction > 0.0 && p.fraction <= 1.0 => Some(p.fraction),
            _ => {
                let message = format!("`{text}` is no share between 0 and 100 %.");
                self.wrong(entry.span().offset(), message, "Write it like 10%.");
                None
            }
        }
    }

    fn expect(&mut self, node: &KdlNode) -> Option<Expect> {
        self.keys(
            node,
            &[
                "net",
                "low",
                "high",
                "within",
                "period",
                "width",
                "rise",
                "fall",
                "timing",
                "overshoot",
            ],
        );
        let Some(channel) = arguments(node).into_iter().next() else {
            self.wrong_at(
                node,
                "It is not said which channel is meant.",
                "Write `expect CHANNEL low=... high=...`.",
            );
            return None;
        };
        let low = self.quantity(node, "low", Unit::Volt);
        let high = self.quantity(node, "high", Unit::Volt);
        let within = self.quantity(node, "within", Unit::Volt).map(|w| w.0.abs());
        let timing = self.share(node, "timing").unwrap_or(TIME_ROOM);
        let amplitude = match (low, high) {
            (Some(l), Some(h)) => Some((h.0 - l.0).abs()),
            _ => None,
        };
        let mut wants = Vec::new();
        for (what, level) in [(What::Low, low), (What::High, high)] {
            let Some((value, most)) = level else { continue };
            let Some(room) = within.or(amplitude.map(|a| LEVEL_ROOM * a)) else {
                // what could not be read was told already
                if node.get("within").is_some()
                    || (node.get("low").is_some() && node.get("high").is_some())
                {
                    continue;
                }
                self.wrong_at(
                    node,
                    format!("How far {} may be off is not said.", what.word()),
                    "Give within=VOLTS, or the other level, too: a tenth of the amplitude is then the room.",
                );
                continue;
            };
            wants.push(Want {
                what,
                value,
                room,
                most,
            });
        }
        for what in [What::Period, What::Width, What::Rise, What::Fall] {
            let Some((value, most)) = self.quantity(node, what.word(), Unit::Second) else {
                continue;
            };
            if value <= 0.0 {
                self.wrong_at(
                    node,
                    format!("A {} of {value} s is not possible.", what.word()),
                    "Give a time above zero.",
                );
                continue;
            }
            wants.push(Want {
                what,
                value,
                room: timing * value,
                most,
            });
        }
        if let Some(most) = self.share(node, "overshoot") {
            // per cent of the amplitude, as it is measured; a limit by its nature
            wants.push(Want {
                what: What::Overshoot,
                value: 100.0 * most,
                room: 10.0 * most,
                most: true,
            });
        }
        Some(Expect {
            channel,
            net: property(node, "net"),
            wants,
        })
    }

    fn flow(&mut self, node: &KdlNode, about: &mut About) {
        self.keys(node, &["gates"]);
        let names = arguments(node);
        let gates = property(node, "gates");
        if names.len() < 2 && gates.is_none() {
            self.wrong_at(
                node,
                "A flow needs two signals, or a gate sheet.",
                "Write `flow MASTER CLOCK CARRY`, each driving the next, or `flow gates=NAME`.",
            );
        }
        if names.len() >= 2 {
            about.flows.push(names);
        }
        about.gates = gates.or(about.gates.take());
    }

    fn states(&mut self, node: &KdlNode) -> Option<Words> {
        self.keys(node, &["clock", "edge", "low", "high", "negative", "early"]);
        let bits = arguments(node);
        let clock = property(node, "clock");
        let (low, high) = (
            self.quantity(node, "low", Unit::Volt),
            self.quantity(node, "high", Unit::Volt),
        );
        let (Some(clock), Some((low, _)), Some((high, _)), false) =
            (clock, low, high, bits.is_empty())
        else {
            self.wrong_at(
                node,
                "Words need bits, a clock and the volts of both levels.",
                "Write `states B3 B2 B1 B0 clock=CLOCK edge=rising low=0.8 high=2.0`, the most significant bit first.",
            );
            return None;
        };
        if low >= high || bits.len() > 64 {
            self.wrong_at(
                node,
                "The low level must lie below the high one, and there are at most 64 bits.",
                "For negative logic add negative=#true and leave the levels in the order of their volts.",
            );
            return None;
        }
        let rising = match property(node, "edge").as_deref() {
            None | Some("rising") => true,
            Some("falling") => false,
            Some(other) => {
                let message = format!("`{other}` is no edge.");
                self.wrong_at(node, message, "Write edge=rising or edge=falling.");
                return None;
            }
        };
        let early = property(node, "early")
            .and_then(|e| e.parse().ok())
            .unwrap_or(1.0);
        Some(Words {
            clock,
            rising,
            bits,
            levels: Thresholds {
                low: low as f32,
                high: high as f32,
                negative: property(node, "negative").as_deref() == Some("true"),
            },
            early,
        })
    }

    fn tube(&mut self, node: &KdlNode) -> Option<Dimensions> {
        self.keys(node, &["x", "y", "anode"]);
        let (x, y) = (property(node, "x"), property(node, "y"));
        let anode = self
            .quantity(node, "anode", Unit::Volt)
            .map(|a| a.0)
            .filter(|a| *a > 0.0);
        let (Some(anode), true) = (anode, x.is_some() || y.is_some()) else {
            self.wrong_at(
                node,
                "A tube needs the sizes of its plates and its accelerating volts.",
                "Write `tube x=\"20mm,5mm,200mm\" y=\"25mm,5mm,240mm\" anode=\"2000V\"`: length, distance, way from their middle to the screen.",
            );
            return None;
        };
        Some(Dimensions { x, y, anode })
    }

    fn curve(&mut self, node: &KdlNode) -> Option<Pin> {
        self.keys(node, &["red", "black", "state", "volts", "amps", "shunt"]);
        let (Some(red), Some(black)) = (property(node, "red"), property(node, "black")) else {
            self.wrong_at(
                node,
                "Where the two leads were is not said.",
                "Write `curve red=PLACE black=PLACE`.",
            );
            return None;
        };
        let powered = match property(node, "state").as_deref() {
            None | Some("cold") => false,
            Some("powered") => true,
            Some(other) => {
                let message = format!("`{other}` is no state of a circuit.");
                self.wrong_at(node, message, "Write state=cold or state=powered.");
                return None;
            }
        };
        let shunt = self.quantity(node, "shunt", Unit::Ohm).map(|s| s.0);
        if shunt.is_some_and(|s| s <= 0.0) {
            self.wrong_at(
                node,
                "A shunt of no ohms carries no volts.",
                "Give ohms above zero.",
            );
            return None;
        }
        Some(Pin {
            red,
            black,
            powered,
            volts: property(node, "volts"),
            amps: property(node, "amps"),
            shunt,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_that_may_be_said_is_read() {
        let (about, mistakes) = read_about(
            "capture board=A3 {\n expect CLOCK net=CLK low=\"-10V\" high=\"0V\" within=\"0.6V\" period=\"14us\" rise=\"<300ns\" timing=\"5%\" overshoot=\"8%\"\n flow MASTER CLOCK CARRY\n states B1 B0 clock=CLOCK edge=falling low=\"-7V\" high=\"-3V\" negative=#true\n curve red=BN black=\"0V\" shunt=\"100R\"\n}\n",
        );
        assert_eq!(mistakes, []);
        assert_eq!(about.board.as_deref(), Some("A3"));
        let wants = &about.expects[0].wants;
        assert_eq!(wants.len(), 5);
        assert_eq!((wants[1].value, wants[1].room), (0.0, 0.6));
        assert!((wants[2].room - 0.7e-6).abs() < 1e-12 && wants[3].most);
        assert_eq!(about.flows, [["MASTER", "CLOCK", "CARRY"]]);
        let states = about.states.expect("states");
        assert!(!states.rising && states.levels.negative && states.bits == ["B1", "B0"]);
        assert_eq!(about.curve.expect("a curve").shunt, Some(100.0));
    }

    #[test]
    fn mistakes_have_their_place_and_the_rest_stays() {
        for (text, line, says) in [
            (
                "capture {\n expect CLK low=\"five\" high=\"5V\"\n flow A B\n}",
                2,
                "five",
            ),
            (
                "capture {\n expect CLK low=\"0V\"\n flow A B\n}",
                2,
                "may be off",
            ),
            ("capture {\n expects CLK\n flow A B\n}", 2, "not known"),
            (
                "capture {\n flow A B\n states B0 clock=C low=\"3V\" high=\"1V\"\n}",
                3,
                "below",
            ),
            ("capture {\n flow A B\n curve red=X\n}", 3, "leads"),
        ] {
            let (about, mistakes) = read_about(text);
            assert_eq!(mistakes[0].line, line, "{mistakes:?}");
            assert!(mistakes[0].message.contains(says), "{mistakes:?}");
            assert_eq!(about.flows.len(), 1, "{text}");
        }
        assert!(!read_about("capture {").1.is_empty() && !read_about("").1.is_empty());
    }

    #[test]
    fn scores_are_normal_and_limits_one_sided() {
        use crate::measure::Estimate;
        let want = Want {
            what: What::Low,
            value: 5.0,
            room: 0.5,
            most: false,
        };
        let seen = |value, uncertainty| Estimate { value, uncertainty };
        assert!((want.score(seen(5.5, 0.0)) - 1.96).abs() < 1e-9);
        assert!(want.score(seen(5.5, 1.0)) < 0.5);
        let most = Want { most: true, ..want };
        assert_eq!(most.score(seen(1.0, 0.0)), 0.0);
        assert!(most.score(seen(6.0, 0.0)) > 3.0);
    }
}
