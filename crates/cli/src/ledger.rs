//! `bench new`, `verify`, `export`, `import`: a project's ledger as a file.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use bench::{Complaint, Refused};
use serde::Serialize;
use store::record::LedgerFault;
use store::{Exported, FILE, Fault, Report};

use crate::output;

/// Makes an empty project.
pub fn new(folder: &Path, as_json: bool) -> ExitCode {
    let made = store::create_project(folder).map_err(|e| refused(&e));
    let view = made.map(|_| Made {
        project: folder.display().to_string(),
    });
    output::answer(view, as_json, |made| {
        format!(
            "An empty project is in {0}. Name the machine in machine.kdl, put sheets into sheets/, and open it:\n  knowngood bench open {0}\n",
            made.project
        )
    })
}

/// Checks a project's ledger; damage is a fault of the input.
pub fn verify(project: &Path, as_json: bool) -> ExitCode {
    let report = store::verify(&project.join(FILE)).map_err(|e| refused(&e));
    let faults = report.as_ref().map_or(&[][..], |r| &r.faults).to_vec();
    let code = output::answer(report.map(|r| Checked::of(&r)), as_json, Checked::to_text);
    told(&faults, as_json).unwrap_or(code)
}

/// Writes a project as one file.
pub fn export(project: &Path, file: &Path, as_json: bool) -> ExitCode {
    let done = write(project, file);
    let faults = done.as_ref().map_or(&[][..], |e| &e.faults).to_vec();
    let view = done.map(|done| Written {
        file: file.display().to_string(),
        entries: done.entries,
        attachments: done.attachments,
        files: done.files,
        faults: views(&done.faults),
        errors: complaints(&done.faults),
        error: complaints(&done.faults).into_iter().next(),
    });
    let code = output::answer(view, as_json, |w| {
        format!(
            "{}: {} entries, {} attachments, {} other files.\n",
            w.file, w.entries, w.attachments, w.files
        )
    });
    told(&faults, as_json).unwrap_or(code)
}

/// Makes a project from an export; without a folder one named after the file.
pub fn import(file: &Path, folder: Option<PathBuf>, as_json: bool) -> ExitCode {
    let folder = folder.unwrap_or_else(|| PathBuf::from(file.file_stem().unwrap_or_default()));
    let done = read(file).and_then(|from| store::import(from, &folder).map_err(|e| refused(&e)));
    let faults = done.as_ref().map_or(&[][..], |r| &r.faults).to_vec();
    let code = output::answer(done.map(|r| Checked::of(&r)), as_json, |checked| {
        format!(
            "The project is in {}.\n{}",
            folder.display(),
            checked.to_text()
        )
    });
    told(&faults, as_json).unwrap_or(code)
}

/// Faults of a ledger on standard error, and the exit code that they give; none if there are none.
fn told(faults: &[Fault], as_json: bool) -> Option<ExitCode> {
    if faults.is_empty() {
        return None;
    }
    if !as_json {
        for fault in faults {
            eprintln!("{}", fault.what);
        }
        eprintln!("  {HELP}");
    }
    Some(ExitCode::from(2))
}

const HELP: &str =
    "Keep a copy of bench.db as it is; `bench export` saves what can be read of the ledger.";

/// The file appears under its name once it is whole.
fn write(project: &Path, file: &Path) -> Result<Exported, Refused> {
    if !project.join(FILE).is_file() {
        return Err(refused(&LedgerFault::Absent(
            project.join(FILE).display().to_string(),
        )));
    }
    let folder = match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    if let (Ok(folder), Ok(project)) = (folder.canonicalize(), project.canonicalize())
        && folder.starts_with(&project)
    {
        return Err(Refused::input(
            format!(
                "`{}` lies in the project itself, and would be part of the next export.",
                file.display()
            ),
            "Name a file outside the project's folder.",
        ));
    }
    let part = file.with_extension("part");
    let cannot = |e: std::io::Error| {
        Refused::unable(
            format!("`{}` cannot be written: {e}.", file.display()),
            "Check that its folder is there, may be written, and has room.",
        )
    };
    let to = File::create(&part).map_err(cannot)?;
    let done = store::export(project, &to).map_err(|e| refused(&e));
    let placed = done.and_then(|done| {
        to.sync_all()
            .and_then(|()| std::fs::rename(&part, file))
            .map_err(cannot)?;
        Ok(done)
    });
    if placed.is_err() {
        let _ = std::fs::remove_file(&part);
    }
    placed
}

fn read(file: &Path) -> Result<File, Refused> {
    File::open(file).map_err(|e| {
        Refused::input(
            format!("`{}` cannot be read: {e}.", file.display()),
            "Name a file that `bench export` wrote.",
        )
    })
}

fn refused(fault: &LedgerFault) -> Refused {
    match fault {
        LedgerFault::Absent(_)
        | LedgerFault::Present(_)
        | LedgerFault::Occupied(_)
        | LedgerFault::NoExport(_)
        | LedgerFault::Newer { .. }
        | LedgerFault::Damaged { .. }
        | LedgerFault::DamagedAttachment(_) => Refused::input(fault.to_string(), fault.help()),
        _ => Refused::unable(fault.to_string(), fault.help()),
    }
}

#[derive(Serialize)]
struct Made {
    project: String,
}

#[derive(Serialize)]
struct FaultView {
    entry: Option<u64>,
    what: String,
}

fn views(faults: &[Fault]) -> Vec<FaultView> {
    let view = |f: &Fault| FaultView {
        entry: f.entry,
        what: f.what.clone(),
    };
    faults.iter().map(view).collect()
}

fn complaints(faults: &[Fault]) -> Vec<Complaint> {
    faults
        .iter()
        .map(|f| Complaint::new(&f.what, HELP))
        .collect()
}

#[derive(Serialize)]
struct Written {
    file: String,
    entries: u64,
    attachments: u64,
    files: u64,
    faults: Vec<FaultView>,
    #[serde(skip_serializing_if = "Option::is_none")]
    error: Option<Complaint>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    errors: Vec<Complaint>,
}

#[derive(Serialize)]
struct Checked {
    entries: u64,
    attachments: u64,
    last: String,
    faults: Vec<FaultView>,
    #[serde(skip_serializing_if = "Option::is_none")]
    error: Option<Complaint>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    errors: Vec<Complaint>,
}

impl Checked {
    fn of(report: &Report) -> Self {
        Self {
            entries: report.entries,
            attachments: report.attachments,
            last: report.last.to_string(),
            faults: views(&report.faults),
            error: complaints(&report.faults).into_iter().next(),
            errors: complaints(&report.faults),
        }
    }

    fn to_text(&self) -> String {
        let how = match self.faults.len() {
            0 => "The chain is whole.".to_owned(),
            1 => "One thing is off:".to_owned(),
            n => format!("{n} things are off:"),
        };
        format!(
            "{} entries, {} attachments. The last hash is\n{}\n{how}\n",
            self.entries, self.attachments, self.last
        )
    }
}
