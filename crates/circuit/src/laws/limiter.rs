//! How far a junction voltage may move between two linearisations.

/// Limits the step of a junction voltage; the law itself is never clipped.
///
/// Logarithmic limiting after Nagel, SPICE2 (memorandum ERL-M520, 1975), appendix on
/// convergence; here `width` is n times the thermal voltage.
pub fn junction_step(proposed: f64, last: f64, width: f64, is: f64) -> f64 {
    let move_in_widths = (proposed - last) / width;
    if last > 3.0 * width && move_in_widths < -0.5 && move_in_widths > -1.0 {
        // Newton crawls down an exponential by one width a step; the current that it asks for,
        // put into the law, says at once how far down to go.
        return (last + width * (1.0 + move_in_widths).max(1e-6).ln()).max(0.0);
    }
    // Most steps are small or end where the junction blocks: no logarithm is needed to see that.
    let blocks = proposed <= 0.0 && is < 0.5 * width;
    if blocks || move_in_widths.abs() <= 2.0 {
        return proposed;
    }
    let critical = critical(width, is);
    if proposed <= critical {
        return proposed;
    }
    if last > 0.0 {
        let argument = 1.0 + move_in_widths;
        if argument > 0.0 {
            last + width * argument.ln()
        } else {
            critical
        }
    } else {
        width * (proposed / width).ln()
    }
}

/// The voltage of greatest curvature, beyond which a junction counts as steep.
pub(super) fn critical(width: f64, is: f64) -> f64 {
    width * (width / (std::f64::consts::SQRT_2 * is)).ln()
}

/// exp(a) - 1 and exp(a) by one call: near zero the first would cancel, far from it it cannot.
pub fn exponentials(a: f64) -> (f64, f64) {
    if a.abs() < 0.3 {
        let less_one = a.exp_m1();
        (less_one, less_one + 1.0)
    } else {
        let grown = a.exp();
        (grown - 1.0, grown)
    }
}
