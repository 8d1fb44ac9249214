//! Two writers at once lose nothing: two threads of one process, and two processes by way of two opened files.

mod generate;

use std::sync::Barrier;

use generate::{folder, reading};
use record::Ledger;
use store::{Store, verify};

const EACH: usize = 100;

fn all_there(stores: [&Store; 2], name: &str) {
    let start = Barrier::new(2);
    let acknowledged: Vec<_> = std::thread::scope(|scope| {
        let threads = [("left", stores[0]), ("right", stores[1])].map(|(author, store)| {
            let start = &start;
            scope.spawn(move || {
                start.wait();
                let append = |n| store.append(&reading(n, author)).expect("appended");
                (0..EACH).map(append).collect::<Vec<_>>()
            })
        });
        threads
            .into_iter()
            .flat_map(|t| t.join().expect("joined"))
            .collect()
    });
    let entries = stores[0].since(0).expect("read");
    assert_eq!(entries.len(), 2 * EACH, "{name}");
    for entry in acknowledged {
        assert_eq!(entries[entry.number as usize - 1], entry, "{name}");
    }
    assert_eq!(
        verify(stores[0].path()).expect("checked").faults,
        [],
        "{name}"
    );
}

#[test]
fn two_threads_and_two_open_files_lose_nothing() {
    let place = folder("threads").join("bench.db");
    let store = Store::create(&place).expect("made");
    all_there([&store, &store], "one file, two threads");

    let place = folder("files").join("bench.db");
    let first = Store::create(&place).expect("made");
    let second = Store::open(&place).expect("opened");
    all_there([&first, &second], "two open files");
}
