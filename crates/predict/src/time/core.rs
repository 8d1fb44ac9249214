//! What a transformer's core draws at switch-on, when its flux has to grow beyond what iron carries.

/// The core's own surge in the first half cycle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoreSurge {
    /// Largest current in amperes.
    pub peak: f64,
    /// Degrees after the zero crossing at which the core saturates; from there to the next crossing only resistance limits.
    pub from: f64,
    /// Current squared by time, in ampere squared seconds: what a fuse has to bear.
    pub melting: f64,
}

/// Flux that stays in a core at switch-off, as a share of its working peak: common practice for silicon iron without a gap,
/// at most.
const REMANENT: f64 = 0.7;
/// Flux at which the core saturates, as a share of its working peak: common practice, small transformers work close to it.
const SATURATED: f64 = 1.25;

/// The surge of a primary of `volts` (effective) switched on at a zero crossing with the worst remanence, through `ohms` of
/// winding and line together. The winding's own field is left out, so that it is an upper bound.
///
/// The flux is the integral of the volts: from its remanence it reaches saturation where
/// 1 - cos(angle) = saturated - remanent, both in working peaks. From there the core takes no more volts, and
/// the current is volts over ohms until they cross zero. Textbooks of transformers, inrush current (from memory).
pub fn core_surge(volts: f64, ohms: f64, hertz: f64) -> CoreSurge {
    let from = (1.0 - (SATURATED - REMANENT)).acos();
    let top = std::f64::consts::SQRT_2 * volts / ohms.max(1e-3);
    let peak = if from < std::f64::consts::FRAC_PI_2 {
        top
    } else {
        top * from.sin()
    };
    // The integral of sine squared from there to half a turn.
    let angle = 0.5 * (std::f64::consts::PI - from) + 0.25 * (2.0 * from).sin();
    CoreSurge {
        peak,
        from: from.to_degrees(),
        melting: top * top * angle / (std::f64::consts::TAU * hertz),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Stepped by hand: flux as the sum of what the core takes, current where it would take more than saturation.
    #[test]
    fn the_closed_form_is_what_stepping_gives() {
        let (volts, ohms, hertz) = (230.0, 12.0, 50.0);
        let found = core_surge(volts, ohms, hertz);
        let omega = std::f64::consts::TAU * hertz;
        let working = std::f64::consts::SQRT_2 * volts / omega;
        let (mut flux, mut peak, mut melting, mut from) = (0.7 * working, 0.0_f64, 0.0, None);
        let h = 1e-7;
        for k in 0..(0.5 / hertz / h) as usize {
            let t = h * (k as f64 + 0.5);
            let v = std::f64::consts::SQRT_2 * volts * (omega * t).sin();
            flux += h * v;
            if flux >= 1.25 * working {
                flux = 1.25 * working;
                from.get_or_insert(omega * t);
                let amps = v / ohms;
                peak = peak.max(amps);
                melting += h * amps * amps;
            }
        }
        assert!((found.peak / peak - 1.0).abs() < 1e-4, "{found:?} {peak}");
        assert!(
            (found.melting / melting - 1.0).abs() < 1e-3,
            "{found:?} {melting}"
        );
        let from = from.expect("it saturates").to_degrees();
        assert!((found.from - from).abs() < 0.1, "{found:?} {from}");
        // 230 V over 12 ohm: 27.1 A at the top.
        assert!((found.peak - 27.1).abs() < 0.1);
        // A cold lamp of 60 ohm before it leaves a sixth.
        assert!((core_surge(volts, 72.0, hertz).peak - 4.52).abs() < 0.01);
    }
}
