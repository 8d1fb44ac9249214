//! Electrostatic deflection: how far plate volts move the spot, from the tube's dimensions.
//!
//! Parallel plates, small angles, no acceleration after the plates: S = l L / (2 d Va), as in any textbook of electron
//! optics; the fringe of the field lengthens the plates a little, so a real tube is some per cent more sensitive.

use units::Volts;

/// A pair of plates and what the beam has before them; lengths in metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plates {
    /// Length of the plates along the beam.
    pub length: f64,
    /// Distance between the plates.
    pub gap: f64,
    /// From the middle of the plates to the screen.
    pub throw: f64,
    /// Accelerating voltage, cathode to the last anode.
    pub anode: Volts,
}

impl Plates {
    /// A pair of plates; none unless every dimension is above zero.
    pub fn new(length: f64, gap: f64, throw: f64, anode: Volts) -> Option<Plates> {
        let is_real = |v: f64| v.is_finite() && v > 0.0;
        [length, gap, throw, anode.0]
            .into_iter()
            .all(is_real)
            .then_some(Plates {
                length,
                gap,
                throw,
                anode,
            })
    }

    /// Metres on the screen for each volt between the plates.
    pub fn sensitivity(&self) -> f64 {
        self.length * self.throw / (2.0 * self.gap * self.anode.0)
    }

    /// Volts between the plates for so many metres on the screen.
    pub fn volts(&self, metres: f64) -> Volts {
        Volts(metres / self.sensitivity())
    }

    /// Volts between the plates at which the beam, entering midway, meets a plate at its far end: there it is off the axis
    /// by l^2 V / (4 d Va), and d/2 is the room that it has.
    pub fn limit(&self) -> Volts {
        Volts(2.0 * self.anode.0 * (self.gap / self.length).powi(2))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn worked_examples_come_out() {
        // a published worked example of the formula (its figures are arithmetic only, no real tube): 1.3333e-3 m/V
        let worked = Plates::new(50.0, 0.0025, 1.2e-5, Volts(90.0)).expect("real");
        assert!((worked.sensitivity() - 1.3333e-3).abs() < 1e-7);
        // 20 mm plates 5 mm apart, 200 mm before the screen, at 2 kV: 0.2 mm/V, that is 127 V an inch
        let tube = Plates::new(0.020, 0.005, 0.200, Volts(2000.0)).expect("real");
        assert!((tube.sensitivity() - 0.2e-3).abs() < 1e-12);
        assert!((tube.volts(0.0254).0 - 127.0).abs() < 1e-9);
        // at its limit the beam leaves the plates half a gap from the axis
        let leaves = tube.length.powi(2) * tube.limit().0 / (4.0 * tube.gap * tube.anode.0);
        assert!((leaves - tube.gap / 2.0).abs() < 1e-12);
        assert!(Plates::new(0.02, 0.0, 0.2, Volts(2000.0)).is_none());
    }
}
