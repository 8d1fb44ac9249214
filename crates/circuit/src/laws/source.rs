//! A supply that holds its voltage until its current limit.

use super::Response;

/// Delivers (volts - u) / ohms, but not more than `limit`; `u` is the voltage at its terminals.
///
/// The current is counted from plus to minus through the supply, so delivery is negative.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LimitedSource {
    /// Open-circuit voltage in volts.
    pub volts: f64,
    /// Source resistance in ohms, above zero.
    pub ohms: f64,
    /// Limit in amperes.
    pub limit: f64,
}

impl LimitedSource {
    /// Conductance beyond the limit in siemens: a real limiter is not perfectly stiff, and the
    /// slope keeps the terminals determined. Chosen so that 100 V change it by 0.1 uA.
    const BEYOND: f64 = 1e-9;

    /// Derivative of the current by `volts` at fixed `u`.
    pub(super) fn by_volts(&self, u: f64) -> f64 {
        -self.response(u).slope[0][0]
    }

    /// Current and conductance at `u` volts from plus to minus.
    pub fn response(&self, u: f64) -> Response {
        let delivered = (self.volts - u) / self.ohms;
        if delivered <= self.limit {
            Response::one(-delivered, 1.0 / self.ohms)
        } else {
            let knee = self.volts - self.limit * self.ohms;
            Response::one(-self.limit - Self::BEYOND * (knee - u), Self::BEYOND)
        }
    }
}
