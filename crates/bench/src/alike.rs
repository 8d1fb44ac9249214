//! Like readings beside each other: their middle and spread, and which of them stand out. No drawing is needed for it.
//!
//! A population beats the book: many diodes of one kind tell which one is odd, and the pairs of two units tell by how much
//! two of them differ when nothing is wrong. Middle and spread are the median and the median of the distances from it, which
//! two odd ones of five cannot pull away.

mod groups;

pub use groups::{Group, Standing, groups, standings, twins};

use record::{Reading, ReadingKind, ReadingValue, Shown};

/// Fewer than this tell nothing about spread; chosen so that two may be odd.
pub const FEWEST: usize = 5;

/// A reading that stands out is this many spreads from the middle (Iglewicz and Hoaglin, How to Detect and Handle Outliers,
/// 1993: the modified z-score).
pub const STANDS_OUT: f64 = 3.5;

/// The median distance of a normal population, in standard deviations: the 75 % quantile of the normal distribution.
const QUARTER: f64 = 0.6745;

/// What a general purpose meter may err by, as a share of the reading; chosen: common practice for ohms of a hand-held one.
const METER: f64 = 0.01;

/// A number on the scale on which like ones are compared, and the step below which it says nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// Where it stands; none if it is over range.
    pub at: Option<f64>,
    /// Its last digit and its meter's error, on the same scale.
    pub step: f64,
}

/// Several like readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Crowd {
    /// Their median; none if most are over range.
    pub middle: Option<f64>,
    /// Their spread, as a standard deviation; never below the median of the steps.
    pub spread: f64,
    /// How far each stands from the middle, in spreads or in its own steps, whichever are wider; without limit for one that
    /// is over range where most are not, or the other way about.
    pub scores: Vec<f64>,
}

/// Middle, spread and scores; none of fewer than [`FEWEST`].
pub fn crowd(seen: &[Seen]) -> Option<Crowd> {
    if seen.len() < FEWEST {
        return None;
    }
    let numbers: Vec<f64> = seen.iter().filter_map(|s| s.at).collect();
    if 2 * numbers.len() <= seen.len() {
        let score = |s: &Seen| s.at.map_or(0.0, |_| f64::NEG_INFINITY);
        return Some(Crowd {
            middle: None,
            spread: 0.0,
            scores: seen.iter().map(score).collect(),
        });
    }
    let middle = median(&numbers);
    let distances: Vec<f64> = numbers.iter().map(|x| (x - middle).abs()).collect();
    let steps: Vec<f64> = seen.iter().map(|s| s.step).collect();
    let spread = (median(&distances) / QUARTER).max(median(&steps));
    let score = |s: &Seen| match s.at {
        Some(x) if x == middle => 0.0,
        Some(x) => (x - middle) / spread.max(s.step),
        None => f64::INFINITY,
    };
    Some(Crowd {
        middle: Some(middle),
        spread,
        scores: seen.iter().map(score).collect(),
    })
}

/// How far two units are apart at each place, against how far they are apart at the others: scores, along the pairs.
///
/// What is common to all pairs, such as another meter, makes none of them odd. None of fewer than [`FEWEST`] pairs of
/// numbers.
pub fn pairs(list: &[(Seen, Seen)]) -> Option<Crowd> {
    let both: Vec<Seen> = list
        .iter()
        .filter_map(|(a, b)| {
            Some(Seen {
                at: Some(b.at? - a.at?),
                step: a.step.hypot(b.step),
            })
        })
        .collect();
    let found = crowd(&both)?;
    let mut scores = found.scores.iter().copied();
    let of = |pair: &(Seen, Seen)| match (pair.0.at, pair.1.at) {
        (Some(_), Some(_)) => scores.next().unwrap_or(0.0),
        (None, None) => 0.0,
        (Some(_), None) => f64::INFINITY,
        (None, Some(_)) => f64::NEG_INFINITY,
    };
    Some(Crowd {
        scores: list.iter().map(of).collect(),
        ..found
    })
}

/// The median; the mean of the two in the middle of an even number.
fn median(list: &[f64]) -> f64 {
    let mut sorted = list.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    match sorted.len() % 2 {
        0 => f64::midpoint(sorted[half - 1], sorted[half]),
        _ => sorted[half],
    }
}

/// A reading on the scale of its kind; one that wandered is over range if either end is, else its first end.
pub fn seen(reading: &Reading) -> Seen {
    let shown = match reading.value {
        ReadingValue::Steady(shown) => shown,
        ReadingValue::Intermittent(a, b) => match (a, b) {
            (Shown::Number(_), Shown::Number(_)) => a,
            _ => Shown::OverRange,
        },
    };
    match shown {
        Shown::OverRange => Seen {
            at: None,
            step: 0.0,
        },
        Shown::Number(x) => {
            let (at, slope) = on_scale(reading.kind, x);
            let error = last_digit(&reading.written, x).hypot(METER * x.abs());
            Seen {
                at: Some(at),
                step: error * slope,
            }
        }
    }
}

/// A value of a kind on the scale on which it is compared, and the slope of the scale there.
fn on_scale(kind: ReadingKind, x: f64) -> (f64, f64) {
    match kind {
        ReadingKind::Ohms => diagnose::Scale::Ohms.at(x),
        // By ratio; a zero or less, which no such meter should show, stands far below all others.
        ReadingKind::Capacitance | ReadingKind::Leakage => {
            let x = x.max(1e-15);
            (x.ln(), 1.0 / x)
        }
        ReadingKind::Diode | ReadingKind::Volts | ReadingKind::Ripple | ReadingKind::Amps => {
            (x, 1.0)
        }
    }
}

/// The value at a place of the scale.
pub fn off_scale(kind: ReadingKind, at: f64) -> f64 {
    match kind {
        ReadingKind::Ohms => diagnose::Scale::Ohms.reading(at),
        ReadingKind::Capacitance | ReadingKind::Leakage => at.exp(),
        ReadingKind::Diode | ReadingKind::Volts | ReadingKind::Ripple | ReadingKind::Amps => at,
    }
}

/// What one step of the last digit is worth, as written: `4k7` 100 ohms, `0.62` 10 mV.
fn last_digit(written: &str, x: f64) -> f64 {
    let first = written.split("..").next().unwrap_or(written);
    let mantissa = &first[..first.find(['e', 'E']).unwrap_or(first.len())];
    let digits: String = mantissa.chars().filter(char::is_ascii_digit).collect();
    match digits.parse::<f64>() {
        Ok(number) if number > 0.0 => x.abs() / number,
        _ => 0.0,
    }
}

/// What makes two readings of one board like ones: the pins of the same kind of part, by designator letters (IEEE 315).
/// None for places that are no pins of one part. `D7.a` and `D7.k` give `D*.a to D*.k`; `U3.4` and `0V` give `U*.4 to 0V`.
pub fn kin(red: &str, black: &str) -> Option<String> {
    let (one, other) = (pin(red), pin(black));
    let is_same_part = match (&one, &other) {
        (Some(a), Some(b)) => a[..2] == b[..2],
        (Some(_), None) | (None, Some(_)) => true,
        (None, None) => false,
    };
    let word = |found: Option<[&str; 3]>, place: &str| match found {
        Some([letters, _, pin]) => format!("{letters}*.{pin}"),
        None => place.to_owned(),
    };
    is_same_part.then(|| format!("{} to {}", word(one, red), word(other, black)))
}

/// Letters, number and pin of a place that is a part's pin.
fn pin(place: &str) -> Option<[&str; 3]> {
    let (part, pin) = place.split_once('.')?;
    let start = part.find(|c: char| c.is_ascii_digit())?;
    let (letters, number) = part.split_at(start);
    // A point or a connector is a place and no part (IEEE 315: TP, J, P, X).
    let is_part = !letters.is_empty()
        && letters.chars().all(|c| c.is_ascii_uppercase())
        && !["TP", "J", "P", "X"].contains(&letters);
    let is_numbered = number.chars().all(|c| c.is_ascii_alphanumeric());
    (is_part && is_numbered && !pin.is_empty()).then_some([letters, number, pin])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(list: &[f64], step: f64) -> Vec<Seen> {
        let one = |x: &f64| Seen {
            at: x.is_finite().then_some(*x),
            step,
        };
        list.iter().map(one).collect()
    }

    /// Eight measurements of uranium isotopes (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17, after Tietjen and
    /// Moore 1972; the figures are quoted from memory), of which the handbook finds the last to be the outlier. By hand: median
    /// (200.82 + 201.92) / 2 = 201.37; distances 0.55 0.55 0.58 0.81 1.18 1.84 2.06 44.2, their median 0.995; the modified
    /// z-score of the last 0.6745 x 44.2 / 0.995 = 29.963, of the first 0.6745 x -2.06 / 0.995 = -1.3964.
    #[test]
    fn the_odd_one_of_a_published_table_stands_out() {
        let list = [
            199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57,
        ];
        let found = crowd(&numbers(&list, 0.01)).expect("enough");
        assert!((found.middle.expect("numbers") - 201.37).abs() < 1e-9);
        assert!((found.scores[7] - 29.963).abs() < 1e-3, "{found:?}");
        assert!((found.scores[0] + 1.3964).abs() < 1e-4, "{found:?}");
        let odd = found.scores.iter().filter(|s| s.abs() > STANDS_OUT).count();
        assert_eq!(odd, 1);
    }

    #[test]
    fn spread_is_never_finer_than_the_display() {
        // Most show the same: 0.62 is one step of 10 mV off and nothing, 0.71 is ten.
        let list = [0.61, 0.61, 0.61, 0.61, 0.62, 0.71, 0.61];
        let found = crowd(&numbers(&list, 0.01)).expect("enough");
        assert!((found.scores[4] - 1.0).abs() < 1e-9 && (found.scores[5] - 10.0).abs() < 1e-9);
        assert_eq!(crowd(&numbers(&list[..4], 0.01)), None, "four say nothing");
    }

    #[test]
    fn over_range_is_odd_among_numbers_and_a_number_among_over_range() {
        let open = f64::INFINITY;
        let found = crowd(&numbers(&[1.0, 1.1, 0.9, 1.0, open], 0.01)).expect("enough");
        assert_eq!(found.scores[4], f64::INFINITY);
        let found = crowd(&numbers(&[open, open, 0.6, open, open], 0.01)).expect("enough");
        assert_eq!((found.middle, found.scores[2]), (None, f64::NEG_INFINITY));
        assert_eq!(found.scores[0], 0.0);
    }

    /// Five places of two units, unit 2 one above unit 1 at each but the last. By hand: differences 1.0 1.2 0.9 1.1 4.0,
    /// median 1.1, distances 0.1 0.1 0.2 0 2.9 with median 0.1; 0.6745 x 2.9 / 0.1 = 19.56.
    #[test]
    fn what_all_pairs_share_makes_none_odd() {
        let one = numbers(&[10.0, 20.0, 30.0, 40.0, 50.0, f64::INFINITY], 0.001);
        let two = numbers(&[11.0, 21.2, 30.9, 41.1, 54.0, f64::INFINITY], 0.001);
        let list: Vec<(Seen, Seen)> = one.into_iter().zip(two).collect();
        let found = pairs(&list).expect("enough");
        assert!((found.middle.expect("numbers") - 1.1).abs() < 1e-9);
        assert!((found.scores[4] - 19.56).abs() < 0.01, "{found:?}");
        assert!(found.scores[..4].iter().all(|s| s.abs() < 2.0), "{found:?}");
        assert_eq!(found.scores[5], 0.0, "over range on both");
    }

    #[test]
    fn digits_are_worth_what_was_written() {
        for (written, x, step) in [
            ("4k7", 4700.0, 100.0),
            ("0.62", 0.62, 0.01),
            ("1.840k", 1840.0, 1.0),
            ("1e3", 1000.0, 1000.0),
            ("1k8..OL", 1800.0, 100.0),
            ("0.00", 0.0, 0.0),
        ] {
            assert!(
                (last_digit(written, x) - step).abs() < 1e-9 * x.max(1.0),
                "{written}"
            );
        }
    }

    #[test]
    fn like_parts_are_known_by_letters_and_pins() {
        let check = |red, black, want: Option<&str>| assert_eq!(kin(red, black).as_deref(), want);
        check("D7.a", "D7.k", Some("D*.a to D*.k"));
        check("CR12.k", "CR12.a", Some("CR*.k to CR*.a"));
        check("U3.4", "0V", Some("U*.4 to 0V"));
        check("+12V", "Q2.c", Some("+12V to Q*.c"));
        check("D7.a", "D8.k", None);
        check("TP1.1", "0V", None);
        check("MID", "0V", None);
        check("J1.2", "0V", None);
    }
}
