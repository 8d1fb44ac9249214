//! From the lines of a gate sheet to a machine: each pin a gate of its own, rings of gates opened where they keep a state.

mod join;

use std::collections::HashMap;

use kdl::KdlNode;

use super::block::{Block, Sharing};
use super::expression::Expression;
use super::levels::Levels;
use super::machine::{Machine, Part, Pin, Store};
use super::place::Places;
use crate::network::{Function, Gate, NetId};

/// A pin with its net, and where it is written.
pub(crate) struct Connection {
    pub(crate) pin: String,
    pub(crate) net: String,
    pub(crate) offset: usize,
}

struct Driver {
    from: NetId,
    offset: usize,
    sharing: Sharing,
    who: String,
}

/// A pin before the gates are put in order.
struct Placed {
    pin: Pin,
    gate_name: String,
}

/// The lines read so far.
pub(crate) struct Builder {
    levels: Levels,
    names: Vec<String>,
    by_name: HashMap<String, NetId>,
    sheet_nets: Vec<NetId>,
    gates: Vec<Gate>,
    stores: Vec<Store>,
    parts: Vec<Part>,
    placed: Vec<Placed>,
    drivers: HashMap<NetId, Vec<Driver>>,
    wired: HashMap<NetId, Function>,
    used: Vec<(NetId, usize)>,
    inputs: Vec<NetId>,
    outputs: Vec<NetId>,
    clock: Option<NetId>,
    start: Vec<(String, bool, usize)>,
    instances: Vec<String>,
    constants: (NetId, NetId),
}

impl Builder {
    pub(crate) fn new(levels: Levels) -> Self {
        let mut builder = Self {
            levels,
            names: Vec::new(),
            by_name: HashMap::new(),
            sheet_nets: Vec::new(),
            gates: Vec::new(),
            stores: Vec::new(),
            parts: Vec::new(),
            placed: Vec::new(),
            drivers: HashMap::new(),
            wired: HashMap::new(),
            used: Vec::new(),
            inputs: Vec::new(),
            outputs: Vec::new(),
            clock: None,
            start: Vec::new(),
            instances: Vec::new(),
            constants: (NetId(0), NetId(0)),
        };
        let low = builder.inner("always low".to_owned());
        let high = builder.inner("always high".to_owned());
        builder.gate("always low".to_owned(), Function::Low, Vec::new(), low);
        builder.gate("always high".to_owned(), Function::High, Vec::new(), high);
        builder.constants = (low, high);
        builder
    }

    /// A net inside of parts.
    fn inner(&mut self, name: String) -> NetId {
        self.names.push(name);
        NetId(self.names.len() as u32 - 1)
    }

    /// A net of the sheet.
    fn net(&mut self, name: &str) -> NetId {
        if let Some(net) = self.by_name.get(name) {
            return *net;
        }
        let net = self.inner(name.to_owned());
        self.by_name.insert(name.to_owned(), net);
        self.sheet_nets.push(net);
        net
    }

    fn gate(&mut self, name: String, function: Function, inputs: Vec<NetId>, output: NetId) {
        self.gates.push(Gate {
            name,
            function,
            inputs,
            output,
        });
    }

    pub(crate) fn input(&mut self, name: &str) {
        let net = self.net(name);
        if !self.inputs.contains(&net) {
            self.inputs.push(net);
        }
    }

    pub(crate) fn output(&mut self, name: &str, line: &KdlNode) {
        let net = self.net(name);
        self.used.push((net, line.name().span().offset()));
        if !self.outputs.contains(&net) {
            self.outputs.push(net);
        }
    }

    pub(crate) fn clock(&mut self, name: &str, line: &KdlNode, places: &mut Places<'_>) {
        if self.clock.is_some() {
            places.wrong(
                line,
                "A second clock is named.",
                "One net is pulsed at each step; further phases are inputs.",
            );
            return;
        }
        self.clock = Some(self.net(name));
    }

    pub(crate) fn tie(&mut self, name: &str, level: bool, line: &KdlNode, places: &mut Places<'_>) {
        let net = self.net(name);
        if self.drivers.contains_key(&net) {
            places.wrong(
                line,
                format!("Net {name} is driven already."),
                "Take one of the two away.",
            );
            return;
        }
        let from = if level {
            self.constants.1
        } else {
            self.constants.0
        };
        let offset = line.name().span().offset();
        self.drivers.entry(net).or_default().push(Driver {
            from,
            offset,
            sharing: Sharing::Alone,
            who: "a fixed level".to_owned(),
        });
    }

    pub(crate) fn wired(&mut self, name: &str, function: Function) {
        let net = self.net(name);
        self.wired.insert(net, function);
    }

    pub(crate) fn start(&mut self, name: &str, level: bool, offset: usize) {
        self.start.push((name.to_owned(), level, offset));
    }

    /// Puts a block on the sheet under a name; `part` names what is replaced with it, itself if none.
    pub(crate) fn place(
        &mut self,
        name: &str,
        part: Option<&str>,
        block: &Block,
        pins: &[Connection],
        line: &KdlNode,
        places: &mut Places<'_>,
    ) {
        if self.instances.iter().any(|n| n == name) {
            places.wrong(
                line,
                format!("{name} is on the sheet twice."),
                "Give one of them another name.",
            );
            return;
        }
        self.instances.push(name.to_owned());
        let part = self.part(
            part.unwrap_or(name),
            if part.is_some() {
                "module"
            } else {
                &block.title
            },
        );
        let inputs: Vec<String> = block.inputs().into_iter().map(str::to_owned).collect();
        self.check_pins(name, block, &inputs, pins, places);
        let turned = block.is_positive && !self.levels.is_positive();
        let mut scope: HashMap<String, NetId> = HashMap::new();
        for pin in &inputs {
            let net = self.take_in(name, part, block, pin, pins, turned, line, places);
            scope.insert(pin.clone(), net);
        }
        for (inner, _) in &block.equations {
            let net = self.inner(format!("{name}/{inner}"));
            scope.insert(inner.clone(), net);
        }
        for element in &block.elements {
            let net = self.inner(format!("{name}.{}", element.name));
            scope.insert(element.name.clone(), net);
        }
        for (inner, e) in &block.equations {
            let output = scope[inner];
            self.emit(e, &scope, name, Some(output));
        }
        for element in &block.elements {
            let mut of = |e: &Expression| self.emit(e, &scope, name, None);
            let (data, clock) = (of(&element.data), of(&element.clock));
            let (set, reset) = (of(&element.set), of(&element.reset));
            self.stores.push(Store {
                name: format!("{name}.{}", element.name),
                kind: element.kind,
                data,
                clock,
                set,
                reset,
                state: scope[&element.name],
            });
        }
        for pin in &block.outputs {
            let Some(inner) = scope.get(pin).copied() else {
                places.wrong(
                    line,
                    format!("Block {} does not make its output `{pin}`.", block.name),
                    "Add an equation for it, or take it off `out`.",
                );
                continue;
            };
            let enable = block.enables.iter().find(|(n, _)| n == pin);
            let inner = match enable {
                None => inner,
                Some((_, enable)) => {
                    let enable = self.emit(enable, &scope, name, None);
                    self.let_go(format!("{name}.{pin}"), block, inner, enable)
                }
            };
            self.bring_out(name, part, block, pin, inner, pins, turned, line);
        }
    }

    /// What an output that lets go of its net adds to it: its level while it drives, else the higher voltage, which any other output
    /// wins over and which is what an open input of such a family reads.
    fn let_go(&mut self, name: String, block: &Block, level: NetId, enable: NetId) -> NetId {
        let output = self.inner(format!("{name}/given"));
        if block.is_positive || self.levels.is_positive() {
            let off = self.inner(format!("{name}/off"));
            self.gate(format!("{name}/off"), Function::Not, vec![enable], off);
            self.gate(
                format!("{name}/given"),
                Function::Or,
                vec![level, off],
                output,
            );
        } else {
            self.gate(
                format!("{name}/given"),
                Function::And,
                vec![level, enable],
                output,
            );
        }
        output
    }

    fn part(&mut self, name: &str, title: &str) -> usize {
        if let Some(at) = self.parts.iter().position(|p| p.name == name) {
            return at;
        }
        self.parts.push(Part {
            name: name.to_owned(),
            title: title.to_owned(),
            pins: Vec::new(),
        });
        self.parts.len() - 1
    }

    fn check_pins(
        &self,
        name: &str,
        block: &Block,
        inputs: &[String],
        pins: &[Connection],
        places: &mut Places<'_>,
    ) {
        for (at, pin) in pins.iter().enumerate() {
            let known = inputs.contains(&pin.pin)
                || block.outputs.contains(&pin.pin)
                || block.power.contains(&pin.pin);
            if !known {
                let all: Vec<&str> = inputs
                    .iter()
                    .chain(&block.outputs)
                    .map(String::as_str)
                    .collect();
                places.wrong_at(
                    pin.offset,
                    format!(
                        "A {} has no pin `{}` that carries a level.",
                        block.name, pin.pin
                    ),
                    format!("Its pins are {}.", all.join(", ")),
                );
            }
            if pins[..at].iter().any(|p| p.pin == pin.pin) {
                places.wrong_at(
                    pin.offset,
                    format!("Pin {} of {name} is written twice.", pin.pin),
                    "Take one of them away.",
                );
            }
        }
    }

    #[allow(clippy::too_many_arguments)]
    fn take_in(
        &mut self,
        name: &str,
        part: usize,
        block: &Block,
        pin: &str,
        pins: &[Connection],
        turned: bool,
        line: &KdlNode,
        places: &mut Places<'_>,
    ) -> NetId {
        let open = if block.is_positive {
            self.levels.open_reads_high
        } else {
            self.levels.open_reads_high == self.levels.is_positive()
        };
        let inner = self.inner(format!("{name}.{pin}"));
        let gate_name = format!("{name}.{pin}");
        let Some(connection) = pins.iter().find(|p| p.pin == pin) else {
            let level = open && !block.idle.iter().any(|i| i == pin);
            // A gate that is not used at all has none of its inputs on the sheet; that is no mistake, and it reads as open.
            if !block.is_positive && !block.idle.iter().any(|i| i == pin) {
                places.wrong(
                    line,
                    format!("Input `{pin}` of {name} is on no net."),
                    "Connect it; tie it with `low` or `high` if it is tied on the board.",
                );
            }
            let function = if level { Function::High } else { Function::Low };
            self.gate(gate_name, function, Vec::new(), inner);
            return inner;
        };
        let net = self.net(&connection.net);
        self.used.push((net, connection.offset));
        let function = if turned { Function::Not } else { Function::Buf };
        self.gate(gate_name.clone(), function, vec![net], inner);
        self.pin(
            Pin {
                part,
                name: gate_name.clone(),
                net,
                gate: 0,
                is_output: false,
                open: open && !block.idle.iter().any(|i| i == pin),
            },
            gate_name,
        );
        inner
    }

    #[allow(clippy::too_many_arguments)]
    fn bring_out(
        &mut self,
        name: &str,
        part: usize,
        block: &Block,
        pin: &str,
        inner: NetId,
        pins: &[Connection],
        turned: bool,
        line: &KdlNode,
    ) {
        let gate_name = format!("{name}.{pin}:out");
        let outer = self.inner(format!("{name}.{pin}"));
        let function = if turned { Function::Not } else { Function::Buf };
        self.gate(gate_name.clone(), function, vec![inner], outer);
        let connection = pins.iter().find(|p| p.pin == pin);
        let net = match connection {
            None => outer,
            Some(connection) => {
                let net = self.net(&connection.net);
                self.drivers.entry(net).or_default().push(Driver {
                    from: outer,
                    offset: connection.offset.max(line.name().span().offset()),
                    sharing: if block.enables.iter().any(|(n, _)| n == pin) {
                        Sharing::LowWins
                    } else {
                        block.sharing
                    },
                    who: format!("{name}.{pin}"),
                });
                net
            }
        };
        self.pin(
            Pin {
                part,
                name: format!("{name}.{pin}"),
                net,
                gate: 0,
                is_output: true,
                open: false,
            },
            gate_name,
        );
    }

    fn pin(&mut self, pin: Pin, gate_name: String) {
        self.parts[pin.part].pins.push(self.placed.len());
        self.placed.push(Placed { pin, gate_name });
    }

    /// Gates for an expression; the result is on `output`, or on a net of its own.
    fn emit(
        &mut self,
        e: &Expression,
        scope: &HashMap<String, NetId>,
        owner: &str,
        output: Option<NetId>,
    ) -> NetId {
        let (function, parts): (Function, &[Expression]) = match e {
            Expression::Name(name) => match (scope.get(name), output) {
                (Some(net), None) => return *net,
                (_, Some(_)) => (Function::Buf, std::slice::from_ref(e)),
                // Every name in a block is an input, an equation or an element; see `Block::inputs`.
                (None, None) => return self.constants.0,
            },
            Expression::Level(level) => match output {
                None => {
                    return if *level {
                        self.constants.1
                    } else {
                        self.constants.0
                    };
                }
                Some(_) => (
                    if *level {
                        Function::High
                    } else {
                        Function::Low
                    },
                    &[],
                ),
            },
            Expression::Not(inner) => match inner.as_ref() {
                Expression::And(parts) => (Function::Nand, parts),
                Expression::Or(parts) => (Function::Nor, parts),
                Expression::Xor(parts) => (Function::Xnor, parts),
                other => (Function::Not, std::slice::from_ref(other)),
            },
            Expression::And(parts) => (Function::And, parts),
            Expression::Or(parts) => (Function::Or, parts),
            Expression::Xor(parts) => (Function::Xor, parts),
        };
        let inputs: Vec<NetId> = parts
            .iter()
            .map(|p| self.emit(p, scope, owner, None))
            .collect();
        let number = self.gates.len();
        let output = output.unwrap_or_else(|| self.inner(format!("{owner}/{number}")));
        self.gate(format!("{owner}/{number}"), function, inputs, output);
        output
    }

    /// Joins what drives each net, opens rings, and puts the gates in order.
    pub(crate) fn finish(
        mut self,
        name: String,
        sheet: &KdlNode,
        places: &mut Places<'_>,
    ) -> Option<Machine> {
        self.join(places);
        if self.parts.is_empty() {
            // What was refused line by line says more than that nothing is left.
            if !places.found.is_empty() {
                return None;
            }
            places.wrong(
                sheet,
                "The sheet holds no part that can be used.",
                "Add `gate` or `package` lines.",
            );
            return None;
        }
        let network = self.open_rings();
        let at: HashMap<&str, usize> = network
            .gates()
            .iter()
            .enumerate()
            .map(|(i, g)| (g.name.as_str(), i))
            .collect();
        let pins = self
            .placed
            .into_iter()
            .map(|p| Pin {
                gate: at.get(p.gate_name.as_str()).copied().unwrap_or(0),
                ..p.pin
            })
            .collect();
        let mut start = Vec::new();
        for (state, level, offset) in self.start {
            let matches =
                |s: &&Store| s.name == state || s.name.strip_suffix(".s") == Some(state.as_str());
            match self.stores.iter().position(|s| matches(&s)) {
                Some(store) => start.push((store, level)),
                None => {
                    let all: Vec<&str> = self
                        .stores
                        .iter()
                        .map(|s| s.name.trim_end_matches(".s"))
                        .take(12)
                        .collect();
                    places.wrong_at(
                        offset,
                        format!("Nothing named `{state}` keeps a state."),
                        format!("Those that do are {}.", all.join(", ")),
                    );
                }
            }
        }
        Some(Machine {
            name,
            network,
            stores: self.stores,
            parts: self.parts,
            pins,
            inputs: self.inputs,
            clock: self.clock,
            outputs: self.outputs,
            sheet_nets: self.sheet_nets,
            start,
            levels: self.levels,
            constants: self.constants,
        })
    }
}
