//! What a person said to be harmless, once and with a reason, laid over the page of a board that has no sheet.

use record::event::Dismissal;
use record::{Entry, ReadingKind};
use units::{is_over_range, read};

use super::board::{Cell, View, odd_counts};
use super::rows::Row;

/// Why something that stood out is not looked at again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Harmless {
    /// The entry that says so; to withdraw it takes it back.
    pub entry: String,
    /// Harmless, because.
    pub reason: String,
}

/// The last word on the difference of the units at a row; none if nobody dismissed it.
pub fn difference(row: &Row, said: &[(&Entry, &Dismissal)]) -> Option<Harmless> {
    let is_of = |d: &Dismissal| d.one.is_none() && is_place(d, row);
    let found = said.iter().rev().find(|(_, d)| is_of(d));
    let of_one = || {
        let mut cells = row.cells.iter();
        cells.find_map(|c| c.harmless.clone())
    };
    found.map(harmless).or_else(of_one)
}

/// The page with what was dismissed set aside: a difference of the units, or one unit's reading among like ones. A reading
/// that is no longer like the one that was dismissed stands out again.
pub fn settled(view: &View, said: &[(&Entry, &Dismissal)]) -> View {
    let mut own = view.clone();
    for row in &mut own.rows {
        let names = own.units.iter().map(|u| u.name.as_str());
        for (cell, unit) in row.cells.iter_mut().zip(names) {
            if cell.stands_out
                && let Some(found) = of_cell(
                    said,
                    (row.state, row.kind, &row.red, &row.black),
                    unit,
                    &cell.written,
                )
            {
                set_aside(cell, found, &mut row.means, unit);
                if row.twin == super::rows::DIFFER {
                    row.twin = HARMLESS.to_owned();
                }
            }
        }
        if row.is_odd()
            && let Some(found) = difference(row, said)
        {
            let names = own.units.iter().map(|u| u.name.as_str());
            for (cell, unit) in row.cells.iter_mut().zip(names) {
                if cell.stands_out {
                    set_aside(cell, found.clone(), &mut row.means, unit);
                }
            }
            row.means.push(format!(
                "The difference is harmless, because {}",
                found.reason
            ));
            row.twin = HARMLESS.to_owned();
        }
    }
    for kin in &mut own.kin {
        for member in kin.members.iter_mut().filter(|m| m.stands_out) {
            let unit = &own.units[member.unit].name;
            let place = (kin.state, kin.kind, &member.red, &member.black);
            let found = of_cell(said, place, unit, &member.written).or_else(|| {
                let is_of = |d: &Dismissal| {
                    d.one.is_none() && is_at(d, kin.state, kin.kind, &member.red, &member.black)
                };
                said.iter().rev().find(|(_, d)| is_of(d)).map(harmless)
            });
            if found.is_some() {
                member.stands_out = false;
                member.harmless = found;
            }
        }
    }
    let odd = odd_counts(&own.rows, own.counts.len());
    for (count, odd) in own.counts.iter_mut().zip(odd) {
        count.odd = odd;
    }
    own
}

/// In a row's word on how the units stand to each other.
const HARMLESS: &str = "harmless";

fn set_aside(cell: &mut Cell, found: Harmless, means: &mut Vec<String>, unit: &str) {
    cell.stands_out = false;
    let before = format!("Unit {unit} stands out");
    means.retain(|m| !m.starts_with(&before));
    means.push(format!(
        "Unit {unit}: harmless among like parts, because {}",
        found.reason
    ));
    cell.harmless = Some(found);
}

fn harmless((entry, dismissal): &(&Entry, &Dismissal)) -> Harmless {
    Harmless {
        entry: entry.id.to_string(),
        reason: dismissal.reason.clone(),
    }
}

fn is_place(d: &Dismissal, row: &Row) -> bool {
    is_at(d, row.state, row.kind, &row.red, &row.black)
}

fn is_at(d: &Dismissal, state: &str, kind: &str, red: &str, black: &str) -> bool {
    d.state.word() == state && d.kind.word() == kind && d.red == red && d.black == black
}

/// The last word on a unit's reading at a place: state, kind, red, black.
fn of_cell(
    said: &[(&Entry, &Dismissal)],
    (state, kind, red, black): (&str, &str, &String, &String),
    unit: &str,
    written: &str,
) -> Option<Harmless> {
    let is_of = |d: &Dismissal| {
        let one = d.one.as_ref().filter(|one| one.unit == unit);
        one.is_some_and(|one| {
            is_at(d, state, kind, red, black) && is_like(&one.value, written, d.kind)
        })
    };
    said.iter().rev().find(|(_, d)| is_of(d)).map(harmless)
}

/// Within 10 %, or both over range: as two units are alike where nothing is expected.
fn is_like(before: &str, now: &str, kind: ReadingKind) -> bool {
    if before == now {
        return true;
    }
    let number = |text: &str| read(text, kind.unit()).ok().map(|v| v.number);
    match (is_over_range(before), is_over_range(now)) {
        (true, true) => true,
        (false, false) => match (number(before), number(now)) {
            (Some(a), Some(b)) => (a - b).abs() <= 0.1 * a.abs().max(b.abs()),
            _ => false,
        },
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::is_like;
    use record::ReadingKind::{Diode, Ohms};

    #[test]
    fn a_reading_that_changed_was_not_dismissed() {
        for (before, now, kind, is) in [
            ("4k7", "4.7k", Ohms, true),
            ("4k7", "5k1", Ohms, true),
            ("4k7", "5k6", Ohms, false),
            ("0.712", "OL", Diode, false),
            ("OL", "over", Diode, false),
            ("OL", "OL", Diode, true),
            ("0.712", "0.70", Diode, true),
            ("1k..OL", "1k..OL", Ohms, true),
            ("1k..OL", "1k", Ohms, false),
        ] {
            assert_eq!(is_like(before, now, kind), is, "{before} {now}");
        }
    }
}
