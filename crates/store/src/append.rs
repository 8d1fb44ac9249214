//! Appends, and reads what was appended.

use record::{Attachment, Digest, Draft, Entry, LedgerFault};
use rusqlite::{Connection, OptionalExtension, Row, Transaction, TransactionBehavior, params};

use crate::body::{self, Line};
use crate::{chain, fault};

/// The last entry.
pub struct Head {
    pub number: u64,
    pub hash: Digest,
}

pub fn append(connection: &mut Connection, draft: &Draft) -> Result<Entry, LedgerFault> {
    all(connection, std::slice::from_ref(draft)).map(|mut list| list.remove(0))
}

/// All of them or none.
pub fn all(connection: &mut Connection, drafts: &[Draft]) -> Result<Vec<Entry>, LedgerFault> {
    // The lock is taken before the head is read, so that two writers never follow the same entry.
    let transaction = connection
        .transaction_with_behavior(TransactionBehavior::Immediate)
        .map_err(fault::of)?;
    let made = drafts.iter().map(|draft| put(&transaction, draft));
    let made = made.collect::<Result<Vec<Entry>, LedgerFault>>()?;
    transaction.commit().map_err(fault::of)?;
    Ok(made)
}

fn put(transaction: &Transaction, draft: &Draft) -> Result<Entry, LedgerFault> {
    if let Some(line) = by_id(transaction, draft.id.as_str())? {
        return again(line, draft);
    }
    let head = head(transaction)?;
    for hash in draft.event.attachments() {
        if !is_attached(transaction, hash)? {
            return Err(LedgerFault::NoAttachment(hash));
        }
    }
    let number = head.number + 1;
    let body = body::spell(number, draft).ok_or(LedgerFault::Unwritable)?;
    let hash = chain::link(head.hash, &body);
    let write = || {
        transaction.execute(
            "INSERT INTO entry (number, id, body, hash) VALUES (?1, ?2, ?3, ?4)",
            params![number.cast_signed(), draft.id.as_str(), body, hash.0],
        )?;
        transaction.execute(
            "UPDATE head SET number = ?1, hash = ?2",
            params![number.cast_signed(), hash.0],
        )
    };
    write().map_err(fault::of)?;
    Ok(Entry {
        number,
        id: draft.id.clone(),
        time: draft.time,
        author: draft.author.clone(),
        event: draft.event.clone(),
        hash,
    })
}

/// The same draft sent twice is one entry.
fn again(line: Line, draft: &Draft) -> Result<Entry, LedgerFault> {
    let entry = entry(&line)?;
    let same =
        entry.event == draft.event && entry.time == draft.time && entry.author == draft.author;
    if same {
        return Ok(entry);
    }
    Err(LedgerFault::Taken {
        id: draft.id.to_string(),
        number: entry.number,
    })
}

pub fn since(connection: &Connection, number: u64) -> Result<Vec<Entry>, LedgerFault> {
    // One transaction: the head and the entries are of the same moment.
    let transaction = connection.unchecked_transaction().map_err(fault::of)?;
    let head = head(&transaction)?;
    if number >= head.number {
        return Ok(Vec::new());
    }
    let mut before = hash_of(&transaction, number)?;
    let mut statement = transaction
        .prepare_cached("SELECT number, body, hash FROM entry WHERE number > ?1 ORDER BY number")
        .map_err(fault::of)?;
    let mut rows = statement.query([number.cast_signed()]).map_err(fault::of)?;
    let mut entries = Vec::new();
    let mut next = number + 1;
    while let Some(row) = rows.next().map_err(fault::of)? {
        let line = line(row).map_err(|_| fault::damaged(Some(next), "it cannot be read"))?;
        if line.number != next {
            return Err(fault::damaged(Some(next), "it is missing"));
        }
        if chain::link(before, &line.body) != line.hash {
            return Err(fault::damaged(
                Some(next),
                "its text does not give its hash",
            ));
        }
        before = line.hash;
        entries.push(entry(&line)?);
        next += 1;
    }
    if next != head.number + 1 {
        return Err(fault::damaged(Some(next), "it is missing"));
    }
    Ok(entries)
}

fn hash_of(connection: &Connection, number: u64) -> Result<Digest, LedgerFault> {
    if number == 0 {
        return Ok(Digest::NONE);
    }
    let hash = connection
        .query_row(
            "SELECT hash FROM entry WHERE number = ?1",
            [number.cast_signed()],
            |row| row.get(0).map(Digest),
        )
        .optional()
        .map_err(fault::of)?;
    hash.ok_or_else(|| fault::damaged(Some(number), "it is missing"))
}

pub fn head(connection: &Connection) -> Result<Head, LedgerFault> {
    connection
        .query_row("SELECT number, hash FROM head", [], |row| {
            Ok(Head {
                number: row.get::<_, i64>(0)?.cast_unsigned(),
                hash: Digest(row.get(1)?),
            })
        })
        .map_err(fault::of)
}

/// A row of the entry table.
pub fn line(row: &Row) -> rusqlite::Result<Line> {
    Ok(Line {
        number: row.get::<_, i64>(0)?.cast_unsigned(),
        body: row.get(1)?,
        hash: Digest(row.get(2)?),
    })
}

fn entry(line: &Line) -> Result<Entry, LedgerFault> {
    let entry = body::read(&line.body, line.hash).filter(|e| e.number == line.number);
    entry.ok_or_else(|| fault::damaged(Some(line.number), "its text is not that of an entry"))
}

fn by_id(connection: &Connection, id: &str) -> Result<Option<Line>, LedgerFault> {
    connection
        .query_row(
            "SELECT number, body, hash FROM entry WHERE id = ?1",
            [id],
            line,
        )
        .optional()
        .map_err(fault::of)
}

pub fn attach(connection: &mut Connection, attachment: &Attachment) -> Result<Digest, LedgerFault> {
    let hash = chain::sum(&attachment.bytes);
    connection
        .execute(
            "INSERT INTO attachment (hash, media, bytes) VALUES (?1, ?2, ?3) ON CONFLICT DO NOTHING",
            params![hash.0, attachment.media, attachment.bytes],
        )
        .map_err(fault::of)?;
    Ok(hash)
}

fn is_attached(connection: &Connection, hash: Digest) -> Result<bool, LedgerFault> {
    connection
        .query_row("SELECT 1 FROM attachment WHERE hash = ?1", [hash.0], |_| {
            Ok(())
        })
        .optional()
        .map_err(fault::of)
        .map(|found| found.is_some())
}

pub fn attachment(
    connection: &Connection,
    hash: Digest,
) -> Result<Option<Attachment>, LedgerFault> {
    let found = connection
        .query_row(
            "SELECT media, bytes FROM attachment WHERE hash = ?1",
            [hash.0],
            |row| {
                Ok(Attachment {
                    media: row.get(0)?,
                    bytes: row.get(1)?,
                })
            },
        )
        .optional()
        .map_err(fault::of)?;
    match found {
        Some(attachment) if chain::sum(&attachment.bytes) != hash => {
            Err(LedgerFault::DamagedAttachment(hash))
        }
        found => Ok(found),
    }
}
