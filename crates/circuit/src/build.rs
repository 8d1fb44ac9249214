//! From a sheet to a network: which branches stand for each part, cold or powered.

mod devices;
mod spread;

use sheet::device::Devices;
use sheet::{Contact, Draw, Kind, NetId, Part, PartId, Sheet, Spread};

use crate::laws::{LimitedSource, VT_300};
use crate::network::{Branch, Element, LEAST_OHMS, Network, Node, PinTerminals, Terminal};
use crate::parameter::{Parameter, ParameterId, Population, Quantity, Variation};
use crate::{Law, laws};
use spread::{Lots, default_tolerance, style_drift};

/// Whether supplies are connected.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum State {
    /// No supply is connected.
    Cold,
    /// All supplies of the sheet are on and settled.
    Powered,
}

/// Resistance of an intact fuse in ohms.
const FUSE_OHMS: f64 = 0.2;
/// Resistance of a closed contact in ohms.
const CONTACT_OHMS: f64 = 0.05;
/// Hot over cold resistance of a lamp.
const LAMP_RATIO: f64 = 12.0;

/// Builds the network of `sheet` in `state`, with the parameters of `devices`.
///
/// Parts whose device type is unknown are left out; the sheet's diagnostics have named them.
pub fn build(sheet: &Sheet, devices: &Devices, state: State) -> Network {
    let mut builder = Builder {
        devices,
        state,
        kelvin: sheet.temperature.map_or(300.0, |t| t.0 + 273.15),
        lots: Lots::default(),
        network: Network {
            nodes: sheet.nets.len(),
            nets: sheet.nets.len(),
            ground: sheet.ground().map(|n| n.0),
            branches: Vec::new(),
            population: Population::default(),
            pins: Vec::new(),
        },
    };
    for (index, part) in sheet.parts.iter().enumerate() {
        builder.part(PartId(index as u32), part);
    }
    builder.network
}

struct Builder<'a> {
    devices: &'a Devices,
    state: State,
    kelvin: f64,
    lots: Lots,
    network: Network,
}

impl Builder<'_> {
    fn part(&mut self, id: PartId, part: &Part) {
        let first_pin = self.network.pins.len();
        for (pin, net) in part.pins() {
            self.network.pins.push(PinTerminals {
                part: id,
                pin,
                node: net.0,
                terminals: Vec::new(),
            });
        }
        match &part.kind {
            Kind::Resistor { ohms, ends } => {
                let p = self.ohms(id, part, part.spread, ohms.0);
                self.two(id, first_pin, *ends, Element::Resistance(p));
            }
            Kind::Potentiometer {
                ohms,
                ends,
                setting,
            } => self.potentiometer(id, part, first_pin, (ohms.0, *ends, *setting)),
            Kind::Capacitor { ends, leak, .. } => {
                let leak = leak.map(|o| o.0).or(match part.style.as_deref() {
                    Some("electrolytic") => Some(1e6),
                    Some("paper") => Some(100e6),
                    _ => None,
                });
                if let Some(leak) = leak {
                    self.two(id, first_pin, *ends, Element::Fixed(leak));
                }
            }
            Kind::Inductor { ends, ohms, .. } => {
                let p = self.ohms(id, part, part.spread, ohms.map_or(LEAST_OHMS, |o| o.0));
                self.two(id, first_pin, *ends, Element::Resistance(p));
            }
            Kind::Diode { .. } | Kind::Zener { .. } | Kind::Transistor { .. } => {
                self.device(id, part, first_pin);
            }
            Kind::Fuse { ends, ohms, .. } => {
                let ohms = ohms.map_or(FUSE_OHMS, |o| o.0);
                self.fixed_unless_spread(id, part, first_pin, *ends, ohms);
            }
            Kind::Switch { ends, state, ohms } => {
                if *state == Contact::Closed {
                    let ohms = ohms.map_or(CONTACT_OHMS, |o| o.0);
                    self.fixed_unless_spread(id, part, first_pin, *ends, ohms);
                }
            }
            Kind::Lamp {
                ends,
                volts,
                amps,
                cold,
            } => {
                let cold = cold.map_or(volts.0 / amps.0 / LAMP_RATIO, |o| o.0);
                if self.state == State::Cold {
                    self.fixed_unless_spread(id, part, first_pin, *ends, cold);
                } else {
                    let law = Law::Lamp(laws::Lamp {
                        volts: volts.0,
                        amps: amps.0,
                        cold,
                    });
                    self.two(id, first_pin, *ends, plain(law));
                }
            }
            Kind::Transformer { windings } => {
                for (k, winding) in windings.iter().enumerate() {
                    let ohms = winding.ohms.map_or(LEAST_OHMS, |o| o.0);
                    let p = self.ohms(id, part, winding.spread, ohms);
                    self.two(id, first_pin + 2 * k, winding.ends, Element::Resistance(p));
                }
            }
            Kind::Connector { .. } => {}
            Kind::Supply {
                volts,
                plus,
                minus,
                ohms,
                limit,
                off,
            } => {
                let ends = [*plus, *minus];
                if self.state == State::Cold {
                    if let Some(off) = off {
                        self.two(id, first_pin, ends, Element::Fixed(off.0));
                    }
                    return;
                }
                let p = self.plain_parameter(id, part, volts.0, Quantity::Volts);
                let varies =
                    self.network.population.parameters[p.index()].variation != Variation::Fixed;
                let element = if ohms.is_none() && limit.is_none() && !varies {
                    Element::Voltage(p)
                } else {
                    Element::Device {
                        law: Law::Source(LimitedSource {
                            volts: volts.0,
                            ohms: ohms.map_or(LEAST_OHMS, |o| o.0.max(LEAST_OHMS)),
                            limit: limit.map_or(f64::INFINITY, |a| a.0),
                        }),
                        varying: [Some((laws::Varying::Volts, p)), None, None],
                        sign: 1.0,
                    }
                };
                self.two(id, first_pin, ends, element);
            }
            Kind::Load { ends, draw, cold } => match draw {
                Draw::Ohms(ohms) if *cold || self.state == State::Powered => {
                    let p = self.plain_parameter(id, part, ohms.0, Quantity::Ohms);
                    self.two(id, first_pin, *ends, Element::Resistance(p));
                }
                Draw::Amps(amps) if self.state == State::Powered => {
                    let p = self.plain_parameter(id, part, amps.0, Quantity::Amps);
                    self.two(id, first_pin, *ends, Element::Current(p));
                }
                // A constant current needs a supply behind it; cold, nothing drives it.
                Draw::Ohms(_) | Draw::Amps(_) => {}
            },
        }
    }

    fn potentiometer(
        &mut self,
        id: PartId,
        part: &Part,
        first_pin: usize,
        (ohms, ends, setting): (f64, [NetId; 3], Option<f64>),
    ) {
        let track = self.ohms(id, part, part.spread, ohms);
        let variation = match setting {
            Some(_) => Variation::Fixed,
            None => Variation::Uniform {
                variable: self.variable(),
            },
        };
        let setting = self.parameter(Parameter {
            part: id,
            quantity: Quantity::Setting,
            nominal: setting.unwrap_or(0.5),
            variation,
        });
        for low in [true, false] {
            let k = usize::from(!low);
            let element = Element::Track {
                ohms: track,
                setting,
                low,
            };
            let nodes = [ends[k].0, ends[k + 1].0, ends[k + 1].0];
            self.branch(id, nodes, element, &[first_pin + k, first_pin + k + 1]);
        }
    }

    /// A part of fixed resistance, unless the sheet gives it a tolerance.
    fn fixed_unless_spread(
        &mut self,
        id: PartId,
        part: &Part,
        first_pin: usize,
        ends: [NetId; 2],
        ohms: f64,
    ) {
        let p = self.plain_parameter(id, part, ohms, Quantity::Ohms);
        self.two(id, first_pin, ends, Element::Resistance(p));
    }

    fn two(&mut self, id: PartId, first_pin: usize, ends: [NetId; 2], element: Element) {
        let nodes = [ends[0].0, ends[1].0, ends[1].0];
        self.branch(id, nodes, element, &[first_pin, first_pin + 1]);
    }

    /// Adds a branch; `pins` are indices into the network's pins, one a used node.
    fn branch(&mut self, id: PartId, nodes: [Node; 3], element: Element, pins: &[usize]) {
        let branch = self.network.branches.len();
        self.network.branches.push(Branch {
            part: Some(id),
            nodes,
            element,
        });
        for (index, pin) in pins.iter().enumerate() {
            self.network.pins[*pin]
                .terminals
                .push(Terminal { branch, index });
        }
    }

    fn parameter(&mut self, parameter: Parameter) -> ParameterId {
        self.network.population.parameters.push(parameter);
        ParameterId((self.network.population.parameters.len() - 1) as u32)
    }

    fn variable(&mut self) -> u32 {
        self.network.population.variables += 1;
        (self.network.population.variables - 1) as u32
    }

    /// A resistance with the default tolerance and drift of its kind and style.
    ///
    /// `own` is the spread of the piece itself, such as a winding; the part's stands behind it.
    fn ohms(&mut self, id: PartId, part: &Part, own: Spread, ohms: f64) -> ParameterId {
        let tolerance = own
            .tolerance
            .or(part.spread.tolerance)
            .unwrap_or_else(|| default_tolerance(part));
        let drift = own
            .drift
            .or(part.spread.drift)
            .unwrap_or_else(|| style_drift(part.style.as_deref(), ohms));
        let variation = self.normal(tolerance, Some(drift));
        self.parameter(Parameter {
            part: id,
            quantity: Quantity::Ohms,
            nominal: ohms,
            variation,
        })
    }

    /// A number that varies only as far as the sheet says so.
    fn plain_parameter(
        &mut self,
        id: PartId,
        part: &Part,
        nominal: f64,
        quantity: Quantity,
    ) -> ParameterId {
        let variation = self.normal(part.spread.tolerance.unwrap_or(0.0), part.spread.drift);
        self.parameter(Parameter {
            part: id,
            quantity,
            nominal,
            variation,
        })
    }

    fn normal(&mut self, tolerance: f64, drift: Option<sheet::Drift>) -> Variation {
        let (mean, drift) = drift.map_or((0.0, 0.0), |d| (d.mean, d.fraction));
        // Tolerance and ageing are independent normals, each with SD half of its figure.
        let sd = 0.5 * tolerance.hypot(drift);
        if sd == 0.0 && mean == 0.0 {
            return Variation::Fixed;
        }
        Variation::Normal {
            mean,
            sd,
            variable: self.variable(),
        }
    }

    fn thermal(&self) -> f64 {
        VT_300 * self.kelvin / 300.0
    }
}

/// A device none of whose numbers vary.
fn plain(law: Law) -> Element {
    Element::Device {
        law,
        varying: [None; 3],
        sign: 1.0,
    }
}
