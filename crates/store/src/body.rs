//! An entry as the disk has it, and the way there and back.

mod back;
mod there;
mod twins;

use record::{Digest, Draft, Entry, Event, Id, Moment};
use serde::Deserialize;
use serde_json::Value;
use serde_json::value::RawValue;

use crate::canon;

pub use twins::Twin;

/// A row of the entry table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// Its number.
    pub number: u64,
    /// Canonical JSON.
    pub body: String,
    /// The hash that was kept with it.
    pub hash: Digest,
}

/// The body of an entry; none if it cannot be written and read back as the same.
pub fn spell(number: u64, draft: &Draft) -> Option<String> {
    let event = match &draft.event {
        Event::Unknown(_) => return None,
        event => there::twin(event)?,
    };
    let mut event = serde_json::to_value(event).ok()?;
    prune(&mut event);
    let body = canon::spell(&serde_json::json!({
        "author": draft.author,
        "event": event,
        "id": draft.id.as_str(),
        "number": number,
        "time": draft.time.to_string(),
    }));
    let same = read(&body, Digest::NONE).is_some_and(|e| e.event == draft.event);
    same.then_some(body)
}

/// What is absent is not written.
fn prune(value: &mut Value) {
    match value {
        Value::Object(members) => {
            members.retain(|_, v| !v.is_null());
            members.values_mut().for_each(prune);
        }
        Value::Array(items) => items.iter_mut().for_each(prune),
        _ => {}
    }
}

/// What surrounds an event.
#[derive(Deserialize)]
struct Frame<'a> {
    author: String,
    #[serde(borrow)]
    event: &'a RawValue,
    id: String,
    number: u64,
    time: String,
}

/// Kind alone.
#[derive(Deserialize)]
struct Kind {
    kind: String,
}

/// The entry that a body says; none if it is no body at all. An event that this version does not know is kept as it is.
pub fn read(body: &str, hash: Digest) -> Option<Entry> {
    let frame: Frame = serde_json::from_str(body).ok()?;
    Some(Entry {
        number: frame.number,
        id: Id::new(&frame.id)?,
        time: Moment::read(&frame.time)?,
        author: frame.author,
        event: event(frame.event.get()),
        hash,
    })
}

fn event(text: &str) -> Event {
    let known = serde_json::from_str::<Twin>(text)
        .ok()
        .and_then(back::event);
    known.unwrap_or_else(|| {
        let kind = serde_json::from_str::<Kind>(text).map_or_else(|_| String::new(), |k| k.kind);
        Event::Unknown(record::event::Unknown {
            kind,
            content: text.to_owned(),
        })
    })
}
