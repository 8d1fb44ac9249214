//! Device laws in the shape that the solver asks for.

use circuit::Law;

/// A device law between the solver's ports.
///
/// A transistor's ports are base to emitter and base to collector; what flows through them is
/// the emitter's and minus the collector's current, mirrored for pnp.
#[derive(Clone, Copy, Debug)]
pub struct Adapter {
    /// The law.
    pub law: Law,
    /// +1, or -1 for pnp.
    pub sign: f64,
}

impl solve::Law for Adapter {
    fn response(&self, u: [f64; 2]) -> solve::Response {
        let s = self.sign;
        if !matches!(self.law, Law::Transistor(_)) {
            let r = self.law.response(u);
            return solve::Response {
                flow: r.current,
                slope: r.slope,
            };
        }
        let r = self.law.response([s * u[0], s * u[1]]);
        let [ic, ib] = r.current;
        let [[c0, c1], [b0, b1]] = r.slope;
        solve::Response {
            flow: [s * (ic + ib), -s * ic],
            slope: [[c0 + b0, c1 + b1], [-c0, -c1]],
        }
    }

    fn initial(&self) -> [f64; 2] {
        self.law.initial().map(|u| self.sign * u)
    }

    fn start(&self, u: [f64; 2]) -> [f64; 2] {
        let s = self.sign;
        self.law.start(u.map(|u| s * u)).map(|u| s * u)
    }

    fn limit(&self, proposed: [f64; 2], last: [f64; 2]) -> [f64; 2] {
        let s = self.sign;
        self.law
            .limit(proposed.map(|u| s * u), last.map(|u| s * u))
            .map(|u| s * u)
    }
}
