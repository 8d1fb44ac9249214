//! A machine over several steps as one network without memory: a copy of its gates for each round in which something may change.

use std::collections::HashMap;

use super::record::Sequence;
use crate::gates::{Machine, StoreKind};
use crate::joint::Unit;
use crate::network::{Function, Gate, NetId, Network};
use crate::observation::Observation;

/// Most rounds that are written out after one change.
const MOST_ROUNDS: usize = 6;

/// A level in one round: fixed, or a net of the network without memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Node {
    Fixed(bool),
    Net(NetId),
}

/// One round: the nodes of all nets of the machine while its gates are settled, and what was set before it.
pub(crate) struct Round {
    pub(crate) nodes: Vec<Node>,
    pub(crate) set: Vec<(NetId, Node)>,
    /// A new step begins here.
    pub(crate) begins: bool,
    /// The row whose levels are seen after this round.
    pub(crate) seen_row: Option<usize>,
}

/// One sequence written out.
pub(crate) struct Written {
    pub(crate) start: Vec<Node>,
    pub(crate) rounds: Vec<Round>,
}

/// Sequences written out, with what was seen as one observation.
pub(crate) struct Unrolled {
    pub(crate) network: Network,
    pub(crate) observation: Observation,
    /// One for each part of the machine.
    pub(crate) units: Vec<Unit>,
    pub(crate) written: Vec<Written>,
    /// Changes may ripple further than was written out.
    pub(crate) is_cut_short: bool,
}

/// Rounds after a change: how many elements can follow one another without a further change from outside.
fn rounds(machine: &Machine) -> (usize, bool) {
    let count = machine.stores.len();
    let of_state: HashMap<NetId, usize> = machine
        .stores
        .iter()
        .enumerate()
        .map(|(i, s)| (s.state, i))
        .collect();
    let gates = machine.network.gates();
    // The elements each net depends on, as bits.
    let width = count.div_ceil(64).max(1);
    let mut reach = vec![vec![0u64; width]; machine.network.nets().len()];
    for (state, at) in &of_state {
        reach[state.index()][at / 64] |= 1 << (at % 64);
    }
    for gate in gates {
        let mut all = vec![0u64; width];
        for input in &gate.inputs {
            all.iter_mut()
                .zip(&reach[input.index()])
                .for_each(|(a, b)| *a |= b);
        }
        reach[gate.output.index()] = all;
    }
    let mut before = vec![vec![0u64; width]; count];
    for (at, store) in machine.stores.iter().enumerate() {
        let mut nets = vec![store.clock, store.set, store.reset];
        if store.kind == StoreKind::Latch {
            nets.push(store.data);
        }
        for net in nets {
            before[at]
                .iter_mut()
                .zip(&reach[net.index()])
                .for_each(|(a, b)| *a |= b);
        }
    }
    let mut depth = vec![1usize; count];
    for _ in 0..MOST_ROUNDS {
        let mut is_still = true;
        for at in 0..count {
            let feeders = (0..count).filter(|f| before[at][f / 64] >> (f % 64) & 1 == 1);
            let deepest = feeders.map(|f| depth[f]).max().unwrap_or(0) + 1;
            let deepest = deepest.min(MOST_ROUNDS);
            if deepest > depth[at] {
                depth[at] = deepest;
                is_still = false;
            }
        }
        if is_still {
            break;
        }
    }
    let deepest = depth.iter().copied().max().unwrap_or(0);
    ((deepest + 1).min(MOST_ROUNDS), deepest >= MOST_ROUNDS)
}

/// Writes sequences out.
pub(crate) fn unroll(machine: &Machine, runs: &[Sequence]) -> Unrolled {
    let (depth, is_cut_short) = rounds(machine);
    let mut writer = Writer::new(machine);
    let written = runs
        .iter()
        .enumerate()
        .map(|(at, run)| writer.run(at, run, depth))
        .collect();
    writer.finish(written, is_cut_short)
}

struct Writer<'m> {
    machine: &'m Machine,
    part_of: Vec<Option<usize>>,
    gates: Vec<Gate>,
    names: Vec<String>,
    known: HashMap<(Function, Vec<Node>), Node>,
    units: Vec<Unit>,
    levels: Vec<(NetId, bool)>,
    constants: (NetId, NetId),
    unit_gates: Vec<(usize, String)>,
}

impl<'m> Writer<'m> {
    fn new(machine: &'m Machine) -> Self {
        let mut writer = Self {
            machine,
            part_of: machine.part_of_gate(),
            gates: Vec::new(),
            names: Vec::new(),
            known: HashMap::new(),
            units: machine
                .parts
                .iter()
                .map(|_| Unit { gates: Vec::new() })
                .collect(),
            levels: Vec::new(),
            constants: (NetId(0), NetId(1)),
            unit_gates: Vec::new(),
        };
        writer.gate(Function::Low, Vec::new());
        writer.gate(Function::High, Vec::new());
        writer
    }

    fn free(&mut self) -> NetId {
        self.names.push(format!("n{}", self.names.len()));
        NetId(self.names.len() as u32 - 1)
    }

    fn gate(&mut self, function: Function, inputs: Vec<NetId>) -> NetId {
        let output = self.free();
        self.gates.push(Gate {
            name: format!("g{}", self.gates.len()),
            function,
            inputs,
            output,
        });
        output
    }

    fn net(&self, node: Node) -> NetId {
        match node {
            Node::Net(net) => net,
            Node::Fixed(true) => self.constants.1,
            Node::Fixed(false) => self.constants.0,
        }
    }

    /// A gate that does not err: worked out where its inputs are fixed, made once for the same inputs.
    fn sound(&mut self, function: Function, inputs: &[Node]) -> Node {
        use Function::{And, Buf, High, Low, Nand, Nor, Not, Or, Xnor, Xor};
        let (deciding, negated) = match function {
            And => (Some(false), false),
            Nand => (Some(false), true),
            Or => (Some(true), false),
            Nor => (Some(true), true),
            Low => return Node::Fixed(false),
            High => return Node::Fixed(true),
            Buf => return inputs[0],
            Not | Xor | Xnor => (None, false),
        };
        let mut open: Vec<Node> = Vec::with_capacity(inputs.len());
        let mut odd = false;
        for node in inputs {
            match (*node, deciding) {
                (Node::Fixed(level), Some(d)) if level == d => return Node::Fixed(d != negated),
                (Node::Fixed(_), Some(_)) => {}
                (Node::Fixed(level), None) => odd ^= level,
                (net, Some(_)) if open.contains(&net) => {}
                (net, _) => open.push(net),
            }
        }
        let function = match (deciding, open.len()) {
            (Some(d), 0) => return Node::Fixed(d == negated),
            (Some(_), 1) if negated => Not,
            (Some(_), 1) => Buf,
            (Some(_), _) => function,
            (None, n) => {
                let turned = odd != matches!(function, Not | Xnor);
                match (n, turned) {
                    (0, _) => return Node::Fixed(turned),
                    (1, true) => Not,
                    (1, false) => Buf,
                    (_, true) => Xnor,
                    (_, false) => Xor,
                }
            }
        };
        if function == Buf {
            return open[0];
        }
        let key = (function, open);
        if let Some(node) = self.known.get(&key) {
            return *node;
        }
        let nets = key.1.iter().map(|n| self.net(*n)).collect();
        let node = Node::Net(self.gate(function, nets));
        self.known.insert(key, node);
        node
    }

    fn run(&mut self, at: usize, run: &Sequence, depth: usize) -> Written {
        let machine = self.machine;
        let mut nodes: Vec<Node> = vec![Node::Fixed(false); machine.network.nets().len()];
        for net in machine.network.inputs() {
            nodes[net.index()] = Node::Net(self.free());
        }
        for (store, level) in &machine.start {
            nodes[machine.stores[*store].state.index()] = Node::Fixed(*level);
        }
        if let Some(clock) = machine.clock {
            nodes[clock.index()] = Node::Fixed(false);
        }
        let start = nodes.clone();
        let mut course = Course {
            nodes,
            before: None,
            made: HashMap::new(),
        };
        let mut rounds = Vec::new();
        for (index, row) in run.rows.iter().enumerate() {
            let mut set: Vec<(NetId, Node)> = machine
                .stores
                .iter()
                .filter(|s| s.kind == StoreKind::Pulse)
                .map(|s| (s.state, Node::Fixed(false)))
                .collect();
            for (net, level) in &row.inputs {
                let node = level.map_or_else(|| Node::Net(self.free()), Node::Fixed);
                set.push((*net, node));
            }
            course.made.clear();
            self.change(&mut course, set, depth, true, &mut rounds);
            if let Some(last) = rounds.last_mut() {
                last.seen_row = Some(index);
                for (net, level) in &row.seen {
                    let node = last.nodes[net.index()];
                    let from = self.net(node);
                    let seen = self.gate(Function::Buf, vec![from]);
                    self.names[seen.index()] =
                        format!("run {at} row {index}: {}", machine.net_name(*net));
                    self.levels.push((seen, *level));
                }
            }
            if let Some(clock) = machine.clock.filter(|_| index + 1 < run.rows.len()) {
                for level in [true, false] {
                    self.change(
                        &mut course,
                        vec![(clock, Node::Fixed(level))],
                        depth,
                        false,
                        &mut rounds,
                    );
                }
            }
        }
        Written { start, rounds }
    }

    /// Sets nets and writes the rounds that follow.
    fn change(
        &mut self,
        course: &mut Course,
        set: Vec<(NetId, Node)>,
        depth: usize,
        begins: bool,
        rounds: &mut Vec<Round>,
    ) {
        set.iter()
            .for_each(|(net, node)| course.nodes[net.index()] = *node);
        let mut set = Some(set);
        for round in 0..depth {
            self.settle(course);
            rounds.push(Round {
                nodes: course.nodes.clone(),
                set: set.take().unwrap_or_default(),
                begins: begins && round == 0,
                seen_row: None,
            });
            let is_still = self.next_states(course);
            if is_still {
                break;
            }
        }
    }

    fn settle(&mut self, course: &mut Course) {
        for (at, gate) in self.machine.network.gates().iter().enumerate() {
            let inputs: Vec<Node> = gate
                .inputs
                .iter()
                .map(|n| course.nodes[n.index()])
                .collect();
            let node = match self.part_of[at] {
                None => self.sound(gate.function, &inputs),
                // Within a step a part errs alike as long as its inputs are alike.
                Some(part) => match course.made.get(&at) {
                    Some((before, node)) if *before == inputs => *node,
                    _ => {
                        let nets = inputs.iter().map(|n| self.net(*n)).collect();
                        let name = format!("g{}", self.gates.len());
                        let node = Node::Net(self.gate(gate.function, nets));
                        self.unit_gates.push((part, name));
                        course.made.insert(at, (inputs, node));
                        node
                    }
                },
            };
            course.nodes[gate.output.index()] = node;
        }
    }

    /// True if no state can change.
    fn next_states(&mut self, course: &mut Course) -> bool {
        let now: Vec<(Node, Node)> = self
            .machine
            .stores
            .iter()
            .map(|s| (course.nodes[s.clock.index()], course.nodes[s.data.index()]))
            .collect();
        let before = course.before.take().unwrap_or_else(|| now.clone());
        let mut next = Vec::with_capacity(now.len());
        for (at, store) in self.machine.stores.iter().enumerate() {
            let state = course.nodes[store.state.index()];
            let (clock, data) = now[at];
            let (old_clock, old_data) = before[at];
            let idle = self.sound(Function::Not, &[old_clock]);
            let rose = self.sound(Function::And, &[idle, clock]);
            let taken = match store.kind {
                StoreKind::Edge => self.choose(rose, old_data, state),
                StoreKind::Latch => self.choose(clock, data, state),
                StoreKind::Pulse => self.sound(Function::Or, &[rose, state]),
            };
            let (set, reset) = (
                course.nodes[store.set.index()],
                course.nodes[store.reset.index()],
            );
            let keeps = self.sound(Function::Not, &[reset]);
            let kept = self.sound(Function::And, &[taken, keeps]);
            next.push(self.sound(Function::Or, &[set, kept]));
        }
        let mut is_still = true;
        for (store, node) in self.machine.stores.iter().zip(next) {
            is_still &= course.nodes[store.state.index()] == node;
            course.nodes[store.state.index()] = node;
        }
        course.before = Some(now);
        is_still
    }

    fn choose(&mut self, condition: Node, yes: Node, no: Node) -> Node {
        if yes == no {
            return yes;
        }
        let a = self.sound(Function::And, &[condition, yes]);
        let not = self.sound(Function::Not, &[condition]);
        let b = self.sound(Function::And, &[not, no]);
        self.sound(Function::Or, &[a, b])
    }

    fn finish(mut self, written: Vec<Written>, is_cut_short: bool) -> Unrolled {
        self.levels.sort_unstable();
        // Each gate has an output of its own and reads only what was made before it.
        let network = match Network::new(self.gates, self.names) {
            Ok(network) => network,
            Err(wrong) => unreachable!("a machine written out is a network: {wrong}"),
        };
        let at: HashMap<&str, usize> = network
            .gates()
            .iter()
            .enumerate()
            .map(|(i, g)| (g.name.as_str(), i))
            .collect();
        for (part, name) in &self.unit_gates {
            self.units[*part].gates.push(at[name.as_str()]);
        }
        let observation = Observation {
            id: String::new(),
            levels: self.levels,
            warnings: Vec::new(),
        };
        Unrolled {
            network,
            observation,
            units: self.units,
            written,
            is_cut_short,
        }
    }
}

struct Course {
    nodes: Vec<Node>,
    /// Clock and data of each element in the round before.
    before: Option<Vec<(Node, Node)>>,
    /// Gates that may err, made in this step: their inputs and their node.
    made: HashMap<usize, (Vec<Node>, Node)>,
}
