//! The header of a table: which column holds what.

use sheet::{Diagnostic, Severity, Span, did_you_mean};

use crate::table::{Broken, Field, Row, rows};

/// A word of the header, and the column it heads.
pub(crate) type Column = (&'static str, usize);

/// A table with a header: rows are as long as the header, what was not written is empty.
pub(crate) struct Table {
    pub(crate) columns: Vec<Column>,
    pub(crate) rows: Vec<Row>,
}

impl Table {
    /// The field of a row under a column; none if it is absent or empty.
    pub(crate) fn field<'r>(&self, row: &'r Row, column: &str) -> Option<&'r Field> {
        let (_, at) = self.columns.iter().find(|(word, _)| *word == column)?;
        row.fields.get(*at).filter(|f| !f.text.is_empty())
    }
}

/// Which columns a kind of file has.
pub(crate) struct Wanted {
    /// Without these nothing can be read.
    pub(crate) required: &'static [&'static str],
    /// These may be there.
    pub(crate) optional: &'static [&'static str],
    /// Whether other columns are worth a remark.
    pub(crate) strict: bool,
}

pub(crate) fn error(span: Span, message: impl Into<String>, help: impl Into<String>) -> Diagnostic {
    let severity = Severity::Error;
    Diagnostic {
        severity,
        message: message.into(),
        help: help.into(),
        span,
        place: None,
    }
}

pub(crate) fn doubt(span: Span, message: impl Into<String>, help: impl Into<String>) -> Diagnostic {
    Diagnostic {
        severity: Severity::Doubt,
        ..error(span, message, help)
    }
}

/// All remarks in the order of the text, with their places.
pub(crate) fn placed(mut remarks: Vec<Diagnostic>, file: &str, text: &str) -> Vec<Diagnostic> {
    remarks.sort_by_key(|d| d.span.start);
    remarks.into_iter().map(|d| d.placed(file, text)).collect()
}

/// Reads the shape of a file; none if its header cannot be used.
pub(crate) fn table(text: &str, wanted: &Wanted, remarks: &mut Vec<Diagnostic>) -> Option<Table> {
    let (mut rows, broken) = rows(text);
    for (span, how) in broken {
        remarks.push(match how {
            Broken::Unclosed => error(
                span,
                "A quote is opened here and never closed.",
                "Close it, or leave it out; a quote inside a quoted field is written twice.",
            ),
            Broken::BehindQuote => error(
                span,
                "Something stands behind a closing quote.",
                "Put a comma between the fields; a quote inside a quoted field is written twice.",
            ),
        });
    }
    let list = wanted.required.join(",");
    if rows.is_empty() {
        let help = format!("Begin with the line {list} and put one row below it for each line.");
        remarks.push(error(Span::default(), "The file has no header.", help));
        return None;
    }
    let header = rows.remove(0);
    let columns = columns(&header, wanted, remarks)?;
    rows.retain(|row| row_fits(row, header.fields.len(), remarks));
    Some(Table { columns, rows })
}

fn columns(header: &Row, wanted: &Wanted, remarks: &mut Vec<Diagnostic>) -> Option<Vec<Column>> {
    let known = || wanted.required.iter().chain(wanted.optional).copied();
    let find = |field: &Field| known().find(|word| word.eq_ignore_ascii_case(&field.text));
    let missing: Vec<&str> = (wanted.required.iter().copied())
        .filter(|word| !header.fields.iter().any(|f| find(f) == Some(word)))
        .collect();
    if !missing.is_empty() {
        let first = &header.fields[0];
        let help = if header.fields.len() == 1 && first.text.contains(';') {
            "Separate the columns by commas, not semicolons.".to_owned()
        } else {
            format!(
                "The first line of the file names its columns: {}.",
                wanted.required.join(",")
            )
        };
        remarks.push(error(
            first.span,
            format!("The header lacks {}.", missing.join(", ")),
            help,
        ));
        return None;
    }
    let mut columns: Vec<Column> = Vec::new();
    let mut usable = true;
    for (at, field) in header.fields.iter().enumerate() {
        match find(field) {
            Some(word) if columns.iter().any(|(other, _)| *other == word) => {
                let message = format!("The header has the column {word} twice.");
                remarks.push(error(
                    field.span,
                    message,
                    "Remove or rename one of the two.",
                ));
                usable = false;
            }
            Some(word) => columns.push((word, at)),
            None if wanted.strict && !field.text.is_empty() => {
                let message = format!("The column `{}` is not known and is ignored.", field.text);
                let help =
                    did_you_mean(&field.text, known(), "Remarks belong into the column note.");
                remarks.push(doubt(field.span, message, help));
            }
            None => {}
        }
    }
    usable.then_some(columns)
}

fn row_fits(row: &Row, columns: usize, remarks: &mut Vec<Diagnostic>) -> bool {
    let Some(extra) = row.fields.iter().skip(columns).find(|f| !f.text.is_empty()) else {
        return true;
    };
    let message = format!("The row has more fields than the header, which has {columns}.");
    remarks.push(error(
        extra.span,
        message,
        "Put quotes around a field that holds a comma.",
    ));
    false
}
