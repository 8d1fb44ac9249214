//! The machine around a board: which units there are, and how each differs from the sheet.

use std::path::Path;

use sheet::Sheet;
use sheet::machine::{Machine, as_built};

use crate::loading::Text;
use crate::refused::{Complaint, Refused};

/// A machine file as it was read, and the board that is looked at.
#[derive(Clone, Debug, PartialEq)]
pub struct BoardOfMachine {
    /// The machine.
    pub machine: Machine,
    /// Name of the board in it.
    pub board: String,
}

/// Reads a machine file and finds the board whose sheet stands in `sheet_file`.
///
/// `None` if no board of the machine names that file or has the sheet's name.
///
/// # Errors
/// All bad lines of the machine file, unless `lenient`.
pub fn around(
    text: &Text,
    sheet_file: &str,
    sheet: &Sheet,
    lenient: bool,
) -> Result<Option<BoardOfMachine>, Refused> {
    let (machine, diagnostics) = sheet::machine::parse(&text.text, &text.file);
    let errors: Vec<Complaint> = diagnostics
        .iter()
        .filter(|d| d.is_error())
        .map(Complaint::from)
        .collect();
    if !lenient && !errors.is_empty() {
        return Err(Refused::Input(errors));
    }
    let file_name = Path::new(sheet_file).file_name();
    let board = machine
        .boards()
        .find(|b| {
            let own = b.sheet.as_deref().map(Path::new).and_then(Path::file_name);
            own.is_some() && own == file_name
        })
        .or_else(|| machine.boards().find(|b| b.name == sheet.name))
        .map(|b| b.name.clone());
    Ok(board.map(|board| BoardOfMachine { machine, board }))
}

impl BoardOfMachine {
    /// Names of the units.
    pub fn units(&self) -> Vec<String> {
        self.machine.units.iter().map(|u| u.name.clone()).collect()
    }

    /// The board as it is built in a unit; `None` where it does not differ from the sheet.
    pub fn built(&self, sheet: &Sheet, unit: &str) -> Option<Sheet> {
        let unit = self.machine.unit(unit)?;
        unit.boards
            .iter()
            .any(|d| d.board == self.board)
            .then(|| as_built(sheet, &self.board, unit).0)
    }
}
