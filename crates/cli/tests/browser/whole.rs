//! The whole way of a fault, from an empty folder to a closed finding, in a browser.

use serde_json::json;

use crate::stage::{Bench, Browser, Folder};
use crate::{check, project};

/// Fills the named fields of a form and sends it by its button.
pub async fn fill(browser: &Browser, form: &str, fields: &[(&str, &str)], button: &str) {
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
    let told = bench.ledger().concat();
    for wanted in [
        "machine named Invented",
        "from a barn",
        "added to the machine file",
    ] {
        assert!(told.contains(wanted), "{wanted}: {told}");
    }
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
    assert!(photograph(&bench, &PIXEL, "one").starts_with("HTTP/1.1 303"));
    let answer = photograph(&bench, b"<svg onload=alert(1)>", "two");
    assert!(
        answer.starts_with("HTTP/1.1 422") && answer.contains("JPEG or PNG"),
        "{answer}"
    );
    assert_eq!(bench.ledger().len(), 1);
    browser.open(&bench.address("/ledger")).await;
    browser.until("const i = document.querySelector('.photos img'); return i !== null && i.complete && i.naturalWidth === 1").await;
    check(&browser, &bench, "/intake?unit=1").await;
}

/// Sends a photograph of a board as a page would, under a hostile name.
fn photograph(bench: &Bench, bytes: &[u8], id: &str) -> String {
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
        body.extend(
            format!(
                "--{boundary}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n"
            )
            .bytes(),
        );
    }
    body.extend(format!("--{boundary}\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"../../evil<b>.png\"\r\nContent-Type: image/png\r\n\r\n").bytes());
    body.extend(bytes);
    body.extend(format!("\r\n--{boundary}--\r\n").bytes());
    let head = format!(
        "Host: {0}\r\nOrigin: http://{0}\r\nContent-Type: multipart/form-data; boundary={boundary}\r\n",
        bench.host
    );
    bench.send("/entry", &head, &body)
}

/// A grey PNG of one picture element (W3C PNG, third edition; made by hand, checked by the browser that shows it).
const PIXEL: [u8; 67] = [
    0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a, 0x00, 0x00, 0x00, 0x0d, 0x49, 0x48, 0x44, 0x52,
    0x00, 0x00, 0x00, 0x01, 0x00, 0x00, 0x00, 0x01, 0x08, 0x00, 0x00, 0x00, 0x00, 0x3a, 0x7e, 0x9b,
    0x55, 0x00, 0x00, 0x00, 0x0a, 0x49, 0x44, 0x41, 0x54, 0x78, 0x9c, 0x63, 0x68, 0x00, 0x00, 0x00,
    0x82, 0x00, 0x81, 0x77, 0xcd, 0x72, 0xb6, 0x00, 0x00, 0x00, 0x00, 0x49, 0x45, 0x4e, 0x44, 0xae,
    0x42, 0x60, 0x82,
];

#[tokio::test]
async fn a_sheet_of_three_parts_is_typed_from_an_empty_table() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let folder = Folder::of(&[(
        "machine.kdl",
        "machine \"Invented 3\" {\n    assembly \"S\" { board A1 }\n    unit \"1\"\n}\n",
    )]);
    let bench = Bench::open(Some(&folder.0));
    browser.open(&bench.address("/board/A1/sheet")).await;
    check(&browser, &bench, "/board/A1/sheet").await;
    let focus = "document.querySelector('[name=ground]').value = '0V'; document.querySelector('[name=part-kind]').focus(); return 0";
    browser.run(focus).await;
    // Enter after the last column begins the next row.
    for row in [
        "resistor\tR1\t4k7\t+12V MID\ttolerance=5%",
        "resistor\tR2\tfour\tMID 0V\t",
        "npn\tQ1\tsilicon-signal\tOUT MID 0V\t",
    ] {
        browser.press(row).await;
        browser.press("\u{e007}").await;
    }
    fill(&browser, "#sheet", &[], "Save the sheet").await;
    let trouble = "const cell = document.querySelector('[aria-invalid]');
        return [cell.getAttribute('aria-label'), cell.value, document.getElementById(cell.getAttribute('aria-describedby')).textContent.includes('four')]";
    assert_eq!(
        browser.run(trouble).await,
        json!(["Value or type, row 2", "four", true])
    );
    assert!(
        !folder.0.join("sheets").exists(),
        "nothing is saved with a mistake in it"
    );
    browser
        .run("const cell = document.querySelector('[aria-invalid]'); cell.value = '2k2'; return 0")
        .await;
    fill(&browser, "#sheet", &[], "Save the sheet").await;
    browser
        .until("return location.pathname === '/board/A1'")
        .await;
    browser
        .until("return document.querySelector('#unread').textContent.includes('MID')")
        .await;
    let text = std::fs::read_to_string(folder.0.join("sheets/a1.kdl")).expect("a sheet");
    assert!(
        text.contains("    resistor R1 \"4k7\" \"+12V\" MID tolerance=\"5%\"\n"),
        "{text}"
    );
    assert!(
        text.contains("    npn Q1 silicon-signal c=OUT b=MID e=\"0V\"\n"),
        "{text}"
    );
    let machine = std::fs::read_to_string(folder.0.join("machine.kdl")).expect("a machine");
    assert!(
        machine.contains("board A1 sheet=\"sheets/a1.kdl\""),
        "{machine}"
    );
    // A parts list goes below.
    browser.open(&bench.address("/board/A1/sheet")).await;
    fill(
        &browser,
        "#sheet",
        &[("list", "Designator,Value,Pins\nC1,10n,OUT/0V")],
        "Add these rows",
    )
    .await;
    let kinds = "return [...document.querySelectorAll('[name=part-kind]')].map(e => e.value).filter(v => v).join()";
    assert_eq!(
        browser.run(kinds).await,
        json!("resistor,resistor,npn,capacitor")
    );
}

#[tokio::test]
async fn places_are_put_on_a_photograph_by_clicking() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = project();
    let bench = Bench::open(Some(&project.0));
    photograph(&bench, &PIXEL, "picture");
    browser.open(&bench.address("/board/A2/map")).await;
    browser.until("const i = document.querySelector('.picture input'); return i !== null && i.clientHeight > 100").await;
    let first = browser
        .run("return document.querySelector('[name=name]').value")
        .await;
    assert_eq!(first, json!("0V"));
    check(&browser, &bench, "/board/A2/map").await;
    let click = "window.leaving = true; const form = document.querySelector('form.map');
        const { width, height } = form.querySelector('input[type=image]').getBoundingClientRect();
        form.elements.namedItem('width').value = width;
        for (const [name, value] of [['at.x', width / 4], ['at.y', height / 2]]) {
            const field = document.createElement('input'); field.type = 'hidden'; field.name = name; field.value = value; form.append(field);
        }
        form.submit(); return 0";
    browser.run(click).await;
    browser
        .until("return window.leaving === undefined && document.querySelector('.placed') !== null")
        .await;
    let at = "const c = document.querySelector('circle.placed'); return [Math.round(c.getAttribute('cx')), Math.round(c.getAttribute('cy'))]";
    assert_eq!(browser.run(at).await, json!([250, 500]));
    assert_ne!(
        browser
            .run("return document.querySelector('[name=name]').value")
            .await,
        json!("0V")
    );
    // The probe page shows it beside the leads.
    browser
        .open(&bench.address("/board/A2/probe?unit=1&state=cold&measured=ohms&red=K&black=0V"))
        .await;
    let beside = "return document.querySelector('.beside .sought-word').textContent";
    assert_eq!(browser.run(beside).await, json!("black 0V"));
    // The field has the focus, and the expectation comes into the form all the same.
    browser
        .until("return document.querySelector('.expect strong') !== null && document.activeElement.name === 'value'")
        .await;
}
