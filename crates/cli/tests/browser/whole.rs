//! The whole way of a fault, from an empty folder to a closed finding, in a browser.

use serde_json::json;

use crate::stage::{Bench, Browser, Folder};
use crate::{check, project};

/// Fills the named fields of a form and sends it by its button.
async fn fill(browser: &Browser, form: &str, fields: &[(&str, &str)], button: &str) {
    let values = serde_json::to_string(fields).expect("written");
    let script = format!(
        "const form = document.querySelector('{form}');
         for (let box = form; box; box = box.parentElement) if (box.tagName === 'DETAILS') box.open = true;
         for (const [name, value] of {values}) {{
             const field = form.querySelector(`[name=\"${{name}}\"]`);
             if (field.type === 'checkbox') field.checked = true; else field.value = value;
         }}
         window.leaving = true;
         const all = [...form.querySelectorAll('button[type=submit]')];
         const one = all.find(b => b.textContent === '{button}');
         if (!one) return all.map(b => b.textContent).join();
         form.requestSubmit(one);
         return ''"
    );
    assert_eq!(
        browser.run(&script).await,
        json!(""),
        "no button {button} in {form}"
    );
    browser
        .until("return window.leaving === undefined && document.readyState === 'complete'")
        .await;
    let title = browser
        .run("return document.querySelector('h1').textContent")
        .await;
    let text = browser.run("return document.body.innerText").await;
    assert_ne!(title, json!("Not written"), "{text}");
}

#[tokio::test]
async fn from_intake_to_a_closed_finding() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = project();
    let bench = Bench::open(Some(&project.0));
    browser.open(&bench.address("/intake?unit=1")).await;
    fill(
        &browser,
        "#see",
        &[("board", "A2"), ("text", "R1 looks burnt")],
        "Write it down",
    )
    .await;
    fill(
        &browser,
        "#alter-form",
        &[("board", "A2"), ("part", "R3"), ("text", "another make")],
        "Write it down",
    )
    .await;
    fill(
        &browser,
        "form[id^=fate-form]",
        &[("reason", "it does no harm")],
        "It stays",
    )
    .await;
    fill(
        &browser,
        "#connect-form",
        &[("name", "2"), ("holds", "A2")],
        "Write it down",
    )
    .await;
    let seen = browser
        .run("return document.querySelector('main').innerText")
        .await
        .to_string();
    for wanted in [
        "R1 looks burnt",
        "another make",
        "It stays",
        "it does no harm",
        "slot 2",
    ] {
        assert!(seen.contains(wanted), "{wanted}: {seen}");
    }

    // A reading of a file disagrees; the finding takes it into the ledger.
    browser.open(&bench.address("/board/A2")).await;
    browser
        .until("return document.querySelector('form.inline [name=verdict]') !== null")
        .await;
    fill(
        &browser,
        "form.inline:has([name=verdict])",
        &[],
        "Open a finding on unit 2",
    )
    .await;
    let standing = "return document.querySelector('article.finding').dataset.standing";
    assert_eq!(browser.run(standing).await, json!("open"));
    fill(
        &browser,
        "form[id^=think-form]",
        &[
            ("text", "R2 open"),
            ("predicts", "MID to 0V over range; else near 1k6"),
        ],
        "Write it down",
    )
    .await;
    fill(
        &browser,
        "form[id^=repair-form]",
        &[
            ("part", "R2"),
            ("what", "2k2 for 2k2"),
            ("symptom", "R2 open"),
            ("reason", "read open"),
            ("kept", "box 1"),
        ],
        "Write it",
    )
    .await;
    // Not before it was read again.
    let none = "return document.querySelector('form[id^=close-form] button') === null";
    assert_eq!(browser.run(none).await, json!(true));
    let reading = [
        ("kind", "reading"),
        ("unit", "2"),
        ("board", "A2"),
        ("state", "cold"),
        ("measured", "ohms"),
        ("red", "MID"),
        ("black", "0V"),
        ("value", "1k64"),
    ];
    assert!(bench.enter(&reading).starts_with("HTTP/1.1 303"));
    browser
        .until("return document.querySelector('form[id^=close-form] [name=retest]') !== null")
        .await;
    fill(
        &browser,
        "form[id^=outcome-form]",
        &[("evidence", "yes"), ("reason", "as written")],
        "It supports it",
    )
    .await;
    fill(
        &browser,
        "form[id^=close-form]",
        &[
            ("remedy", "yes"),
            ("retest", "yes"),
            ("reason", "as it should be"),
        ],
        "Close it",
    )
    .await;
    assert_eq!(browser.run(standing).await, json!("mended"));
    let said = browser
        .run("return document.querySelector('article.finding').textContent")
        .await
        .to_string();
    for wanted in ["was disagrees", "is agrees", "Perhaps R2 open", "supported"] {
        assert!(said.contains(wanted), "{wanted}: {said}");
    }
    fill(&browser, ".done form.inline", &[], "Readings that prove it").await;
    browser
        .until("return document.querySelector('main').textContent.includes('shows in')")
        .await;
    for path in [
        "/intake?unit=1",
        "/board/A2",
        "/twins",
        "/ledger",
        "/board/A2/probe?unit=1",
        "/board/A2/proves?fault=R2+open",
    ] {
        check(&browser, &bench, path).await;
    }
}

#[tokio::test]
async fn an_empty_folder_becomes_a_machine() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let folder = Folder::new();
    let bench = Bench::open(Some(&folder.0));
    browser.open(&bench.address("/")).await;
    let step = "return document.querySelector('.start .answer').textContent";
    assert_eq!(browser.run(step).await, json!("Name the machine"));
    fill(
        &browser,
        "#name-form",
        &[("name", "Invented \"2\"")],
        "Name it",
    )
    .await;
    fill(
        &browser,
        "#unit-form",
        &[("serial", "0217"), ("note", "from a barn")],
        "Add it",
    )
    .await;
    assert_eq!(
        browser.run(step).await,
        json!("Photograph it, before anything moves")
    );
    fill(
        &browser,
        "#board-form",
        &[
            ("name", "A1"),
            ("title", "Regulator"),
            ("assembly", "Supplies"),
        ],
        "Add it",
    )
    .await;
    let text = std::fs::read_to_string(folder.0.join("machine.kdl")).expect("a machine file");
    let wanted = "machine \"Invented \\\"2\\\"\" {\n    unit \"1\" serial=\"0217\"\n    assembly \"Supplies\" {\n        board \"A1\" title=\"Regulator\"\n    }\n}\n";
    assert_eq!(text, wanted);
    assert!(
        bench.ledger()[0].contains("from a barn"),
        "{:?}",
        bench.ledger()
    );
    check(&browser, &bench, "/").await;
    check(&browser, &bench, "/board/A1").await;
}

#[tokio::test]
async fn photographs_are_kept_and_shown() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = project();
    let bench = Bench::open(Some(&project.0));
    let send = |bytes: &[u8], id: &str| {
        let boundary = "----------knowngood";
        let mut body = Vec::new();
        for (name, value) in [
            ("kind", "photo"),
            ("id", id),
            ("unit", "1"),
            ("board", "A2"),
            ("face", "solder"),
            ("caption", "as found"),
            ("back", "/ledger"),
        ] {
            body.extend(format!("--{boundary}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n").bytes());
        }
        body.extend(format!("--{boundary}\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"../../evil<b>.png\"\r\nContent-Type: image/png\r\n\r\n").bytes());
        body.extend(bytes);
        body.extend(format!("\r\n--{boundary}--\r\n").bytes());
        let head = format!(
            "Host: {0}\r\nOrigin: http://{0}\r\nContent-Type: multipart/form-data; boundary={boundary}\r\n",
            bench.host
        );
        bench.send("/entry", &head, &body)
    };
    assert!(send(&PIXEL, "one").starts_with("HTTP/1.1 303"));
    let answer = send(b"<svg onload=alert(1)>", "two");
    assert!(
        answer.starts_with("HTTP/1.1 422") && answer.contains("JPEG or PNG"),
        "{answer}"
    );
    assert_eq!(bench.ledger().len(), 1);
    browser.open(&bench.address("/ledger")).await;
    browser.until("const i = document.querySelector('.photos img'); return i !== null && i.complete && i.naturalWidth === 1").await;
    check(&browser, &bench, "/intake?unit=1").await;
}

/// A grey PNG of one picture element (W3C PNG, third edition; made by hand, checked by the browser that shows it).
const PIXEL: [u8; 67] = [
    0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a, 0x00, 0x00, 0x00, 0x0d, 0x49, 0x48, 0x44, 0x52,
    0x00, 0x00, 0x00, 0x01, 0x00, 0x00, 0x00, 0x01, 0x08, 0x00, 0x00, 0x00, 0x00, 0x3a, 0x7e, 0x9b,
    0x55, 0x00, 0x00, 0x00, 0x0a, 0x49, 0x44, 0x41, 0x54, 0x78, 0x9c, 0x63, 0x68, 0x00, 0x00, 0x00,
    0x82, 0x00, 0x81, 0x77, 0xcd, 0x72, 0xb6, 0x00, 0x00, 0x00, 0x00, 0x49, 0x45, 0x4e, 0x44, 0xae,
    0x42, 0x60, 0x82,
];
