//! A filament that heats: its resistance follows the power with a delay.

use circuit::laws::Lamp;

/// A lamp's filament in time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Filament {
    lamp: Lamp,
    /// Resistance now, in ohms.
    ohms: f64,
    /// Seconds by which rated power would heat it from cold to hot without loss.
    heat: f64,
}

/// Seconds of rated power in a hot filament of 100 W: chosen so that from cold its current settles within 0.10 s, as an
/// encyclopaedia is quoted for a 100 W lamp of 120 V (settled 0.10 s, 90 per cent of the light 0.13 s).
const HEAT: f64 = 0.165;

impl Filament {
    /// A cold one.
    pub fn cold(lamp: Lamp) -> Self {
        let watts = lamp.volts * lamp.amps;
        Self {
            lamp,
            ohms: lamp.cold,
            // A thicker wire has more to heat for each watt that its surface gives off: with its diameter, and the current
            // of a lamp goes with the diameter to the power 3/2.
            heat: HEAT * (watts / 100.0).powf(2.0 / 3.0),
        }
    }

    /// Resistance now, in ohms.
    pub fn ohms(&self) -> f64 {
        self.ohms
    }

    /// Goes on by `h` seconds with `amps` through it.
    pub fn step(&mut self, h: f64, amps: f64) {
        let rated = self.lamp.volts * self.lamp.amps;
        let hot = self.lamp.volts / self.lamp.amps;
        let span = hot - self.lamp.cold;
        // What it gives off at this resistance is what it would take at rest; I as V^0.55 makes R as V^0.45, and so the
        // power as R to 1.55 / 0.45, less what it gives off cold.
        let off = |r: f64| {
            let x = (r.powi(4) - self.lamp.cold.powi(4)).max(0.0).powf(0.25) / hot;
            let volts = self.lamp.volts * x.powf(1.0 / 0.45);
            volts * volts / r
        };
        let parts = (h / (0.02 * self.heat)).ceil().max(1.0);
        for _ in 0..parts as usize {
            let net = amps * amps * self.ohms - off(self.ohms);
            self.ohms += h / parts * net / rated / self.heat * span;
            self.ohms = self.ohms.clamp(self.lamp.cold, 3.0 * hot);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hundred_watt_lamp_settles_within_a_tenth_of_a_second() {
        let lamp = Lamp {
            volts: 120.0,
            amps: 100.0 / 120.0,
            cold: 9.5,
        };
        let mut filament = Filament::cold(lamp);
        let mut settled = None;
        for k in 1..4000 {
            let t = f64::from(k) * 1e-4;
            let amps = 120.0 / filament.ohms();
            filament.step(1e-4, amps);
            // Within a tenth of its current at rest.
            let near = (120.0 / filament.ohms() / lamp.amps - 1.0).abs() < 0.1;
            if near && settled.is_none() {
                settled = Some(t);
            }
        }
        let t = settled.expect("it settles");
        assert!((0.05..0.15).contains(&t), "{t}");
        // At rest it is as the law of the settled filament says.
        assert!(
            (filament.ohms() / 144.0 - 1.0).abs() < 0.01,
            "{}",
            filament.ohms()
        );
    }

    #[test]
    fn at_half_the_volts_it_rests_where_the_settled_law_does() {
        let lamp = Lamp {
            volts: 230.0,
            amps: 60.0 / 230.0,
            cold: 60.0,
        };
        let mut filament = Filament::cold(lamp);
        for _ in 0..20_000 {
            let amps = 115.0 / filament.ohms();
            filament.step(1e-4, amps);
        }
        let law = lamp.ohms(115.0);
        assert!(
            (filament.ohms() / law - 1.0).abs() < 0.01,
            "{} {law}",
            filament.ohms()
        );
    }
}
