//! Faults by their names, and what each does to a network.

use std::fmt;

use sheet::{Kind, NetId, PartId, Sheet};

use crate::laws::Law;
use crate::network::{Branch, Element, Network, Node, Terminal};
use crate::parameter::{ParameterId, Quantity};

/// Resistance of a short in ohms, in parallel with the intact part.
pub const SHORT_OHMS: f64 = 0.1;

/// What has happened to a part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Mode {
    /// Removed.
    Open,
    /// 0R1 in parallel with the intact part.
    Short,
    /// The value is multiplied; the figure is above 1.
    High(f64),
    /// The value is multiplied; the figure is below 1.
    Low(f64),
    /// This many ohms in parallel.
    Leaky(f64),
    /// 0R1 between base and emitter.
    BeShort,
    /// 0R1 between base and collector.
    BcShort,
    /// 0R1 between collector and emitter.
    CeShort,
    /// The base lead is off.
    BOpen,
    /// The collector lead is off.
    COpen,
    /// The emitter lead is off.
    EOpen,
    /// Base-emitter current and both transport terms vanish.
    BeOpen,
    /// Collector and emitter exchanged; a diode reversed.
    Turned,
    /// This many ohms between two nets.
    Bridge(f64),
}

/// Where a fault is.
#[derive(Clone, Debug, PartialEq)]
pub enum Place {
    /// A part.
    Part(PartId),
    /// A connector pin or a transformer winding of a part, by its name.
    Piece(PartId, String),
    /// Two nets.
    Nets(NetId, NetId),
}

/// One fault.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// Where.
    pub place: Place,
    /// What.
    pub mode: Mode,
}

/// Why a fault could not be read or does not fit its part.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FaultError {
    /// The text has not the form `REF FAULT[=VALUE]`.
    #[error(
        "`{0}` is not a fault: write the part, a space and the fault, such as `R4 open` or `R4 high=2`"
    )]
    Form(String),
    /// No such part.
    #[error("the sheet has no part `{0}`")]
    Part(String),
    /// No such net.
    #[error("the sheet has no net `{0}`")]
    Net(String),
    /// No such fault.
    #[error(
        "`{0}` is not the name of a fault; there are open, short, high=, low=, leaky=, be-short, bc-short, ce-short, b-open, c-open, e-open, be-open, turned and bridge"
    )]
    Mode(String),
    /// `high`, `low` or `leaky` without a number.
    #[error("`{0}` needs a number: write `{0}={1}`")]
    NeedsNumber(String, &'static str),
    /// A number that cannot be read or is out of bounds.
    #[error("`{0}` is not a number that `{1}` can take: {2}")]
    Number(String, String, &'static str),
    /// A number where none belongs.
    #[error("`{0}` takes no number")]
    NoNumber(String),
    /// The part cannot have this fault.
    #[error("{0} cannot be `{1}`: {2}")]
    Unfit(String, String, &'static str),
}

/// A change of a network.
#[derive(Clone, Debug, PartialEq)]
pub enum Edit {
    /// Multiplies a parameter, spread and all.
    Scale(ParameterId, f64),
    /// Takes a branch out.
    Remove(usize),
    /// Adds a resistance in ohms between two nodes.
    Shunt(Node, Node, f64),
    /// Moves terminals to a fresh node.
    Lift(Vec<Terminal>),
    /// Exchanges collector and emitter, or anode and cathode.
    Turn(usize),
    /// Leaves only the base-collector junction of a transistor.
    OnlyBaseCollector(usize),
}

impl fmt::Display for Mode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Mode::Open => write!(f, "open"),
            Mode::Short => write!(f, "short"),
            Mode::High(x) => write!(f, "high={x}"),
            Mode::Low(x) => write!(f, "low={x}"),
            Mode::Leaky(x) => write!(f, "leaky={x}"),
            Mode::BeShort => write!(f, "be-short"),
            Mode::BcShort => write!(f, "bc-short"),
            Mode::CeShort => write!(f, "ce-short"),
            Mode::BOpen => write!(f, "b-open"),
            Mode::COpen => write!(f, "c-open"),
            Mode::EOpen => write!(f, "e-open"),
            Mode::BeOpen => write!(f, "be-open"),
            Mode::Turned => write!(f, "turned"),
            Mode::Bridge(x) => write!(f, "bridge={x}"),
        }
    }
}

impl Fault {
    /// Reads `REF FAULT[=VALUE]` or `bridge NET1 NET2[=OHMS]`, and checks that it fits.
    pub fn parse(text: &str, sheet: &Sheet) -> Result<Self, FaultError> {
        let words: Vec<&str> = text.split_whitespace().collect();
        let fault = match words[..] {
            ["bridge", first, rest] => bridge(first, rest, sheet)?,
            ["bridge", ..] => return Err(FaultError::Form(text.to_owned())),
            [reference, mode] => Fault {
                place: place(reference, sheet)?,
                mode: mode_of(mode)?,
            },
            _ => return Err(FaultError::Form(text.to_owned())),
        };
        fault.fits(sheet)?;
        Ok(fault)
    }

    /// The name of the faulty part as JSON has it: `R4`, `J1.2`, `T1.primary`, `bridge`.
    pub fn part_name(&self, sheet: &Sheet) -> String {
        match &self.place {
            Place::Part(p) => sheet.parts[p.index()].name.clone(),
            Place::Piece(p, piece) => format!("{}.{piece}", sheet.parts[p.index()].name),
            Place::Nets(..) => "bridge".to_owned(),
        }
    }

    /// The fault's own name without its magnitude; for a bridge its two nets.
    pub fn mode_name(&self, sheet: &Sheet) -> String {
        match &self.place {
            Place::Nets(a, b) => format!("{} {}", sheet.net_name(*a), sheet.net_name(*b)),
            _ => {
                let text = self.mode.to_string();
                text.split_once('=')
                    .map_or(text.clone(), |(n, _)| n.to_owned())
            }
        }
    }

    /// Whether the part can have this fault.
    fn fits(&self, sheet: &Sheet) -> Result<(), FaultError> {
        let refuse = |why| {
            Err(FaultError::Unfit(
                self.part_name(sheet),
                self.mode.to_string(),
                why,
            ))
        };
        let part = match &self.place {
            Place::Nets(a, b) if a == b => return refuse("both ends are the same net"),
            Place::Nets(..) => return Ok(()),
            Place::Part(p) | Place::Piece(p, _) => &sheet.parts[p.index()],
        };
        let transistor = matches!(part.kind, Kind::Transistor { .. });
        if matches!(self.place, Place::Piece(..)) {
            return match (&part.kind, self.mode) {
                (
                    Kind::Transformer { .. },
                    Mode::Open | Mode::Short | Mode::High(_) | Mode::Low(_) | Mode::Leaky(_),
                )
                | (Kind::Connector { .. }, Mode::Open) => Ok(()),
                (Kind::Connector { .. }, _) => refuse("a connector pin can only be open"),
                _ => refuse("a winding can be open, short, high, low or leaky"),
            };
        }
        match self.mode {
            Mode::BeShort
            | Mode::BcShort
            | Mode::CeShort
            | Mode::BOpen
            | Mode::COpen
            | Mode::EOpen
            | Mode::BeOpen
                if !transistor =>
            {
                refuse("only a transistor has these leads")
            }
            Mode::Turned
                if !transistor
                    && !matches!(
                        part.kind,
                        Kind::Diode { .. }
                            | Kind::Zener { .. }
                            | Kind::Capacitor {
                                polarised: true,
                                ..
                            }
                    ) =>
            {
                refuse(
                    "only a transistor, a diode or a polarised capacitor can be in the wrong way round",
                )
            }
            Mode::Short | Mode::Leaky(_) if transistor => {
                refuse("say between which leads: be-short, bc-short or ce-short")
            }
            Mode::High(_) | Mode::Low(_)
                if matches!(
                    part.kind,
                    Kind::Diode { .. }
                        | Kind::Switch { .. }
                        | Kind::Fuse { .. }
                        | Kind::Supply { .. }
                        | Kind::Load { .. }
                        | Kind::Lamp { .. }
                ) =>
            {
                refuse("it has no value that could have drifted")
            }
            _ if matches!(part.kind, Kind::Transformer { .. }) => {
                refuse("name the winding, such as `T1.primary open`")
            }
            _ if matches!(part.kind, Kind::Connector { .. }) => {
                refuse("name the pin, such as `J1.2 open`")
            }
            _ => Ok(()),
        }
    }

    /// What the fault does to `network`, which was built from `sheet`.
    ///
    /// An empty list means that it changes nothing in this state: a capacitor that opens is not
    /// seen by steady current.
    pub fn edits(&self, sheet: &Sheet, network: &Network) -> Vec<Edit> {
        let (part, piece) = match &self.place {
            Place::Nets(a, b) => {
                let Mode::Bridge(ohms) = self.mode else {
                    unreachable!("nets can only be bridged");
                };
                return vec![Edit::Shunt(a.0, b.0, ohms)];
            }
            Place::Part(p) => (*p, None),
            Place::Piece(p, piece) => (*p, Some(piece.as_str())),
        };
        let pin = |name: &str| network.pin(part, name).expect("a transistor has this pin");
        let own = |i: &usize| {
            network.branches[*i].part == Some(part)
                && piece.is_none_or(|w| winding_branch(network, part, w) == Some(*i))
        };
        let branches = || (0..network.branches.len()).filter(|i| own(i));
        let device = || branches().find(|i| is_device(&network.branches[*i]));
        let shunt = |a: &str, b: &str| vec![Edit::Shunt(pin(a).node, pin(b).node, SHORT_OHMS)];
        match self.mode {
            Mode::Open => branches().map(Edit::Remove).collect(),
            Mode::Short => across(sheet, network, part, piece, SHORT_OHMS),
            Mode::Leaky(ohms) => across(sheet, network, part, piece, ohms),
            Mode::High(factor) | Mode::Low(factor) => drifting(network, part, piece)
                .map(|p| Edit::Scale(p, factor))
                .into_iter()
                .collect(),
            Mode::BeShort => shunt("b", "e"),
            Mode::BcShort => shunt("b", "c"),
            Mode::CeShort => shunt("c", "e"),
            Mode::BOpen => vec![Edit::Lift(pin("b").terminals.clone())],
            Mode::COpen => vec![Edit::Lift(pin("c").terminals.clone())],
            Mode::EOpen => vec![Edit::Lift(pin("e").terminals.clone())],
            Mode::BeOpen => device().map(Edit::OnlyBaseCollector).into_iter().collect(),
            Mode::Turned => turned(network, part, device()),
            Mode::Bridge(_) => unreachable!("a part cannot be a bridge"),
        }
    }
}

/// A transistor or diode is in backwards: its outer leads change places. A capacitor that is in backwards reads as ever at
/// the volt of a meter; what it does when powered, whoever follows it there says.
fn turned(network: &Network, part: PartId, device: Option<usize>) -> Vec<Edit> {
    let collector = network.pin(part, "c").and_then(|p| p.terminals.first());
    match (device, collector) {
        // With a collector resistance the part's outer lead is not on the device itself.
        (Some(device), Some(lead)) if lead.branch != device => {
            vec![Edit::Turn(device), Edit::Turn(lead.branch)]
        }
        (Some(device), _) => vec![Edit::Turn(device)],
        (None, _) => Vec::new(),
    }
}

fn is_device(branch: &Branch) -> bool {
    matches!(branch.element, Element::Device { .. })
}

/// The branch of a transformer's winding; none for a connector's pin.
fn winding_branch(network: &Network, part: PartId, winding: &str) -> Option<usize> {
    let pin = network.pin(part, &format!("{winding}.1"))?;
    pin.terminals.first().map(|t| t.branch)
}

/// A resistance across the whole part, from its first pin to its last; a lifted pin takes its end
/// of it along.
fn across(
    sheet: &Sheet,
    network: &Network,
    part: PartId,
    piece: Option<&str>,
    ohms: f64,
) -> Vec<Edit> {
    let pins = sheet.parts[part.index()].pins();
    let own: Vec<&(String, NetId)> = pins
        .iter()
        .filter(|(name, _)| {
            piece.is_none_or(|w| {
                name.strip_prefix(w)
                    .is_some_and(|rest| rest.starts_with('.'))
            })
        })
        .collect();
    match (own.first(), own.last()) {
        (Some((first, a)), Some((last, b))) => {
            let node = |pin: &str, net: &NetId| network.pin(part, pin).map_or(net.0, |p| p.node);
            vec![Edit::Shunt(node(first, a), node(last, b), ohms)]
        }
        _ => Vec::new(),
    }
}

/// The parameter that `high` and `low` multiply: ohms, zener volts, or forward gain.
fn drifting(network: &Network, part: PartId, piece: Option<&str>) -> Option<ParameterId> {
    if let Some(winding) = piece {
        let branch = winding_branch(network, part, winding)?;
        return match network.branches[branch].element {
            Element::Resistance(p) => Some(p),
            _ => None,
        };
    }
    let parameters = &network.population.parameters;
    [Quantity::Ohms, Quantity::Volts, Quantity::Bf]
        .into_iter()
        .find_map(|quantity| {
            parameters
                .iter()
                .position(|p| p.part == part && p.quantity == quantity)
        })
        .map(|i| ParameterId(i as u32))
}

impl Network {
    /// Makes the changes, one after another.
    pub fn apply(&mut self, edits: &[Edit]) {
        for edit in edits {
            match edit {
                Edit::Scale(p, factor) => {
                    self.population.parameters[p.index()].nominal *= factor;
                }
                Edit::Remove(branch) => self.branches[*branch].element = Element::Absent,
                Edit::Shunt(a, b, ohms) => self.branches.push(Branch {
                    part: None,
                    nodes: [*a, *b, *b],
                    element: Element::Fixed(*ohms),
                }),
                Edit::Lift(terminals) => {
                    let node = self.add_node();
                    for t in terminals {
                        self.branches[t.branch].nodes[t.index] = node;
                    }
                    for pin in &mut self.pins {
                        if pin.terminals.iter().any(|t| terminals.contains(t)) {
                            pin.node = node;
                        }
                    }
                }
                Edit::Turn(branch) => {
                    let branch = &mut self.branches[*branch];
                    let last = if branch.is_transistor() { 2 } else { 1 };
                    branch.nodes.swap(0, last);
                }
                Edit::OnlyBaseCollector(branch) => {
                    if let Element::Device {
                        law: Law::Transistor(t),
                        ..
                    } = &mut self.branches[*branch].element
                    {
                        t.whole = false;
                    }
                }
            }
        }
    }

    /// The change that lifts a part's pin off the board.
    pub fn lift(&self, part: PartId, pin: &str) -> Option<Edit> {
        self.pin(part, pin).map(|p| Edit::Lift(p.terminals.clone()))
    }
}

fn net(name: &str, sheet: &Sheet) -> Result<NetId, FaultError> {
    sheet
        .net(name)
        .ok_or_else(|| FaultError::Net(name.to_owned()))
}

fn bridge(first: &str, rest: &str, sheet: &Sheet) -> Result<Fault, FaultError> {
    // A net's own name may hold an equals sign, so the whole word is tried first.
    let (second, ohms) = match (sheet.net(rest), rest.rsplit_once('=')) {
        (Some(second), _) => (second, SHORT_OHMS),
        (None, Some((name, value))) => (
            net(name, sheet)?,
            number(value, "bridge", "ohms above zero", |x| x > 0.0)?,
        ),
        (None, None) => (net(rest, sheet)?, SHORT_OHMS),
    };
    Ok(Fault {
        place: Place::Nets(net(first, sheet)?, second),
        mode: Mode::Bridge(ohms),
    })
}

fn place(reference: &str, sheet: &Sheet) -> Result<Place, FaultError> {
    if let Some(part) = sheet.part(reference) {
        return Ok(Place::Part(part));
    }
    let unknown = || FaultError::Part(reference.to_owned());
    let (name, piece) = reference.split_once('.').ok_or_else(unknown)?;
    let part = sheet.part(name).ok_or_else(unknown)?;
    let known = match &sheet.parts[part.index()].kind {
        Kind::Transformer { windings } => windings.iter().any(|w| w.name == piece),
        Kind::Connector { pins } => pins.iter().any(|p| p.name == piece),
        _ => false,
    };
    if known {
        Ok(Place::Piece(part, piece.to_owned()))
    } else {
        Err(unknown())
    }
}

fn number(
    text: &str,
    mode: &str,
    bounds: &'static str,
    allowed: impl Fn(f64) -> bool,
) -> Result<f64, FaultError> {
    units::read(text, units::Unit::Ohm)
        .ok()
        .map(|v| v.number)
        .filter(|v| allowed(*v))
        .ok_or_else(|| FaultError::Number(text.to_owned(), mode.to_owned(), bounds))
}

fn mode_of(text: &str) -> Result<Mode, FaultError> {
    let (name, value) = match text.split_once('=') {
        Some((name, value)) => (name, Some(value)),
        None => (text, None),
    };
    let magnitude = |example, bounds, allowed: fn(f64) -> bool| match value {
        Some(value) => number(value, name, bounds, allowed),
        None => Err(FaultError::NeedsNumber(name.to_owned(), example)),
    };
    match name {
        "high" => return magnitude("2", "a factor above 1", |x| x > 1.0).map(Mode::High),
        "low" => {
            return magnitude("0.5", "a factor between 0 and 1", |x| x > 0.0 && x < 1.0)
                .map(Mode::Low);
        }
        "leaky" => return magnitude("1k", "ohms above zero", |x| x > 0.0).map(Mode::Leaky),
        _ => {}
    }
    let mode = match name {
        "open" => Mode::Open,
        "short" => Mode::Short,
        "be-short" => Mode::BeShort,
        "bc-short" => Mode::BcShort,
        "ce-short" => Mode::CeShort,
        "b-open" => Mode::BOpen,
        "c-open" => Mode::COpen,
        "e-open" => Mode::EOpen,
        "be-open" => Mode::BeOpen,
        "turned" => Mode::Turned,
        _ => return Err(FaultError::Mode(name.to_owned())),
    };
    match value {
        Some(_) => Err(FaultError::NoNumber(name.to_owned())),
        None => Ok(mode),
    }
}
