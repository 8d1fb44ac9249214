//! Quantities with units, and the text in which the bench writes them.

mod colour;
mod percentage;
mod print;
mod series;
mod text;
mod unit;

pub use colour::{Banded, BandsUnreadable, Colour, bands, read_bands};
pub use percentage::{Percentage, print_percentage, read_percentage};
pub use print::{engineering, exact, number, rkm, significant};
pub use series::Series;
pub use text::{OldSpelling, Unreadable, Value, is_over_range, read};
pub use unit::{Quantity, Unit};

/// Declares a newtype over a number in SI base units.
macro_rules! quantity {
    ($($(#[$doc:meta])* $name:ident $symbol:literal;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
        pub struct $name(pub f64);

        impl $name {
            /// The unit's symbol.
            pub const SYMBOL: &'static str = $symbol;
        }
    )*};
}

quantity! {
    /// Resistance in ohms.
    Ohms "Ω";
    /// Potential difference in volts.
    Volts "V";
    /// Current in amperes.
    Amps "A";
    /// Capacitance in farads.
    Farads "F";
    /// Inductance in henries.
    Henries "H";
    /// Power in watts.
    Watts "W";
    /// Time in seconds.
    Seconds "s";
    /// Temperature in degrees Celsius.
    Celsius "°C";
}
