//! The incandescent lamp, whose filament heats itself.

use super::Response;

/// Settled current against voltage.
///
/// Hot, I goes as V^0.55 (lamp rerating rule, trade handbooks), so R goes as V^0.45; cold, R is the cold
/// resistance. The two are joined by the fourth-power mean, chosen because it leaves the rated
/// point exact to 0.002 % at the usual ratio of twelve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lamp {
    /// Rated voltage in volts.
    pub volts: f64,
    /// Current at rated voltage in amperes.
    pub amps: f64,
    /// Cold resistance in ohms.
    pub cold: f64,
}

impl Lamp {
    /// Resistance of the settled filament at `u` volts.
    pub fn ohms(&self, u: f64) -> f64 {
        let hot = self.volts / self.amps * (u.abs() / self.volts).powf(0.45);
        (hot.powi(4) + self.cold.powi(4)).powf(0.25)
    }

    /// Current in amperes and conductance at `u` volts.
    pub fn response(&self, u: f64) -> Response {
        let r = self.ohms(u);
        // dR/dV = R_hot^4 0.45 / (V R^3); V cancels against the V in I = V / R.
        let hot = self.volts / self.amps * (u.abs() / self.volts).powf(0.45);
        let relative = 0.45 * (hot / r).powi(4);
        Response::one(u / r, (1.0 - relative) / r)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_exponent_and_cold_ratio() {
        let lamp = Lamp {
            volts: 120.0,
            amps: 100.0 / 120.0,
            cold: 144.0 / 15.0,
        };
        let i = |u: f64| lamp.response(u).current[0];
        assert!((i(120.0) - 100.0 / 120.0).abs() < 1e-4);
        // Lamp rerating (I as V^0.55): a tenth more volts.
        assert!((i(132.0) / i(120.0) - 1.1_f64.powf(0.55)).abs() < 1e-4);
        // Cold to hot about 1 to 15 (100 W, 120 V: 9.5 ohm cold, 144 hot).
        assert!((1e-3 / i(1e-3) - 9.6).abs() < 0.1);
        let h = 1e-4;
        for u in [0.5, 3.0, 60.0] {
            let slope = (i(u + h) - i(u - h)) / (2.0 * h);
            assert!((slope / lamp.response(u).slope[0][0] - 1.0).abs() < 1e-5);
        }
    }
}
