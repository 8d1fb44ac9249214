//! The project folder around the ledger.

use std::path::{Path, PathBuf};

use record::LedgerFault;

use crate::Store;

/// The ledger's file in a project folder.
pub const FILE: &str = "bench.db";

const MACHINE: &str = "\
// The machine that all units share: assemblies in bring-up order, boards and their slots, what joins them, and the units.
machine \"My machine\" {
    // assembly \"Supplies\" {
    //     board A1 sheet=\"sheets/a1.kdl\" slot=1 title=\"Regulator\"
    // }
    // unit \"1\" serial=\"0001\"
}
";

/// Makes an empty project: a machine file to fill in, folders for sheets and readings, and an empty ledger.
///
/// # Errors
/// If the folder is there and not empty, or cannot be made.
pub fn create_project(folder: &Path) -> Result<Store, LedgerFault> {
    make_empty(folder)?;
    let make = || {
        std::fs::create_dir(folder.join("sheets"))?;
        std::fs::create_dir(folder.join("readings"))?;
        std::fs::write(folder.join("machine.kdl"), MACHINE)
    };
    make().map_err(system)?;
    Store::create(&folder.join(FILE))
}

/// Makes a folder, or takes one that is empty.
pub fn make_empty(folder: &Path) -> Result<(), LedgerFault> {
    std::fs::create_dir_all(folder).map_err(system)?;
    let mut inside = std::fs::read_dir(folder).map_err(system)?;
    if inside.next().is_some() {
        return Err(LedgerFault::Occupied(folder.display().to_string()));
    }
    Ok(())
}

/// The project's own files: their names from the folder with `/` between, in order. The ledger's files and hidden ones
/// are left out, and so is what is neither a file nor a folder.
pub fn files(folder: &Path) -> std::io::Result<Vec<(String, PathBuf)>> {
    let mut list = Vec::new();
    add(folder, "", &mut list)?;
    list.sort();
    Ok(list)
}

fn add(folder: &Path, prefix: &str, list: &mut Vec<(String, PathBuf)>) -> std::io::Result<()> {
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let Ok(name) = entry.file_name().into_string() else {
            continue;
        };
        let is_ledger = prefix.is_empty() && name.starts_with(FILE);
        if name.starts_with('.') || is_ledger {
            continue;
        }
        let kind = entry.file_type()?;
        let path = format!("{prefix}{name}");
        if kind.is_dir() {
            add(&entry.path(), &format!("{path}/"), list)?;
        } else if kind.is_file() {
            list.push((path, entry.path()));
        }
    }
    Ok(())
}

/// What the system said.
pub fn system(error: std::io::Error) -> LedgerFault {
    match error.kind() {
        std::io::ErrorKind::StorageFull | std::io::ErrorKind::QuotaExceeded => LedgerFault::Full,
        std::io::ErrorKind::PermissionDenied | std::io::ErrorKind::ReadOnlyFilesystem => {
            LedgerFault::ReadOnly
        }
        _ => LedgerFault::System(error.to_string()),
    }
}
