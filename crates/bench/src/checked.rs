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
            (0, 0) => "nothing to complain of".to_owned(),
            (errors, doubts) => format!("{errors} errors, {doubts} doubtful places"),
        };
        text + &format!(
            "{}: sheet {}, {} parts, {} nets: {verdict}.\n",
            self.file, self.sheet, self.parts, self.nets
        )
    }
}

/// The canonical form of a sheet.
///
/// # Errors
/// If it has bad lines.
pub fn print(text: &Text) -> Result<String, crate::Refused> {
    Ok(sheet::print(&crate::loading::sheet(text, false)?.value))
}
