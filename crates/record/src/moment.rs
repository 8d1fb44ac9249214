//! A moment in time, handed in by whoever can read a clock.

use std::fmt;

/// Milliseconds since 1970-01-01T00:00:00Z, leap seconds not counted; from that day to the end of the year 9999, so that
/// it has one spelling, `2026-11-25T16:07:27.250Z` (RFC 3339).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Moment(i64);

const SECOND: i64 = 1000;
const MINUTE: i64 = 60 * SECOND;
const HOUR: i64 = 60 * MINUTE;
const DAY: i64 = 24 * HOUR;
/// 9999-12-31T23:59:59.999Z.
const LAST: i64 = 253_402_300_799_999;

impl Moment {
    /// From milliseconds since 1970; none outside the years 1970 to 9999.
    pub fn new(milliseconds: i64) -> Option<Self> {
        (0..=LAST)
            .contains(&milliseconds)
            .then_some(Self(milliseconds))
    }

    /// Milliseconds since 1970.
    pub fn milliseconds(self) -> i64 {
        self.0
    }

    /// Whole days from an earlier moment to this one; below zero if it was later.
    pub fn days_since(self, earlier: Self) -> i64 {
        (self.0 - earlier.0).div_euclid(DAY)
    }

    /// Reads the one spelling that [`fmt::Display`] writes; none for any other text.
    pub fn read(text: &str) -> Option<Self> {
        let number = |range: std::ops::Range<usize>| {
            let digits = text.get(range)?;
            let all = digits.bytes().all(|b| b.is_ascii_digit());
            all.then(|| digits.parse::<i64>().ok())?
        };
        let days = days(number(0..4)?, number(5..7)?, number(8..10)?);
        let time = number(11..13)? * HOUR + number(14..16)? * MINUTE + number(17..19)? * SECOND;
        let moment = Self::new(days * DAY + time + number(20..23)?)?;
        (moment.to_string() == text).then_some(moment)
    }
}

impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (year, month, day) = civil(self.0 / DAY);
        let (hour, minute) = (self.0 % DAY / HOUR, self.0 % HOUR / MINUTE);
        let (second, millisecond) = (self.0 % MINUTE / SECOND, self.0 % SECOND);
        write!(
            f,
            "{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}.{millisecond:03}Z"
        )
    }
}

/// Days from 1970-01-01 to a day of the Gregorian calendar (H. Hinnant, "chrono-compatible low-level date algorithms", 2021).
fn days(year: i64, month: i64, day: i64) -> i64 {
    let year = if month <= 2 { year - 1 } else { year };
    let era = year.div_euclid(400);
    let year_of_era = year - era * 400;
    let day_of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    era * 146_097 + year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year - 719_468
}

/// Year, month and day of a day counted from 1970-01-01 (same source).
fn civil(days: i64) -> (i64, i64, i64) {
    let shifted = days + 719_468;
    let era = shifted.div_euclid(146_097);
    let day_of_era = shifted - era * 146_097;
    let year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let shifted_month = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * shifted_month + 2) / 5 + 1;
    let month = (shifted_month + 2) % 12 + 1;
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    (year, month, day)
}
