//! How far a junction voltage may move between two linearisations.

/// Limits the step of a junction voltage; the law itself is never clipped.
///
/// Logarithmic limiting after Nagel, SPICE2 (memorandum ERL-M520, 1975), appendix on
/// convergence; here `width` is n times the thermal voltage.
pub(super) fn junction_step(proposed: f64, last: f64, width: f64, is: f64) -> f64 {
    let critical = critical(width, is);
    if proposed <= critical || (proposed - last).abs() <= 2.0 * width {
        return proposed;
    }
    if last > 0.0 {
        let argument = 1.0 + (proposed - last) / width;
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
pub(super) fn exponentials(a: f64) -> (f64, f64) {
    if a.abs() < 0.3 {
        let less_one = a.exp_m1();
        (less_one, less_one + 1.0)
    } else {
        let grown = a.exp();
        (grown - 1.0, grown)
    }
}
