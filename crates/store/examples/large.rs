//! Makes a large ledger and says what opening and folding it takes: `large make FILE`, then `large open FILE` in a process
//! of its own, so that its memory is that of opening alone.

use std::path::Path;
use std::time::Instant;

use record::event::{Face, Photo, Row, Site};
use record::{Attachment, Draft, Event, Id, Ledger, Moment, ReadingKind, State, Work};
use store::Store;

/// Readings, attachments and boards of the ledger.
const SIZE: [usize; 3] = [100_000, 2_000, 50];

fn main() {
    let words: Vec<String> = std::env::args().collect();
    match words.get(1..).unwrap_or_default() {
        [verb, file] if verb == "make" => make(Path::new(file)),
        [verb, file] if verb == "open" => open(Path::new(file)),
        _ => eprintln!("large make FILE, or large open FILE"),
    }
}

fn site(number: usize) -> Site {
    Site {
        unit: (number % 2 + 1).to_string(),
        board: Some(format!("A{}", number % SIZE[2] + 1)),
    }
}

fn draft(number: usize, event: Event) -> Draft {
    Draft {
        id: Id::new(&format!("0190163d-8694-739b-aea5-{number:012x}")).expect("an id"),
        time: Moment::new(1_709_287_200_000 + 7_000 * number as i64).expect("a moment"),
        author: "restorer".to_owned(),
        event,
    }
}

fn reading(number: usize) -> Event {
    Event::Reading(Row {
        site: site(number),
        state: State::Cold,
        kind: ReadingKind::Ohms,
        red: format!("N{}", number % 97),
        black: "0V".to_owned(),
        value: format!("{}R", number % 9000 + 1),
        meter: Some("bench-digital".to_owned()),
        note: String::new(),
        place: None,
        lifted: Vec::new(),
        unplugged: Vec::new(),
        celsius: None,
        minutes: None,
        cycle: None,
        time: None,
    })
}

fn make(file: &Path) {
    let store = Store::create(file).expect("a new file");
    for number in 0..SIZE[0] {
        store
            .append(&draft(number, reading(number)))
            .expect("appended");
    }
    for number in 0..SIZE[1] {
        let bytes = (0..2_000)
            .map(|i| (i * number % 251) as u8)
            .chain(number.to_le_bytes())
            .collect();
        let media = "image/jpeg".to_owned();
        let attachment = store
            .attach(&Attachment { media, bytes })
            .expect("attached");
        let photo = Photo {
            site: site(number),
            face: Face::Component,
            caption: "as found".to_owned(),
            attachment,
        };
        store
            .append(&draft(SIZE[0] + number, Event::Photo(photo)))
            .expect("appended");
    }
}

fn open(file: &Path) {
    let start = Instant::now();
    let store = Store::open(file).expect("a ledger");
    let entries = store.since(0).expect("read");
    let read = start.elapsed();
    let work = Work::of(entries);
    let all = start.elapsed();
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status
        .lines()
        .find(|l| l.starts_with("VmHWM"))
        .unwrap_or("VmHWM: not known here");
    println!(
        "{} entries, {} boards: read and checked in {read:?}, with the fold {all:?}; {peak}",
        work.last(),
        work.boards_read().len()
    );
}
