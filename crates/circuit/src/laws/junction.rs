//! The diode: an exponential junction behind a series resistance.

use super::Response;
use super::limiter::{critical, exponentials, junction_step};

/// I = is (exp((V - I rs) / width) - 1).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Junction {
    /// Saturation current in amperes, at the junction's temperature.
    pub is: f64,
    /// n times the thermal voltage, in volts.
    pub width: f64,
    /// Series resistance in ohms.
    pub rs: f64,
}

impl Junction {
    /// Current and conductance of the bare junction at its own voltage.
    fn bare(&self, v: f64) -> (f64, f64) {
        let (less_one, grown) = exponentials(v / self.width);
        (self.is * less_one, self.is / self.width * grown)
    }

    /// The junction's own voltage when `u` stands across junction and series resistance.
    ///
    /// Newton on v + rs i(v) = u from above, where the function is convex and increasing, so
    /// that every step stays above the root.
    pub fn inner_voltage(&self, u: f64) -> f64 {
        if self.rs == 0.0 || u <= 0.0 && self.rs * self.is < 1e-12 * self.width {
            return u;
        }
        let ceiling = self.width * (1.0 + u.max(0.0) / (self.rs * self.is)).ln();
        let mut v = if u > 0.0 { u.min(ceiling) } else { u };
        for _ in 0..100 {
            let (i, g) = self.bare(v);
            let step = (v + self.rs * i - u) / (1.0 + self.rs * g);
            v -= step;
            if step.abs() <= 1e-15 * (1.0 + v.abs()) {
                break;
            }
        }
        v
    }

    /// Current in amperes and conductance at `u` volts from anode to cathode.
    pub fn response(&self, u: f64) -> Response {
        let (i, g) = self.bare(self.inner_voltage(u));
        Response::one(i, g / (1.0 + self.rs * g))
    }

    pub(super) fn initial(&self) -> f64 {
        self.start(f64::INFINITY)
    }

    pub(super) fn start(&self, u: f64) -> f64 {
        let critical = critical(self.width, self.is);
        u.min(critical + self.rs * self.bare(critical).0)
    }

    pub(super) fn limit(&self, proposed: f64, last: f64) -> f64 {
        if self.rs == 0.0 {
            return junction_step(proposed, last, self.width, self.is);
        }
        // The step is limited as if the inner junction were an unknown of its own.
        let inner = self.inner_voltage(last);
        let (i, g) = self.bare(inner);
        let expected = i + g / (1.0 + self.rs * g) * (proposed - last);
        let wanted = proposed - self.rs * expected;
        let allowed = junction_step(wanted, inner, self.width, self.is);
        if allowed == wanted {
            proposed
        } else {
            allowed + self.rs * self.bare(allowed).0
        }
    }

    /// Derivative of the current by `is` at fixed `u`.
    pub(super) fn by_is(&self, u: f64) -> f64 {
        let v = self.inner_voltage(u);
        let (_, g) = self.bare(v);
        (v / self.width).exp_m1() / (1.0 + self.rs * g)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Current through a resistor and a diode in series at `volts`, by bisection on the law.
    fn series(volts: f64, ohms: f64, diode: Junction) -> f64 {
        let (mut low, mut high) = (0.0, volts);
        for _ in 0..200 {
            let middle = 0.5 * (low + high);
            if diode.response(middle).current[0] > (volts - middle) / ohms {
                high = middle;
            } else {
                low = middle;
            }
        }
        (volts - low) / ohms
    }

    #[test]
    fn exact_lambert_w_values() {
        // Banwell and Jayakumar, Electron. Lett. 36(4), 2000: closed form with Lambert's W,
        // evaluated at Vt = 0.025852 V.
        let cases = [
            (5.0, 1e3, 1e-14, 1.0, 4.307456367e-3),
            (5.0, 1e4, 1e-14, 1.0, 0.4366630072e-3),
            (5.0, 1e3, 2.52e-9, 1.752, 4.349536911e-3),
            (5.0, 1e3, 1e-6, 1.0, 4.780966162e-3),
            (0.5, 1e3, 1e-6, 1.0, 0.3485909438e-3),
        ];
        for (volts, ohms, is, n, amps) in cases {
            let diode = Junction {
                is,
                width: n * super::super::VT_300,
                rs: 0.0,
            };
            let found = series(volts, ohms, diode);
            assert!((found / amps - 1.0).abs() < 1e-9, "{found} {amps}");
        }
    }

    #[test]
    fn series_resistance_is_inside_the_law() {
        // The same closed form for their device: is 25 fA, total resistance R + 0.3 ohm. The three
        // currents agree with a thermal voltage of 25.667 mV, which is k T / q at 298 K with
        // k = 1.38e-23 and q = 1.6022e-19.
        let width = 1.38e-23 * 298.0 / 1.6022e-19;
        for (volts, amps) in [(0.6, 1.7738e-4), (0.7, 7.9160e-4), (0.8, 1.6074e-3)] {
            let diode = Junction {
                is: 25e-15,
                width,
                rs: 0.3,
            };
            let found = series(volts, 100.0, diode);
            assert!((found / amps - 1.0).abs() < 3e-4, "{found} {amps}");
        }
    }

    #[test]
    fn slope_and_parameter_slope_match_differences() {
        let diode = Junction {
            is: 4e-6,
            width: 0.05,
            rs: 4.0,
        };
        for u in [-3.0, -0.01, 0.0, 0.1, 0.3, 0.8] {
            let h = 1e-6;
            let i = |d: Junction, u: f64| d.response(u).current[0];
            let slope = (i(diode, u + h) - i(diode, u - h)) / (2.0 * h);
            let told = diode.response(u).slope[0][0];
            assert!((slope - told).abs() <= 1e-5 * told.abs() + 1e-12, "{u}");
            let more = Junction {
                is: 4.004e-6,
                ..diode
            };
            let less = Junction {
                is: 3.996e-6,
                ..diode
            };
            let by = (i(more, u) - i(less, u)) / 0.008e-6;
            assert!(
                (by - diode.by_is(u)).abs() <= 1e-4 * by.abs() + 1e-12,
                "{u}"
            );
        }
    }
}
