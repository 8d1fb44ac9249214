//! Colour bands on resistors (IEC 60062).

use thiserror::Error;

use crate::Ohms;

/// A band's colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs, reason = "the names of the colours say it all")]
pub enum Colour {
    Black,
    Brown,
    Red,
    Orange,
    Yellow,
    Green,
    Blue,
    Violet,
    Grey,
    White,
    Gold,
    Silver,
    Pink,
}

use Colour::*;

/// The colours that stand for the digits 0 to 9.
const DIGITS: [Colour; 10] = [
    Black, Brown, Red, Orange, Yellow, Green, Blue, Violet, Grey, White,
];

/// What the bands of a resistor say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Banded {
    /// Nominal value.
    pub ohms: Ohms,
    /// As a fraction; 0.2 where there is no band for it.
    pub tolerance: f64,
    /// Temperature coefficient in parts per million and kelvin, of a sixth band.
    pub ppm_per_kelvin: Option<f64>,
}

/// Why bands cannot be read. The message is a whole sentence.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum BandsUnreadable {
    /// Too few or too many.
    #[error("A resistor has three to six bands, not {0}.")]
    Count(usize),
    /// A colour in a place where it means nothing.
    #[error("{colour:?} means nothing as band {band}; the bands may be read from the wrong end.")]
    Meaningless {
        /// The colour.
        colour: Colour,
        /// Its place, counted from 1.
        band: usize,
    },
}

/// Reads three to six bands. Orange, yellow and grey tolerances are as of the 2016 edition (0.05, 0.02, 0.01 %).
pub fn read_bands(bands: &[Colour]) -> Result<Banded, BandsUnreadable> {
    let digits = match bands.len() {
        3 | 4 => 2,
        5 | 6 => 3,
        count => return Err(BandsUnreadable::Count(count)),
    };
    let meaning = |band: usize, found: Option<f64>| {
        found.ok_or(BandsUnreadable::Meaningless {
            colour: bands[band],
            band: band + 1,
        })
    };
    let mut number = 0.0;
    for (band, colour) in bands[..digits].iter().enumerate() {
        number = number * 10.0 + meaning(band, digit(*colour).map(f64::from))?;
    }
    let power = meaning(digits, multiplier(bands[digits]).map(f64::from))?;
    let tolerance = match bands.get(digits + 1) {
        Some(colour) => meaning(digits + 1, tolerance(*colour))?,
        None => 0.2,
    };
    let ppm_per_kelvin = match bands.get(digits + 2) {
        Some(colour) => Some(meaning(digits + 2, temperature_coefficient(*colour))?),
        None => None,
    };
    Ok(Banded {
        ohms: Ohms(format!("{number}e{power}").parse().unwrap_or(f64::INFINITY)),
        tolerance,
        ppm_per_kelvin,
    })
}

/// The bands of a value: four if two digits say it, else five; none if three digits do not, or no colour says it.
pub fn bands(ohms: Ohms, tolerance_fraction: f64) -> Option<Vec<Colour>> {
    if !(ohms.0 > 0.0 && ohms.0.is_finite()) {
        return None;
    }
    let last =
        all().find(|c| tolerance(*c).is_some_and(|t| (t / tolerance_fraction - 1.0).abs() < 1e-9));
    let unbanded = (tolerance_fraction - 0.2).abs() < 1e-9;
    [2usize, 3].into_iter().find_map(|digits| {
        let text = format!("{:.*e}", digits - 1, ohms.0);
        let (mantissa, exponent) = text.split_once('e')?;
        let exact: f64 = text.parse().ok()?;
        if (exact / ohms.0 - 1.0).abs() > 1e-9 {
            return None;
        }
        let power = exponent.parse::<i32>().ok()? + 1 - digits as i32;
        let mut found: Vec<Colour> = mantissa
            .bytes()
            .filter(u8::is_ascii_digit)
            .map(|d| DIGITS[usize::from(d - b'0')])
            .collect();
        found.push(all().find(|c| multiplier(*c) == Some(power))?);
        match last {
            Some(colour) => found.push(colour),
            None if unbanded && digits == 2 => {}
            None => return None,
        }
        Some(found)
    })
}

fn all() -> impl Iterator<Item = Colour> {
    DIGITS.into_iter().chain([Gold, Silver, Pink])
}

fn digit(colour: Colour) -> Option<u8> {
    DIGITS.iter().position(|c| *c == colour).map(|d| d as u8)
}

/// Power of ten.
fn multiplier(colour: Colour) -> Option<i32> {
    match colour {
        Gold => Some(-1),
        Silver => Some(-2),
        Pink => Some(-3),
        _ => digit(colour).map(i32::from),
    }
}

fn tolerance(colour: Colour) -> Option<f64> {
    Some(match colour {
        Brown => 0.01,
        Red => 0.02,
        Orange => 0.0005,
        Yellow => 0.0002,
        Green => 0.005,
        Blue => 0.0025,
        Violet => 0.001,
        Grey => 0.0001,
        Gold => 0.05,
        Silver => 0.1,
        Black | White | Pink => return None,
    })
}

fn temperature_coefficient(colour: Colour) -> Option<f64> {
    Some(match colour {
        Black => 250.0,
        Brown => 100.0,
        Red => 50.0,
        Orange => 15.0,
        Yellow => 25.0,
        Green => 20.0,
        Blue => 10.0,
        Violet => 5.0,
        Grey => 1.0,
        White | Gold | Silver | Pink => return None,
    })
}
