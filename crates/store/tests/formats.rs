//! Every released format of the ledger's file is opened for ever: each has a sample here.

mod generate;

use generate::{KINDS, folder};
use record::{Attachment, Draft, Event, Ledger};
use store::{FORMAT, Store, sum, verify};

/// The samples, each with its format, how many kinds of events there were when it was made, and the hash of its last
/// entry.
const SAMPLES: [(u64, usize, &[u8], &str); 3] = [
    (
        1,
        30,
        include_bytes!("samples/format-1.sqlite"),
        "14ca25c10a3fd72f485fffe79ddc3505c9c9441fb065b99d9bb31e39f6c79cb8",
    ),
    (
        1,
        33,
        include_bytes!("samples/format-1-permit.sqlite"),
        "55d9edc7b495b7f97685685656e9f9af3798eaca8f9d64511930d0a63eac2fe6",
    ),
    // With power that was signed for, levels seen, and differences of recordings that were dismissed.
    (
        1,
        35,
        include_bytes!("samples/format-1-levels.sqlite"),
        "5ba979ed2a57c73aa691a5173514fa940e5befe098974f80fa559d4317dc213a",
    ),
];

#[test]
fn there_is_a_sample_of_every_format() {
    let mut formats: Vec<u64> = SAMPLES.iter().map(|s| s.0).collect();
    formats.dedup();
    assert_eq!(formats, (1..=FORMAT).collect::<Vec<_>>());
    // The newest sample holds every kind that there is.
    assert_eq!(SAMPLES.last().map(|s| s.1), Some(KINDS));
}

#[test]
fn samples_of_all_formats_open_whole() {
    for (format, kinds, bytes, last) in SAMPLES {
        let place = folder(&format!("format-{format}-{kinds}")).join("bench.db");
        std::fs::write(&place, bytes).expect("written");
        let store = Store::open(&place).expect("opened");
        let entries = store.since(0).expect("read");
        assert_eq!(entries.len(), 2 * kinds);
        let report = verify(&place).expect("checked");
        assert_eq!((report.faults, report.attachments), (vec![], 1));
        assert_eq!(report.last.to_string(), last);
        let picture: Vec<u8> = (0..=255).collect();
        let attachment = store
            .attachment(sum(&picture))
            .expect("read")
            .expect("there");
        assert_eq!(
            attachment,
            Attachment {
                media: "image/png".to_owned(),
                bytes: picture
            }
        );

        // Every kind is understood, and written today it gives the same hash: no spelling has changed.
        let again =
            Store::create(&folder(&format!("format-{format}-{kinds}-again")).join("bench.db"))
                .expect("made");
        again.attach(&attachment).expect("attached");
        for entry in entries {
            assert!(!matches!(entry.event, Event::Unknown(_)), "{entry:?}");
            let draft = Draft {
                id: entry.id.clone(),
                time: entry.time,
                author: entry.author.clone(),
                event: entry.event.clone(),
            };
            assert_eq!(again.append(&draft), Ok(entry));
        }
        // And it can be written to.
        store.append(&generate::reading(1, "me")).expect("appended");
        assert_eq!(verify(&place).expect("checked").faults, []);
    }
}
