//! Texts become sheets, pairs and readings; bad lines stop the command unless it is lenient.

use record::{Known, Pair, Reading};
use sheet::meter::Meter;
use sheet::{Diagnostic, Sheet};

use crate::refused::{Complaint, Refused};

/// The content of a file, and its name for messages.
#[derive(Clone, Debug, PartialEq)]
pub struct Text {
    /// Name as the person gave it.
    pub file: String,
    /// Content.
    pub text: String,
}

/// What was read, and what was left out of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Loaded<T> {
    /// The good part.
    pub value: T,
    /// Bad lines that were skipped.
    pub skipped: Vec<Complaint>,
    /// Doubtful places, which were used.
    pub doubts: Vec<Complaint>,
}

fn sort<T>(value: T, diagnostics: &[Diagnostic], lenient: bool) -> Result<Loaded<T>, Refused> {
    let of = |errors: bool| {
        diagnostics
            .iter()
            .filter(|d| d.is_error() == errors)
            .map(Complaint::from)
            .collect::<Vec<_>>()
    };
    let skipped = of(true);
    if !lenient && !skipped.is_empty() {
        return Err(Refused::Input(skipped));
    }
    Ok(Loaded {
        value,
        skipped,
        doubts: of(false),
    })
}

/// Reads a sheet.
///
/// # Errors
/// All bad lines, unless `lenient`.
pub fn sheet(text: &Text, lenient: bool) -> Result<Loaded<Sheet>, Refused> {
    let (sheet, diagnostics) = sheet::parse(&text.text, &text.file);
    sort(sheet, &diagnostics, lenient)
}

/// Reads a pairs file.
///
/// # Errors
/// All bad rows, unless `lenient`.
pub fn pairs(text: &Text, sheet: &Sheet, lenient: bool) -> Result<Loaded<Vec<Pair>>, Refused> {
    let (pairs, diagnostics) = record::parse_pairs(&text.text, &text.file, sheet);
    sort(pairs, &diagnostics, lenient)
}

/// Reads a readings file; of readings taken twice the last counts.
///
/// # Errors
/// All bad rows, unless `lenient`.
pub fn readings(
    text: &Text,
    sheet: &Sheet,
    meters: &[Meter],
    units: Option<&[String]>,
    lenient: bool,
) -> Result<Loaded<Vec<Reading>>, Refused> {
    let known = Known {
        sheet,
        meters,
        units,
    };
    let (readings, diagnostics) = record::parse_readings(&text.text, &text.file, &known);
    sort(record::settle(readings), &diagnostics, lenient)
}
