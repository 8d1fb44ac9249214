//! What flows through a device at given voltages, one file a device.

mod junction;
mod lamp;
mod lead;
mod limiter;
mod source;
mod transistor;
mod zener;

pub use junction::Junction;
pub use lamp::Lamp;
pub use lead::Lead;
pub use limiter::{exponentials, junction_step};
pub use source::LimitedSource;
pub use transistor::Transistor;
pub use zener::Zener;

/// Thermal voltage at exactly 300 K, in volts: k T / q.
pub const VT_300: f64 = 0.025852;

/// Thermal voltage k T / q in volts at `kelvin`.
pub fn thermal_voltage(kelvin: f64) -> f64 {
    VT_300 * kelvin / 300.0
}

/// Factor on a saturation current given at 300 K when the junction is at `kelvin`.
///
/// `is` goes as T^(3/n) exp(-Eg / (n k T)); `band_gap` in electron volts.
pub fn saturation_factor(kelvin: f64, n: f64, band_gap: f64) -> f64 {
    let exponent = band_gap / (n * VT_300) * (1.0 - 300.0 / kelvin);
    (kelvin / 300.0).powf(3.0 / n) * exponent.exp()
}

/// Currents through the ports of a device, and their slopes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Response {
    /// Amperes through each port.
    pub current: [f64; 2],
    /// `slope[j][k]`: siemens, current `j` by voltage `k`.
    pub slope: [[f64; 2]; 2],
}

impl Response {
    /// A device with one port.
    pub fn one(current: f64, slope: f64) -> Self {
        Self {
            current: [current, 0.0],
            slope: [[slope, 0.0], [0.0, 0.0]],
        }
    }
}

/// The parameters of a law that can vary between healthy parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Varying {
    /// Saturation current.
    Is,
    /// Forward gain.
    Bf,
    /// Reverse gain.
    Br,
    /// Zener voltage.
    Volts,
}

/// The non-linear devices.
///
/// One-port devices use the first voltage; a transistor sees base-emitter and base-collector
/// voltage (signs reversed for pnp) and answers collector and base current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Law {
    /// Diode.
    Junction(Junction),
    /// Zener diode.
    Zener(Zener),
    /// Bipolar transistor.
    Transistor(Transistor),
    /// Incandescent lamp.
    Lamp(Lamp),
    /// Supply with a current limit.
    Source(LimitedSource),
    /// A meter's test current behind its voltage limit.
    Lead(Lead),
}

impl Law {
    /// Currents and slopes at voltages `u`.
    pub fn response(&self, u: [f64; 2]) -> Response {
        match self {
            Law::Junction(d) => d.response(u[0]),
            Law::Zener(d) => d.response(u[0]),
            Law::Transistor(d) => d.response(u),
            Law::Lamp(d) => d.response(u[0]),
            Law::Source(d) => d.response(u[0]),
            Law::Lead(d) => d.response(u[0]),
        }
    }

    /// Where to linearise first when nothing is known: diodes and base-emitter junctions conducting.
    pub fn initial(&self) -> [f64; 2] {
        match self {
            Law::Junction(d) => [d.initial(), 0.0],
            Law::Zener(d) => [d.forward.initial(), 0.0],
            Law::Transistor(d) => d.initial(),
            Law::Lamp(_) | Law::Source(_) | Law::Lead(_) => [0.0; 2],
        }
    }

    /// Where to linearise first when the start has voltages `u`: not far up an exponential.
    pub fn start(&self, u: [f64; 2]) -> [f64; 2] {
        match self {
            Law::Junction(d) => [d.start(u[0]), 0.0],
            Law::Zener(d) => [d.forward.start(u[0]), 0.0],
            Law::Transistor(d) => d.start(u),
            Law::Lamp(_) | Law::Source(_) | Law::Lead(_) => u,
        }
    }

    /// Where to linearise next when `proposed` is asked for and `last` was used before.
    pub fn limit(&self, proposed: [f64; 2], last: [f64; 2]) -> [f64; 2] {
        match self {
            Law::Junction(d) => [d.limit(proposed[0], last[0]), 0.0],
            Law::Zener(d) => [d.limit(proposed[0], last[0]), 0.0],
            Law::Transistor(d) => d.limit(proposed, last),
            Law::Lamp(_) | Law::Source(_) | Law::Lead(_) => proposed,
        }
    }

    /// Derivative of the currents at fixed voltages by one of the law's own parameters.
    pub fn by(&self, what: Varying, u: [f64; 2]) -> [f64; 2] {
        match (self, what) {
            (Law::Junction(d), Varying::Is) => [d.by_is(u[0]), 0.0],
            (Law::Zener(d), Varying::Is) => [d.by_is(u[0]), 0.0],
            (Law::Zener(d), Varying::Volts) => [d.by_volts(u[0]), 0.0],
            (Law::Source(d), Varying::Volts) => [d.by_volts(u[0]), 0.0],
            (Law::Transistor(d), what) => d.by(what, u),
            _ => [0.0; 2],
        }
    }
}
