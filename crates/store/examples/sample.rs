//! Makes the sample of this version's file format: `sample FILE`. To be run once for each released format; the sample is
//! then kept and never made again.

#[path = "../tests/generate/mod.rs"]
mod generate;

use generate::{KINDS, Pieces, event};
use record::{Attachment, Draft, Id, Ledger, Moment};
use store::Store;

fn main() {
    let file = std::env::args().nth(1).expect("sample FILE");
    let store = Store::create(file.as_ref()).expect("a new file");
    let media = "image/png".to_owned();
    let attachment = Attachment {
        media,
        bytes: (0..=255).collect(),
    };
    let hash = store.attach(&attachment).expect("attached");
    for (number, (kind, full)) in (0..KINDS).flat_map(|k| [(k, true), (k, false)]).enumerate() {
        let draft = Draft {
            id: Id::new(&format!("sample-{number}")).expect("an id"),
            time: Moment::new(1_709_287_200_000 + 61_001 * number as i64).expect("a moment"),
            author: if full { "restorer" } else { "" }.to_owned(),
            event: event(kind, &Pieces::plain(hash, full)),
        };
        store.append(&draft).expect("appended");
    }
}
