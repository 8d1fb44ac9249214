//! A ledger of years: how long pages take and how much memory is held, reported and not asserted.

use std::time::Instant;

use store::record::event::{Face, Photo, Row, Site};
use store::record::{Attachment, Draft, Event, Id, Ledger, Moment, ReadingKind, State};

use crate::SHEET;
use crate::stage::{Bench, Folder};

/// Readings, photographs and boards; the full size with KNOWNGOOD_FULL.
fn sizes() -> (usize, usize, usize) {
    match std::env::var_os("KNOWNGOOD_FULL") {
        Some(_) => (100_000, 2_000, 50),
        None => (1_000, 20, 5),
    }
}

fn project(boards: usize) -> Folder {
    let mut machine = "machine \"Invented 9\" {\n    assembly \"All\" {\n".to_owned();
    let folder = Folder::new();
    for b in 0..boards {
        machine += &format!("        board B{b} sheet=\"sheets/b{b}.kdl\"\n");
        folder.write(
            &format!("sheets/b{b}.kdl"),
            &SHEET.replace("A2", &format!("B{b}")),
        );
    }
    machine += "    }\n    unit \"1\"\n    unit \"2\"\n}\n";
    folder.write("machine.kdl", &machine);
    folder
}

fn draft(number: usize, event: Event) -> Draft {
    Draft {
        id: Id::new(&format!("load-{number}")).expect("an id"),
        time: Moment::new(1_709_287_200_000 + 1000 * number as i64).expect("a moment"),
        author: "seed".to_owned(),
        event,
    }
}

/// The same readings each time: places in turn, values that wander by a few per cent (a linear congruence, Numerical
/// Recipes' constants).
fn fill(folder: &Folder, readings: usize, photos: usize, boards: usize) {
    let store = store::Store::create(&folder.0.join("bench.db")).expect("a ledger");
    let site = |n: usize| Site {
        unit: (n % 2 + 1).to_string(),
        board: Some(format!("B{}", n / 2 % boards)),
    };
    let mut seed = 1u32;
    for n in 0..readings {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let (red, middle) = [("MID", 1630), ("+12V", 3190), ("K", 4640)][n / 2 / boards % 3];
        let value = middle + seed as usize % (middle / 20);
        let row = Row {
            site: site(n),
            state: State::Cold,
            kind: ReadingKind::Ohms,
            red: red.to_owned(),
            black: "0V".to_owned(),
            value: value.to_string(),
            meter: None,
            note: String::new(),
            place: None,
            lifted: Vec::new(),
            unplugged: Vec::new(),
            celsius: None,
            minutes: None,
            cycle: None,
            time: None,
        };
        store
            .append(&draft(n, Event::Reading(row)))
            .expect("appended");
    }
    for n in 0..photos {
        let attachment = Attachment {
            media: "image/jpeg".to_owned(),
            bytes: n.to_le_bytes().repeat(2_000),
        };
        let photo = Photo {
            site: site(n),
            face: Face::Solder,
            caption: format!("number {n}"),
            attachment: store.attach(&attachment).expect("kept"),
        };
        store
            .append(&draft(readings + n, Event::Photo(photo)))
            .expect("appended");
    }
}

#[test]
fn years_of_readings_are_shown() {
    let (readings, photos, boards) = sizes();
    let folder = project(boards);
    fill(&folder, readings, photos, boards);
    let began = Instant::now();
    let bench = Bench::open(Some(&folder.0));
    let host = format!("Host: {}\r\n", bench.host);
    let first = bench.ask("/", &host);
    eprintln!(
        "{readings} readings, {photos} photographs, {boards} boards: first page after {:?}",
        began.elapsed()
    );
    assert!(first.contains("Invented 9"), "{first}");
    bench.settled("/board/B1");
    bench.until("/", |page| !page.contains("being judged"));
    eprintln!("all boards judged after {:?}", began.elapsed());
    for path in [
        "/",
        "/board/B1",
        "/board/B1/probe?unit=1",
        "/ledger",
        "/ledger?board=B1&kind=photo",
        "/intake?unit=1",
        "/twins",
        "/pulse/board/B1",
    ] {
        let began = Instant::now();
        let answer = bench.ask(path, &host);
        eprintln!("{path}: {:?}, {} kB", began.elapsed(), answer.len() / 1024);
        assert!(answer.starts_with("HTTP/1.1 200"), "{path}: {answer}");
    }
    assert_eq!(bench.ledger().len(), readings + photos);
    let began = Instant::now();
    let answer = bench.enter(&[
        ("kind", "reading"),
        ("unit", "1"),
        ("board", "B1"),
        ("state", "cold"),
        ("measured", "ohms"),
        ("red", "MID"),
        ("black", "0V"),
        ("value", "9k9"),
    ]);
    assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
    let page = bench.until("/board/B1", |page| {
        page.contains("9.9 k") && page.contains("disagrees, high")
    });
    eprintln!(
        "entered and judged: {:?}; {} kB held",
        began.elapsed(),
        bench.memory().unwrap_or(0)
    );
    assert!(page.contains("Unit 1: 1 of"), "{page}");
}
