//! Aligned tables for people, numbers in engineering notation.

use units::Unit;

/// How a column lines up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

/// Lines up `rows` under `head`; columns are parted by two blanks, and no line ends in blanks.
pub fn aligned(head: &[(&str, Align)], rows: &[Vec<String>]) -> String {
    let width = |column: usize| {
        rows.iter()
            .map(|r| r[column].chars().count())
            .chain([head[column].0.chars().count()])
            .max()
            .unwrap_or(0)
    };
    let widths: Vec<usize> = (0..head.len()).map(width).collect();
    let line = |cells: Vec<&str>| {
        let mut text = String::new();
        for (column, cell) in cells.iter().enumerate() {
            let pad = " ".repeat(widths[column] - cell.chars().count());
            if column > 0 {
                text.push_str("  ");
            }
            match head[column].1 {
                Align::Left => text = text + cell + &pad,
                Align::Right => text = text + &pad + cell,
            }
        }
        text.trim_end().to_owned() + "\n"
    };
    let mut text = line(head.iter().map(|h| h.0).collect());
    for row in rows {
        text += &line(row.iter().map(String::as_str).collect());
    }
    text
}

/// A value with the precision that its band deserves; `OL` for over range.
pub fn value(value: Option<f64>, low: Option<f64>, high: Option<f64>, unit: &str) -> String {
    let Some(value) = value else {
        return "OL".to_owned();
    };
    let sd = match (low, high) {
        (Some(low), Some(high)) => (high - low) / 3.92,
        _ => 0.0,
    };
    let unit = unit_of(unit);
    if sd > 0.0 {
        units::engineering(value, sd, unit)
    } else {
        units::significant(value, 3, unit)
    }
}

/// A measured value as a meter shows it, to four digits; `OL` for over range.
pub fn measured(value: Option<f64>, unit: &str) -> String {
    value.map_or_else(
        || "OL".to_owned(),
        |v| units::significant(v, 4, unit_of(unit)),
    )
}

/// A value as a person wrote it: with its own digits, six at most.
pub fn written(value: f64, unit: &str) -> String {
    record::as_written(value, unit_of(unit))
}

/// `low to high`, either of which may be `OL`.
pub fn band(low: Option<f64>, high: Option<f64>, unit: &str) -> String {
    let one = |x: Option<f64>| match (x, low, high) {
        (None, ..) => "OL".to_owned(),
        (Some(x), Some(l), Some(h)) if h > l => {
            // A band's ends are worth a tenth of its half-width.
            units::engineering(x, (h - l) / 40.0, unit_of(unit))
        }
        (Some(x), ..) => units::significant(x, 3, unit_of(unit)),
    };
    if low.is_none() && high.is_none() {
        return "OL".to_owned();
    }
    format!("{} to {}", one(low), one(high))
}

fn unit_of(word: &str) -> Unit {
    match word {
        "V" => Unit::Volt,
        "A" => Unit::Ampere,
        "F" => Unit::Farad,
        _ => Unit::Ohm,
    }
}
