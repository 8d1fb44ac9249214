//! Reads the files that a command names.

use std::io;
use std::path::{Path, PathBuf};

use bench::meters::Chosen;
use bench::risk::{Input, machine_sheets};
use bench::{Complaint, MeterChoice, Refused, Text};

/// Reads a text file.
///
/// # Errors
/// If it cannot be read or is not text.
pub fn read(path: &Path) -> Result<Text, Refused> {
    let file = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|e| unread(&file, &e))?;
    match String::from_utf8(bytes) {
        Ok(text) => Ok(Text { file, text }),
        Err(e) => Err(not_text(file, e.as_bytes(), e.utf8_error().valid_up_to())),
    }
}

/// Why a file could not be read, without the system's error number.
fn unread(file: &str, error: &io::Error) -> Refused {
    let (message, help) = match error.kind() {
        io::ErrorKind::NotFound => (
            format!("There is no file `{file}`."),
            "Check the name, and the folder that you are in.",
        ),
        io::ErrorKind::IsADirectory => (
            format!("`{file}` is a folder, and a file is needed."),
            "Name a file in it.",
        ),
        io::ErrorKind::PermissionDenied => (
            format!("`{file}` may not be read by this user."),
            "Give the file's read permission to this user.",
        ),
        _ => (
            format!("`{file}` cannot be read: {error}."),
            "Check that the disk or share it lies on is there.",
        ),
    };
    Refused::Input(vec![Complaint {
        file: Some(file.to_owned()),
        ..Complaint::new(message, help)
    }])
}

/// The place of the first byte that is no UTF-8.
fn not_text(file: String, bytes: &[u8], at: usize) -> Refused {
    let before = String::from_utf8_lossy(&bytes[..at]);
    let rest = String::from_utf8_lossy(&bytes[at..]);
    let start = before.rfind('\n').map_or(0, |i| i + 1);
    let end = rest.find('\n').unwrap_or(rest.len());
    Refused::Input(vec![Complaint {
        file: Some(file),
        line: Some(before.matches('\n').count() + 1),
        column: Some(before[start..].chars().count() + 1),
        source_line: Some(format!("{}{}", &before[start..], &rest[..end])),
        ..Complaint::new(
            format!("The byte {:02X} here is not UTF-8 text.", bytes[at]),
            "Save the file as UTF-8; it may have been written in an older encoding.",
        )
    }])
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

/// A file that lies where a sheet would: the sheet itself, or one in the folder of a project.
pub fn beside(path: &Path) -> PathBuf {
    if path.is_dir() {
        path.join("machine.kdl")
    } else {
        path.to_owned()
    }
}

/// A sheet, or a project's machine file with the sheets that it names.
///
/// # Errors
/// If a file cannot be read, or a unit is named for a single sheet.
pub fn sheet_or_project(path: &Path, unit: Option<String>) -> Result<Input, Refused> {
    if !path.is_dir() {
        if unit.is_some() {
            return Err(Refused::input(
                "A single sheet has no units.",
                "Name the project folder instead of the sheet, or leave --unit out.",
            ));
        }
        return read(path).map(Input::Board);
    }
    let machine = path.join("machine.kdl");
    if !machine.is_file() {
        return Err(Refused::input(
            format!("There is no machine.kdl in `{}`.", path.display()),
            "Name a sheet, or a project folder; `bench new` makes one.",
        ));
    }
    let machine = read(&machine)?;
    let sheets = machine_sheets(&machine)
        .into_iter()
        .map(|name| Ok((name.clone(), read(&path.join(&name))?)))
        .collect::<Result<_, Refused>>()?;
    Ok(Input::Machine {
        machine,
        sheets,
        unit,
    })
}
