//! Everything in one file: a zip that is read without the program, and from which the program makes the same again.

use std::io::{Seek, Write};
use std::path::Path;

use record::{LedgerFault, Work};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use crate::body::Line;
use crate::folder::{FILE, files, system};
use crate::salvage::{Salvage, salvage};
use crate::verify::{Fault, report};
use crate::{body, plain};

const README: &str = include_str!("readme.txt");

/// What was exported.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Exported {
    /// Entries.
    pub entries: u64,
    /// Attachments.
    pub attachments: u64,
    /// Files of the project's folder.
    pub files: u64,
    /// What is off in the ledger; what of it could be read was exported all the same.
    pub faults: Vec<Fault>,
}

/// Writes a project's folder, with the ledger in it, as one zip.
///
/// # Errors
/// If the folder holds no ledger or cannot be read, or the zip cannot be written. Damage is no error here: what can be
/// read is exported, and the rest is named.
pub fn export(folder: &Path, to: impl Write + Seek) -> Result<Exported, LedgerFault> {
    let found = salvage(&folder.join(FILE))?;
    let report = report(&found);
    let entries = found.lines.values();
    let work = Work::of(entries.filter_map(|line| body::read(&line.body, line.hash)));
    let mut zip = Zip::of(to);
    zip.text("README.txt", &readme(&report.faults))?;
    let mut count = 0;
    for (name, path) in files(folder).map_err(system)? {
        zip.bytes(
            &format!("project/{name}"),
            &std::fs::read(path).map_err(system)?,
        )?;
        count += 1;
    }
    zip.text("ledger/ledger.txt", &plain::ledger(&work))?;
    for (name, text) in plain::tables(&work) {
        zip.text(&format!("ledger/{name}"), &text)?;
    }
    let (good, bad): (Vec<&Line>, Vec<&Line>) =
        found.lines.values().partition(|line| is_entry(line));
    let spelled = |line: &&Line| format!("{} {}\n", line.hash, line.body);
    let lines: String = good.iter().map(spelled).collect();
    zip.text("ledger/entries.txt", &lines)?;
    if !bad.is_empty() {
        let lines: String = bad.iter().map(spelled).collect();
        zip.text("ledger/damaged.txt", &lines)?;
    }
    let list = attachments(&found, &mut zip)?;
    zip.text("ledger/attachments.csv", &plain::attachments(&list, &work))?;
    zip.finish()?;
    Ok(Exported {
        entries: good.len() as u64,
        attachments: list.len() as u64,
        files: count,
        faults: report.faults,
    })
}

/// Whether a line can stand among the entries; one that damage has made unreadable stands apart.
fn is_entry(line: &Line) -> bool {
    let entry = body::read(&line.body, line.hash);
    entry.is_some_and(|e| e.number == line.number) && !line.body.contains(['\n', '\r'])
}

fn readme(faults: &[Fault]) -> String {
    if faults.is_empty() {
        return README.to_owned();
    }
    let list: Vec<String> = faults.iter().map(|f| format!("- {}\n", f.what)).collect();
    format!(
        "{README}\nThe ledger was damaged when this was written. What could be read is here; this is off\n(entries that are no longer readable as such stand in ledger/damaged.txt):\n{}",
        list.concat()
    )
}

/// Hash, media type and size of each attachment that could be read, damaged ones included.
fn attachments<W: Write + Seek>(
    found: &Salvage,
    zip: &mut Zip<W>,
) -> Result<Vec<(record::Digest, String, usize)>, LedgerFault> {
    let mut list = Vec::new();
    for hash in &found.attachments {
        if let Some((media, bytes)) = found.attachment(*hash) {
            zip.bytes(&plain::attachment_file(*hash, &media), &bytes)?;
            list.push((*hash, media, bytes.len()));
        }
    }
    Ok(list)
}

struct Zip<W: Write + Seek>(ZipWriter<W>);

impl<W: Write + Seek> Zip<W> {
    fn of(to: W) -> Self {
        Self(ZipWriter::new(to))
    }

    fn text(&mut self, name: &str, text: &str) -> Result<(), LedgerFault> {
        self.bytes(name, text.as_bytes())
    }

    /// The date of each file is the format's earliest: an export of the same project is the same file.
    fn bytes(&mut self, name: &str, bytes: &[u8]) -> Result<(), LedgerFault> {
        let options = SimpleFileOptions::default()
            .compression_method(CompressionMethod::Deflated)
            .large_file(u32::try_from(bytes.len()).is_err());
        let started = self.0.start_file(name, options);
        started.map_err(unzipped)?;
        self.0.write_all(bytes).map_err(system)
    }

    fn finish(self) -> Result<(), LedgerFault> {
        let mut to = self.0.finish().map_err(unzipped)?;
        to.flush().map_err(system)
    }
}

/// What the zip library said.
pub fn unzipped(error: zip::result::ZipError) -> LedgerFault {
    match error {
        zip::result::ZipError::Io(error) => system(error),
        other => LedgerFault::NoExport(other.to_string()),
    }
}
