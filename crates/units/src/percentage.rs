//! Percentages: tolerances, drifts with or without a sign.

use crate::text::{sign, split};
use crate::{Unit, Unreadable};

/// A share written in per cent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Percentage {
    /// As a fraction, with its sign: `-5%` is -0.05.
    pub fraction: f64,
    /// A plus or a minus was written, which for a drift makes it one-sided.
    pub signed: bool,
    /// The `%` was written.
    pub marked: bool,
}

/// Reads `5%`, `+10%`, `-10%`, `±5 %`, or the number alone, which is in per cent, too.
///
/// ```
/// let drift = units::read_percentage("+10%").unwrap();
/// assert_eq!((drift.fraction, drift.signed), (0.1, true));
/// ```
pub fn read_percentage(text: &str) -> Result<Percentage, Unreadable> {
    let trimmed = text.trim();
    if trimmed.is_empty() {
        return Err(Unreadable::Empty);
    }
    let unsigned = trimmed.strip_prefix('±').unwrap_or(trimmed).trim_start();
    let (negative, bare) = sign(unsigned);
    let signed = bare.len() != unsigned.len();
    let shape = || Unreadable::Shape {
        text: trimmed.to_owned(),
        wanted: Unit::One,
    };
    let parts = split(bare).ok_or_else(shape)?;
    let suffix = parts.suffix.trim();
    if !parts.is_plain_number() || !matches!(suffix, "" | "%") {
        return Err(shape());
    }
    let fraction = parts.shifted(-2).number(negative);
    if !fraction.is_finite() {
        return Err(Unreadable::TooLarge {
            text: trimmed.to_owned(),
        });
    }
    Ok(Percentage {
        fraction,
        signed,
        marked: suffix == "%",
    })
}

/// Prints a fraction in per cent so that reading it gives the same fraction: 0.05 is `5%`.
pub fn print_percentage(fraction: f64) -> String {
    let scientific = format!("{fraction:e}");
    let Some((mantissa, exponent)) = scientific.split_once('e') else {
        return scientific;
    };
    let exponent = exponent.parse().unwrap_or(0) + 2;
    format!("{}%", crate::print::decimal(mantissa, exponent))
}
