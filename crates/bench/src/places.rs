//! From a sheet, a state and what was done to it, to a board that can be probed.

use circuit::{Fault, FaultError, Network, Node};
use predict::{Board, Refusal};
use record::{At, Lead, State};
use sheet::device::Devices;
use sheet::{Kind, PartId, Sheet};

use crate::refused::{Complaint, Refused};

/// What was done to the circuit before it was read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Treatment {
    /// Faults to assume, or to plant.
    pub faults: Vec<Fault>,
    /// Pins that are lifted: the part and the pin's index.
    pub lifted: Vec<(PartId, usize)>,
}

/// Reads faults as `--with` has them.
///
/// # Errors
/// All faults that cannot be read or do not fit.
pub fn faults(texts: &[String], sheet: &Sheet) -> Result<Vec<Fault>, Refused> {
    let mut faults = Vec::new();
    let mut complaints = Vec::new();
    for text in texts {
        match Fault::parse(text, sheet) {
            Ok(fault) => faults.push(fault),
            Err(e) => {
                let (what, help) = no_fault(&e, &sheet.name);
                complaints.push(Complaint::new(format!("--with \"{text}\": {what}"), help));
            }
        }
    }
    if complaints.is_empty() {
        Ok(faults)
    } else {
        Err(Refused::Input(complaints))
    }
}

/// Why a text is no fault of this sheet, and what would mend it.
fn no_fault(error: &FaultError, sheet: &str) -> (String, String) {
    match error {
        FaultError::Form(text) if text.starts_with("bridge") => (
            "a bridge joins two nets.".to_owned(),
            "Write both: --with \"bridge NET1 NET2\", or with its ohms, \"bridge NET1 NET2=1k\"."
                .to_owned(),
        ),
        FaultError::Form(text) => (
            format!("`{text}` is no fault."),
            "Write the part, a space and the fault, such as --with \"R4 open\" or --with \"R4 high=2\"."
                .to_owned(),
        ),
        FaultError::Part(part) => (
            format!("the sheet {sheet} has no part `{part}`."),
            "Write a part as the sheet spells it; a connector's pin as J1.2, a winding as T1.primary."
                .to_owned(),
        ),
        FaultError::Net(net) => (
            format!("the sheet {sheet} has no net `{net}`."),
            "Write a net as the sheet spells it.".to_owned(),
        ),
        FaultError::Mode(mode) => (
            format!("`{mode}` is no kind of fault."),
            "Write open, short, high=, low=, leaky=, be-short, bc-short, ce-short, b-open, c-open, e-open, be-open, turned or bridge."
                .to_owned(),
        ),
        FaultError::NeedsNumber(mode, example) => (
            format!("`{mode}` needs a number."),
            format!("Write it as {mode}={example}."),
        ),
        FaultError::Number(value, mode, bounds) => (
            format!("`{value}` is not a number that `{mode}` can take."),
            format!("Write {bounds}."),
        ),
        FaultError::NoNumber(mode) => (
            format!("`{mode}` takes no number."),
            format!("Write {mode} alone."),
        ),
        FaultError::Unfit(part, _, why) if part == "bridge" => (
            format!("a bridge joins two nets: {why}."),
            "Name two different nets.".to_owned(),
        ),
        FaultError::Unfit(part, mode, why) => (
            format!("{part} cannot be `{mode}`: {why}."),
            "Choose a fault that the part can have.".to_owned(),
        ),
    }
}

/// The network with all that was done to it.
pub fn network(sheet: &Sheet, state: State, treatment: &Treatment) -> Network {
    let mut network = circuit::build(sheet, Devices::shipped(), circuit_state(state));
    for (part, pin) in &treatment.lifted {
        let (name, _) = &sheet.parts[part.index()].pins()[*pin];
        if let Some(edit) = network.lift(*part, name) {
            network.apply(&[edit]);
        }
    }
    for fault in &treatment.faults {
        let edits = fault.edits(sheet, &network);
        network.apply(&edits);
    }
    network
}

fn circuit_state(state: State) -> circuit::State {
    match state {
        State::Cold => circuit::State::Cold,
        State::Powered => circuit::State::Powered,
    }
}

/// A board ready to be probed.
///
/// # Errors
/// If it is powered and a rectifier is not driven, or no operating point is found.
pub fn board(sheet: &Sheet, state: State, treatment: &Treatment) -> Result<Board, Refused> {
    if state == State::Powered
        && let Some(transformer) = undriven_rectifier(sheet)
    {
        return Err(undriven(&transformer));
    }
    Board::new(network(sheet, state, treatment)).map_err(|e| unsolved(&e, sheet))
}

/// Words for a rectifier that nothing drives.
pub fn undriven(transformer: &str) -> Refused {
    Refused::unable(
        format!(
            "{transformer} feeds a rectifier, and steady current cannot tell what that delivers."
        ),
        "Let a supply stand in for the rectified rail, or ask `power plan`, which solves it in time.",
    )
}

/// Words for a solver that gave up.
pub fn unsolved(refusal: &Refusal, sheet: &Sheet) -> Refused {
    let name = |node: Node| {
        sheet.nets.get(node as usize).map_or_else(
            || "inside a part".to_owned(),
            |n| format!("at net {}", n.name),
        )
    };
    let amps = |a: f64| units::significant(a, 2, units::Unit::Ampere);
    let message = match refusal {
        Refusal::NotSolved {
            node,
            amps: left,
            ladder,
        } => {
            let left = left.map_or_else(String::new, |a| {
                format!(", where {} are left over", amps(a))
            });
            let tried: Vec<String> = ladder
                .iter()
                .map(|a| {
                    format!(
                        "{} ({} steps)",
                        rung(&format!("{:?}", a.method)),
                        a.iterations
                    )
                })
                .collect();
            format!(
                "No operating point was found; it is worst {}{left}. Tried: {}.",
                name(*node),
                tried.join(", ")
            )
        }
        Refusal::NotCertified { node, amps: left } => format!(
            "An operating point was found, but its currents do not balance {}: {} are left over.",
            name(*node),
            amps(*left)
        ),
    };
    Refused::unable(
        message,
        "Look at that net on the sheet: a value out by decades or a missing connection is the usual cause.",
    )
}

/// `SourceStepping` in words.
fn rung(method: &str) -> String {
    let mut words = String::new();
    for c in method.chars() {
        if c.is_uppercase() && !words.is_empty() {
            words.push(' ');
            words.extend(c.to_lowercase());
        } else {
            words.push(c);
        }
    }
    words
}

/// The node that a lead stands on: a lifted pin is no longer on its net.
pub fn node(lead: &Lead, sheet: &Sheet, network: &Network) -> Node {
    match lead.at {
        At::Pin(part, pin) => {
            let (name, net) = &sheet.parts[part.index()].pins()[pin];
            network.pin(part, name).map_or(net.0, |p| p.node)
        }
        At::Net | At::Point(_) => lead.net.0,
    }
}

/// A transformer whose winding reaches a diode while no supply stands in, if there is one.
pub fn undriven_rectifier(sheet: &Sheet) -> Option<String> {
    let network = circuit::build(sheet, Devices::shipped(), circuit::State::Powered);
    let component = network.components(None);
    let of = |net: sheet::NetId| component[net.index()];
    let supplied = |c: u32| {
        sheet.parts.iter().any(|p| match p.kind {
            Kind::Supply { plus, .. } => of(plus) == c,
            _ => false,
        })
    };
    let rectifies = |net: sheet::NetId| {
        sheet.parts.iter().any(|p| match p.kind {
            Kind::Diode { anode, cathode, .. } => anode == net || cathode == net,
            _ => false,
        })
    };
    sheet.parts.iter().find_map(|p| match &p.kind {
        Kind::Transformer { windings } => windings
            .iter()
            .any(|w| w.ends.iter().any(|e| rectifies(*e) && !supplied(of(*e))))
            .then(|| p.name.clone()),
        _ => None,
    })
}
