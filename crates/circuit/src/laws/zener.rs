//! The zener diode: a junction forward, a breakdown branch backward.

use super::{Junction, Response};

/// Forward junction in parallel with a breakdown branch that carries `izt` at `volts` and has
/// the slope `rz` beyond its knee.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Zener {
    /// Forward junction.
    pub forward: Junction,
    /// Zener voltage in volts, at `izt`.
    pub volts: f64,
    /// Test current in amperes.
    pub izt: f64,
    /// Slope in ohms.
    pub rz: f64,
}

impl Zener {
    /// Width of the rounded knee in volts: a tenth of the drop `izt rz`, so that the test point
    /// lies on the straight part to 0.005 %; at most 5 mV (chosen because no meter sees it).
    fn knee(&self) -> f64 {
        (0.1 * self.izt * self.rz).min(5e-3)
    }

    /// Breakdown current and conductance at reverse voltage `v`.
    fn breakdown(&self, v: f64) -> (f64, f64) {
        let w = self.knee();
        let s = (v - self.volts + self.izt * self.rz) / w;
        let (soft, gate) = if s > 0.0 {
            let e = (-s).exp();
            (s + e.ln_1p(), 1.0 / (1.0 + e))
        } else {
            let e = s.exp();
            (e.ln_1p(), e / (1.0 + e))
        };
        (w / self.rz * soft, gate / self.rz)
    }

    /// Current in amperes and conductance at `u` volts from anode to cathode.
    pub fn response(&self, u: f64) -> Response {
        let forward = self.forward.response(u);
        let (i, g) = self.breakdown(-u);
        Response::one(forward.current[0] - i, forward.slope[0][0] + g)
    }

    pub(super) fn limit(&self, proposed: f64, last: f64) -> f64 {
        self.forward.limit(proposed, last)
    }

    pub(super) fn by_is(&self, u: f64) -> f64 {
        self.forward.by_is(u)
    }

    /// Derivative of the current by the zener voltage at fixed `u`.
    pub(super) fn by_volts(&self, u: f64) -> f64 {
        self.breakdown(-u).1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_test_current_flows_at_the_zener_voltage() {
        let zener = Zener {
            forward: Junction {
                is: 4e-9,
                width: 0.049,
                rs: 1.0,
            },
            volts: 6.2,
            izt: 5e-3,
            rz: 10.0,
        };
        let at = |u: f64| zener.response(u).current[0];
        assert!((at(-6.2) + 5e-3).abs() < 1e-6);
        assert!((at(-6.3) + 15e-3).abs() < 1e-6);
        // Below the knee only the saturation current flows.
        assert!(at(-6.0) > -1e-8);
    }
}
