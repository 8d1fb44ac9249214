//! Reads the files that a command names.

use std::path::Path;

use bench::meters::Chosen;
use bench::{MeterChoice, Refused, Text};

/// Reads a text file.
///
/// # Errors
/// If it cannot be read or is not text.
pub fn read(path: &Path) -> Result<Text, Refused> {
    let file = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|e| {
        Refused::input(
            format!("`{file}` cannot be read: {e}."),
            "Check the name, and that the file may be read.",
        )
    })?;
    match String::from_utf8(bytes) {
        Ok(text) => Ok(Text { file, text }),
        Err(e) => Err(Refused::input(
            format!(
                "`{file}` is not text: byte {} is no UTF-8.",
                e.utf8_error().valid_up_to() + 1
            ),
            "Save it as UTF-8 text.",
        )),
    }
}

/// What was said about meters: `--meter`, and `meter.kdl` beside the sheet.
///
/// # Errors
/// If a profile file cannot be read.
pub fn meter(given: Option<&str>, sheet: &Path) -> Result<MeterChoice, Refused> {
    let chosen = match given {
        Some(name) if name.ends_with(".kdl") => Some(Chosen::File(read(Path::new(name))?)),
        Some(name) => Some(Chosen::Name(name.to_owned())),
        None => None,
    };
    let beside = sheet.with_file_name("meter.kdl");
    Ok(MeterChoice {
        chosen,
        beside: if beside.is_file() {
            Some(read(&beside)?)
        } else {
            None
        },
    })
}

/// The machine file of the project that a sheet lies in: beside it, or one folder up.
///
/// # Errors
/// If there is one and it cannot be read.
pub fn machine(sheet: &Path) -> Result<Option<Text>, Refused> {
    let here = sheet.parent().unwrap_or(Path::new(""));
    for folder in [here.to_owned(), here.join("..")] {
        let file = folder.join("machine.kdl");
        if file.is_file() {
            return read(&file).map(Some);
        }
    }
    Ok(None)
}
