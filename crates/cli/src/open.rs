//! `bench open`: a project folder in the browser.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

use bench::captures::CaptureFile;
use bench::project::ProjectText;
use bench::stores::StoreFile;
use bench::{Complaint, Refused, Text};
use store::record::LedgerFault;
use store::{FILE, Store};
use web::Unsaved;

use crate::{demo, files, output};

/// Serves a project until the process ends; without a folder the demo.
pub fn open(project: Option<PathBuf>, port: Option<u16>) -> ExitCode {
    match start(project, port) {
        Ok((server, folder)) => {
            output::print(&format!(
                "The bench of {} is open at {}\nPress Ctrl-C to close it.\n",
                folder.0.display(),
                server.address()
            ));
            let ledger = ledger(&folder.0);
            if let Err(why) = &ledger {
                output::print(&format!(
                    "{why} What is entered cannot be kept; the pages can be read.\n"
                ));
            }
            match server.run(Arc::new(folder), ledger) {
                Ok(()) => ExitCode::SUCCESS,
                Err(fault) => output::refusal(
                    &Refused::unable(fault.to_string(), "Start it again."),
                    false,
                ),
            }
        }
        Err(refused) => output::refusal(&refused, false),
    }
}

fn start(project: Option<PathBuf>, port: Option<u16>) -> Result<(web::Server, Folder), Refused> {
    let folder = match project {
        Some(folder) if folder.is_dir() => folder,
        Some(folder) => {
            return Err(Refused::input(
                format!("`{}` is not a folder.", folder.display()),
                "Name the folder that holds machine.kdl and sheets/.",
            ));
        }
        None => demo::folder()?,
    };
    let server = web::Server::bind(port).map_err(|fault| {
        Refused::unable(
            fault.to_string(),
            "Name another with --port, or none to take one that is free.",
        )
    })?;
    Ok((server, Folder(folder)))
}

/// The project's ledger, a new one if there is none. Where it may not be written it is read, and appending says why it
/// cannot.
fn ledger(folder: &Path) -> web::Found {
    let path = folder.join(FILE);
    let store = match Store::open(&path) {
        Err(LedgerFault::Absent(_)) => Store::create(&path),
        opened => opened,
    };
    let found = match store {
        Err(LedgerFault::ReadOnly | LedgerFault::System(_)) if path.is_file() => Store::look(&path),
        store => store,
    };
    match found {
        Ok(store) => Ok(Arc::new(store)),
        Err(fault) => Err(format!("{fault} {}", fault.help())),
    }
}

/// A project folder.
#[derive(Debug)]
struct Folder(PathBuf);

impl Folder {
    /// Another number whenever a file was changed.
    fn stamp_of(&self, name: &str) -> u64 {
        let mut hasher = DefaultHasher::new();
        if let Ok(metadata) = std::fs::metadata(self.0.join(name)) {
            metadata.len().hash(&mut hasher);
            metadata.modified().ok().hash(&mut hasher);
        }
        hasher.finish()
    }

    /// Paths of all texts: what they are for, and the name relative to the folder.
    fn texts(&self) -> Vec<(What, String)> {
        let mut list = Vec::new();
        for (what, name) in [
            (What::Machine, "machine.kdl"),
            (What::Meter, "meter.kdl"),
            (What::Meter, "sheets/meter.kdl"),
        ] {
            if self.0.join(name).is_file() {
                list.push((what, name.to_owned()));
            }
        }
        let all = |folder: &str, ending: &str| {
            let entries = std::fs::read_dir(self.0.join(folder))
                .into_iter()
                .flatten()
                .flatten();
            let mut names: Vec<String> = entries
                .filter(|e| e.path().is_file())
                .filter_map(|e| e.file_name().into_string().ok())
                .filter(|n| n.ends_with(ending) && !n.starts_with('.'))
                .collect();
            names.sort();
            names
        };
        let sheets = all("sheets", ".kdl");
        let is_flat = sheets.is_empty() && !list.iter().any(|(w, _)| *w == What::Machine);
        if is_flat {
            // A folder of nothing but sheets.
            let own = all("", ".kdl").into_iter().filter(|n| n != "meter.kdl");
            list.extend(own.map(|n| (What::Sheet, n)));
        }
        let sheets = sheets.into_iter().filter(|n| n != "meter.kdl");
        list.extend(sheets.map(|n| (What::Sheet, format!("sheets/{n}"))));
        list.extend(
            all("readings", ".csv")
                .into_iter()
                .map(|n| (What::Readings, format!("readings/{n}"))),
        );
        for (what, under) in [(What::Store, "stores"), (What::Logic, "logic")] {
            let shapes = all(under, ".kdl");
            list.extend(shapes.iter().map(|n| (what, format!("{under}/{n}"))));
        }
        let abouts = all("captures", ".kdl");
        list.extend(
            abouts
                .iter()
                .map(|n| (What::About, format!("captures/{n}"))),
        );
        let keyboards = all("logic", ".keys");
        list.extend(
            keyboards
                .iter()
                .map(|n| (What::Logic, format!("logic/{n}"))),
        );
        for (what, room) in [
            (What::Store, "stores"),
            (What::Logic, "logic"),
            (What::Capture, "captures"),
        ] {
            let folders = std::fs::read_dir(self.0.join(room))
                .into_iter()
                .flatten()
                .flatten();
            let mut folders: Vec<String> = folders
                .filter(|e| e.path().is_dir())
                .filter_map(|e| e.file_name().into_string().ok())
                .collect();
            folders.sort();
            for folder in folders {
                let folder = format!("{room}/{folder}");
                let files = all(&folder, "");
                list.extend(files.into_iter().map(|n| (what, format!("{folder}/{n}"))));
            }
        }
        list
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum What {
    About,
    Capture,
    Store,
    Logic,
    Machine,
    Meter,
    Sheet,
    Readings,
}

impl web::Source for Folder {
    fn stamp(&self) -> u64 {
        let mut hasher = DefaultHasher::new();
        for (what, name) in self.texts() {
            (what, &name, self.stamp_of(&name)).hash(&mut hasher);
        }
        hasher.finish()
    }

    fn open(&self, name: &str) -> Result<Box<dyn Read + Send>, String> {
        let file = std::fs::File::open(self.0.join(name))
            .map_err(|e| format!("{name} cannot be read: {e}."))?;
        Ok(Box::new(file))
    }

    fn read(&self) -> ProjectText {
        let mut project = ProjectText {
            name: folder_name(&self.0),
            ..ProjectText::default()
        };
        for (what, name) in self.texts() {
            if what == What::Capture {
                let stamp = self.stamp_of(&name);
                project.captures.push(CaptureFile { file: name, stamp });
                continue;
            }
            if matches!(what, What::Store | What::Logic) {
                match std::fs::read(self.0.join(&name)) {
                    Ok(bytes) => {
                        let file = StoreFile {
                            file: name,
                            bytes: bytes.into(),
                        };
                        match what {
                            What::Logic => project.logic.push(file),
                            _ => project.stores.push(file),
                        }
                    }
                    Err(e) => project.unreadable.push(Complaint {
                        file: Some(name),
                        ..Complaint::new(
                            format!("The file cannot be read: {e}."),
                            "Check that it may be read.",
                        )
                    }),
                }
                continue;
            }
            let text = match files::read(&self.0.join(&name)) {
                Ok(text) => Text { file: name, ..text },
                Err(refused) => {
                    let own = |c: &Complaint| Complaint {
                        file: Some(name.clone()),
                        ..c.clone()
                    };
                    project
                        .unreadable
                        .extend(refused.complaints().iter().map(own));
                    continue;
                }
            };
            match what {
                What::Machine => project.machine = Some(text),
                What::Meter => {
                    project.meter.get_or_insert(text);
                }
                What::Sheet => project.sheets.push(text),
                What::Readings => project.readings.push(text),
                What::About => project.abouts.push(text),
                What::Store | What::Logic | What::Capture => {}
            }
        }
        project
    }

    fn write(&self, name: &str, before: Option<&str>, text: &str) -> Result<(), Unsaved> {
        store::write_text(&self.0, name, before, text).map_err(|e| match e {
            store::Unwritten::Name => {
                Unsaved::Cannot(format!("`{name}` is no name for a text of a project."))
            }
            store::Unwritten::Changed => Unsaved::Changed,
            store::Unwritten::System(error) => {
                Unsaved::Cannot(format!("{name} cannot be written: {error}."))
            }
        })
    }
}

fn folder_name(folder: &Path) -> String {
    let full = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
    full.file_name()
        .map_or_else(|| "Bench".to_owned(), |n| n.to_string_lossy().into_owned())
}
