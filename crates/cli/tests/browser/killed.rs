//! The bench is killed while readings are sent to it, and its disk fills up: every acknowledged reading is there afterwards.

use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::Command;
use std::time::Duration;

use store::record::{Event, Ledger};
use store::{Store, verify};

use crate::project;
use crate::stage::{Bench, Folder, urlencoded};

/// Where numbers at random begin; the moment at which the system stops a process is another at each run all the same.
const SEED: u64 = 0x6b6e_6f77;

/// A number from 0 to below 1 at random (SplitMix64: Steele, Lea, Flood, OOPSLA 2014).
fn random(state: &mut u64) -> f64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
}

/// Sends a reading as a page without script does; the first line of the answer, none if the bench is gone.
fn send(host: &str, id: &str, unit: &str, value: &str) -> Option<String> {
    let body = urlencoded(&[
        ("kind", "reading"),
        ("id", id),
        ("unit", unit),
        ("board", "A2"),
        ("state", "cold"),
        ("measured", "ohms"),
        ("red", "MID"),
        ("black", "0V"),
        ("value", value),
    ]);
    let mut stream = TcpStream::connect(host).ok()?;
    stream
        .set_read_timeout(Some(Duration::from_secs(60)))
        .ok()?;
    let head = format!(
        "POST /entry HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
        body.len()
    );
    stream.write_all(format!("{head}{body}").as_bytes()).ok()?;
    let mut answer = Vec::new();
    // A line that breaks off says nothing, even if its beginning looks well.
    stream.read_to_end(&mut answer).ok()?;
    let text = String::from_utf8_lossy(&answer).into_owned();
    let (head, _) = text.split_once("\r\n\r\n")?;
    head.lines().next().map(str::to_owned)
}

/// What the ledger holds: the value of each reading by its name, each once.
fn kept(place: &Path) -> BTreeMap<String, String> {
    let report = verify(place).expect("checked");
    assert_eq!(report.faults, [], "the chain is whole");
    let mut list = BTreeMap::new();
    for entry in Store::open(place).expect("opened").since(0).expect("read") {
        let Event::Reading(row) = entry.event else {
            panic!("only readings were sent: {entry:?}")
        };
        let twice = list.insert(entry.id.to_string(), row.value);
        assert_eq!(twice, None, "{} is there twice", entry.id);
    }
    list
}

#[test]
fn every_reading_that_a_page_acknowledged_outlives_the_bench() {
    let kills = match std::env::var_os("KNOWNGOOD_FULL") {
        Some(_) => 300,
        None => 12,
    };
    let project = project();
    let place = project.0.join("bench.db");
    let mut state = SEED;
    let mut acknowledged = BTreeMap::new();
    let mut cut_off = 0;
    for kill in 0..kills {
        let bench = Bench::open(Some(&project.0));
        // From a tenth of a millisecond to a tenth of a second after the first that was acknowledged.
        let after = Duration::from_secs_f64(1e-4 * 1000f64.powf(random(&mut state)));
        let (tell, told) = std::sync::mpsc::channel();
        let host = bench.host.clone();
        let sent = std::thread::scope(|scope| {
            let writers: Vec<_> = ["1", "2"]
                .map(|unit| {
                    let (tell, host) = (tell.clone(), &host);
                    scope.spawn(move || {
                        let mut list = Vec::new();
                        for number in 1000.. {
                            let id = format!("kill-{kill}-{unit}-{number}");
                            let value = number.to_string();
                            let Some(line) = send(host, &id, unit, &value) else {
                                break;
                            };
                            assert_eq!(line, "HTTP/1.1 303 See Other");
                            list.push((id, value));
                            let _ = tell.send(());
                        }
                        list
                    })
                })
                .into();
            told.recv().expect("one was acknowledged");
            std::thread::sleep(after);
            // SIGKILL: nothing in the process can answer it.
            drop(bench);
            let lists = writers
                .into_iter()
                .flat_map(|w| w.join().expect("no panic"));
            lists.collect::<Vec<_>>()
        });
        acknowledged.extend(sent);
        let kept = kept(&place);
        for (id, value) in &acknowledged {
            assert_eq!(
                kept.get(id),
                Some(value),
                "kill {kill}: {id} was acknowledged"
            );
        }
        // What was on the disk before the answer got out is there, too, and is no fault.
        cut_off = kept.len() - acknowledged.len();
    }
    eprintln!(
        "{kills} kills, {} readings acknowledged and all there, {cut_off} more written whose answer was cut off",
        acknowledged.len()
    );
}

#[test]
fn a_full_disk_is_said_on_the_page_and_nothing_is_lost() {
    let folder = Folder::new();
    let mounted = Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=2m", "tmpfs"])
        .arg(&folder.0)
        .output();
    if !mounted.is_ok_and(|o| o.status.success()) {
        eprintln!(
            "SKIPPED: this user may not mount a small file system; the store's own tests fill the disk by a limit."
        );
        return;
    }
    let ended = std::panic::catch_unwind(|| {
        folder.write("machine.kdl", crate::MACHINE);
        folder.write("sheets/a2.kdl", crate::SHEET);
        let bench = Bench::open(Some(&folder.0));
        let mut acknowledged = 0;
        let refused = (0..20_000).find_map(|number| {
            let value = (1000 + number).to_string();
            let line =
                send(&bench.host, &format!("full-{number}"), "1", &value).expect("an answer");
            acknowledged += usize::from(line.contains("303"));
            (!line.contains("303")).then_some(line)
        });
        assert_eq!(refused.as_deref(), Some("HTTP/1.1 503 Service Unavailable"));
        let fields = [
            ("kind", "reading"),
            ("unit", "1"),
            ("board", "A2"),
            ("state", "cold"),
            ("measured", "ohms"),
            ("red", "MID"),
            ("black", "0V"),
            ("value", "4711"),
        ];
        let answer = bench.enter(&fields);
        for wanted in [
            "The disk is full: the entry was not written, and nothing that was written before is lost.",
            "Free some room on that disk and enter it again.",
            "value=\"4711\"",
        ] {
            assert!(answer.contains(wanted), "{wanted}: {answer}");
        }
        assert!(acknowledged > 100, "{acknowledged}");
        assert_eq!(bench.ledger().len(), acknowledged, "pages are still read");
        // With room again the same form is taken, by the same bench.
        let more = Command::new("mount")
            .args(["-o", "remount,size=8m"])
            .arg(&folder.0)
            .status();
        assert!(more.expect("started").success());
        assert!(bench.enter(&fields).starts_with("HTTP/1.1 303"));
        assert_eq!(bench.ledger().len(), acknowledged + 1);
        drop(bench);
        assert_eq!(kept(&folder.0.join("bench.db")).len(), acknowledged + 1);
    });
    let unmounted = Command::new("umount").arg("-l").arg(&folder.0).status();
    assert!(unmounted.expect("started").success());
    if let Err(panic) = ended {
        std::panic::resume_unwind(panic);
    }
}

#[test]
fn a_flipped_byte_is_said_on_the_page_and_what_can_be_read_is_exported() {
    let project = project();
    let place = project.0.join("bench.db");
    let bench = Bench::open(Some(&project.0));
    for number in 0..40 {
        let value = (1000 + number).to_string();
        send(&bench.host, &format!("byte-{number}"), "1", &value).expect("an answer");
    }
    drop(bench);
    // Opened and closed by hand, so that all stands in one file.
    assert_eq!(kept(&place).len(), 40);
    let mut bytes = std::fs::read(&place).expect("read");
    let needle = b"\"value\":\"1017\"";
    let at = bytes
        .windows(needle.len())
        .position(|w| w == needle)
        .expect("the reading");
    bytes[at + 12] ^= 1; // 1017 becomes 1016
    std::fs::write(&place, bytes).expect("written");
    let bench = Bench::open(Some(&project.0));
    let page = bench.until("/board/A2", |page| {
        page.contains("Nothing can be entered here.")
    });
    assert!(
        page.contains("damaged") && page.contains("entry 18"),
        "{page}"
    );
    drop(bench);
    let beside = Folder::new();
    let zip = beside.0.join("out.zip");
    let run = |arguments: &[&std::ffi::OsStr]| {
        let ended = Command::new(env!("CARGO_BIN_EXE_knowngood"))
            .args(arguments)
            .output();
        let ended = ended.expect("started");
        format!(
            "{}{}",
            String::from_utf8_lossy(&ended.stdout),
            String::from_utf8_lossy(&ended.stderr)
        )
    };
    let said = run(&["bench".as_ref(), "verify".as_ref(), project.0.as_os_str()]);
    assert!(said.contains("18"), "{said}");
    run(&[
        "bench".as_ref(),
        "export".as_ref(),
        project.0.as_os_str(),
        "-o".as_ref(),
        zip.as_os_str(),
    ]);
    let text = {
        let mut zip =
            zip::ZipArchive::new(std::fs::File::open(&zip).expect("a file")).expect("a zip");
        let mut text = String::new();
        let mut file = zip.by_name("ledger/entries.txt").expect("entries");
        file.read_to_string(&mut text).expect("text");
        text
    };
    assert!(text.lines().count() >= 39, "{text}");
}
