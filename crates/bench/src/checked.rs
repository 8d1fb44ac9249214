//! `sheet check` and `sheet print`: mistakes and doubtful places of a drawing, and its canonical form.

use serde::Serialize;

use crate::loading::Text;
use crate::refused::Complaint;

/// What was found in a sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct View {
    /// Name of the sheet.
    pub sheet: String,
    /// File it was read from.
    pub file: String,
    /// Number of parts.
    pub parts: usize,
    /// Number of nets.
    pub nets: usize,
    /// Lines that cannot be used.
    pub errors: Vec<Complaint>,
    /// Places to look at.
    pub doubts: Vec<Complaint>,
    /// The same for people, each with its line.
    #[serde(skip)]
    pub words: Vec<String>,
}

/// What was found in several sheets; mistakes stand in `error` and `errors` as for every command.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Views {
    /// One a sheet.
    pub sheets: Vec<View>,
    /// The first mistake.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub error: Option<Complaint>,
    /// All mistakes.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub errors: Vec<Complaint>,
}

impl Views {
    /// Gathers the mistakes of all sheets.
    pub fn new(sheets: Vec<View>) -> Self {
        let errors: Vec<Complaint> = sheets.iter().flat_map(|v| v.errors.clone()).collect();
        Self {
            error: errors.first().cloned(),
            sheets,
            errors,
        }
    }

    /// What was found, for people.
    pub fn to_text(&self) -> String {
        self.sheets.iter().map(View::to_text).collect()
    }
}

/// Checks a sheet: its text, and the rules that a drawing must obey.
pub fn check(text: &Text) -> View {
    let (sheet, diagnostics) = sheet::check(&text.text, &text.file);
    let of = |errors: bool| {
        diagnostics
            .iter()
            .filter(|d| d.is_error() == errors)
            .map(Complaint::from)
            .collect()
    };
    View {
        sheet: sheet.name.clone(),
        file: text.file.clone(),
        parts: sheet.parts.len(),
        nets: sheet.nets.len(),
        errors: of(true),
        doubts: of(false),
        words: diagnostics.iter().map(ToString::to_string).collect(),
    }
}

impl View {
    /// What was found, for people.
    pub fn to_text(&self) -> String {
        let mut text = String::new();
        for words in &self.words {
            text += words;
            text += "\n\n";
        }
        let verdict = match (self.errors.len(), self.doubts.len()) {
            (0, 0) => "no mistakes, nothing doubtful".to_owned(),
            (errors, doubts) => format!(
                "{}, {}",
                counted(errors, "error", "errors"),
                counted(doubts, "doubtful place", "doubtful places")
            ),
        };
        text + &format!(
            "{}: sheet {}, {} parts, {} nets: {verdict}.\n",
            self.file, self.sheet, self.parts, self.nets
        )
    }
}

fn counted(count: usize, one: &str, many: &str) -> String {
    match count {
        0 => format!("no {many}"),
        1 => format!("1 {one}"),
        _ => format!("{count} {many}"),
    }
}

/// The canonical form of a sheet.
///
/// # Errors
/// If it has bad lines.
pub fn print(text: &Text) -> Result<String, crate::Refused> {
    Ok(sheet::print(&crate::loading::sheet(text, false)?.value))
}
