//! Gates and nets as plain data, in an order in which each gate comes after those that feed it.

use std::collections::HashMap;
use std::fmt;

/// Index of a net in [`Network::nets`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct NetId(pub u32);

impl NetId {
    /// The position in [`Network::nets`].
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

/// What a gate does with its inputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Function {
    /// High when all inputs are high.
    And,
    /// Low when all inputs are high.
    Nand,
    /// High when any input is high.
    Or,
    /// Low when any input is high.
    Nor,
    /// High when an odd number of inputs is high.
    Xor,
    /// High when an even number of inputs is high.
    Xnor,
    /// The opposite of its one input.
    Not,
    /// The same as its one input.
    Buf,
    /// Always low; no inputs.
    Low,
    /// Always high; no inputs.
    High,
}

impl Function {
    /// Reads the word used in netlists; case does not matter.
    pub fn from_word(word: &str) -> Option<Self> {
        Some(match word.to_ascii_lowercase().as_str() {
            "and" => Self::And,
            "nand" => Self::Nand,
            "or" => Self::Or,
            "nor" => Self::Nor,
            "xor" => Self::Xor,
            "xnor" => Self::Xnor,
            "not" => Self::Not,
            "buf" => Self::Buf,
            "low" => Self::Low,
            "high" => Self::High,
            _ => return None,
        })
    }

    /// The word used in netlists.
    pub fn word(self) -> &'static str {
        match self {
            Self::And => "and",
            Self::Nand => "nand",
            Self::Or => "or",
            Self::Nor => "nor",
            Self::Xor => "xor",
            Self::Xnor => "xnor",
            Self::Not => "not",
            Self::Buf => "buf",
            Self::Low => "low",
            Self::High => "high",
        }
    }

    /// The fewest and the most inputs that make sense.
    pub fn inputs(self) -> (usize, usize) {
        match self {
            Self::Not | Self::Buf => (1, 1),
            Self::Low | Self::High => (0, 0),
            _ => (1, usize::MAX),
        }
    }

    /// The level at the output for levels at the inputs, 64 cases at a time.
    pub fn of_words(self, inputs: impl Iterator<Item = u64>) -> u64 {
        match self {
            Self::And => inputs.fold(!0, |a, b| a & b),
            Self::Nand => !inputs.fold(!0, |a, b| a & b),
            Self::Or => inputs.fold(0, |a, b| a | b),
            Self::Nor => !inputs.fold(0, |a, b| a | b),
            Self::Xor | Self::Buf => inputs.fold(0, |a, b| a ^ b),
            Self::Xnor | Self::Not => !inputs.fold(0, |a, b| a ^ b),
            Self::Low => 0,
            Self::High => !0,
        }
    }
}

/// One gate.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gate {
    /// Its name, such as `gate7` or `U3`.
    pub name: String,
    /// What it does.
    pub function: Function,
    /// The nets it listens to.
    pub inputs: Vec<NetId>,
    /// The net it drives.
    pub output: NetId,
}

/// One net.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Net {
    /// Its name as written.
    pub name: String,
    /// The gate that drives it, as a position in [`Network::gates`]; none for an input of the network.
    pub driver: Option<usize>,
}

/// Combinational gates: every net has at most one driver and there is no way round from a gate to itself.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Network {
    gates: Vec<Gate>,
    nets: Vec<Net>,
    by_name: HashMap<String, NetId>,
}

/// Why gates do not make a network; the numbers are positions in the list of gates that was given.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NetworkError {
    /// Two gates drive one net.
    TwoDrivers {
        /// The gate written first.
        first: usize,
        /// The gate written later.
        second: usize,
    },
    /// These gates feed each other in a ring.
    Ring {
        /// Positions of the gates on the ring.
        gates: Vec<usize>,
    },
}

impl fmt::Display for NetworkError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NetworkError::TwoDrivers { first, second } => {
                write!(f, "gates {first} and {second} drive the same net")
            }
            NetworkError::Ring { gates } => write!(f, "gates {gates:?} feed each other in a ring"),
        }
    }
}

impl std::error::Error for NetworkError {}

impl Network {
    /// Orders the gates so that each comes after those that feed it; the order of the list is kept where it can be.
    ///
    /// # Errors
    /// A net with two drivers, or a ring of gates.
    pub fn new(gates: Vec<Gate>, names: Vec<String>) -> Result<Self, NetworkError> {
        let mut written_driver: Vec<Option<usize>> = vec![None; names.len()];
        for (index, gate) in gates.iter().enumerate() {
            if let Some(first) = written_driver[gate.output.index()] {
                return Err(NetworkError::TwoDrivers {
                    first,
                    second: index,
                });
            }
            written_driver[gate.output.index()] = Some(index);
        }
        let order = ordered(&gates, &written_driver)?;
        let mut slots: Vec<Option<Gate>> = gates.into_iter().map(Some).collect();
        let gates: Vec<Gate> = order.iter().filter_map(|i| slots[*i].take()).collect();
        let by_name = names
            .iter()
            .enumerate()
            .map(|(i, n)| (n.clone(), NetId(i as u32)))
            .collect();
        let mut nets: Vec<Net> = names
            .into_iter()
            .map(|name| Net { name, driver: None })
            .collect();
        for (index, gate) in gates.iter().enumerate() {
            nets[gate.output.index()].driver = Some(index);
        }
        Ok(Self {
            gates,
            nets,
            by_name,
        })
    }

    /// The gates, each after those that feed it.
    pub fn gates(&self) -> &[Gate] {
        &self.gates
    }

    /// The nets, in the order in which they were first named.
    pub fn nets(&self) -> &[Net] {
        &self.nets
    }

    /// The net of that name.
    pub fn net(&self, name: &str) -> Option<NetId> {
        self.by_name.get(name).copied()
    }

    /// The gate that drives a net, as a position in [`Network::gates`].
    pub fn driver(&self, net: NetId) -> Option<usize> {
        self.nets[net.index()].driver
    }

    /// Nets that no gate drives.
    pub fn inputs(&self) -> impl Iterator<Item = NetId> + '_ {
        (0..self.nets.len())
            .filter(|i| self.nets[*i].driver.is_none())
            .map(|i| NetId(i as u32))
    }
}

/// Depth-first ordering without recursion, because a long chain of gates would overflow the stack.
fn ordered(gates: &[Gate], driver: &[Option<usize>]) -> Result<Vec<usize>, NetworkError> {
    #[derive(Clone, Copy, PartialEq)]
    enum Mark {
        New,
        Open,
        Done,
    }
    let mut mark = vec![Mark::New; gates.len()];
    let mut order = Vec::with_capacity(gates.len());
    for start in 0..gates.len() {
        if mark[start] != Mark::New {
            continue;
        }
        mark[start] = Mark::Open;
        let mut path = vec![(start, 0)];
        while let Some((gate, next)) = path.pop() {
            let Some(input) = gates[gate].inputs.get(next) else {
                mark[gate] = Mark::Done;
                order.push(gate);
                continue;
            };
            path.push((gate, next + 1));
            let Some(feeder) = driver[input.index()] else {
                continue;
            };
            match mark[feeder] {
                Mark::Done => {}
                Mark::New => {
                    mark[feeder] = Mark::Open;
                    path.push((feeder, 0));
                }
                Mark::Open => {
                    let from = path.iter().position(|(g, _)| *g == feeder).unwrap_or(0);
                    return Err(NetworkError::Ring {
                        gates: path[from..].iter().map(|(g, _)| *g).collect(),
                    });
                }
            }
        }
    }
    Ok(order)
}
