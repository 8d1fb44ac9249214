//! A sheet as plain data: what was written on the drawing, with nothing resolved or guessed.

use units::{Amps, Celsius, Farads, Henries, Ohms, Volts, Watts};

/// Index of a net in [`Sheet::nets`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct NetId(pub u32);

/// Index of a part in [`Sheet::parts`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct PartId(pub u32);

impl NetId {
    /// The position in [`Sheet::nets`].
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

impl PartId {
    /// The position in [`Sheet::parts`].
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

/// Where something stands in the text: byte offset and length.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Span {
    /// Byte offset of the first character.
    pub start: usize,
    /// Length in bytes.
    pub length: usize,
}

/// One circuit drawing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sheet {
    /// Short name, such as `A2`.
    pub name: String,
    /// What the drawing shows.
    pub title: Option<String>,
    /// Junction temperature of all parts; exactly 300 K when absent.
    pub temperature: Option<Celsius>,
    /// Serial numbers that this drawing fits, as written; empty means not said.
    pub fits: Vec<String>,
    /// All nets, in the order in which they first appear.
    pub nets: Vec<Net>,
    /// All parts, in the order written.
    pub parts: Vec<Part>,
    /// Named places that a probe can reach.
    pub points: Vec<Point>,
    /// Nets that a solder bridge or a whisker could join.
    pub adjacent: Vec<(NetId, NetId)>,
    /// How much likelier than its class a part is to be bad.
    pub alters: Vec<Alter>,
    /// Places where no probe may be sent.
    pub nevers: Vec<Never>,
    /// Parts that cannot be had again.
    pub irreplaceable: Vec<PartId>,
}

/// One electrical node.
#[derive(Clone, Debug, PartialEq)]
pub struct Net {
    /// Name as written.
    pub name: String,
    /// Its role, if any was given.
    pub role: Option<Role>,
    /// Nominal potential of a rail against the first ground net.
    pub volts: Option<Volts>,
    /// Permitted deviation of a rail, as a fraction.
    pub tolerance: Option<f64>,
    /// Where the net was learned from.
    pub source: Option<Source>,
    /// First place where the name appears.
    pub span: Span,
}

/// What a net is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// Reference of all readings; the first one written is the default black lead.
    Ground,
    /// A supply rail.
    Rail,
}

/// How a net came to be known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// From a printed drawing.
    Printed,
    /// Traced along the copper.
    Traced,
    /// Buzzed out with a meter.
    Buzzed,
}

/// A named place for a probe.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Name, such as `TP3`.
    pub name: String,
    /// The net it is on.
    pub net: NetId,
    /// How easily it is reached.
    pub access: Access,
    /// Where it stands in the text.
    pub span: Span,
}

/// How easily a probe reaches a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Access {
    /// A test point or terminal.
    Easy,
    /// Copper on the board.
    Board,
    /// A part's lead.
    Lead,
}

/// `alter Q1 prior=5 reason="..."`.
#[derive(Clone, Debug, PartialEq)]
pub struct Alter {
    /// The part meant.
    pub part: PartId,
    /// Factor on its class's fault rate.
    pub prior: f64,
    /// Why.
    pub reason: Option<String>,
}

/// `never REF probe="why"`.
#[derive(Clone, Debug, PartialEq)]
pub struct Never {
    /// The net that must not be probed.
    pub net: NetId,
    /// Why.
    pub why: String,
}

/// One part as written.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Designator, such as `R4`.
    pub name: String,
    /// What it is, with its value and its nets.
    pub kind: Kind,
    /// Spread of its value, as far as the sheet says.
    pub spread: Spread,
    /// What it withstands, as far as the sheet says.
    pub ratings: Ratings,
    /// Construction style word, such as `composition` or `electrolytic`.
    pub style: Option<String>,
    /// Where it stands in the text.
    pub span: Span,
}

/// How healthy examples of a part differ, as far as the sheet says; absent means the default.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Spread {
    /// 95 % of new parts lie within this fraction.
    pub tolerance: Option<f64>,
    /// Ageing.
    pub drift: Option<Drift>,
    /// One standard deviation of the saturation current, as a factor.
    pub is: Option<f64>,
    /// One standard deviation of the forward gain, as a factor.
    pub bf: Option<f64>,
    /// One standard deviation of the reverse gain, as a factor.
    pub br: Option<f64>,
}

/// Ageing of a value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Size as a fraction; half of it is one standard deviation.
    pub fraction: f64,
    /// Mean shift as a fraction: `+fraction` for `"+10%"`, `-fraction` for `"-10%"`, 0 for `"10%"`.
    pub mean: f64,
}

/// Ratings written on the part.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ratings {
    /// Working or reverse voltage.
    pub volts: Option<Volts>,
    /// Collector to emitter voltage with open base.
    pub vceo: Option<Volts>,
    /// Current.
    pub amps: Option<Amps>,
    /// Dissipation.
    pub watts: Option<Watts>,
}

/// A device type as written: a class word or a registered number, with overrides.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DeviceType {
    /// Class word or registered type number, as in the device file.
    pub name: String,
    /// Parameters given on the part.
    pub given: Parameters,
}

/// Junction and transistor parameters that may be given on a part; absent means the type's.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Parameters {
    /// Saturation current at 300 K.
    pub is: Option<Amps>,
    /// Emission coefficient (diodes).
    pub n: Option<f64>,
    /// Series resistance (diodes).
    pub rs: Option<Ohms>,
    /// Forward gain.
    pub bf: Option<f64>,
    /// Reverse gain.
    pub br: Option<f64>,
    /// Collector series resistance.
    pub rc: Option<Ohms>,
    /// Early voltage.
    pub vaf: Option<Volts>,
}

/// State of a switch or contact.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Contact {
    /// Conducting.
    Closed,
    /// Not conducting.
    Open,
}

/// Polarity of a transistor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Polarity {
    /// Collector and base positive when conducting.
    Npn,
    /// Collector and base negative when conducting.
    Pnp,
}

/// A winding of a transformer.
#[derive(Clone, Debug, PartialEq)]
pub struct Winding {
    /// Name, such as `primary`.
    pub name: String,
    /// Its two ends.
    pub ends: [NetId; 2],
    /// Open-circuit voltage, rms.
    pub volts: Option<Volts>,
    /// Resistance of the wire.
    pub ohms: Option<Ohms>,
    /// How the wire's resistance differs; what is absent is as the transformer's line says.
    pub spread: Spread,
    /// Where it stands in the text.
    pub span: Span,
}

/// A connector pin.
#[derive(Clone, Debug, PartialEq)]
pub struct Pin {
    /// Pin name, usually a number.
    pub name: String,
    /// The net it carries.
    pub net: NetId,
    /// Where it stands in the text.
    pub span: Span,
}

/// What a load draws.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Draw {
    /// A constant current from the first net to the second.
    Amps(Amps),
    /// A resistance.
    Ohms(Ohms),
}

/// What a part is, its value, and the nets on its pins.
#[derive(Clone, Debug, PartialEq)]
pub enum Kind {
    /// `resistor R1 "2k2" A B`.
    Resistor {
        /// Printed value.
        ohms: Ohms,
        /// Pins 1 and 2.
        ends: [NetId; 2],
    },
    /// `potentiometer RV1 "5k" a=A wiper=W b=B setting=0.4`.
    Potentiometer {
        /// Whole track.
        ohms: Ohms,
        /// Nets on `a`, `wiper`, `b`.
        ends: [NetId; 3],
        /// Fraction of the resistance from `a` to the wiper; unset means anywhere.
        setting: Option<f64>,
    },
    /// `capacitor C1 "470u" plus=A minus=B`.
    Capacitor {
        /// Printed value.
        farads: Farads,
        /// Pins 1 and 2, or plus and minus.
        ends: [NetId; 2],
        /// Written with `plus=` and `minus=`.
        polarised: bool,
        /// Leakage resistance, if given.
        leak: Option<Ohms>,
    },
    /// `inductor L1 "10m" A B ohms=12`.
    Inductor {
        /// Printed value.
        henries: Henries,
        /// Pins 1 and 2.
        ends: [NetId; 2],
        /// Resistance of the wire, if given.
        ohms: Option<Ohms>,
    },
    /// `diode D1 silicon-signal anode=A cathode=K`.
    Diode {
        /// Type and overrides.
        device: DeviceType,
        /// Anode.
        anode: NetId,
        /// Cathode.
        cathode: NetId,
    },
    /// `zener D2 "6.2V" anode=A cathode=K`.
    Zener {
        /// Zener voltage at [`Kind::Zener::izt`].
        volts: Volts,
        /// Test current; 5 mA when absent.
        izt: Option<Amps>,
        /// Slope resistance beyond the knee; 10 ohms when absent.
        rz: Option<Ohms>,
        /// Forward junction; its name is `silicon-signal` unless another was written.
        device: DeviceType,
        /// Anode.
        anode: NetId,
        /// Cathode.
        cathode: NetId,
    },
    /// `npn Q1 silicon-signal c=C b=B e=E`, or `pnp`.
    Transistor {
        /// Polarity.
        polarity: Polarity,
        /// Type and overrides.
        device: DeviceType,
        /// Collector.
        c: NetId,
        /// Base.
        b: NetId,
        /// Emitter.
        e: NetId,
    },
    /// `fuse F1 "1A" A B`.
    Fuse {
        /// Rated current.
        rated: Amps,
        /// Pins 1 and 2.
        ends: [NetId; 2],
        /// Resistance; 0R2 when absent.
        ohms: Option<Ohms>,
    },
    /// `switch S1 A B state=closed`; also key contacts.
    Switch {
        /// Pins 1 and 2.
        ends: [NetId; 2],
        /// As drawn.
        state: Contact,
        /// Resistance when closed; 0R05 when absent.
        ohms: Option<Ohms>,
    },
    /// `lamp B1 A B volts=12 amps=0.08`.
    Lamp {
        /// Pins 1 and 2.
        ends: [NetId; 2],
        /// Rated voltage.
        volts: Volts,
        /// Current at the rated voltage.
        amps: Amps,
        /// Cold resistance; hot / 12 when absent.
        cold: Option<Ohms>,
    },
    /// `transformer T1 { winding ... }`.
    Transformer {
        /// Its windings.
        windings: Vec<Winding>,
    },
    /// `connector J1 { pin 1 A }`.
    Connector {
        /// Its pins.
        pins: Vec<Pin>,
    },
    /// `supply V1 volts=22 plus=A minus=B`; absent when cold unless `off` says what is left.
    Supply {
        /// Open-circuit voltage.
        volts: Volts,
        /// Plus.
        plus: NetId,
        /// Minus.
        minus: NetId,
        /// Source resistance; an ideal source when absent.
        ohms: Option<Ohms>,
        /// Current limit.
        limit: Option<Amps>,
        /// Resistance left when switched off.
        off: Option<Ohms>,
    },
    /// `load L1 A B amps=0.6`; powered only unless `cold=#true`.
    Load {
        /// Current flows through it from the first to the second.
        ends: [NetId; 2],
        /// What it draws.
        draw: Draw,
        /// There when cold, too.
        cold: bool,
    },
}

impl Sheet {
    /// The net of that name.
    pub fn net(&self, name: &str) -> Option<NetId> {
        self.nets
            .iter()
            .position(|n| n.name == name)
            .map(|i| NetId(i as u32))
    }

    /// The part of that designator.
    pub fn part(&self, name: &str) -> Option<PartId> {
        self.parts
            .iter()
            .position(|p| p.name == name)
            .map(|i| PartId(i as u32))
    }

    /// The first net whose role is ground.
    pub fn ground(&self) -> Option<NetId> {
        self.nets
            .iter()
            .position(|n| n.role == Some(Role::Ground))
            .map(|i| NetId(i as u32))
    }

    /// The net on a pin written as `PART.PIN`, such as `Q1.b`, `J1.2`, `T1.primary.1`.
    ///
    /// Parts with two pins also answer to `.1` and `.2`.
    pub fn pin_net(&self, name: &str) -> Option<NetId> {
        self.parts.iter().find_map(|part| {
            let pin = name.strip_prefix(part.name.as_str())?.strip_prefix('.')?;
            let pins = part.pins();
            let by_name = pins.iter().position(|(n, _)| n == pin);
            let by_number = match pin {
                "1" if pins.len() == 2 => Some(0),
                "2" if pins.len() == 2 => Some(1),
                _ => None,
            };
            by_name.or(by_number).map(|i| pins[i].1)
        })
    }

    /// The name of a net.
    pub fn net_name(&self, net: NetId) -> &str {
        &self.nets[net.index()].name
    }
}

impl Kind {
    /// The word with which a line of this kind starts.
    pub fn word(&self) -> &'static str {
        match self {
            Kind::Resistor { .. } => "resistor",
            Kind::Potentiometer { .. } => "potentiometer",
            Kind::Capacitor { .. } => "capacitor",
            Kind::Inductor { .. } => "inductor",
            Kind::Diode { .. } => "diode",
            Kind::Zener { .. } => "zener",
            Kind::Transistor {
                polarity: Polarity::Npn,
                ..
            } => "npn",
            Kind::Transistor {
                polarity: Polarity::Pnp,
                ..
            } => "pnp",
            Kind::Fuse { .. } => "fuse",
            Kind::Switch { .. } => "switch",
            Kind::Lamp { .. } => "lamp",
            Kind::Transformer { .. } => "transformer",
            Kind::Connector { .. } => "connector",
            Kind::Supply { .. } => "supply",
            Kind::Load { .. } => "load",
        }
    }
}

impl Part {
    /// The nets on the part's pins, as (pin name, net), in the order of the pins.
    ///
    /// Pin names are the ones of `lifted` and of faults: `1 2`, `plus minus`, `anode cathode`,
    /// `c b e`, `a wiper b`, connector pins by their names, windings as `primary.1`.
    pub fn pins(&self) -> Vec<(String, NetId)> {
        let two = |e: &[NetId; 2]| vec![("1".to_owned(), e[0]), ("2".to_owned(), e[1])];
        let named =
            |list: &[(&str, NetId)]| list.iter().map(|(n, i)| ((*n).to_owned(), *i)).collect();
        match &self.kind {
            Kind::Resistor { ends, .. }
            | Kind::Inductor { ends, .. }
            | Kind::Fuse { ends, .. }
            | Kind::Switch { ends, .. }
            | Kind::Lamp { ends, .. }
            | Kind::Load { ends, .. } => two(ends),
            Kind::Capacitor {
                ends, polarised, ..
            } => {
                if *polarised {
                    named(&[("plus", ends[0]), ("minus", ends[1])])
                } else {
                    two(ends)
                }
            }
            Kind::Potentiometer { ends, .. } => {
                named(&[("a", ends[0]), ("wiper", ends[1]), ("b", ends[2])])
            }
            Kind::Diode { anode, cathode, .. } | Kind::Zener { anode, cathode, .. } => {
                named(&[("anode", *anode), ("cathode", *cathode)])
            }
            Kind::Transistor { c, b, e, .. } => named(&[("c", *c), ("b", *b), ("e", *e)]),
            Kind::Transformer { windings } => windings
                .iter()
                .flat_map(|w| {
                    [
                        (format!("{}.1", w.name), w.ends[0]),
                        (format!("{}.2", w.name), w.ends[1]),
                    ]
                })
                .collect(),
            Kind::Connector { pins } => pins.iter().map(|p| (p.name.clone(), p.net)).collect(),
            Kind::Supply { plus, minus, .. } => named(&[("plus", *plus), ("minus", *minus)]),
        }
    }
}
