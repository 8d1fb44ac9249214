//! Currents that depend on one voltage: what junctions, faulty leads and resistances do.

use circuit::Law;
use circuit::laws::{Transistor, exponentials, junction_step};

/// A current in amperes against one voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Curve {
    /// No current.
    Nothing,
    /// The same current at every voltage.
    Constant(f64),
    /// A conductance in siemens.
    Conductance(f64),
    /// is (exp(u / width) - 1).
    Exponential {
        /// Saturation current.
        is: f64,
        /// n times the thermal voltage.
        width: f64,
    },
    /// Any other device with one port.
    OnePort(Law),
    /// The same, put in backwards.
    Reversed(Law),
    /// Collector current of a transistor whose base lead is off, against collector-emitter voltage.
    OpenBase(Transistor),
}

impl Curve {
    /// Current and slope at `u`.
    pub fn at(&self, u: f64) -> (f64, f64) {
        match self {
            Curve::Nothing => (0.0, 0.0),
            Curve::Constant(amps) => (*amps, 0.0),
            Curve::Conductance(g) => (g * u, *g),
            Curve::Exponential { is, width } => {
                let a = u / width;
                let (less_one, grown) = exponentials(a);
                (is * less_one, is / width * grown)
            }
            Curve::OnePort(law) => {
                let r = law.response([u, 0.0]);
                (r.current[0], r.slope[0][0])
            }
            Curve::Reversed(law) => {
                let r = law.response([-u, 0.0]);
                (-r.current[0], r.slope[0][0])
            }
            Curve::OpenBase(t) => open_base(t, u),
        }
    }

    /// Whether it is its own tangent everywhere.
    pub fn is_straight(&self) -> bool {
        matches!(
            self,
            Curve::Nothing | Curve::Constant(_) | Curve::Conductance(_)
        )
    }

    /// Where to linearise next when `proposed` is asked for and `last` was used before.
    pub fn limit(&self, proposed: f64, last: f64) -> f64 {
        match self {
            Curve::Exponential { is, width } => junction_step(proposed, last, *width, is.abs()),
            Curve::OnePort(law) => law.limit([proposed, 0.0], [last, 0.0])[0],
            Curve::Reversed(law) => -law.limit([-proposed, 0.0], [-last, 0.0])[0],
            _ => proposed,
        }
    }
}

/// With no base current the forward and backward parts of it cancel:
/// (e1 - 1) / bf + (e2 - 1) / br = 0, where e1 = e2 exp(vce / width).
fn open_base(t: &Transistor, vce: f64) -> (f64, f64) {
    let (a, b) = (1.0 / t.bf, 1.0 / t.br);
    let y = vce / t.width;
    // Written with the falling one of exp(y) and exp(-y), so that nothing overflows.
    let (e1, e2, share) = if y > 0.0 {
        let fall = (-y).exp();
        let e1 = (a + b) / (a + b * fall);
        (e1, e1 * fall, a / (a + b * fall))
    } else {
        let fall = y.exp();
        let e2 = (a + b) / (a * fall + b);
        (e2 * fall, e2, a * fall / (a * fall + b))
    };
    let current = t.is * ((e1 - 1.0) - (e2 - 1.0) * (1.0 + b));
    let slope = t.is / t.width * (e1 * (1.0 - share) + (1.0 + b) * e2 * share);
    (current, slope)
}

#[cfg(test)]
mod tests {
    use super::*;

    const T: Transistor = Transistor {
        is: 1e-9,
        bf: 80.0,
        br: 3.0,
        early: 0.0,
        width: 0.0258,
        whole: true,
    };

    #[test]
    fn an_open_base_draws_no_base_current() {
        for vce in [-3.0, -0.1, -0.01, 0.0, 0.004, 0.2, 5.0] {
            let (current, _) = open_base(&T, vce);
            // Bisection on the base-emitter voltage at which the transistor's own law has no base
            // current.
            let (mut low, mut high) = (-10.0_f64, 1.0_f64);
            for _ in 0..200 {
                let middle = 0.5 * (low + high);
                if T.response([middle, middle - vce]).current[1] > 0.0 {
                    high = middle;
                } else {
                    low = middle;
                }
            }
            let by_law = T.response([low, low - vce]).current[0];
            assert!(
                (current - by_law).abs() <= 1e-9 * by_law.abs() + 1e-22,
                "{vce}: {current} {by_law}"
            );
        }
    }

    #[test]
    fn slopes_match_differences() {
        let curves = [
            Curve::Conductance(0.3),
            Curve::Exponential {
                is: 1e-9,
                width: 0.05,
            },
            Curve::OpenBase(T),
        ];
        for curve in curves {
            for u in [-0.7, -0.02, 0.01, 0.09, 0.4] {
                let h = 1e-6;
                let by = (curve.at(u + h).0 - curve.at(u - h).0) / (2.0 * h);
                let told = curve.at(u).1;
                assert!(
                    (by - told).abs() <= 1e-5 * told.abs() + 1e-14,
                    "{curve:?} {u}"
                );
            }
        }
    }
}
