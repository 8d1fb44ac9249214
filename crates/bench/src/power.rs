//! Power: what stays on capacitors, how an electrolytic is reformed, which lamp goes in series, and how a supply is brought up.

pub mod discharge;
pub mod lamp;
pub mod plan;
pub mod reform;

use units::Unit;

use crate::refused::Refused;

/// Stands before everything that is done with mains or stored charge.
pub const MAINS: &str = "Mains and charged capacitors kill. Follow the rules of your place, and leave work on mains and kilovolts to those trained and permitted to do it; never alone.";

/// What a number on the command line is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Asked {
    /// A capacitance.
    Farads,
    /// A resistance.
    Ohms,
    /// A voltage.
    Volts,
    /// A power.
    Watts,
    /// A plain number.
    Plain,
}

/// A value above zero, as it is written on a drawing.
///
/// # Errors
/// If it cannot be read; `option` is named in the message.
pub fn number(text: &str, option: &str, asked: Asked) -> Result<f64, Refused> {
    let unit = match asked {
        Asked::Farads => Unit::Farad,
        Asked::Ohms => Unit::Ohm,
        Asked::Volts => Unit::Volt,
        Asked::Watts => Unit::Watt,
        Asked::Plain => Unit::One,
    };
    units::read(text, unit)
        .ok()
        .map(|v| v.number)
        .filter(|x| *x > 0.0)
        .ok_or_else(|| {
            Refused::input(
                format!("`{text}` is not a value that {option} can take."),
                format!("Write it as on a drawing, such as {}.", unit.example()),
            )
        })
}
