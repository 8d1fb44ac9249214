//! What is appended is read back as it was, chained, and never changed.

mod generate;

use generate::{any_drafts, folder, reading};
use proptest::prelude::*;
use record::event::{Correction, Note, Photo, Site, Unknown};
use record::event::{Face, Point};
use record::{Attachment, Digest, Draft, Event, Id, Ledger, LedgerFault, Work};
use store::{FORMAT, Store, sum, verify};

/// A ledger in a fresh folder.
fn fresh(name: &str) -> Store {
    Store::create(&folder(name).join("bench.db")).expect("a ledger")
}

fn draft(id: &str, event: Event) -> Draft {
    Draft {
        id: Id::new(id).expect("an id"),
        ..Draft {
            event,
            ..reading(1, "me")
        }
    }
}

fn picture() -> Attachment {
    Attachment {
        media: "image/jpeg".to_owned(),
        bytes: b"not really a picture".to_vec(),
    }
}

fn photo(attachment: Digest) -> Event {
    Event::Photo(Photo {
        site: Site {
            unit: "1".to_owned(),
            board: Some("A2".to_owned()),
        },
        face: Face::Solder,
        caption: "as found".to_owned(),
        attachment,
    })
}

#[test]
fn sums_are_sha_256() {
    // FIPS 180-4, examples of NIST's Cryptographic Standards and Guidelines for "abc" and the empty message.
    let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    let none = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855";
    assert_eq!(sum(b"abc").to_string(), abc);
    assert_eq!(sum(b"").to_string(), none);
    assert_eq!(Digest::read(abc), Some(sum(b"abc")));
    assert_eq!(Digest::read(&abc.to_uppercase()), None);
}

#[test]
fn the_same_draft_twice_is_one_entry_and_an_id_is_taken_once() {
    let store = fresh("twice");
    let first = store.append(&reading(1, "me")).expect("appended");
    assert_eq!(store.append(&reading(1, "me")), Ok(first.clone()));
    let other = Draft {
        id: first.id.clone(),
        ..reading(2, "me")
    };
    let taken = LedgerFault::Taken {
        id: "me-1".to_owned(),
        number: 1,
    };
    assert_eq!(store.append(&other), Err(taken));
    assert_eq!(store.since(0), Ok(vec![first]));
}

#[test]
fn a_ledger_is_made_once_and_opened_only_where_there_is_one() {
    let place = folder("made").join("bench.db");
    assert!(matches!(Store::open(&place), Err(LedgerFault::Absent(_))));
    drop(Store::create(&place).expect("made"));
    assert!(matches!(
        Store::create(&place),
        Err(LedgerFault::Present(_))
    ));
    assert_eq!(Store::open(&place).expect("opened").last(), Ok(0));
    std::fs::write(&place, "a shopping list, long enough to be taken for the header of something else, and then some more of it")
        .expect("written");
    assert!(matches!(
        Store::open(&place),
        Err(LedgerFault::Damaged { number: None, .. })
    ));
}

#[test]
fn a_file_of_a_later_format_is_left_alone() {
    let place = folder("later").join("bench.db");
    drop(Store::create(&place).expect("made"));
    let connection = rusqlite::Connection::open(&place).expect("opened");
    connection
        .pragma_update(None, "user_version", FORMAT.cast_signed() + 1)
        .expect("set");
    drop(connection);
    let newer = LedgerFault::Newer {
        found: FORMAT + 1,
        known: FORMAT,
    };
    assert_eq!(Store::open(&place).err(), Some(newer));
}

#[test]
fn the_file_itself_refuses_to_change_or_delete() {
    let store = fresh("refuses");
    store.append(&reading(1, "me")).expect("appended");
    store.attach(&picture()).expect("attached");
    let connection = rusqlite::Connection::open(store.path()).expect("opened");
    for (statement, why) in [
        ("UPDATE entry SET body = ''", "an entry is never changed"),
        ("DELETE FROM entry", "an entry is never deleted"),
        (
            "UPDATE attachment SET media = ''",
            "an attachment is never changed",
        ),
        ("DELETE FROM attachment", "an attachment is never deleted"),
    ] {
        let refused = connection.execute(statement, []).expect_err(statement);
        assert!(refused.to_string().contains(why), "{refused}");
    }
}

#[test]
fn an_entry_names_only_attachments_that_are_there() {
    let store = fresh("attached");
    let hash = sum(&picture().bytes);
    assert_eq!(
        store.append(&draft("a", photo(hash))),
        Err(LedgerFault::NoAttachment(hash))
    );
    assert_eq!(store.last(), Ok(0));
    assert_eq!(store.attach(&picture()), Ok(hash));
    // Once more under another media type: the same content is kept once.
    let again = Attachment {
        media: "image/png".to_owned(),
        ..picture()
    };
    assert_eq!(store.attach(&again), Ok(hash));
    assert_eq!(store.attachment(hash), Ok(Some(picture())));
    assert_eq!(store.attachment(Digest([1; 32])), Ok(None));
    store.append(&draft("a", photo(hash))).expect("appended");
    let nested = Event::Correction(Correction {
        entry: Id::new("a").expect("an id"),
        reason: "wrong picture".to_owned(),
        instead: Some(Box::new(photo(Digest([1; 32])))),
    });
    assert_eq!(
        store.append(&draft("b", nested)),
        Err(LedgerFault::NoAttachment(Digest([1; 32])))
    );
}

#[test]
fn what_cannot_be_read_back_as_the_same_is_not_written() {
    let store = fresh("unwritable");
    let point = |x| {
        Event::Point(Point {
            photo: Id::new("p").expect("an id"),
            name: "TP3".to_owned(),
            x,
            y: 0.5,
        })
    };
    for x in [f64::NAN, f64::INFINITY] {
        assert_eq!(
            store.append(&draft("a", point(x))),
            Err(LedgerFault::Unwritable)
        );
    }
    let unknown = Event::Unknown(Unknown {
        kind: "smell".to_owned(),
        content: "{}".to_owned(),
    });
    assert_eq!(
        store.append(&draft("a", unknown)),
        Err(LedgerFault::Unwritable)
    );
    assert_eq!(store.last(), Ok(0));
}

/// Writes an entry as a later version might, with the chain as it has to be.
fn write_raw(store: &Store, event: &str) {
    let connection = rusqlite::Connection::open(store.path()).expect("opened");
    let (number, before): (i64, [u8; 32]) = connection
        .query_row("SELECT number, hash FROM head", [], |r| {
            Ok((r.get(0)?, r.get(1)?))
        })
        .expect("a head");
    let number = number + 1;
    let body = format!(
        r#"{{"author":"me","event":{event},"id":"late-{number}","number":{number},"time":"2031-01-01T00:00:00.000Z"}}"#
    );
    let hash = sum(&[&before[..], body.as_bytes()].concat());
    connection
        .execute(
            "INSERT INTO entry VALUES (?1, ?2, ?3, ?4)",
            rusqlite::params![number, format!("late-{number}"), body, hash.0],
        )
        .expect("inserted");
    connection
        .execute(
            "UPDATE head SET number = ?1, hash = ?2",
            rusqlite::params![number, hash.0],
        )
        .expect("updated");
}

#[test]
fn kinds_of_a_later_version_are_kept_and_shown_as_such() {
    let store = fresh("unknown");
    store.append(&reading(1, "me")).expect("appended");
    let smell = r#"{"kind":"smell","of":"shellac","strength":3}"#;
    // A known kind with a word that is not known, and one with a field too many.
    let touch =
        r#"{"how":"warmed","kind":"touch","reason":"why not","site":{"unit":"1"},"what":"J1"}"#;
    let note = r#"{"colour":"blue","kind":"note","site":{"unit":"1"},"text":"hello"}"#;
    for event in [smell, touch, note] {
        write_raw(&store, event);
    }
    let last = store
        .append(&reading(2, "me"))
        .expect("appended behind them");
    let entries = store.since(0).expect("read");
    let unknown = |kind: &str, content: &str| {
        Event::Unknown(Unknown {
            kind: kind.to_owned(),
            content: content.to_owned(),
        })
    };
    assert_eq!(entries[1].event, unknown("smell", smell));
    assert_eq!(entries[2].event, unknown("touch", touch));
    let site = Site {
        unit: "1".to_owned(),
        board: None,
    };
    assert_eq!(
        entries[3].event,
        Event::Note(Note {
            site,
            text: "hello".to_owned()
        })
    );
    let report = verify(store.path()).expect("checked");
    assert_eq!(
        (report.faults, report.entries, report.last),
        (vec![], 5, last.hash)
    );
    // They go through an export with every field they have.
    let here = store.path().parent().expect("a folder");
    let mut zip = std::io::Cursor::new(Vec::new());
    store::export(here, &mut zip).expect("exported");
    let there = folder("unknown-again");
    assert_eq!(
        store::import(zip, &there).expect("imported").last,
        last.hash
    );
    assert_eq!(
        Store::open(&there.join("bench.db"))
            .expect("opened")
            .since(0),
        Ok(entries)
    );
}

#[test]
fn the_work_of_a_ledger_follows_it() {
    let store = fresh("follows");
    let mut work = Work::default();
    for number in 1..=5 {
        store.append(&reading(number, "me")).expect("appended");
        work.extend(store.since(work.last()).expect("read"));
        assert_eq!(work.last(), number as u64);
    }
    assert_eq!(work.readings(Some("A2")).count(), 5);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    /// Every kind of event comes back as it was, and the chain can be recomputed from the README's words alone.
    #[test]
    fn what_is_appended_is_read_back(drafts in any_drafts(vec![sum(b"x"), sum(b"y")], 24)) {
        let store = fresh("read-back");
        for bytes in [b"x", b"y"] {
            store.attach(&Attachment { media: "text/plain".to_owned(), bytes: bytes.to_vec() }).expect("attached");
        }
        let mut appended = Vec::new();
        for draft in &drafts {
            let entry = store.append(draft).expect("appended");
            prop_assert_eq!(&entry.event, &draft.event);
            appended.push(entry);
        }
        let path = store.path().to_owned();
        drop(store);
        let store = Store::open(&path).expect("opened");
        prop_assert_eq!(store.since(0).expect("read"), appended.clone());
        let half = appended.len() / 2;
        prop_assert_eq!(store.since(half as u64).expect("read"), appended[half..].to_vec());

        let connection = rusqlite::Connection::open(&path).expect("opened");
        let mut statement = connection.prepare("SELECT body, hash FROM entry ORDER BY number").expect("prepared");
        let rows = statement.query_map([], |r| Ok((r.get::<_, String>(0)?, r.get::<_, [u8; 32]>(1)?))).expect("queried");
        let mut before = [0; 32];
        for row in rows {
            let (body, hash) = row.expect("a row");
            prop_assert_eq!(sum(&[&before[..], body.as_bytes()].concat()).0, hash);
            // Canonical: names in order, no blanks; serde_json's own map keeps names in order, too.
            let value: std::collections::BTreeMap<String, serde_json::Value> = serde_json::from_str(&body).expect("JSON");
            prop_assert_eq!(serde_json::to_string(&value).expect("JSON"), body);
            before = hash;
        }
        prop_assert_eq!(verify(&path).expect("checked").faults, vec![]);
    }
}
