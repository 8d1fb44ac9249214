//! Makes a project again from an export: the same entries with the same hashes, the same attachments, the same files.

use std::collections::HashMap;
use std::io::{Read, Seek};
use std::path::Path;

use record::{Digest, LedgerFault};
use rusqlite::{Connection, params};
use zip::ZipArchive;

use crate::export::unzipped;
use crate::folder::{FILE, make_empty, system};
use crate::verify::{Report, verify};
use crate::{body, fault, open};

/// Makes a project in a new folder from an export, and checks it. Faults in the report are those that the export came
/// with: nothing is mended, and nothing left out.
///
/// # Errors
/// If it is no export, if a line in it is no entry, or if the folder is not empty or cannot be written.
pub fn import(from: impl Read + Seek, folder: &Path) -> Result<Report, LedgerFault> {
    let mut zip = ZipArchive::new(from).map_err(unzipped)?;
    let lines = text(&mut zip, "ledger/entries.txt")?;
    let media = media(&text(&mut zip, "ledger/attachments.csv")?);
    make_empty(folder)?;
    let made = lay_out(&mut zip, &lines, &media, folder);
    if made.is_err() {
        // The folder was empty before: all that is in it is half of this import.
        let _ = std::fs::remove_dir_all(folder);
    }
    made?;
    verify(&folder.join(FILE))
}

fn lay_out<R: Read + Seek>(
    zip: &mut ZipArchive<R>,
    lines: &str,
    media: &HashMap<Digest, String>,
    folder: &Path,
) -> Result<(), LedgerFault> {
    let mut connection = open::create(&folder.join(FILE))?;
    fill(&mut connection, lines, media, zip)?;
    project(zip, folder)
}

fn text<R: Read + Seek>(zip: &mut ZipArchive<R>, name: &str) -> Result<String, LedgerFault> {
    let absent = |_| LedgerFault::NoExport(format!("it has no {name}"));
    let mut file = zip.by_name(name).map_err(absent)?;
    let mut text = String::new();
    file.read_to_string(&mut text).map_err(system)?;
    Ok(text)
}

/// Media types by hash, from the list of attachments; a media type that holds a comma is quoted there.
fn media(list: &str) -> HashMap<Digest, String> {
    let mut found = HashMap::new();
    for line in list.lines().skip(1) {
        let Some((hash, rest)) = line.split_once(',') else {
            continue;
        };
        let media = match rest.strip_prefix('"') {
            None => rest.split(',').next().unwrap_or_default().to_owned(),
            Some(quoted) => unquoted(quoted),
        };
        if let Some(hash) = Digest::read(hash) {
            found.insert(hash, media);
        }
    }
    found
}

/// Up to the closing quote; a doubled one is one.
fn unquoted(text: &str) -> String {
    let mut word = String::new();
    let mut rest = text.chars().peekable();
    while let Some(c) = rest.next() {
        match c {
            '"' if rest.peek() == Some(&'"') => {
                rest.next();
                word.push('"');
            }
            '"' => break,
            c => word.push(c),
        }
    }
    word
}

/// All in one transaction: a half-made ledger is none.
fn fill<R: Read + Seek>(
    connection: &mut Connection,
    lines: &str,
    media: &HashMap<Digest, String>,
    zip: &mut ZipArchive<R>,
) -> Result<(), LedgerFault> {
    let transaction = connection.transaction().map_err(fault::of)?;
    let names: Vec<String> = zip.file_names().map(str::to_owned).collect();
    for name in names {
        let Some(hash) = attachment_hash(&name) else {
            continue;
        };
        let mut bytes = Vec::new();
        let mut file = zip.by_name(&name).map_err(unzipped)?;
        file.read_to_end(&mut bytes).map_err(system)?;
        let media = media.get(&hash).cloned().unwrap_or_default();
        transaction
            .execute(
                "INSERT INTO attachment (hash, media, bytes) VALUES (?1, ?2, ?3)",
                params![hash.0, media, bytes],
            )
            .map_err(fault::of)?;
    }
    let mut last = (0, Digest::NONE);
    for (place, line) in lines.lines().enumerate() {
        let bad = || {
            LedgerFault::NoExport(format!(
                "line {} of ledger/entries.txt is no entry",
                place + 1
            ))
        };
        let (hash, text) = line.split_once(' ').ok_or_else(bad)?;
        let hash = Digest::read(hash).ok_or_else(bad)?;
        let entry = body::read(text, hash).ok_or_else(bad)?;
        transaction
            .execute(
                "INSERT INTO entry (number, id, body, hash) VALUES (?1, ?2, ?3, ?4)",
                params![entry.number.cast_signed(), entry.id.as_str(), text, hash.0],
            )
            .map_err(|_| bad())?;
        last = (entry.number, hash);
    }
    transaction
        .execute(
            "UPDATE head SET number = ?1, hash = ?2",
            params![last.0.cast_signed(), last.1.0],
        )
        .map_err(fault::of)?;
    transaction.commit().map_err(fault::of)
}

/// `attachments/HASH.ENDING`.
fn attachment_hash(name: &str) -> Option<Digest> {
    let (hash, _) = name.strip_prefix("attachments/")?.split_once('.')?;
    Digest::read(hash)
}

/// The project's own files. A name that would lead out of the folder is refused.
fn project<R: Read + Seek>(zip: &mut ZipArchive<R>, folder: &Path) -> Result<(), LedgerFault> {
    for index in 0..zip.len() {
        let mut file = zip.by_index(index).map_err(unzipped)?;
        let Some(name) = file.name().strip_prefix("project/").map(str::to_owned) else {
            continue;
        };
        let is_ledger = name.starts_with(FILE) && !name.contains('/');
        let stays = name.split('/').all(|part| !matches!(part, "" | "." | ".."))
            && !name.contains(['\\', ':']);
        if is_ledger || !stays {
            return Err(LedgerFault::NoExport(format!(
                "`{name}` is no name of a project's file"
            )));
        }
        let path = folder.join(&name);
        let parent = path.parent().unwrap_or(folder);
        std::fs::create_dir_all(parent).map_err(system)?;
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).map_err(system)?;
        std::fs::write(path, bytes).map_err(system)?;
    }
    // Empty folders leave no trace in an export, and a person looks for these.
    for name in ["sheets", "readings"] {
        std::fs::create_dir_all(folder.join(name)).map_err(system)?;
    }
    Ok(())
}
