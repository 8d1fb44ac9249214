//! Finds out how a text file of samples is laid out: separators, preamble, header, units row, time base.

use super::unit::{Unit, heading, unit};
use crate::fault::{Fault, Place, Wrong};
use crate::number;

/// How the rows of a file are to be read.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Layout {
    pub separator: u8,
    pub decimal_sign: u8,
    /// Leading fields of each row that hold a preamble and are passed over.
    pub lead: usize,
    /// Fields of each row after the lead.
    pub columns: Vec<Column>,
    /// Number of lines above the first row.
    pub above: usize,
    pub interval: Option<f64>,
    pub origin: Option<f64>,
    pub notes: Vec<String>,
    /// A first column without a heading that may be time if its steps bear it out.
    pub maybe_time: bool,
}

#[derive(Clone, Debug, PartialEq)]
pub(super) enum Column {
    /// Time, with the power of ten that brings it to seconds.
    Time(i32),
    /// A running number.
    Count,
    /// A channel: name, unit symbol, power of ten.
    Value(String, String, i32),
}

/// Splits a line into trimmed fields; a quoted field may hold the separator; blank separators run together.
pub(super) fn split(line: &[u8], separator: u8) -> Vec<&[u8]> {
    let line = if separator == b' ' {
        line.trim_ascii()
    } else {
        line
    };
    let (mut fields, mut from, mut quoted) = (Vec::new(), 0, false);
    for (at, byte) in line.iter().enumerate() {
        match byte {
            b'"' => quoted = !quoted,
            b if *b == separator && !quoted => {
                if !(separator == b' ' && from == at) {
                    fields.push(line[from..at].trim_ascii());
                }
                from = at + 1;
            }
            _ => {}
        }
    }
    fields.push(line[from..].trim_ascii());
    fields
}

fn trimmed(mut fields: Vec<&[u8]>) -> Vec<&[u8]> {
    while fields.len() > 1 && fields.last().is_some_and(|f| f.is_empty()) {
        fields.pop();
    }
    fields
}

fn text(bytes: &[u8]) -> String {
    // one byte above 127 that is not UTF-8 is Latin-1, as older instruments write µ
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|&b| b as char).collect(),
    }
}

fn uncommented(line: &[u8]) -> &[u8] {
    line.trim_ascii_start()
        .strip_prefix(b"#")
        .or(line.trim_ascii_start().strip_prefix(b"%"))
        .unwrap_or(line)
}

struct Signs {
    separator: u8,
    decimal_sign: u8,
}

impl Signs {
    fn of(lines: &[&[u8]]) -> Signs {
        let tail: Vec<&[u8]> = lines
            .iter()
            .rev()
            .copied()
            .filter(|l| !l.trim_ascii().is_empty())
            .take(5)
            .collect();
        let often = |sign: u8| tail.iter().filter(|l| l.contains(&sign)).count() * 2 > tail.len();
        let separator = if often(b';') {
            b';'
        } else if often(b'\t') {
            b'\t'
        } else if often(b',') {
            b','
        } else if tail
            .iter()
            .filter(|l| l.trim_ascii().contains(&b' '))
            .count()
            * 2
            > tail.len()
        {
            b' '
        } else {
            b','
        };
        let quoted_comma = |l: &&&[u8]| {
            split(l, separator)
                .iter()
                .any(|f| f.starts_with(b"\"") && f.contains(&b','))
        };
        let comma = if separator == b',' {
            tail.iter().filter(quoted_comma).count() * 2 > tail.len()
        } else {
            often(b',')
        };
        Signs {
            separator,
            decimal_sign: if comma { b',' } else { b'.' },
        }
    }

    fn is_row(&self, fields: &[&[u8]]) -> bool {
        !fields.is_empty()
            && fields
                .iter()
                .all(|f| number::field(f, self.decimal_sign).is_some())
    }
}

/// Finds the layout from the first lines of a file (complete lines, without their ends).
pub(super) fn find(lines: &[&[u8]]) -> Result<Layout, Fault> {
    let signs = Signs::of(lines);
    if let Some(lead) = preamble_beside(lines, &signs) {
        return beside(lines, signs, lead);
    }
    let fields: Vec<Vec<&[u8]>> = lines
        .iter()
        .map(|l| trimmed(split(l, signs.separator)))
        .collect();
    let filled: Vec<usize> = (0..lines.len())
        .filter(|&i| !lines[i].trim_ascii().is_empty())
        .collect();
    let mut first = None;
    for (order, &i) in filled.iter().enumerate() {
        let next_fits = match filled.get(order + 1) {
            Some(&n) => signs.is_row(&fields[n]) || fields[i].len() > 1,
            None => true,
        };
        if signs.is_row(&fields[i]) && next_fits {
            first = Some((order, i));
            break;
        }
    }
    let Some((order, first)) = first else {
        return Err(no_rows(lines, &filled, &fields));
    };
    let above: Vec<usize> = filled[..order].to_vec();
    let width = fields[first].len();
    let mut layout = Layout {
        separator: signs.separator,
        decimal_sign: signs.decimal_sign,
        lead: 0,
        columns: Vec::new(),
        above: first,
        interval: None,
        origin: None,
        notes: Vec::new(),
        maybe_time: false,
    };
    for &i in &above {
        preamble(&mut layout, lines[i]);
    }
    let header = header(&above, lines, &signs, width, &mut layout);
    // a one-word line above several columns is a title; anything else that does not fit is an error of the row
    let (names, units) = header.unwrap_or_default();
    if !names.is_empty() && width != names.len() {
        let (found, wanted) = (width, names.len());
        let wrong = if found < wanted {
            Wrong::TooFewFields { found, wanted }
        } else {
            Wrong::TooManyFields { found, wanted }
        };
        return Err(wrong.at(Place::Line(first as u64 + 1, 1)));
    }
    let rising = names.is_empty() && rises_evenly(&fields[first..], &signs);
    assign(&mut layout, names, units, width, rising)?;
    Ok(layout)
}

fn no_rows(lines: &[&[u8]], filled: &[usize], fields: &[Vec<&[u8]>]) -> Fault {
    // a header with one garbled row below is a garbled row, not a file without rows
    let suspect = filled.iter().find(|&&i| {
        let digits = fields[i]
            .iter()
            .filter(|f| number::field(f, b'.').is_some())
            .count();
        fields[i].len() > 1 && digits > 0 && key_number(lines[i]).is_none()
    });
    match suspect {
        Some(&i) => {
            let bad = fields[i]
                .iter()
                .find(|f| number::field(f, b'.').is_none())
                .copied()
                .unwrap_or(b"");
            Wrong::NotANumber { text: text(bad) }.at(Place::Line(i as u64 + 1, 1))
        }
        None => Wrong::NoRows.at(Place::Whole),
    }
}

type Names = (Vec<String>, Vec<Option<Unit>>);

fn header(
    above: &[usize],
    lines: &[&[u8]],
    signs: &Signs,
    width: usize,
    layout: &mut Layout,
) -> Option<Names> {
    let strings = |i: usize| -> Vec<String> {
        trimmed(split(uncommented(lines[i]), signs.separator))
            .iter()
            .map(|f| text(f).trim_matches('"').trim().to_owned())
            .collect()
    };
    let fits = |row: &[String]| row.len() > 1 || width == 1;
    let &last = above.last()?;
    let row = strings(last);
    let before = above.len().checked_sub(2).map(|i| strings(above[i]));
    // names with `Start` and `Increment` among them, and their numbers in the units row below
    if let Some(names) = &before
        && let Some(plain) = names.iter().position(|n| is_base_word(n))
        && plain > 0
        && names[plain..].iter().all(|n| is_base_word(n))
    {
        for (name, value) in names.iter().zip(&row).skip(plain) {
            let value = number::field(value.as_bytes(), signs.decimal_sign).map(|d| d.value);
            let slot = if is_interval_word(name) {
                &mut layout.interval
            } else {
                &mut layout.origin
            };
            *slot = value.or(*slot);
        }
        let units = row.iter().take(plain).map(|u| unit(u)).collect();
        return Some((names[..plain].to_vec(), units));
    }
    if key_number(lines[last]).is_some() || !fits(&row) {
        return None;
    }
    let is_units =
        row.iter().all(|f| f.is_empty() || unit(f).is_some()) && row.iter().any(|f| !f.is_empty());
    let second = before.filter(|names| is_units && names.len() == row.len() && fits(names));
    let key = above
        .len()
        .checked_sub(2)
        .is_some_and(|i| key_number(lines[above[i]]).is_some());
    Some(match second.filter(|_| !key) {
        Some(names) => (names, row.iter().map(|u| unit(u)).collect()),
        None if is_units => {
            let names = (1..=row.len()).map(|_| String::new()).collect();
            (names, row.iter().map(|u| unit(u)).collect())
        }
        None => {
            let none = vec![None; row.len()];
            (row, none)
        }
    })
}

fn assign(
    layout: &mut Layout,
    names: Vec<String>,
    units: Vec<Option<Unit>>,
    width: usize,
    rising: bool,
) -> Result<(), Fault> {
    if names.is_empty() {
        layout.maybe_time = width > 1 && rising;
        let from = layout.maybe_time as usize;
        layout.columns = (0..width)
            .map(|i| {
                if i < from {
                    Column::Time(0)
                } else {
                    Column::Value(format!("channel {}", i + 1 - from), String::new(), 0)
                }
            })
            .collect();
        return Ok(());
    }
    let parted: Vec<(String, Option<Unit>)> = names
        .iter()
        .zip(units)
        .map(|(name, row_unit)| {
            let (name, own) = heading(name);
            (name, row_unit.or(own))
        })
        .collect();
    let is_time = |(name, u): &(String, Option<Unit>)| match u {
        Some(u) => u.is_time(),
        None => is_time_word(name),
    };
    let time = parted.iter().position(is_time);
    let mut channel = 0;
    for (i, (name, u)) in parted.into_iter().enumerate() {
        let column = match u {
            _ if Some(i) == time => Column::Time(if let Some(Unit::Si(_, power)) = u {
                power
            } else {
                0
            }),
            Some(Unit::Count) => Column::Count,
            None if time.is_none() && i == 0 && width > 1 && is_count_word(&name) => {
                layout.maybe_time =
                    name.eq_ignore_ascii_case("x") || name.eq_ignore_ascii_case("x-axis");
                if layout.maybe_time {
                    Column::Time(0)
                } else {
                    Column::Count
                }
            }
            None if time.is_some() && is_count_word(&name) && i == 0 => Column::Count,
            Some(Unit::Division) => return Err(Wrong::Divisions { name }.at(Place::Whole)),
            Some(Unit::Si(symbol, power)) => Column::Value(name, symbol.to_owned(), power),
            None => Column::Value(name, String::new(), 0),
        };
        layout.columns.push(match column {
            Column::Value(name, symbol, power) => {
                channel += 1;
                let name = if name.is_empty() {
                    format!("channel {channel}")
                } else {
                    name
                };
                Column::Value(name, symbol, power)
            }
            other => other,
        });
    }
    if channel == 0 {
        return Err(Wrong::NoChannel.at(Place::Whole));
    }
    Ok(())
}

/// Whether the first column of the rows seen so far rises in even steps.
fn rises_evenly(rows: &[Vec<&[u8]>], signs: &Signs) -> bool {
    let first = |row: &Vec<&[u8]>| {
        row.first()
            .and_then(|f| number::field(f, signs.decimal_sign))
    };
    let stamps: Vec<number::Decimal> = rows.iter().filter_map(first).collect();
    let steps: Vec<f64> = stamps
        .windows(2)
        .map(|pair| pair[1].value - pair[0].value)
        .collect();
    let (low, high) = steps
        .iter()
        .fold((f64::MAX, f64::MIN), |(l, h), s| (l.min(*s), h.max(*s)));
    let quantum = stamps.iter().map(|d| d.quantum()).fold(0.0, f64::max);
    !steps.is_empty() && low >= 0.0 && high > 0.0 && high - low <= 2.5 * quantum + 1e-9 * high
}

fn is_time_word(name: &str) -> bool {
    let name = name.to_lowercase();
    matches!(
        name.as_str(),
        "t" | "time"
            | "times"
            | "second"
            | "seconds"
            | "timestamp"
            | "time stamp"
            | "time base"
            | "timebase"
            | "elapsed"
    ) || name.starts_with("time ")
        || name.ends_with(" time")
}

fn is_count_word(name: &str) -> bool {
    let name = name.to_lowercase();
    matches!(
        name.as_str(),
        "x" | "x-axis"
            | "n"
            | "no"
            | "no."
            | "#"
            | "index"
            | "i"
            | "point"
            | "points"
            | "sample"
            | "samples"
            | "sample no"
            | "sequence"
    )
}

fn is_interval_word(word: &str) -> bool {
    let word = word.to_lowercase();
    word.contains("interval") || word.contains("increment")
}

fn is_base_word(word: &str) -> bool {
    is_interval_word(word) || word.to_lowercase().contains("start")
}

enum Key {
    Interval(f64),
    Origin(f64),
}

/// Reads a preamble line that gives the sample interval, the sample rate or the time of the first sample.
fn key_number(line: &[u8]) -> Option<Key> {
    let line = text(uncommented(line));
    let low = line.to_lowercase();
    if ["vertical", "volt", "y-inc", "yinc", "y inc", "y_inc"]
        .iter()
        .any(|word| low.contains(word))
    {
        return None;
    }
    let find = |words: &[&str]| {
        words
            .iter()
            .filter_map(|w| low.find(w).map(|at| at + w.len()))
            .min()
    };
    let rate = find(&[
        "sample rate",
        "sampling rate",
        "samplerate",
        "sampling frequency",
        "sample frequency",
    ]);
    let (after, kind) = match (
        find(&["interval", "increment"]),
        rate,
        find(&["first sample", "start"]),
    ) {
        (Some(at), _, _) => (at, 0),
        (_, Some(at), _) => (at, 1),
        (_, _, Some(at)) => (at, 2),
        _ => return None,
    };
    let (value, named) = number_and_unit(
        low.get(after..)?,
        line.get(after..).filter(|_| low.len() == line.len()),
    )?;
    let power = match (kind, &named) {
        (_, None) => 0,
        (1, Some(Unit::Si("Hz", power))) => *power,
        (0 | 2, Some(Unit::Si("s", power))) => *power,
        _ => return None,
    };
    let value = number::scaled(value, power);
    match kind {
        0 => (value > 0.0).then_some(Key::Interval(value)),
        1 => (value > 0.0).then_some(Key::Interval(1.0 / value)),
        _ => Some(Key::Origin(value)),
    }
}

fn number_and_unit(low: &str, kept: Option<&str>) -> Option<(f64, Option<Unit>)> {
    let rest = kept.unwrap_or(low);
    let words: Vec<&str> = rest
        .split(|c: char| c.is_whitespace() || matches!(c, ',' | ';' | '=' | '"' | '\t'))
        .filter(|w| !w.is_empty())
        .collect();
    let mut before = None;
    for (i, word) in words.iter().enumerate() {
        let word = word.trim_matches(':');
        let joined = number::plain_prefix(word.as_bytes(), b'.');
        let Some((decimal, used)) = joined else {
            before = unit(word).or(before);
            continue;
        };
        let tail = &word[used..];
        let rate_unit = |t: &str| unit(t).or_else(|| sample_rate_unit(t));
        if tail.is_empty() {
            let following = words.get(i + 1).and_then(|w| rate_unit(w));
            return Some((decimal.value, following.or(before)));
        }
        return rate_unit(tail).map(|u| (decimal.value, Some(u)));
    }
    None
}

fn sample_rate_unit(text: &str) -> Option<Unit> {
    let low = text.to_lowercase();
    let stem = ["samples/s", "sa/s", "sps", "s/s"]
        .iter()
        .find_map(|end| low.strip_suffix(end))?;
    Some(Unit::Si(
        "Hz",
        match stem {
            "" => 0,
            "k" => 3,
            "m" => 6,
            "g" => 9,
            _ => return None,
        },
    ))
}

fn preamble(layout: &mut Layout, line: &[u8]) {
    match key_number(line) {
        Some(Key::Interval(value)) => layout.interval = layout.interval.or(Some(value)),
        Some(Key::Origin(value)) => layout.origin = layout.origin.or(Some(value)),
        None => {}
    }
}

/// The shape with its preamble in the leading fields of the first rows and time and value at their end.
fn preamble_beside(lines: &[&[u8]], signs: &Signs) -> Option<usize> {
    let filled: Vec<Vec<&[u8]>> = lines
        .iter()
        .filter(|l| !l.trim_ascii().is_empty())
        .map(|l| trimmed(split(l, signs.separator)))
        .collect();
    let (top, bottom) = (filled.first()?, filled.last()?);
    // the longest preamble may fill all rows of a short recording: its last leading field is always empty
    let lead = (0..bottom.len().min(8))
        .rev()
        .find(|&k| {
            filled
                .iter()
                .all(|row| row.get(k).is_some_and(|f| f.is_empty()))
        })
        .map_or(0, |k| k + 1);
    let worded = top
        .first()
        .is_some_and(|f| !f.is_empty() && number::field(f, signs.decimal_sign).is_none());
    let rows = filled
        .iter()
        .all(|row| row.len() == bottom.len() && signs.is_row(&row[lead..]));
    (lead > 0 && worded && bottom.len() == lead + 2 && rows).then_some(lead)
}

fn beside(lines: &[&[u8]], signs: Signs, lead: usize) -> Result<Layout, Fault> {
    let (mut name, mut symbol, mut power) = ("channel 1".to_owned(), String::new(), 0);
    let mut time = 0;
    for line in lines {
        let fields: Vec<String> = split(line, signs.separator)
            .iter()
            .map(|f| text(f))
            .collect();
        let (key, value) = (
            fields[0].to_lowercase(),
            fields.get(1).map_or("", String::as_str),
        );
        if key.contains("source") || key.contains("channel") {
            name = value.to_owned();
        } else if key.contains("vertical") && key.contains("unit") {
            match unit(value) {
                Some(Unit::Division) => return Err(Wrong::Divisions { name }.at(Place::Whole)),
                Some(Unit::Si(s, p)) => (symbol, power) = (s.to_owned(), p),
                _ => {}
            }
        } else if key.contains("horizontal")
            && key.contains("unit")
            && let Some(Unit::Si("s", p)) = unit(value)
        {
            time = p;
        }
    }
    Ok(Layout {
        separator: signs.separator,
        decimal_sign: signs.decimal_sign,
        lead,
        columns: vec![Column::Time(time), Column::Value(name, symbol, power)],
        above: 0,
        interval: None,
        origin: None,
        notes: Vec::new(),
        maybe_time: false,
    })
}
