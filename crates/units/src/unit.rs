//! The units that the bench knows, and how each is spelled in text.

use crate::{Amps, Celsius, Farads, Henries, Ohms, Seconds, Volts, Watts};

/// What a number counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Unit {
    /// A plain number.
    One,
    /// Resistance.
    Ohm,
    /// Potential difference.
    Volt,
    /// Current.
    Ampere,
    /// Capacitance.
    Farad,
    /// Inductance.
    Henry,
    /// Power.
    Watt,
    /// Time.
    Second,
    /// Temperature; takes no multiplier.
    Celsius,
}

impl Unit {
    /// Every unit with a spelling.
    pub(crate) const NAMED: [Unit; 8] = [
        Unit::Ohm,
        Unit::Volt,
        Unit::Ampere,
        Unit::Farad,
        Unit::Henry,
        Unit::Watt,
        Unit::Second,
        Unit::Celsius,
    ];

    /// The symbol, such as `V`; empty for a plain number.
    pub fn symbol(self) -> &'static str {
        match self {
            Unit::One => "",
            Unit::Ohm => Ohms::SYMBOL,
            Unit::Volt => Volts::SYMBOL,
            Unit::Ampere => Amps::SYMBOL,
            Unit::Farad => Farads::SYMBOL,
            Unit::Henry => Henries::SYMBOL,
            Unit::Watt => Watts::SYMBOL,
            Unit::Second => Seconds::SYMBOL,
            Unit::Celsius => Celsius::SYMBOL,
        }
    }

    /// The name in the plural, such as `volts`.
    pub fn name(self) -> &'static str {
        match self {
            Unit::One => "a number",
            Unit::Ohm => "ohms",
            Unit::Volt => "volts",
            Unit::Ampere => "amperes",
            Unit::Farad => "farads",
            Unit::Henry => "henries",
            Unit::Watt => "watts",
            Unit::Second => "seconds",
            Unit::Celsius => "degrees Celsius",
        }
    }

    /// A value as it may be written, for messages.
    pub fn example(self) -> &'static str {
        match self {
            Unit::One => "1.5",
            Unit::Ohm => "\"4k7\"",
            Unit::Volt => "\"6.2V\"",
            Unit::Ampere => "\"0.6A\"",
            Unit::Farad => "\"470n\"",
            Unit::Henry => "\"10m\"",
            Unit::Watt => "\"0.5W\"",
            Unit::Second => "\"20ms\"",
            Unit::Celsius => "\"25C\"",
        }
    }

    /// Whether `text` spells this unit. One-letter symbols are taken in either case, as people type them.
    pub(crate) fn is_spelled(self, text: &str) -> bool {
        let words: &[&str] = match self {
            Unit::One => &[],
            Unit::Ohm => &["Ω", "\u{2126}", "ω", "ohm", "ohms"],
            Unit::Volt => &["v", "volt", "volts"],
            Unit::Ampere => &["a", "amp", "amps", "ampere", "amperes"],
            Unit::Farad => &["f", "fd", "farad", "farads"],
            Unit::Henry => &["h", "hy", "henry", "henries"],
            Unit::Watt => &["w", "watt", "watts"],
            Unit::Second => &["s", "sec", "second", "seconds"],
            Unit::Celsius => &["c", "°c", "degc"],
        };
        let lower = text.to_lowercase();
        words.iter().any(|w| *w == lower || *w == text)
    }

    /// The letter that may stand for the decimal point, as in `2R2` and `6V2`.
    pub(crate) fn point_letter(self) -> Option<char> {
        match self {
            Unit::Ohm => Some('R'),
            Unit::Volt => Some('V'),
            Unit::Ampere => Some('A'),
            Unit::Farad => Some('F'),
            Unit::Henry => Some('H'),
            Unit::Watt => Some('W'),
            Unit::One | Unit::Second | Unit::Celsius => None,
        }
    }
}

/// A newtype over a number in one unit.
pub trait Quantity: Copy {
    /// The unit that the number counts.
    const UNIT: Unit;
    /// Wraps a number in SI base units (degrees Celsius for temperature).
    fn of(number: f64) -> Self;
    /// The number in SI base units (degrees Celsius for temperature).
    fn value(self) -> f64;
}

macro_rules! unit_of {
    ($($name:ident $unit:ident;)*) => {$(
        impl Quantity for $name {
            const UNIT: Unit = Unit::$unit;
            fn of(number: f64) -> Self {
                $name(number)
            }
            fn value(self) -> f64 {
                self.0
            }
        }
    )*};
}

unit_of! {
    Ohms Ohm;
    Volts Volt;
    Amps Ampere;
    Farads Farad;
    Henries Henry;
    Watts Watt;
    Seconds Second;
    Celsius Celsius;
}
