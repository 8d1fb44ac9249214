//! Diodes, zeners and transistors as branches.

use sheet::device::{DiodeModel, Material, ModelSpread};
use sheet::{Kind, NetId, Part, PartId, Polarity};

use super::Builder;
use super::spread::LotKey;
use crate::Law;
use crate::laws::{Junction, Transistor, Varying, Zener, saturation_factor};
use crate::network::Element;
use crate::parameter::{Parameter, ParameterId, Quantity, Variation};

/// Zener test current in amperes where the sheet gives none.
const ZENER_TEST_AMPS: f64 = 5e-3;
/// Zener slope in ohms where the sheet gives none.
const ZENER_SLOPE_OHMS: f64 = 10.0;

/// Band gap in electron volts.
fn band_gap(material: Material) -> f64 {
    match material {
        Material::Germanium => 0.67,
        // Selenium rectifiers have no single band gap; silicon's stands in (chosen, not measured).
        Material::Silicon | Material::Selenium => 1.11,
    }
}

impl Builder<'_> {
    pub(super) fn device(&mut self, id: PartId, part: &Part, first_pin: usize) {
        match &part.kind {
            Kind::Diode {
                device,
                anode,
                cathode,
            } => {
                let Some(model) = self.devices.diode(device, &part.spread) else {
                    return;
                };
                let (junction, is) = self.junction(id, &model, &device.name);
                let element = Element::Device {
                    law: Law::Junction(junction),
                    varying: [Some((Varying::Is, is)), None, None],
                    sign: 1.0,
                };
                self.two(id, first_pin, [*anode, *cathode], element);
            }
            Kind::Zener {
                volts,
                izt,
                rz,
                device,
                anode,
                cathode,
            } => {
                let Some(model) = self.devices.diode(device, &part.spread) else {
                    return;
                };
                let (forward, is) = self.junction(id, &model, &format!("zener {}", device.name));
                let law = Law::Zener(Zener {
                    forward,
                    volts: volts.0,
                    izt: izt.map_or(ZENER_TEST_AMPS, |a| a.0),
                    rz: rz.map_or(ZENER_SLOPE_OHMS, |o| o.0),
                });
                let tolerance = part
                    .spread
                    .tolerance
                    .unwrap_or_else(|| super::default_tolerance(part));
                let drift = part
                    .spread
                    .drift
                    .unwrap_or_else(|| super::style_drift(None, 0.0));
                let variation = self.normal(tolerance, Some(drift));
                let volts = self.parameter(Parameter {
                    part: id,
                    quantity: Quantity::Volts,
                    nominal: volts.0,
                    variation,
                });
                let element = Element::Device {
                    law,
                    varying: [Some((Varying::Is, is)), Some((Varying::Volts, volts)), None],
                    sign: 1.0,
                };
                self.two(id, first_pin, [*anode, *cathode], element);
            }
            Kind::Transistor { .. } => self.transistor(id, part, first_pin),
            _ => unreachable!("only diodes, zeners and transistors are devices"),
        }
    }

    fn junction(&mut self, id: PartId, model: &DiodeModel, lot: &str) -> (Junction, ParameterId) {
        let is = model.is.0 * saturation_factor(self.kelvin, model.n, band_gap(model.material));
        let junction = Junction {
            is,
            width: model.n * self.thermal(),
            rs: model.rs.0,
        };
        let key = LotKey {
            name: lot.to_owned(),
            transistor: false,
            gain: false,
        };
        let spread = (model.spread.is_lot, model.spread.is_own);
        let parameter = self.lognormal(id, Quantity::Is, is, spread, Some(key));
        (junction, parameter)
    }

    fn transistor(&mut self, id: PartId, part: &Part, first_pin: usize) {
        let Kind::Transistor {
            polarity,
            device,
            c,
            b,
            e,
        } = &part.kind
        else {
            unreachable!("called for transistors only");
        };
        let Some(model) = self.devices.transistor(device, &part.spread) else {
            return;
        };
        let is = model.is.0 * saturation_factor(self.kelvin, 1.0, band_gap(model.material));
        let law = Law::Transistor(Transistor {
            is,
            bf: model.bf,
            br: model.br,
            early: model.vaf.map_or(0.0, |v| 1.0 / v.0),
            width: self.thermal(),
            whole: true,
        });
        let key = |gain| {
            Some(LotKey {
                name: device.name.clone(),
                transistor: true,
                gain,
            })
        };
        let ModelSpread {
            is_lot,
            is_own,
            bf_lot,
            bf_own,
            br_own,
        } = model.spread;
        let is = self.lognormal(id, Quantity::Is, is, (is_lot, is_own), key(false));
        let bf = self.lognormal(id, Quantity::Bf, model.bf, (bf_lot, bf_own), key(true));
        let br = self.lognormal(id, Quantity::Br, model.br, (1.0, br_own), None);
        let element = Element::Device {
            law,
            varying: [
                Some((Varying::Is, is)),
                Some((Varying::Bf, bf)),
                Some((Varying::Br, br)),
            ],
            sign: if *polarity == Polarity::Npn {
                1.0
            } else {
                -1.0
            },
        };
        let mut collector = c.0;
        let mut pins = [first_pin, first_pin + 1, first_pin + 2];
        if model.rc.0 > 0.0 {
            // The collector's own resistance stands between the lead and the inner collector.
            let inner = self.network.add_node();
            self.two(
                id,
                first_pin,
                [NetId(collector), NetId(inner)],
                Element::Fixed(model.rc.0),
            );
            let resistor = self.network.branches.len() - 1;
            // The inner end is no lead: `two` put it on the next pin's list, which is the base's.
            self.network.pins[first_pin + 1]
                .terminals
                .retain(|t| t.branch != resistor);
            collector = inner;
            pins[0] = usize::MAX;
        }
        self.transistor_branch(id, [collector, b.0, e.0], element, pins);
    }

    /// Adds the transistor; a pin of `usize::MAX` means that the terminal is inside the part.
    fn transistor_branch(
        &mut self,
        id: PartId,
        nodes: [u32; 3],
        element: Element,
        pins: [usize; 3],
    ) {
        self.branch(id, nodes, element, &[]);
        let branch = self.network.branches.len() - 1;
        for (index, pin) in pins.into_iter().enumerate() {
            if pin != usize::MAX {
                self.network.pins[pin]
                    .terminals
                    .push(crate::network::Terminal { branch, index });
            }
        }
    }

    fn lognormal(
        &mut self,
        id: PartId,
        quantity: Quantity,
        nominal: f64,
        (lot_factor, own_factor): (f64, f64),
        lot_key: Option<LotKey>,
    ) -> ParameterId {
        let size = |factor: f64| (factor != 1.0).then(|| factor.ln());
        let lot = lot_key.zip(size(lot_factor)).map(|(key, size)| {
            let variables = &mut self.network.population.variables;
            let variable = self.lots.variable(key, || {
                *variables += 1;
                (*variables - 1) as u32
            });
            (variable, size)
        });
        let own = size(own_factor).map(|size| (self.variable(), size));
        let variation = if lot.is_none() && own.is_none() {
            Variation::Fixed
        } else {
            Variation::Lognormal { lot, own }
        };
        self.parameter(Parameter {
            part: id,
            quantity,
            nominal,
            variation,
        })
    }
}
