//! Rows of the verdict table: one place and kind a row, a cell a unit.

use record::{Reading, ReadingKind, ReadingValue, State};

use super::alike::Out;
use super::bar::{self, Axis, Bar, bar};
use super::harmless::Harmless;
use crate::judged;
use crate::project::UnitName;
use crate::table;

/// One place, read in one way.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// `cold` or `powered`.
    pub state: &'static str,
    /// `ohms`, `diode`, `volts` or another kind.
    pub kind: &'static str,
    /// Red lead as written first.
    pub red: String,
    /// Black lead as written first.
    pub black: String,
    /// Lifted pins, another meter and the like, in words.
    pub conditions: Vec<String>,
    /// What healthy boards read; more than one if units are built differently.
    pub expected: Vec<Expected>,
    /// The band with the readings on it; none if there is no band.
    pub bar: Option<Bar>,
    /// One a unit.
    pub cells: Vec<Cell>,
    /// How the units stand to each other, in words; empty if only one was read.
    pub twin: String,
    /// What it means, a sentence each.
    pub means: Vec<String>,
    /// How far it stands out from like readings, in spreads; 0 where none were compared.
    pub far: f64,
}

/// What healthy boards read, in print.
#[derive(Clone, Debug, PartialEq)]
pub struct Expected {
    /// With nominal parts.
    pub nominal: String,
    /// `low to high`.
    pub band: String,
    /// Which parts carry it.
    pub because: String,
    /// Indices of the units it holds for; empty means all.
    pub units: Vec<usize>,
    /// The ends of the band in SI units; none for over range.
    pub span: [Option<f64>; 2],
}

/// One unit's reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// In print; empty if not taken.
    pub value: String,
    /// Its verdict.
    pub mark: Mark,
    /// What the person noted.
    pub note: String,
    /// The value as it was written; empty if not taken.
    pub written: String,
    /// The value in SI units; none if not taken or over range.
    pub number: Option<f64>,
    /// The entry in the ledger; none for a reading of a file.
    pub entry: Option<String>,
    /// It stands out among like parts.
    pub stands_out: bool,
    /// It stood out, and a person said that it is harmless.
    pub harmless: Option<Harmless>,
}

impl Cell {
    fn not_taken() -> Self {
        Self {
            value: String::new(),
            mark: Mark::NotTaken,
            note: String::new(),
            written: String::new(),
            number: None,
            entry: None,
            stands_out: false,
            harmless: None,
        }
    }
}

/// A verdict as a mark; each has a shape and words of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// In the band.
    Agrees,
    /// At the edge of the band; low or high.
    Edge(&'static str),
    /// Below the band.
    Low,
    /// Above the band.
    High,
    /// Over range, where healthy boards are not.
    OverRange,
    /// Not read on this unit.
    NotTaken,
    /// Nothing to hold it against.
    NoExpectation,
    /// The expectation is being computed.
    Waiting,
}

impl Mark {
    /// The word beside the shape.
    pub fn words(self) -> &'static str {
        match self {
            Mark::Agrees => "agrees",
            Mark::Edge("low") => "edge, low",
            Mark::Edge("high") => "edge, high",
            Mark::Edge(_) => "edge",
            Mark::Low => "disagrees, low",
            Mark::High => "disagrees, high",
            Mark::OverRange => "disagrees, over range",
            Mark::NotTaken => "not taken",
            Mark::NoExpectation => "no expectation",
            Mark::Waiting => "being judged",
        }
    }

    /// Whether it lies beyond the band.
    pub fn disagrees(self) -> bool {
        matches!(self, Mark::Low | Mark::High | Mark::OverRange)
    }

    /// What is looked at first comes first.
    fn rank(self) -> u8 {
        match self {
            Mark::Low | Mark::High | Mark::OverRange => 0,
            Mark::Edge(_) => 1,
            Mark::NoExpectation => 2,
            Mark::Agrees | Mark::NotTaken | Mark::Waiting => 3,
        }
    }
}

impl Row {
    /// 0 disagrees, 1 edge, 2 nothing to hold it against, 3 the rest.
    pub fn rank(&self) -> u8 {
        self.cells.iter().map(|c| c.mark.rank()).min().unwrap_or(3)
    }

    /// Whether like readings say that something is odd, where nothing is expected.
    pub fn is_odd(&self) -> bool {
        self.twin == DIFFER || self.cells.iter().any(|c| c.stands_out)
    }
}

/// The entry of a reading in the ledger.
pub(crate) type Entry<'a> = &'a dyn Fn(&Reading) -> Option<String>;

/// Puts readings of the same place side by side; what disagrees comes first, else they keep their order.
///
/// `columns` gives the unit of each reading; `verdicts` and `out` run along the readings, `out` is empty where nothing was
/// compared.
pub(crate) fn rows(
    readings: &[Reading],
    columns: &[Option<usize>],
    verdicts: Option<&[judged::Row]>,
    units: &[UnitName],
    out: &[Out],
    entry: Entry<'_>,
) -> Vec<Row> {
    let mut groups: Vec<Vec<Option<usize>>> = Vec::new();
    for (index, reading) in readings.iter().enumerate() {
        let Some(unit) = columns[index] else { continue };
        let fits = |group: &Vec<Option<usize>>| {
            group[unit].is_none()
                && group
                    .iter()
                    .flatten()
                    .all(|other| is_like(&readings[*other], reading))
        };
        match groups.iter_mut().find(|g| fits(g)) {
            Some(group) => group[unit] = Some(index),
            None => {
                let mut group = vec![None; units.len()];
                group[unit] = Some(index);
                groups.push(group);
            }
        }
    }
    let mut rows: Vec<Row> = groups
        .iter()
        .map(|group| row(readings, group, verdicts, units, out, entry))
        .collect();
    rows.sort_by(|a, b| {
        let key = |row: &Row| (row.rank(), !row.is_odd());
        key(a).cmp(&key(b)).then(b.far.total_cmp(&a.far))
    });
    rows
}

fn is_like(a: &Reading, b: &Reading) -> bool {
    let lifted = |r: &Reading| {
        r.conditions
            .lifted
            .iter()
            .map(|l| l.written.clone())
            .collect::<Vec<_>>()
    };
    a.state == b.state
        && a.kind == b.kind
        && a.red.net == b.red.net
        && a.black.net == b.black.net
        && a.meter == b.meter
        && lifted(a) == lifted(b)
        && a.conditions.unplugged == b.conditions.unplugged
}

fn row(
    readings: &[Reading],
    group: &[Option<usize>],
    verdicts: Option<&[judged::Row]>,
    units: &[UnitName],
    out: &[Out],
    entry: Entry<'_>,
) -> Row {
    let taken: Vec<(usize, usize)> = group
        .iter()
        .enumerate()
        .filter_map(|(unit, index)| index.map(|i| (unit, i)))
        .collect();
    let first = &readings[taken[0].1];
    let verdict = |index: usize| verdicts.map(|v| &v[index]);
    let bands = bands(&taken, verdicts);
    let ends: Vec<bar::Expected> = bands.iter().map(|b| b.0.clone()).collect();
    let values: Vec<(usize, Option<f64>)> = taken
        .iter()
        .flat_map(|(unit, i)| ends_of(readings[*i].value).map(move |v| (*unit, v)))
        .collect();
    let axis = match first.kind {
        ReadingKind::Ohms | ReadingKind::Capacitance | ReadingKind::Leakage => Axis::Logarithmic,
        ReadingKind::Diode | ReadingKind::Volts | ReadingKind::Ripple | ReadingKind::Amps => {
            Axis::Linear
        }
    };
    Row {
        state: first.state.word(),
        kind: first.kind.word(),
        red: first.red.written.clone(),
        black: first.black.written.clone(),
        conditions: conditions(first),
        expected: bands.into_iter().map(|b| b.1).collect(),
        bar: if ends.is_empty() {
            None
        } else {
            bar(axis, &ends, &values)
        },
        cells: group
            .iter()
            .map(|index| match index {
                Some(i) => Cell {
                    value: shown(&readings[*i]),
                    mark: mark(&readings[*i], verdict(*i)),
                    note: readings[*i].note.clone(),
                    written: readings[*i].written.clone(),
                    number: ends_of(readings[*i].value).next().flatten(),
                    entry: entry(&readings[*i]),
                    stands_out: out.get(*i).is_some_and(|o| !o.words.is_empty()),
                    harmless: None,
                },
                None => Cell::not_taken(),
            })
            .collect(),
        twin: twin(&taken, verdicts, units),
        means: {
            let odd = taken.iter().filter_map(|(unit, i)| {
                let words = &out.get(*i).filter(|o| !o.words.is_empty())?.words;
                Some(format!("Unit {} {words}", units[*unit].name))
            });
            let mut list = means(&taken, verdicts, units);
            list.extend(odd);
            list
        },
        far: {
            let all = taken.iter().filter_map(|(_, i)| out.get(*i));
            all.map(|o| o.far).fold(0.0, f64::max)
        },
    }
}

/// The different expectations of a row, each with the units it holds for.
fn bands(
    taken: &[(usize, usize)],
    verdicts: Option<&[judged::Row]>,
) -> Vec<(bar::Expected, Expected)> {
    let mut bands: Vec<(bar::Expected, Expected)> = Vec::new();
    for (unit, index) in taken {
        let Some(v) = verdicts.map(|v| &v[*index]) else {
            continue;
        };
        if v.verdict == "no-expectation" {
            continue;
        }
        let same = |b: &(bar::Expected, Expected)| {
            is_one_band(
                [b.0.low, b.0.nominal, b.0.high],
                [v.low, v.expected, v.high],
            )
        };
        match bands.iter_mut().find(|b| same(b)) {
            Some(band) => {
                band.0.units.push(*unit);
                band.1.units.push(*unit);
            }
            None => bands.push((
                bar::Expected {
                    low: v.low,
                    high: v.high,
                    nominal: v.expected,
                    units: vec![*unit],
                },
                Expected {
                    nominal: table::value(v.expected, v.low, v.high, v.measured_in),
                    band: table::band(v.low, v.high, v.measured_in),
                    because: v.because.clone(),
                    units: vec![*unit],
                    span: [v.low, v.high],
                },
            )),
        }
    }
    if let [band] = bands.as_mut_slice() {
        band.0.units.clear();
        band.1.units.clear();
    }
    bands
}

/// Whether two bands differ by less than can be seen on a bar: a fiftieth of its width; chosen.
fn is_one_band(a: [Option<f64>; 3], b: [Option<f64>; 3]) -> bool {
    let width = match (a[0], a[2]) {
        (Some(low), Some(high)) => high - low,
        _ => 0.0,
    };
    a.iter().zip(b).all(|(a, b)| match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() <= width / 50.0,
        (None, None) => true,
        _ => false,
    })
}

fn mark(reading: &Reading, verdict: Option<&judged::Row>) -> Mark {
    let Some(v) = verdict else {
        return Mark::Waiting;
    };
    let is_over = matches!(
        reading.value,
        ReadingValue::Steady(record::Shown::OverRange)
    );
    match (v.verdict, v.side) {
        ("agrees", _) => Mark::Agrees,
        ("edge", side) => Mark::Edge(side.unwrap_or("")),
        ("disagrees", _) if is_over => Mark::OverRange,
        ("disagrees", Some("low")) => Mark::Low,
        ("disagrees", _) => Mark::High,
        _ => Mark::NoExpectation,
    }
}

/// Both ends of a reading that wandered, the one value of a steady one.
fn ends_of(value: ReadingValue) -> impl Iterator<Item = Option<f64>> {
    let number = |s: record::Shown| match s {
        record::Shown::Number(x) => Some(x),
        record::Shown::OverRange => None,
    };
    let (a, b) = match value {
        ReadingValue::Steady(a) => (number(a), None),
        ReadingValue::Intermittent(a, b) => (number(a), Some(number(b))),
    };
    std::iter::once(a).chain(b)
}

/// The reading with as many digits as the person wrote.
pub(super) fn shown(reading: &Reading) -> String {
    let unit = match reading.kind {
        ReadingKind::Ohms => units::Unit::Ohm,
        ReadingKind::Diode | ReadingKind::Volts | ReadingKind::Ripple => units::Unit::Volt,
        ReadingKind::Amps | ReadingKind::Leakage => units::Unit::Ampere,
        ReadingKind::Capacitance => units::Unit::Farad,
    };
    let parts: Vec<&str> = reading.written.split("..").collect();
    let digits = |i: usize| parts.get(i).map_or(3, |t| digits(t));
    let one = |s: record::Shown, i: usize| match s {
        record::Shown::Number(x) => units::significant(x, digits(i), unit),
        record::Shown::OverRange => "OL".to_owned(),
    };
    match reading.value {
        ReadingValue::Steady(a) => one(a, 0),
        ReadingValue::Intermittent(a, b) => format!("{} to {}", one(a, 0), one(b, 1)),
    }
}

/// Significant digits as written: `1.84k` has 3, `0.0620` has 3, `4k7` has 2, `1e-8` has 1.
fn digits(written: &str) -> usize {
    let exponent = written.find(['e', 'E']).unwrap_or(written.len());
    let count = written[..exponent]
        .chars()
        .filter(char::is_ascii_digit)
        .skip_while(|c| *c == '0')
        .count();
    count.clamp(1, 8)
}

fn conditions(reading: &Reading) -> Vec<String> {
    let c = &reading.conditions;
    let mut list = Vec::new();
    if !c.lifted.is_empty() {
        let pins: Vec<&str> = c.lifted.iter().map(|l| l.written.as_str()).collect();
        list.push(format!("{} lifted", pins.join(", ")));
    }
    if let Some(place) = c.placement {
        list.push(match place {
            record::Placement::Chassis => "in the chassis".to_owned(),
            record::Placement::BoardOut => "board out".to_owned(),
        });
    }
    list.extend(reading.meter.as_ref().map(|m| format!("meter {m}")));
    if reading.state == State::Powered {
        list.extend(c.minutes.map(|m| format!("{m} min after switch-on")));
    }
    list
}

/// Said of units that are not alike where nothing is expected.
pub(super) const DIFFER: &str = "they differ";

fn twin(taken: &[(usize, usize)], verdicts: Option<&[judged::Row]>, units: &[UnitName]) -> String {
    let cases: Vec<(usize, &str)> = taken
        .iter()
        .filter_map(|(unit, i)| Some((*unit, verdicts?[*i].twin.as_ref()?.case)))
        .collect();
    let odd = cases.iter().find(|c| c.1 == "this-odd");
    match (odd, cases.first()) {
        (Some((unit, _)), _) => format!("only unit {} is off", units[*unit].name),
        (None, Some((_, "both-agree"))) => "both agree".to_owned(),
        (None, Some((_, "alike-but-off"))) => "alike, but off".to_owned(),
        (None, Some((_, "all-differ"))) => "all differ".to_owned(),
        (None, Some((_, "alike"))) => "alike".to_owned(),
        (None, Some((_, "differ"))) => DIFFER.to_owned(),
        _ => String::new(),
    }
}

/// One sentence a unit; what is true of all of them is said once.
fn means(
    taken: &[(usize, usize)],
    verdicts: Option<&[judged::Row]>,
    units: &[UnitName],
) -> Vec<String> {
    let said: Vec<(usize, &str)> = taken
        .iter()
        .filter_map(|(unit, i)| Some((*unit, verdicts?[*i].means.as_str())))
        .filter(|(_, text)| !text.is_empty())
        .collect();
    let all_alike = said.len() == taken.len() && said.windows(2).all(|w| w[0].1 == w[1].1);
    match said.first() {
        Some((_, text)) if all_alike && said.len() > 1 => vec![capital(text)],
        _ => said
            .iter()
            .map(|(unit, text)| format!("Unit {}: {text}", units[*unit].name))
            .collect(),
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

#[cfg(test)]
mod tests {
    use super::digits;

    #[test]
    fn digits_are_counted_as_written() {
        for (written, count) in [
            ("1.84k", 3),
            ("0.0620", 3),
            ("4k7", 2),
            ("1e-8", 1),
            ("-12.10V", 4),
            ("1000", 4),
        ] {
            assert_eq!(digits(written), count, "{written}");
        }
    }
}
