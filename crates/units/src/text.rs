//! Reads values as people write them: RKM code (IEC 60062), engineering suffixes, exponents, units.

use thiserror::Error;

use crate::Unit;

/// A value that was read.
#[derive(Clone, Debug, PartialEq)]
pub struct Value {
    /// In SI base units (degrees Celsius for temperature); finite.
    pub number: f64,
    /// Set where the spelling means one thing today and another on old drawings.
    pub old_spelling: Option<OldSpelling>,
}

/// A capacitor unit as old drawings spell it; the value was read as they mean it, and must be reported.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OldSpelling {
    /// The unit as written, such as `MFD`.
    pub written: String,
    /// The unit that old drawings mean by it: `uF` or `pF`.
    pub meant: &'static str,
}

/// Why a text is not a value. The message is a whole sentence.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum Unreadable {
    /// Nothing but blanks.
    #[error("No value is written.")]
    Empty,
    /// Not of any shape that a value has.
    #[error("`{text}` cannot be read as {}.", wanted.name())]
    Shape {
        /// As written.
        text: String,
        /// The unit of the place.
        wanted: Unit,
    },
    /// A decimal comma.
    #[error("`{text}` has a comma where a decimal point belongs.")]
    Comma {
        /// As written.
        text: String,
    },
    /// A value in another unit.
    #[error("`{text}` is in {}, but {} are wanted here.", found.name(), wanted.name())]
    OtherUnit {
        /// As written.
        text: String,
        /// The unit written.
        found: Unit,
        /// The unit of the place.
        wanted: Unit,
    },
    /// More than a number can hold.
    #[error("`{text}` is beyond what can be computed with.")]
    TooLarge {
        /// As written.
        text: String,
    },
}

/// Reads `4k7`, `4.7k`, `4700`, `1e-8`, `470n`, `2R2`, `6.2V`, `6V2`, `100uF`, `5G`, with or without the unit.
///
/// The letter code is IEC 60062's. The decimal number closest to what is written is returned: multipliers shift the
/// decimal point and never multiply, so `4k7` and `4700` are the same number.
///
/// ```
/// use units::{Unit, read};
/// assert_eq!(read("4k7", Unit::Ohm).unwrap().number, 4700.0);
/// assert!(read("100 MFD", Unit::Farad).unwrap().old_spelling.is_some());
/// ```
pub fn read(text: &str, unit: Unit) -> Result<Value, Unreadable> {
    let trimmed = text.trim();
    if trimmed.is_empty() {
        return Err(Unreadable::Empty);
    }
    let (negative, unsigned) = sign(trimmed);
    let Some(parts) = split(unsigned) else {
        return Err(wrong_shape(trimmed, unit));
    };
    let old_spelling = old_capacitor_unit(parts.suffix, unit);
    let scaled = match &old_spelling {
        Some(old) => Some(parts.shifted(if old.meant == "uF" { -6 } else { -12 })),
        None => parts.in_unit(unit),
    };
    let Some(scaled) = scaled else {
        return Err(other_unit(&parts, trimmed, unit));
    };
    let number = scaled.number(negative);
    if number.is_finite() {
        Ok(Value {
            number,
            old_spelling,
        })
    } else {
        Err(Unreadable::TooLarge {
            text: trimmed.to_owned(),
        })
    }
}

/// Whether a text says that the instrument was over range: `OL`, as displays spell it.
pub fn is_over_range(text: &str) -> bool {
    let bare = text.trim().trim_start_matches(['+', '-']).to_uppercase();
    matches!(bare.as_str(), "OL" | "O.L" | "O.L." | "0L" | "0.L" | "OVLD")
}

/// Strips a sign; the typographic minus counts.
pub(crate) fn sign(text: &str) -> (bool, &str) {
    if let Some(rest) = text.strip_prefix(['-', '\u{2212}']) {
        (true, rest)
    } else {
        (false, text.strip_prefix('+').unwrap_or(text))
    }
}

/// A number as decimal text with its exponent still apart.
pub(crate) struct Decimal {
    digits: String,
    exponent: i32,
}

impl Decimal {
    /// The closest number; infinite if it is too large.
    pub(crate) fn number(&self, negative: bool) -> f64 {
        let size: f64 = format!("{}e{}", self.digits, self.exponent)
            .parse()
            .unwrap_or(f64::INFINITY);
        if negative { -size } else { size }
    }
}

/// An unsigned number and what follows it.
pub(crate) struct Parts<'a> {
    /// Digits, with a point among them at most once; may be empty, as in `R47`.
    mantissa: &'a str,
    /// The exponent written with `e`, if any.
    exponent: Option<i32>,
    /// The rest as written.
    pub(crate) suffix: &'a str,
}

impl Parts<'_> {
    /// The number with its decimal point moved by `places`.
    pub(crate) fn shifted(&self, places: i32) -> Decimal {
        Decimal {
            digits: self.mantissa.to_owned(),
            exponent: self.exponent.unwrap_or(0).saturating_add(places),
        }
    }

    fn in_unit(&self, unit: Unit) -> Option<Decimal> {
        let suffix = self.suffix.trim_start();
        if self.is_plain_number() && (suffix.is_empty() || unit.is_spelled(suffix)) {
            return Some(self.shifted(0));
        }
        let letter = suffix.chars().next()?;
        let places = multiplier(letter, unit)?;
        let rest = &suffix[letter.len_utf8()..];
        let (fraction, tail) = rest.split_at(count_digits(rest));
        let tail = tail.trim();
        if self.exponent.is_some() || !(tail.is_empty() || unit.is_spelled(tail)) {
            return None;
        }
        if fraction.is_empty() {
            return self.is_plain_number().then(|| self.shifted(places));
        }
        let letter_is_point = !self.mantissa.contains('.') && self.suffix.starts_with(letter);
        letter_is_point.then(|| Decimal {
            digits: format!("{}.{fraction}", self.mantissa),
            exponent: places,
        })
    }

    pub(crate) fn is_plain_number(&self) -> bool {
        self.mantissa.contains(|c: char| c.is_ascii_digit())
    }
}

pub(crate) fn split(text: &str) -> Option<Parts<'_>> {
    let whole = count_digits(text);
    let after_point = text[whole..]
        .strip_prefix('.')
        .map_or(0, |rest| 1 + count_digits(rest));
    let (mantissa, rest) = text.split_at(whole + after_point);
    let starts_like_rkm = mantissa.is_empty()
        && rest[rest.chars().next()?.len_utf8()..].starts_with(|c: char| c.is_ascii_digit());
    let has_digits = mantissa.contains(|c: char| c.is_ascii_digit());
    if !has_digits && !starts_like_rkm {
        return None;
    }
    let (exponent, suffix) = exponent(rest, has_digits);
    Some(Parts {
        mantissa,
        exponent,
        suffix,
    })
}

fn exponent(rest: &str, has_digits: bool) -> (Option<i32>, &str) {
    let Some(after) = rest.strip_prefix(['e', 'E']).filter(|_| has_digits) else {
        return (None, rest);
    };
    let (negative, digits_on) = sign(after);
    let (digits, suffix) = digits_on.split_at(count_digits(digits_on));
    if digits.is_empty() {
        return (None, rest);
    }
    // Longer exponents than an i32 holds are infinite or zero all the same.
    let size: i32 = digits.parse().unwrap_or(i32::MAX / 2);
    (Some(if negative { -size } else { size }), suffix)
}

fn count_digits(text: &str) -> usize {
    text.bytes().take_while(u8::is_ascii_digit).count()
}

/// Decimal places by which a letter moves the point.
fn multiplier(letter: char, unit: Unit) -> Option<i32> {
    if unit == Unit::Celsius {
        return None;
    }
    if unit.point_letter() == Some(letter.to_ascii_uppercase()) {
        return Some(0);
    }
    Some(match letter {
        'f' => -15,
        'p' => -12,
        'n' => -9,
        'u' | 'µ' | 'μ' => -6,
        'm' => -3,
        'k' | 'K' => 3,
        'M' => 6,
        'G' => 9,
        'T' => 12,
        _ => return None,
    })
}

/// `mF`, `MFD` (a microfarad on old drawings), `MMF`, `MMFD`, `uuF` (a picofarad).
fn old_capacitor_unit(suffix: &str, unit: Unit) -> Option<OldSpelling> {
    if unit != Unit::Farad {
        return None;
    }
    let written = suffix.trim();
    let lower = written.to_lowercase().replace(['µ', 'μ'], "u");
    let meant = match lower.as_str() {
        "mf" | "mfd" | "m.f.d." => "uF",
        "mmf" | "mmfd" | "uuf" | "uufd" => "pF",
        _ => return None,
    };
    Some(OldSpelling {
        written: written.to_owned(),
        meant,
    })
}

fn wrong_shape(text: &str, wanted: Unit) -> Unreadable {
    let text = text.to_owned();
    Unreadable::Shape { text, wanted }
}

fn other_unit(parts: &Parts, text: &str, wanted: Unit) -> Unreadable {
    let comma = parts.suffix.strip_prefix(',');
    if comma.is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_digit())) {
        return Unreadable::Comma {
            text: text.to_owned(),
        };
    }
    // Degrees of another scale look like any unit.
    let found = Unit::NAMED
        .into_iter()
        .find(|u| *u != wanted && wanted != Unit::Celsius && parts.in_unit(*u).is_some());
    match found {
        Some(found) => Unreadable::OtherUnit {
            text: text.to_owned(),
            found,
            wanted,
        },
        None => wrong_shape(text, wanted),
    }
}
