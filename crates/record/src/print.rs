//! Writes the readings file.

use sheet::Sheet;
use units::Unit;

use crate::Reading;

/// A column: its name, and what a reading puts there.
type Column = (&'static str, fn(&Reading, &Sheet) -> String);

const ALWAYS: [Column; 8] = [
    ("unit", |r, _| r.unit.clone()),
    ("state", |r, _| r.state.word().to_owned()),
    ("kind", |r, _| r.kind.word().to_owned()),
    ("red", |r, _| r.red.written.clone()),
    ("black", |r, _| r.black.written.clone()),
    ("value", |r, _| r.written.clone()),
    ("meter", |r, _| r.meter.clone().unwrap_or_default()),
    ("note", |r, _| r.note.clone()),
];

/// Written only if a reading has something to say there.
const SOMETIMES: [Column; 7] = [
    ("place", |r, _| {
        r.conditions.placement.map_or("", |p| p.word()).to_owned()
    }),
    ("lifted", |r, _| {
        let pins: Vec<&str> = r
            .conditions
            .lifted
            .iter()
            .map(|l| l.written.as_str())
            .collect();
        pins.join(" ")
    }),
    ("unplugged", |r, sheet| {
        let names = r
            .conditions
            .unplugged
            .iter()
            .map(|id| sheet.parts[id.index()].name.as_str());
        names.collect::<Vec<_>>().join(" ")
    }),
    ("celsius", |r, _| {
        r.conditions
            .celsius
            .map_or_else(String::new, |c| c.0.to_string())
    }),
    ("minutes", |r, _| {
        r.conditions
            .minutes
            .map_or_else(String::new, |m| m.to_string())
    }),
    ("cycle", |r, _| {
        r.conditions.cycle.clone().unwrap_or_default()
    }),
    ("time", |r, _| r.time.clone().unwrap_or_default()),
];

/// A value with as few digits as read back as the same, six at most: as a person wrote it.
pub fn as_written(value: f64, unit: Unit) -> String {
    let same = |digits: &usize| format!("{value:.*e}", digits - 1).parse() == Ok(value);
    units::significant(value, (1..6).find(same).unwrap_or(6), unit)
}

/// The readings as a readings file of the same sheet, header first; reading it again gives the same readings.
pub fn print_readings(readings: &[Reading], sheet: &Sheet) -> String {
    let used = |(_, of): &Column| readings.iter().any(|r| !of(r, sheet).is_empty());
    let columns: Vec<Column> = ALWAYS
        .into_iter()
        .chain(SOMETIMES.into_iter().filter(used))
        .collect();
    let mut text = line(columns.iter().map(|(name, _)| (*name).to_owned()));
    for reading in readings {
        text.push_str(&line(columns.iter().map(|(_, of)| of(reading, sheet))));
    }
    text
}

/// A line of comma-separated fields, with its end.
pub(crate) fn line(fields: impl Iterator<Item = String>) -> String {
    let mut line = fields.map(quoted).collect::<Vec<_>>().join(",");
    line.push('\n');
    line
}

/// RFC 4180: quotes around what holds a comma, a quote or a line end, and quotes inside doubled.
fn quoted(field: String) -> String {
    if field.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", field.replace('"', "\"\""))
    } else {
        field
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_keep_their_own_digits() {
        for (value, unit, want) in [
            (0.00035, Unit::Ampere, "350 µA"),
            (0.0042, Unit::Ampere, "4.2 mA"),
            (25.0, Unit::Volt, "25 V"),
            (0.0, Unit::Ampere, "0 A"),
        ] {
            assert_eq!(as_written(value, unit), want);
        }
    }
}
