//! The project folder around the ledger.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

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

/// Why a text of the project was not written.
#[derive(Debug)]
pub enum Unwritten {
    /// Its name leads out of the project, or is none of a text.
    Name,
    /// It is no longer as it was read.
    Changed,
    /// The system refused.
    System(std::io::Error),
}

/// Writes a text of the project: `machine.kdl`, `meter.kdl`, or a file in `sheets/`, `readings/` or `captures/`. It is there as a whole
/// or not at all, and on the disk when this returns. `before` is the text as it was read, none for a new file.
///
/// # Errors
/// See [`Unwritten`]; then nothing has changed.
pub fn write_text(
    folder: &Path,
    name: &str,
    before: Option<&str>,
    text: &str,
) -> Result<(), Unwritten> {
    if !is_text(name) {
        return Err(Unwritten::Name);
    }
    let path = folder.join(name);
    let _alone = alone(folder);
    let part = lay_ready(&path, text).map_err(Unwritten::System)?;
    // Compared last, when all that is left to do is to rename: an editor that saves meanwhile is noticed.
    let now = match std::fs::read(&path) {
        Ok(bytes) => Ok(Some(bytes)),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(e) => Err(Unwritten::System(e)),
    };
    let is_same = |now: Option<Vec<u8>>| match now.as_deref() == before.map(str::as_bytes) {
        true => Ok(()),
        false => Err(Unwritten::Changed),
    };
    let written = now
        .and_then(is_same)
        .and_then(|()| std::fs::rename(&part, &path).map_err(Unwritten::System));
    if written.is_err() {
        let _ = std::fs::remove_file(&part);
    }
    written?;
    // The new name is on the disk once its folder is; where folders cannot be opened, the system sees to it.
    if let Some(Ok(folder)) = path.parent().map(std::fs::File::open) {
        let _ = folder.sync_all();
    }
    Ok(())
}

/// Held while a text is compared and replaced, so that of two who write at once the second sees what the first wrote: by
/// the threads of this process, and by other processes where a folder can be locked.
fn alone(folder: &Path) -> (MutexGuard<'static, ()>, Option<std::fs::File>) {
    static PEN: Mutex<()> = Mutex::new(());
    let guard = PEN.lock().unwrap_or_else(PoisonError::into_inner);
    let locked = std::fs::File::open(folder).and_then(|f| f.lock().map(|()| f));
    (guard, locked.ok())
}

/// Whether a name is one of a project's texts: no way out of the folder, no hidden file, no folder below its own.
fn is_text(name: &str) -> bool {
    if ["machine.kdl", "meter.kdl"].contains(&name) {
        return true;
    }
    let Some((folder, file)) = name.split_once('/') else {
        return false;
    };
    let stem = match folder {
        "sheets" | "captures" => file.strip_suffix(".kdl"),
        "readings" => file.strip_suffix(".csv"),
        _ => None,
    };
    // Letters that every file system takes.
    let blank = folder == "captures";
    let fits = |c: char| c.is_alphanumeric() || c == '-' || c == '_' || (blank && c == ' ');
    stem.is_some_and(|s| (1..=60).contains(&s.len()) && s.chars().all(fits))
}

/// Puts a text on the disk beside the file that it is to replace.
fn lay_ready(path: &Path, text: &str) -> std::io::Result<PathBuf> {
    use std::io::Write;
    let folder = path.parent().unwrap_or(Path::new("."));
    std::fs::create_dir_all(folder)?;
    let part = path.with_extension("part");
    let mut file = std::fs::File::create(&part)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    Ok(part)
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_texts_of_a_project_are_written() {
        for name in [
            "machine.kdl",
            "meter.kdl",
            "sheets/a1.kdl",
            "readings/A-2_b.csv",
            "sheets/Röhre.kdl",
        ] {
            assert!(is_text(name), "{name}");
        }
        for name in [
            "",
            "bench.db",
            "../machine.kdl",
            "sheets/../machine.kdl",
            "sheets/.kdl",
            "sheets/a.b.kdl",
            "sheets/a/b.kdl",
            "sheets/a.csv",
            "readings/a.kdl",
            "/etc/passwd",
            "sheets\\a.kdl",
            "sheets/a\0.kdl",
            "other/a.kdl",
            "sheets/..kdl",
            "C:/a.kdl",
        ] {
            assert!(!is_text(name), "{name}");
        }
        assert!(!is_text(&format!("sheets/{}.kdl", "a".repeat(61))));
    }

    #[test]
    fn a_text_that_was_changed_meanwhile_is_left_alone() {
        let folder = std::env::temp_dir().join(format!("knowngood-text-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&folder);
        let write = |before, text| write_text(&folder, "sheets/a1.kdl", before, text);
        write(None, "one").expect("a new file");
        assert!(matches!(write(None, "two"), Err(Unwritten::Changed)));
        assert!(matches!(
            write(Some("zero"), "two"),
            Err(Unwritten::Changed)
        ));
        write(Some("one"), "two").expect("as it was read");
        let read = || std::fs::read_to_string(folder.join("sheets/a1.kdl")).expect("read");
        assert_eq!(read(), "two");
        let names = || {
            std::fs::read_dir(folder.join("sheets"))
                .expect("listed")
                .count()
        };
        assert_eq!(names(), 1, "nothing else is left behind");
        std::fs::remove_dir_all(&folder).expect("cleaned");
    }
}
