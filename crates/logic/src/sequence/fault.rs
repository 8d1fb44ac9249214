//! Faults that are named: a pin stuck, an input open, an output late by a row, two nets bridged.

use std::fmt;

use crate::gates::Machine;
use crate::network::NetId;

/// A fault that is there all the time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// A pin gives one level whatever it should; an output to its net, an input to the inside of its part.
    Stuck {
        /// Position in [`Machine::pins`].
        pin: usize,
        /// The level.
        level: bool,
    },
    /// The way to an input is broken; it reads what the family reads.
    Open {
        /// Position in [`Machine::pins`].
        pin: usize,
    },
    /// An output that comes too late for the clock: in each row it gives what it should have given in the row before, and a clock that
    /// runs through it is lost. In the first row it is right, as it had all the time before.
    Slow {
        /// Position in [`Machine::pins`].
        pin: usize,
    },
    /// A part gives anything at its outputs: nothing is known of them.
    Any {
        /// Position in [`Machine::parts`].
        part: usize,
    },
    /// Two nets touch; the lower voltage wins.
    Bridge {
        /// The nets, both driven.
        nets: [NetId; 2],
    },
}

/// A fault with the names of the sheet.
#[derive(Clone, Copy, Debug)]
pub struct Named<'m>(pub &'m Machine, pub Fault);

impl fmt::Display for Named<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self(machine, fault) = self;
        match fault {
            Fault::Stuck { pin, level } => {
                let pin = &machine.pins[*pin];
                write!(f, "{} stuck at {}", pin.name, u8::from(*level))
            }
            Fault::Slow { pin } => write!(f, "{} slow", machine.pins[*pin].name),
            Fault::Any { part } => write!(f, "{}", machine.parts[*part].name),
            Fault::Open { pin } => write!(f, "{} open", machine.pins[*pin].name),
            Fault::Bridge { nets: [a, b] } => {
                write!(
                    f,
                    "{} and {} bridged",
                    machine.net_name(*a),
                    machine.net_name(*b)
                )
            }
        }
    }
}

impl Fault {
    /// The fault in the words of the sheet.
    pub fn named<'m>(&self, machine: &'m Machine) -> Named<'m> {
        Named(machine, *self)
    }

    /// The part that would be replaced; none for a bridge, which is on the board.
    pub fn part(&self, machine: &Machine) -> Option<usize> {
        match self {
            Self::Stuck { pin, .. } | Self::Open { pin } | Self::Slow { pin } => {
                Some(machine.pins[*pin].part)
            }
            Self::Any { part } => Some(*part),
            Self::Bridge { .. } => None,
        }
    }
}

/// Every fault of the kinds that are named: outputs stuck at 0 and 1, inputs stuck at the level an open one does not read, inputs open,
/// outputs that are slow where rows follow one another, and bridges of neighbouring pins of a package that are on different driven nets.
pub fn possible(machine: &Machine) -> Vec<Fault> {
    let mut list = Vec::new();
    for (at, pin) in machine.pins.iter().enumerate() {
        if pin.is_output {
            list.extend([false, true].map(|level| Fault::Stuck { pin: at, level }));
            if !machine.stores.is_empty() {
                list.push(Fault::Slow { pin: at });
            }
        } else {
            list.push(Fault::Open { pin: at });
            list.push(Fault::Stuck {
                pin: at,
                level: !pin.open,
            });
        }
    }
    let mut bridged: Vec<[NetId; 2]> = Vec::new();
    for part in &machine.parts {
        for a in &part.pins {
            for b in &part.pins {
                let (a, b) = (&machine.pins[*a], &machine.pins[*b]);
                let nets = [a.net.min(b.net), a.net.max(b.net)];
                let driven = nets.iter().all(|n| {
                    machine.network.driver(*n).is_some() && machine.sheet_nets.contains(n)
                });
                if are_neighbours(&a.name, &b.name)
                    && a.net != b.net
                    && driven
                    && !bridged.contains(&nets)
                {
                    bridged.push(nets);
                }
            }
        }
    }
    list.extend(bridged.into_iter().map(|nets| Fault::Bridge { nets }));
    list
}

/// `U1.3` and `U1.4`.
fn are_neighbours(a: &str, b: &str) -> bool {
    let split = |t: &str| -> Option<(String, u32)> {
        let (part, pin) = t.rsplit_once('.')?;
        Some((part.to_owned(), pin.parse().ok()?))
    };
    match (split(a), split(b)) {
        (Some((p, n)), Some((q, m))) => p == q && n + 1 == m,
        _ => false,
    }
}
