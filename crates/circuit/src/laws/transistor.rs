//! The bipolar transistor: Ebers and Moll's equations in transport form.

use super::limiter::{critical, exponentials, junction_step};
use super::{Response, Varying};

/// Ic = is (e1 - e2) q - is (e2 - 1) / br, Ib = is (e1 - 1) / bf + is (e2 - 1) / br, with
/// e1 = exp(vbe / width), e2 = exp(vbc / width) and q = 1 - vbc / vaf.
///
/// Ebers and Moll, Proc. IRE 42 (1954); transport form after Logan, Bell Syst. Tech. J. 50 (1971).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Transistor {
    /// Transport saturation current in amperes, at the junction's temperature.
    pub is: f64,
    /// Forward gain.
    pub bf: f64,
    /// Reverse gain.
    pub br: f64,
    /// 1 / Early voltage in 1/volts; zero for no Early effect.
    pub early: f64,
    /// Thermal voltage in volts.
    pub width: f64,
    /// False when base-emitter current and both transport terms are gone, and only the
    /// base-collector junction is left.
    pub whole: bool,
}

impl Transistor {
    /// Collector and base current at base-emitter and base-collector voltage `u`.
    pub fn response(&self, u: [f64; 2]) -> Response {
        let w = self.width;
        let (f, gf) = exponentials(u[0] / w);
        let (f, gf) = (self.is * f, self.is / w * gf);
        let (r, gr) = exponentials(u[1] / w);
        let (r, gr) = (self.is * r, self.is / w * gr);
        if !self.whole {
            return Response {
                current: [-r / self.br, r / self.br],
                slope: [[0.0, -gr / self.br], [0.0, gr / self.br]],
            };
        }
        let q = 1.0 - u[1] * self.early;
        Response {
            current: [(f - r) * q - r / self.br, f / self.bf + r / self.br],
            slope: [
                [gf * q, -gr * q - (f - r) * self.early - gr / self.br],
                [gf / self.bf, gr / self.br],
            ],
        }
    }

    pub(super) fn initial(&self) -> [f64; 2] {
        [critical(self.width, self.is), 0.0]
    }

    pub(super) fn start(&self, u: [f64; 2]) -> [f64; 2] {
        u.map(|v| v.min(critical(self.width, self.is)))
    }

    pub(super) fn limit(&self, proposed: [f64; 2], last: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|k| junction_step(proposed[k], last[k], self.width, self.is))
    }

    pub(super) fn by(&self, what: Varying, u: [f64; 2]) -> [f64; 2] {
        let f = self.is * (u[0] / self.width).exp_m1();
        let r = self.is * (u[1] / self.width).exp_m1();
        match what {
            Varying::Is => {
                let response = self.response(u);
                response.current.map(|i| i / self.is)
            }
            Varying::Bf if self.whole => [0.0, -f / (self.bf * self.bf)],
            Varying::Br => [r / (self.br * self.br), -r / (self.br * self.br)],
            _ => [0.0; 2],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn textbook_transport_example() {
        // Textbook example (from memory): is 1e-16, bf 50, vbe 0.75, Vt 0.025:
        // 1.0686 mA, 21.37 uA, emitter 1.0900 mA.
        let t = Transistor {
            is: 1e-16,
            bf: 50.0,
            br: 1.0,
            early: 0.0,
            width: 0.025,
            whole: true,
        };
        let [ic, ib] = t.response([0.75, -5.0]).current;
        assert!((ic - 1.0686e-3).abs() < 5e-8, "{ic}");
        assert!((ib - 21.37e-6).abs() < 5e-9, "{ib}");
        assert!((ic + ib - 1.0900e-3).abs() < 5e-8);
    }

    #[test]
    fn slopes_match_differences() {
        let t = Transistor {
            is: 1e-6,
            bf: 60.0,
            br: 10.0,
            early: 0.02,
            width: 0.0258,
            whole: true,
        };
        let h = 1e-7;
        for u in [[0.2, -3.0], [0.15, 0.1], [-1.0, 0.12], [0.0, 0.0]] {
            let told = t.response(u);
            for k in 0..2 {
                let (mut above, mut below) = (u, u);
                above[k] += h;
                below[k] -= h;
                let (a, b) = (t.response(above).current, t.response(below).current);
                for j in 0..2 {
                    let slope = (a[j] - b[j]) / (2.0 * h);
                    assert!(
                        (slope - told.slope[j][k]).abs() < 1e-5 * slope.abs() + 1e-9,
                        "{u:?} {j} {k}"
                    );
                }
            }
        }
    }
}
