//! Stores in a browser: the wire behind the bits, and a first read that must be kept before anything is written.

use serde_json::json;

use crate::check;
use crate::stage::{Bench, Browser, Folder};

const MACHINE: &str = "machine \"Tamarisk 40\" {\n    unit \"1\"\n    unit \"2\"\n}\n";

/// A file of the demonstration's stores.
macro_rules! demo {
    ($name:literal) => {
        (
            concat!("stores/", $name),
            include_str!(concat!("../../../bench/demo/stores/", $name)),
        )
    };
}

fn project() -> Folder {
    Folder::of(&[
        ("machine.kdl", MACHINE),
        demo!("control.kdl"),
        demo!("control/1-read-1.hex"),
        demo!("control/1-read-2.hex"),
        demo!("control/1-read-3.hex"),
        demo!("control/1-read-4.hex"),
        demo!("control/1-read-5.hex"),
        demo!("control/2-read-1.hex"),
        demo!("control/2-read-2.hex"),
        demo!("control/1-sequence.txt"),
        demo!("control/2-sequence.txt"),
        demo!("registers.kdl"),
        demo!("registers/1-first.hex"),
        demo!("registers/1-march.csv"),
        demo!("registers/1-map-1.csv"),
        demo!("registers/1-map-2.csv"),
    ])
}

#[tokio::test]
async fn the_wire_behind_the_bits_is_named_and_shown() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = project();
    let bench = Bench::open(Some(&project.0));
    for path in [
        "/stores",
        "/stores/control?show=0.0.0.1",
        "/stores/registers",
    ] {
        check(&browser, &bench, path).await;
    }
    browser.open(&bench.address("/stores/control")).await;
    let answer = "return document.querySelector('.answer').textContent";
    let named = "Unit 2: address line 4 stuck at 0, and word wire 43 open";
    assert_eq!(browser.run(answer).await, json!(named));
    // All that differs is explained, in unit 2; what is unsteady is unit 1's.
    let labels = "return [...document.querySelectorAll('svg.bits')].slice(0, 2).map(e => e.getAttribute('aria-label').replace(/\\d+/g, n => +n > 0 ? 'some' : 'none'))";
    let shown = [
        "Unit some : none explained, none not explained, some unsteady",
        "Unit some : some explained, none not explained, none unsteady",
    ];
    assert_eq!(browser.run(labels).await, json!(shown));
    // Only the word wire: what the address line explains is then left.
    let link = "[...document.querySelectorAll('.point a')].find(a => a.textContent.includes('word wire 43')).click()";
    browser.run(link).await;
    browser
        .until("return location.search === '?show=0.0.0.1' && document.readyState === 'complete'")
        .await;
    let left = "return document.querySelectorAll('svg.bits')[1].getAttribute('aria-label').match(/(\\d+) not/)[1] > 400";
    assert_eq!(browser.run(left).await, json!(true));
    let follow =
        "return document.querySelector('#follow + .answer').textContent.includes('unit 2 read')";
    assert_eq!(browser.run(follow).await, json!(true));
    browser.open(&bench.address("/stores/registers")).await;
    let map = "return document.querySelector('#map-1 ~ p strong').textContent";
    assert_eq!(browser.run(map).await, json!("+20 drive mA"));
}

/// A form with a file, as a browser packs it (RFC 7578).
fn packed(fields: &[(&str, &str)], file: &[u8]) -> (String, Vec<u8>) {
    let mut body = Vec::new();
    for (name, value) in fields {
        body.extend(
            format!("--edge\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n")
                .bytes(),
        );
    }
    body.extend(
        "--edge\r\nContent-Disposition: form-data; name=\"file\"; filename=\"read\"\r\n\r\n"
            .bytes(),
    );
    body.extend(file);
    body.extend("\r\n--edge--\r\n".bytes());
    ("multipart/form-data; boundary=edge".to_owned(), body)
}

#[test]
fn a_core_store_is_written_only_after_its_first_read_is_kept() {
    let project = project();
    let bench = Bench::open(Some(&project.0));
    let host = format!("Host: {}\r\n", bench.host);
    let page = |path: &str| bench.ask(path, &host);
    let march = "/stores/registers/march.csv?unit=2&test=March+C-";
    assert!(page("/stores/registers").contains("Unit 2: writing is blocked."));
    let refused = page(march);
    assert!(
        refused.contains(" 422 ") && refused.contains("has been read and kept"),
        "{refused}"
    );
    let send = |unit: &str, what: &str, file: &[u8]| {
        let fields = [
            ("kind", "store"),
            ("unit", unit),
            ("what", what),
            ("back", "/stores/registers"),
        ];
        let (media, body) = packed(&fields, file);
        let head = format!(
            "Host: {0}\r\nOrigin: http://{0}\r\nContent-Type: {media}\r\n",
            bench.host
        );
        bench.send("/stores/registers", &head, &body)
    };
    let broken = send("2", "read", b"00: 1F\n01: 20\n");
    assert!(
        broken.contains(" 422 ")
            && broken.contains("Line 2: `20` does not fit into a word of 5 bits."),
        "{broken}"
    );
    assert!(send("9", "read", b"00: 1F\n").contains(" 422 "));
    assert!(send("2", "read", b"00: 1F\n").contains(" 303 "));
    assert!(page("/stores/registers").contains("lacks 239 of 240 words"));
    let (_, whole) = demo!("registers/2-first.hex");
    assert!(send("2", "read", whole.as_bytes()).contains(" 303 "));
    let now = page("/stores/registers");
    assert!(
        !now.contains("writing is blocked") && now.contains("is kept in entry 2/2-read-0002.txt"),
        "{now}"
    );
    let csv = page(march);
    assert!(
        csv.contains(" 200 ") && csv.contains("step,operation,address,word"),
        "{csv}"
    );
    assert!(now.contains("X selection diode 7 shorted"));
    // What was sent can be had back as it was sent.
    let (_, rest) = now
        .split_once("href=\"/stores/registers/kept/")
        .expect("a link");
    let links: Vec<&str> = now
        .split("href=\"")
        .filter(|l| l.starts_with("/stores/registers/kept/"))
        .collect();
    assert_eq!(links.len(), 2, "{rest}");
    let back = page(links[1].split('"').next().unwrap_or(""));
    assert!(
        back.contains(" 200 ")
            && back.contains("attachment; filename=\"2-read-0002.txt\"")
            && back.ends_with(whole),
        "{back}"
    );
    assert!(page("/stores/control/kept/00").contains(" 404 "));
    for path in [
        "/stores/..%2f..%2fetc",
        "/stores/control?show=9.9.9.9",
        "/stores/control?show=%3Cscript%3E",
        "/stores/nowhere/march.csv",
    ] {
        let answer = page(path);
        let status = answer.get(9..12).unwrap_or("");
        assert!(
            ["200", "404"].contains(&status) && !answer.contains("<script>evil"),
            "{path}: {answer}"
        );
    }
}
