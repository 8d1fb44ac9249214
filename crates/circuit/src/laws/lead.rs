//! A meter's test current, which gives way at its voltage limit.

use super::Response;

/// Drives `amps` out of the red lead while the voltage between the leads is below `limit`;
/// beyond it the current falls steeply.
///
/// Counted from red to black through the meter, so the drive is negative.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lead {
    /// Test current in amperes.
    pub amps: f64,
    /// Largest voltage in volts.
    pub limit: f64,
}

impl Lead {
    /// Conductance of the clamp in siemens; stiff beside any test current.
    pub const CLAMP: f64 = 1.0;

    /// Current and conductance at `u` volts from red to black.
    pub fn response(&self, u: f64) -> Response {
        if u <= self.limit {
            Response::one(-self.amps, 0.0)
        } else {
            Response::one(-self.amps + Self::CLAMP * (u - self.limit), Self::CLAMP)
        }
    }
}
