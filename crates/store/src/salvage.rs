//! Reads what can be read of a file that may be damaged: by SQLite in order, then one by one, then from the bare bytes.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use record::{Digest, LedgerFault};
use rusqlite::Connection;
use serde_json::value::RawValue;

use crate::append::{self, Head};
use crate::body::{self, Line};
use crate::{fault, folder, journal, open};

/// No ledger has more entries than this; a larger number in a damaged file is not believed.
const MOST: u64 = 10_000_000;

/// What was read.
pub struct Salvage {
    /// Lines by their number, chained or not.
    pub lines: BTreeMap<u64, Line>,
    /// Numbers of lines that were not in their place; of these a copy was found elsewhere in the file.
    pub strays: BTreeSet<u64>,
    /// The last entry, by the file's own word.
    pub head: Option<Head>,
    /// Hashes of the attachments that are listed.
    pub attachments: BTreeSet<Digest>,
    /// Why something could not be read.
    pub faults: Vec<String>,
    connection: Option<Connection>,
    /// What was read instead of the file, if its journal is broken; it goes with what was read of it.
    _copy: Option<Copy>,
}

/// A copy of a ledger with a journal that was mended, in a folder of its own.
struct Copy(PathBuf);

impl Copy {
    fn of(path: &Path, journal: &[u8]) -> std::io::Result<Self> {
        static COUNT: AtomicUsize = AtomicUsize::new(0);
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let name = format!("knowngood-salvage-{}-{number}", std::process::id());
        let copy = Self(std::env::temp_dir().join(name));
        std::fs::create_dir_all(&copy.0)?;
        std::fs::copy(path, copy.file())?;
        std::fs::write(journal::beside(&copy.file()), journal)?;
        Ok(copy)
    }

    fn file(&self) -> PathBuf {
        self.0.join("copy.db")
    }
}

impl Drop for Copy {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

impl Salvage {
    /// An attachment, whether its content still gives its hash or not.
    pub fn attachment(&self, hash: Digest) -> Option<(String, Vec<u8>)> {
        let connection = self.connection.as_ref()?;
        let query = "SELECT media, bytes FROM attachment WHERE hash = ?1";
        let found = connection.query_row(query, [hash.0], |row| {
            Ok((row.get_ref(0)?.as_bytes()?.to_vec(), row.get(1)?))
        });
        let (media, bytes) = found.ok()?;
        Some((String::from_utf8_lossy(&media).into_owned(), bytes))
    }
}

/// Reads a ledger's file.
///
/// # Errors
/// If there is no file, or a later version wrote it; damage is no error here.
pub fn salvage(path: &Path) -> Result<Salvage, LedgerFault> {
    let mut found = Salvage {
        lines: BTreeMap::new(),
        strays: BTreeSet::new(),
        head: None,
        attachments: BTreeSet::new(),
        faults: Vec::new(),
        connection: None,
        _copy: None,
    };
    let mut file = path.to_owned();
    if let Some(journal) = journal::mended(path) {
        let copy = Copy::of(path, &journal).map_err(folder::system)?;
        found
            .faults
            .push(fault::damaged(None, journal::BROKEN).to_string());
        file = copy.file();
        found._copy = Some(copy);
    }
    let path = file.as_path();
    match open::open(path) {
        Ok(connection) => {
            by_query(&connection, &mut found);
            found.connection = Some(connection);
        }
        Err(e @ LedgerFault::Damaged { .. }) => found.faults.push(e.to_string()),
        Err(other) => return Err(other),
    }
    let expected = found.head.as_ref().map(|h| h.number);
    if !found.faults.is_empty() || expected != Some(found.lines.len() as u64) {
        from_bytes(path, &mut found)?;
    }
    Ok(found)
}

fn by_query(connection: &Connection, found: &mut Salvage) {
    match integrity(connection) {
        Ok(list) => found.faults.extend(list),
        Err(e) => found.faults.push(fault::of(e).to_string()),
    }
    match append::head(connection) {
        Ok(head) => found.head = Some(head),
        Err(e) => found.faults.push(e.to_string()),
    }
    if let Err(e) = in_order(connection, &mut found.lines) {
        found.faults.push(fault::of(e).to_string());
    }
    let last = found.head.as_ref().map_or(0, |h| h.number).min(MOST);
    if found.lines.len() as u64 != last {
        one_by_one(connection, last, &mut found.lines);
    }
    if let Err(e) = attachments(connection, &mut found.attachments) {
        found.faults.push(fault::of(e).to_string());
    }
}

/// What SQLite finds wrong with its own pages.
fn integrity(connection: &Connection) -> rusqlite::Result<Vec<String>> {
    let mut statement = connection.prepare("PRAGMA integrity_check")?;
    let rows = statement.query_map([], |row| row.get::<_, String>(0))?;
    let mut list: Vec<String> = rows.collect::<rusqlite::Result<_>>()?;
    list.retain(|line| line != "ok");
    let words = |line: String| {
        format!(
            "The file's pages do not fit together: {}.",
            line.trim().replace('\n', " ")
        )
    };
    Ok(list.into_iter().map(words).collect())
}

fn in_order(connection: &Connection, lines: &mut BTreeMap<u64, Line>) -> rusqlite::Result<()> {
    let mut statement =
        connection.prepare("SELECT number, body, hash FROM entry ORDER BY number")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        if let Ok(line) = append::line(row) {
            lines.insert(line.number, line);
        }
    }
    Ok(())
}

fn one_by_one(connection: &Connection, last: u64, lines: &mut BTreeMap<u64, Line>) {
    let query = "SELECT number, body, hash FROM entry WHERE number = ?1";
    let Ok(mut statement) = connection.prepare(query) else {
        return;
    };
    for number in 1..=last {
        if !lines.contains_key(&number)
            && let Ok(line) = statement.query_row([number.cast_signed()], append::line)
        {
            lines.insert(number, line);
        }
    }
}

/// By the table, and by its index: either may be damaged alone.
fn attachments(connection: &Connection, hashes: &mut BTreeSet<Digest>) -> rusqlite::Result<()> {
    let mut all = Ok(());
    for query in [
        "SELECT hash FROM attachment NOT INDEXED",
        "SELECT hash FROM attachment ORDER BY hash",
    ] {
        let mut read = || {
            let mut statement = connection.prepare(query)?;
            let mut rows = statement.query([])?;
            while let Some(row) = rows.next()? {
                if let Ok(hash) = row.get(0) {
                    hashes.insert(Digest(hash));
                }
            }
            Ok(())
        };
        all = all.and(read());
    }
    all
}

/// How every body begins: the names in it are in order.
const BEGINNING: &[u8] = b"{\"author\":";

/// Finds entries without any help of the tables: in a row the hash follows the body.
fn from_bytes(path: &Path, found: &mut Salvage) -> Result<(), LedgerFault> {
    let mut bytes = std::fs::read(path).map_err(|e| LedgerFault::System(e.to_string()))?;
    // What was written last may stand in the journal alone; a line is never cut by the seam, for pages are whole.
    bytes.extend(std::fs::read(journal::beside(path)).unwrap_or_default());
    let mut at = 0;
    while let Some(skipped) = bytes[at..]
        .windows(BEGINNING.len())
        .position(|w| w == BEGINNING)
    {
        at += skipped;
        if let Some(line) = line_at(&bytes[at..])
            && let Entry::Vacant(place) = found.lines.entry(line.number)
        {
            found.strays.insert(line.number);
            place.insert(line);
        }
        at += BEGINNING.len();
    }
    Ok(())
}

fn line_at(bytes: &[u8]) -> Option<Line> {
    let mut values = serde_json::Deserializer::from_slice(bytes).into_iter::<&RawValue>();
    let body = values.next()?.ok()?.get();
    let hash = bytes.get(body.len()..body.len() + 32)?;
    let hash = Digest(hash.try_into().ok()?);
    let entry = body::read(body, hash)?;
    Some(Line {
        number: entry.number,
        body: body.to_owned(),
        hash,
    })
}
