//! Decimal numbers in text, read fast where they are plain and with care where they are not.

const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// A number and the power of ten of its last printed digit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decimal {
    /// Its value.
    pub value: f64,
    /// Power of ten of its last digit: -3 for `1.250`, -6 for `1.250e-3`.
    pub last_digit: i32,
}

impl Decimal {
    /// Worth of the last printed digit.
    pub fn quantum(self) -> f64 {
        match usize::try_from(-self.last_digit) {
            Ok(below) if below < POWERS.len() => 1.0 / POWERS[below],
            _ => 10f64.powi(self.last_digit),
        }
    }
}

const TENS: [u64; 9] = [
    1,
    10,
    100,
    1_000,
    10_000,
    100_000,
    1_000_000,
    10_000_000,
    100_000_000,
];

/// Takes in the digits at a place and gives their number; up to eight at once, all arithmetic in one word.
///
/// Digits are bytes from 0x30 to 0x39: after taking 0x30 off, adding 0x76 carries into the top bit of any byte above 9. Pairs, fours and
/// eights are then joined by three multiplications (the method is common practice).
#[inline(always)]
fn digits_at(text: &[u8], from: usize, mantissa: &mut u64) -> usize {
    let mut at = from;
    while let Some(bytes) = text.get(at..at + 8) {
        let word = u64::from_le_bytes([
            bytes[0], bytes[1], bytes[2], bytes[3], bytes[4], bytes[5], bytes[6], bytes[7],
        ]);
        let digits = word ^ 0x3030_3030_3030_3030;
        let others = (digits.wrapping_add(0x7676_7676_7676_7676) | digits) & 0x8080_8080_8080_8080;
        let count = (others.trailing_zeros() / 8) as usize;
        if count == 0 {
            return at - from;
        }
        let padded = digits << (8 * (8 - count));
        let pairs = (padded.wrapping_mul(10 * 256 + 1) >> 8) & 0x00FF_00FF_00FF_00FF;
        let fours = (pairs.wrapping_mul(100 * 65_536 + 1) >> 16) & 0x0000_FFFF_0000_FFFF;
        let value = fours.wrapping_mul(10_000 * (1 << 32) + 1) >> 32;
        *mantissa = mantissa.wrapping_mul(TENS[count]).wrapping_add(value);
        at += count;
        if count < 8 {
            return at - from;
        }
    }
    while let Some(digit) = text
        .get(at)
        .map(|b| b.wrapping_sub(b'0'))
        .filter(|d| *d < 10)
    {
        *mantissa = mantissa.wrapping_mul(10).wrapping_add(digit as u64);
        at += 1;
    }
    at - from
}

/// Reads a plain number at the front of `text`: sign, digits, one decimal sign, exponent.
///
/// Gives the number and how many bytes it took; none if there is no digit, or more digits than a double keeps exactly.
#[inline]
pub fn plain_prefix(text: &[u8], decimal_sign: u8) -> Option<(Decimal, usize)> {
    let mut at = 0;
    let negative = match text.first() {
        Some(b'-') => {
            at = 1;
            true
        }
        Some(b'+') => {
            at = 1;
            false
        }
        _ => false,
    };
    let (mut mantissa, digits_from) = (0u64, at);
    at += digits_at(text, at, &mut mantissa);
    let (mut digits, mut fraction) = (at - digits_from, 0);
    if text.get(at) == Some(&decimal_sign) {
        at += 1;
        let from = at;
        at += digits_at(text, at, &mut mantissa);
        fraction = at - from;
        digits += fraction;
    }
    if digits == 0 || digits > 18 {
        return None;
    }
    let mut exponent = 0i32;
    if let Some(b'e' | b'E') = text.get(at) {
        let mut next = at + 1;
        let minus = text.get(next) == Some(&b'-');
        next += matches!(text.get(next), Some(b'-' | b'+')) as usize;
        let from = next;
        while let Some(digit) = text
            .get(next)
            .map(|b| b.wrapping_sub(b'0'))
            .filter(|d| *d < 10)
        {
            exponent = (exponent * 10 + digit as i32).min(9999);
            next += 1;
        }
        if next == from {
            return None;
        }
        exponent = if minus { -exponent } else { exponent };
        at = next;
    }
    let last_digit = exponent - fraction as i32;
    let size = if mantissa >> 53 == 0 && last_digit.unsigned_abs() <= 22 {
        let power = POWERS[last_digit.unsigned_abs() as usize];
        if last_digit < 0 {
            mantissa as f64 / power
        } else {
            mantissa as f64 * power
        }
    } else {
        // outside the exactly representable range only the standard library rounds right
        format!("{mantissa}e{last_digit}").parse().ok()?
    };
    Some((
        Decimal {
            value: if negative { -size } else { size },
            last_digit,
        },
        at,
    ))
}

/// Reads a whole field: blanks and quotes around it, engineering suffixes (`1.5m`, `4k7` is not one), more digits than fit.
pub fn field(text: &[u8], decimal_sign: u8) -> Option<Decimal> {
    let text = text.trim_ascii();
    let text = match text {
        [b'"', inner @ .., b'"'] => inner.trim_ascii(),
        _ => text,
    };
    match plain_prefix(text, decimal_sign) {
        Some((number, used)) => {
            let power = suffix_power(text[used..].trim_ascii())?;
            Some(Decimal {
                value: scaled(number.value, power),
                last_digit: number.last_digit + power,
            })
        }
        None => long(text, decimal_sign),
    }
}

fn long(text: &[u8], decimal_sign: u8) -> Option<Decimal> {
    let allowed =
        |b: &u8| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'e' | b'E') || *b == decimal_sign;
    if text.len() > 400 || !text.iter().all(allowed) {
        return None;
    }
    let plain: String = text
        .iter()
        .map(|&b| if b == decimal_sign { '.' } else { b as char })
        .collect();
    let value: f64 = plain.parse().ok()?;
    let (digits, exponent) = plain.split_once(['e', 'E']).unwrap_or((&plain, "0"));
    let fraction = digits.split_once('.').map_or(0, |(_, f)| f.len() as i32);
    Some(Decimal {
        value,
        last_digit: exponent.parse::<i32>().ok()? - fraction,
    })
}

fn suffix_power(text: &[u8]) -> Option<i32> {
    Some(match text {
        b"" => 0,
        b"G" => 9,
        b"M" => 6,
        b"k" | b"K" => 3,
        b"m" => -3,
        b"u" | b"\xc2\xb5" | b"\xce\xbc" | b"\xb5" => -6,
        b"n" => -9,
        b"p" => -12,
        b"f" => -15,
        _ => return None,
    })
}

/// Multiplies by a power of ten, dividing where that is the exactly rounded way.
pub fn scaled(value: f64, power: i32) -> f64 {
    let size = POWERS[power.unsigned_abs().min(22) as usize];
    if power < 0 {
        value / size
    } else {
        value * size
    }
}

/// Whether a value is a mark for over range or no reading: instruments write 9.9E+37 and the like (common practice).
pub fn is_over_range(value: f64) -> bool {
    !value.is_finite() || value.abs() >= 9.0e36
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn check(text: &str, value: f64, last_digit: i32) {
        assert_eq!(
            field(text.as_bytes(), b'.'),
            Some(Decimal { value, last_digit }),
            "{text}"
        );
    }

    #[test]
    fn numbers_as_instruments_write_them() {
        check("1.250", 1.25, -3);
        check(" -1.250E-03 ", -1.25e-3, -6);
        check("\"+5\"", 5.0, 0);
        check("12.5m", 12.5e-3, -4);
        check("3u", 3e-6, -6);
        check(".5", 0.5, -1);
        check("0.12345678901234567890123", 0.123_456_789_012_345_68, -23);
        assert_eq!(field(b"1,5E2", b',').map(|d| d.value), Some(150.0));
        for wrong in [
            "", "-", "e5", "1.2.3", "1e", "OL", "nan", "inf", "1 2", "12:30",
        ] {
            assert_eq!(field(wrong.as_bytes(), b'.'), None, "{wrong}");
        }
    }

    proptest! {
        #[test]
        fn every_double_reads_back_as_the_standard_library_does(value in proptest::num::f64::NORMAL, digits in 0usize..18) {
            for text in [format!("{value:e}"), format!("{value:.digits$e}")] {
                prop_assert_eq!(field(text.as_bytes(), b'.').map(|d| d.value), text.parse::<f64>().ok());
            }
        }
    }
}
