//! Prints values in engineering notation and in RKM code (IEC 60062).

use crate::Unit;

const PREFIXES: [(i32, &str); 10] = [
    (-15, "f"),
    (-12, "p"),
    (-9, "n"),
    (-6, "µ"),
    (-3, "m"),
    (0, ""),
    (3, "k"),
    (6, "M"),
    (9, "G"),
    (12, "T"),
];

/// Engineering notation with the precision that the uncertainty (one standard deviation) deserves: `1.84 kΩ`.
///
/// Source of the rule: Particle Data Group, Review of Particle Physics, introduction, "Rounding": of the three leading
/// digits of the uncertainty, 100 to 354 keep two, 355 to 949 one, 950 to 999 round up to 1000 and keep two. Without an
/// uncertainty, or with zero, the shortest exact digits are printed.
pub fn engineering(value: f64, uncertainty: f64, unit: Unit) -> String {
    if !(uncertainty.is_finite() && uncertainty > 0.0 && value.is_finite()) {
        return joined(value, None, unit);
    }
    let leading = format!("{uncertainty:.2e}");
    let Some((mantissa, exponent)) = leading.split_once('e') else {
        return joined(value, None, unit);
    };
    let exponent: i32 = exponent.parse().unwrap_or(0);
    let digits: f64 = mantissa.parse().unwrap_or(1.0);
    let last_place = match digits {
        d if d < 3.545 => exponent - 1,
        // 950 to 999 become 1000, of which two digits end at the same place.
        _ => exponent,
    };
    joined(value, Some(last_place), unit)
}

/// Engineering notation with so many significant digits: `4.70 kΩ`.
pub fn significant(value: f64, digits: usize, unit: Unit) -> String {
    if value == 0.0 || !value.is_finite() {
        return joined(value, None, unit);
    }
    let wanted = digits.max(1);
    let rounded = format!("{value:.*e}", wanted - 1);
    let exponent: i32 = rounded
        .split_once('e')
        .and_then(|(_, e)| e.parse().ok())
        .unwrap_or(0);
    joined(value, Some(exponent + 1 - wanted as i32), unit)
}

/// Value, prefix and symbol; `last_place` is the power of ten of the last digit to show.
fn joined(value: f64, last_place: Option<i32>, unit: Unit) -> String {
    if !value.is_finite() {
        return "not a number".to_owned();
    }
    let (mantissa, exponent) = match last_place {
        Some(place) => rounded(value, place),
        None => scientific(value),
    };
    let smallest = last_place.unwrap_or(i32::MIN);
    let is_zero = mantissa.bytes().all(|b| !b.is_ascii_digit() || b == b'0');
    let size = if is_zero {
        last_place.unwrap_or(0)
    } else {
        exponent.max(smallest)
    };
    let symbol = unit.symbol();
    // Plain numbers take no letter, tenths of a volt and parts of an ohm are written as such: 0.62 V, 0.05 Ω.
    let is_unscaled = match unit {
        Unit::Celsius => true,
        Unit::One => (-4..6).contains(&size),
        Unit::Volt => size == -1,
        Unit::Ohm => (-3..0).contains(&size),
        _ => false,
    };
    let (power, prefix) = match prefix(size) {
        _ if is_unscaled => (0, ""),
        Some(found) => found,
        None => return spaced(&format!("{mantissa}e{exponent}"), symbol),
    };
    let shown = if is_zero {
        "0".to_owned()
    } else {
        decimal(&mantissa, exponent - power)
    };
    let decimals = last_place.map_or(0, |place| (power - place).max(0) as usize);
    spaced(
        &with_decimals(&shown, decimals),
        &format!("{prefix}{symbol}"),
    )
}

fn spaced(number: &str, symbol: &str) -> String {
    if symbol.is_empty() {
        number.to_owned()
    } else {
        format!("{number} {symbol}")
    }
}

fn with_decimals(shown: &str, decimals: usize) -> String {
    let have = shown.split_once('.').map_or(0, |(_, f)| f.len());
    if have >= decimals {
        return shown.to_owned();
    }
    let point = if have == 0 { "." } else { "" };
    format!("{shown}{point}{}", "0".repeat(decimals - have))
}

/// Rounds at a power of ten; mantissa digits and exponent as of scientific notation.
fn rounded(value: f64, place: i32) -> (String, i32) {
    let (_, exponent) = scientific(value);
    let digits = exponent - place;
    if digits >= 0 {
        // Rounding may carry into a new digit, so the exponent is taken from the result.
        return parted(&format!("{value:.*e}", digits as usize));
    }
    let carries = digits == -1 && value.abs() >= 5.0 * 10f64.powi(exponent);
    if carries {
        let sign = if value < 0.0 { "-" } else { "" };
        (format!("{sign}1"), place)
    } else {
        ("0".to_owned(), 0)
    }
}

fn scientific(value: f64) -> (String, i32) {
    if value == 0.0 {
        return ("0".to_owned(), 0);
    }
    parted(&format!("{value:e}"))
}

fn parted(scientific: &str) -> (String, i32) {
    let (mantissa, exponent) = scientific.split_once('e').unwrap_or((scientific, "0"));
    (mantissa.to_owned(), exponent.parse().unwrap_or(0))
}

fn prefix(exponent: i32) -> Option<(i32, &'static str)> {
    let power = exponent.div_euclid(3) * 3;
    PREFIXES.into_iter().find(|(p, _)| *p == power)
}

/// `mantissa` (digits with at most one point, one digit before it) times ten to the `exponent`, without an exponent.
pub(crate) fn decimal(mantissa: &str, exponent: i32) -> String {
    let (minus, bare) = match mantissa.strip_prefix('-') {
        Some(rest) => ("-", rest),
        None => ("", mantissa),
    };
    let digits: String = bare.chars().filter(char::is_ascii_digit).collect();
    let point = bare.find('.').unwrap_or(bare.len()) as i32 + exponent;
    let text = if point <= 0 {
        format!("0.{}{digits}", "0".repeat(point.unsigned_abs() as usize))
    } else if point as usize >= digits.len() {
        format!("{digits}{}", "0".repeat(point as usize - digits.len()))
    } else {
        let (whole, fraction) = digits.split_at(point as usize);
        format!("{whole}.{fraction}")
    };
    format!("{minus}{text}")
}

/// RKM code (IEC 60062) with so many significant digits at most: `4k7`, `2R2`, `0R47`, `470n`.
pub fn rkm(value: f64, digits: usize, unit: Unit) -> String {
    if value == 0.0 || !value.is_finite() {
        return exact(value, unit);
    }
    let rounded = format!("{value:.*e}", digits.max(1) - 1);
    exact(rounded.parse().unwrap_or(value), unit)
}

/// RKM code that reads back as exactly the same number: `4k7`, `2R2`, `470u`; an exponent where no letter reaches.
pub fn exact(value: f64, unit: Unit) -> String {
    let (mantissa, exponent) = scientific(value);
    let letter_of = |power: i32, prefix: &str| match (power, unit) {
        (0, Unit::Ohm) => "R".to_owned(),
        (0, _) => unit.point_letter().map_or(String::new(), String::from),
        _ => prefix.replace('µ', "u"),
    };
    // Below one ohm or one volt the trade writes 0R47, not 470m.
    let small = matches!(unit, Unit::Ohm | Unit::Volt) && (-3..0).contains(&exponent);
    let found = if small {
        Some((0, ""))
    } else {
        prefix(exponent)
    };
    let usable =
        found.filter(|(power, _)| unit != Unit::Celsius && !(*power == -15 && unit == Unit::Farad));
    let Some((power, prefix)) = usable else {
        return format!("{value:e}");
    };
    let letter = letter_of(power, prefix);
    let shown = decimal(&mantissa, exponent - power);
    match shown.split_once('.') {
        Some((whole, fraction)) if fraction.len() <= 3 && !letter.is_empty() => {
            format!("{whole}{letter}{fraction}")
        }
        _ => format!("{shown}{letter}"),
    }
}

/// The number alone, reading back as exactly the same: `22`, `0.08`, `1e-14`.
pub fn number(value: f64) -> String {
    let size = value.abs();
    if value == 0.0 || (1e-4..1e7).contains(&size) {
        format!("{value}")
    } else {
        format!("{value:e}")
    }
}
