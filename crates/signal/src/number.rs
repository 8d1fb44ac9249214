//! Decimal numbers in text, read fast where they are plain and with care where they are not.

const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

const INVERSES: [f64; 23] = {
    let mut inverses = [1.0; 23];
    let mut k = 0;
    while k < 23 {
        inverses[k] = 1.0 / POWERS[k];
        k += 1;
    }
    inverses
};

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
        *mantissa = mantissa
            .wrapping_mul(TENS[count])
            .wrapping_add(eight(padded));
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

/// Eight digits, first one in the lowest byte, each from 0 to 9, as one number.
#[inline(always)]
fn eight(digits: u64) -> u64 {
    let pairs = (digits.wrapping_mul(10 * 256 + 1) >> 8) & 0x00FF_00FF_00FF_00FF;
    let fours = (pairs.wrapping_mul(100 * 65_536 + 1) >> 16) & 0x0000_FFFF_0000_FFFF;
    fours.wrapping_mul(10_000 * (1 << 32) + 1) >> 32
}

/// How the number of a column was laid out last: the next one is mostly laid out alike, and knowing that spares a wait for every digit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Mould {
    /// Digits before the decimal sign; zero if nothing is known yet.
    whole: usize,
    /// Digits behind it.
    fraction: usize,
    /// Bytes of the exponent with its letter and sign, and its digits.
    exponent: usize,
}

const ZEROS: u64 = 0x3030_3030_3030_3030;
const TOPS: u64 = 0x8080_8080_8080_8080;

#[inline(always)]
fn word(text: &[u8], at: usize) -> Option<u64> {
    Some(u64::from_le_bytes(*text.get(at..)?.first_chunk()?))
}

/// So many digits, one to eight, at a place; none if one of them is no digit.
#[inline(always)]
fn some(text: &[u8], at: usize, count: usize) -> Option<u64> {
    let digits = (word(text, at)? ^ ZEROS) << (8 * (8 - count));
    if (digits.wrapping_add(0x7676_7676_7676_7676) | digits) & TOPS != 0 {
        return None;
    }
    Some(eight(digits))
}

impl Mould {
    /// How a plain number that took so many bytes is laid out; nothing if it does not fit the quick way.
    pub fn of(text: &[u8], used: usize, decimal_sign: u8) -> Mould {
        let text = &text[..used];
        let digits = |from: usize| {
            text[from..]
                .iter()
                .take_while(|b| b.is_ascii_digit())
                .count()
        };
        let sign = matches!(text.first(), Some(b'-' | b'+')) as usize;
        let whole = digits(sign);
        let mut at = sign + whole;
        let mut fraction = 0;
        if text.get(at) == Some(&decimal_sign) {
            fraction = digits(at + 1);
            at += 1 + fraction;
        }
        let exponent = used - at;
        let fits = (1..=8).contains(&whole)
            && (1..=12).contains(&fraction)
            && whole + fraction <= 15
            && (exponent == 0 || (3..=4).contains(&exponent));
        if fits {
            Mould {
                whole,
                fraction,
                exponent,
            }
        } else {
            Mould::default()
        }
    }

    /// Reads a number that is laid out alike, as [`plain_prefix`] would; none if it is not. More digits may follow: whoever asks sees
    /// that no separator stands behind it. Unless `exact`, a fraction is made by multiplying with the inverse power: off by two parts
    /// in 2^53 at most, which a sample kept as `f32` cannot show, and without the wait for a division.
    #[inline(always)]
    pub fn read(self, text: &[u8], decimal_sign: u8, exact: bool) -> Option<(Decimal, usize)> {
        if self.whole == 0 {
            return None;
        }
        let first = *text.first()?;
        // a sign may come and go: values wander about zero
        let mut at = usize::from(first == b'-' || first == b'+');
        let mut mantissa = if self.whole == 1 {
            let digit = text.get(at)?.wrapping_sub(b'0');
            if digit > 9 {
                return None;
            }
            digit as u64
        } else {
            some(text, at, self.whole)?
        };
        at += self.whole;
        if *text.get(at)? != decimal_sign {
            return None;
        }
        at += 1;
        let near = self.fraction.min(8);
        mantissa = mantissa * TENS[near] + some(text, at, near)?;
        if self.fraction > 8 {
            mantissa = mantissa * TENS[self.fraction - 8] + some(text, at + 8, self.fraction - 8)?;
        }
        at += self.fraction;
        let mut last_digit = -(self.fraction as i32);
        if self.exponent > 0 {
            let bytes = text.get(at..at + self.exponent)?;
            let mut size = 0;
            for byte in &bytes[2..] {
                let digit = byte.wrapping_sub(b'0');
                if digit > 9 {
                    return None;
                }
                size = 10 * size + digit as i32;
            }
            match (bytes[0], bytes[1]) {
                (b'e' | b'E', b'-') => last_digit -= size,
                (b'e' | b'E', b'+') => last_digit += size,
                _ => return None,
            }
            at += self.exponent;
        }
        // fifteen digits are always exact in a double
        let power = last_digit.unsigned_abs() as usize;
        // as signed: the processor converts these at once
        let whole = mantissa as i64 as f64;
        let size = match (last_digit < 0, exact) {
            (true, true) => whole / POWERS.get(power)?,
            (true, false) => whole * INVERSES.get(power)?,
            (false, _) => whole * POWERS.get(power)?,
        };
        let value = if first == b'-' { -size } else { size };
        Some((Decimal { value, last_digit }, at))
    }
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
        fn a_mould_reads_what_the_plain_way_reads(
            first in "[+-]?[0-9]{1,9}[.][0-9]{1,12}(e[+-][0-9]{1,2})?",
            second in "[+-]?[0-9]{0,9}[.,]?[0-9]{0,12}(e[+-]?[0-9]{0,3})?[,;x]?",
        ) {
            let padded = |text: &str| format!("{text},0,0,0,0,0,0,0");
            let (a, b) = (padded(&first), padded(&second));
            let Some((number, used)) = plain_prefix(a.as_bytes(), b'.') else { return Ok(()) };
            let mould = Mould::of(a.as_bytes(), used, b'.');
            if let Some(read) = mould.read(a.as_bytes(), b'.', true) {
                prop_assert_eq!(read, (number, used));
                let quick = mould.read(a.as_bytes(), b'.', false).expect("read").0.value;
                prop_assert!((quick - number.value).abs() <= 3.5e-16 * number.value.abs());
            }
            if let Some((decimal, used)) = mould.read(b.as_bytes(), b'.', true)
                && !b.as_bytes()[used].is_ascii_digit() && !matches!(b.as_bytes()[used], b'e' | b'E')
            {
                prop_assert_eq!(plain_prefix(b.as_bytes(), b'.'), Some((decimal, used)), "{}", second);
            }
        }

        #[test]
        fn every_double_reads_back_as_the_standard_library_does(value in proptest::num::f64::NORMAL, digits in 0usize..18) {
            for text in [format!("{value:e}"), format!("{value:.digits$e}")] {
                prop_assert_eq!(field(text.as_bytes(), b'.').map(|d| d.value), text.parse::<f64>().ok());
            }
        }
    }
}
