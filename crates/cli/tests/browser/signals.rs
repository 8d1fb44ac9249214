//! Recordings in a browser: the viewer by wheel, keys, pointer and touch; what is put away; files that are sent; curves and words.

use fantoccini::Locator;
use serde_json::json;

use crate::check;
use crate::stage::{Bench, Browser};

/// What the viewer says of itself: ends of what is shown, and where its cursor is, through its own requests and words.
const SAID: &str = "return document.querySelector('.signals .at').textContent";

/// Asks for the ends of the last window that the viewer asked for.
const ENDS: &str = "const all = performance.getEntriesByType('resource').filter(e => e.name.includes('window.json')); const u = new URL(all[all.length - 1].name).searchParams; return [Number(u.get('from')), Number(u.get('to')), all.length]";

/// The window that was asked for last, once no other has come for a second.
async fn ends(browser: &Browser) -> (f64, f64) {
    let (mut last, mut quiet) = (json!(null), 0);
    loop {
        tokio::time::sleep(std::time::Duration::from_millis(250)).await;
        let now = browser.run(ENDS).await;
        quiet = if now == last { quiet + 1 } else { 0 };
        if quiet == 4 {
            let at = |k: usize| now[k].as_f64().expect("a number");
            return (at(0), at(1));
        }
        last = now;
    }
}

async fn press(browser: &Browser, key: &str, shift: bool) {
    browser
        .run(&format!(
            "document.querySelector('.signals canvas').dispatchEvent(new KeyboardEvent('keydown', {{ key: '{key}', shiftKey: {shift}, bubbles: true, cancelable: true }})); return 0"
        ))
        .await;
}

#[tokio::test]
async fn the_viewer_zooms_pans_and_reads_by_wheel_keys_pointer_and_touch() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let bench = Bench::open(None);
    browser.open(&bench.address("/signals/clock")).await;
    browser
        .until("return !!document.querySelector('.signals canvas')")
        .await;
    let first = ends(&browser).await;
    // by key: closer around the middle, farther again, along by a quarter
    press(&browser, "+", false).await;
    let near = ends(&browser).await;
    assert!(
        ((near.1 - near.0) / (first.1 - first.0) - 0.5).abs() < 1e-6,
        "{first:?} {near:?}"
    );
    press(&browser, "-", false).await;
    assert_eq!(ends(&browser).await, first);
    press(&browser, "ArrowRight", true).await;
    let along = ends(&browser).await;
    assert!(
        ((along.0 - first.0) / (first.1 - first.0) - 0.25).abs() < 1e-6,
        "{along:?}"
    );
    press(&browser, "Home", false).await;
    let whole = ends(&browser).await;
    assert!(whole.0 <= 1e-9 && whole.1 > 1.1e-3, "{whole:?}");
    // the cursor by key, and the way from a mark
    press(&browser, "ArrowRight", false).await;
    let said = browser.run(SAID).await;
    assert!(
        said.as_str().expect("words").contains("CLOCK: unit 1"),
        "{said}"
    );
    press(&browser, "x", false).await;
    press(&browser, "ArrowRight", false).await;
    let said = browser.run(SAID).await;
    assert!(
        said.as_str().expect("words").contains("from the mark"),
        "{said}"
    );
    // the wheel, once the viewer is in focus
    browser
        .run("const c = document.querySelector('.signals canvas'); c.focus(); c.dispatchEvent(new WheelEvent('wheel', { deltaY: -100, offsetX: 10, bubbles: true, cancelable: true })); return 0")
        .await;
    let wheel = ends(&browser).await;
    assert!(
        ((wheel.1 - wheel.0) / (whole.1 - whole.0) - 0.8).abs() < 1e-3,
        "{wheel:?}"
    );
    // real pointer and fingers, through the browser's own input
    let canvas = browser
        .client
        .find(Locator::Css(".signals canvas"))
        .await
        .expect("there");
    let (x, y, width, _) = canvas.rectangle().await.expect("its place");
    browser
        .run(&format!("scrollTo(0, {}); return 0", y - 80.0))
        .await;
    let at = browser
        .run("const r = document.querySelector('.signals canvas').getBoundingClientRect(); return [r.left, r.top]")
        .await;
    let top = at[1].as_f64().expect("a number") + 60.0;
    let send = |kind: &str, points: Vec<(f64, u64)>| {
        let points: Vec<_> = points
            .iter()
            .map(|(px, id)| json!({ "x": px, "y": top, "id": id }))
            .collect();
        json!({ "type": kind, "touchPoints": points })
    };
    let mouse = |kind: &str, px: f64| json!({ "type": kind, "x": px, "y": top, "button": "left", "buttons": 1, "clickCount": 1 });
    for (kind, px) in [
        ("mousePressed", x + 0.6 * width),
        ("mouseMoved", x + 0.5 * width),
        ("mouseMoved", x + 0.35 * width),
        ("mouseReleased", x + 0.35 * width),
    ] {
        browser
            .command("Input.dispatchMouseEvent", mouse(kind, px))
            .await;
    }
    let dragged = ends(&browser).await;
    let moved = (dragged.0 - wheel.0) / (wheel.1 - wheel.0);
    assert!((moved - 0.25).abs() < 0.02, "{moved}");
    let (left, right) = (x + 0.4 * width, x + 0.6 * width);
    for (kind, points) in [
        ("touchStart", vec![(left, 1), (right, 2)]),
        (
            "touchMove",
            vec![(x + 0.3 * width, 1), (x + 0.7 * width, 2)],
        ),
        (
            "touchMove",
            vec![(x + 0.2 * width, 1), (x + 0.8 * width, 2)],
        ),
        ("touchEnd", vec![]),
    ] {
        browser
            .command("Input.dispatchTouchEvent", send(kind, points))
            .await;
    }
    let pinched = ends(&browser).await;
    let by = (pinched.1 - pinched.0) / (dragged.1 - dragged.0);
    assert!((by - 1.0 / 3.0).abs() < 0.05, "{by}");
    // from difference to difference, and by the list
    browser.open(&bench.address("/signals/clock")).await;
    browser
        .until("return !!document.querySelector('.signals canvas')")
        .await;
    let start = ends(&browser).await;
    // the first is where the page begins; the second time it is the next one
    press(&browser, "PageDown", false).await;
    press(&browser, "PageDown", false).await;
    let next = ends(&browser).await;
    assert!(next.0 > start.0, "{start:?} {next:?}");
    browser
        .run("document.querySelector('#differences ~ table a[data-go]').click(); return 0")
        .await;
    let back = ends(&browser).await;
    assert!(
        (back.0 - start.0).abs() < 1e-6 && (back.1 - start.1).abs() < 1e-6,
        "{start:?} {back:?}"
    );
    browser.no_complaints().await;
}

#[tokio::test]
async fn curves_words_and_expectations_stand_on_their_pages() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let bench = Bench::open(None);
    for path in [
        "/signals/clock",
        "/signals/plate-d",
        "/signals/steps",
        "/signals/tube",
    ] {
        check(&browser, &bench, path).await;
    }
    let answer = "return document.querySelector('.answer').textContent";
    browser.open(&bench.address("/signals/plate-d")).await;
    assert_eq!(
        browser.run(answer).await,
        json!("Unit 2 disagrees with the sheet; unit 1 agrees.")
    );
    let drawn = "return ['band', 'middle', 'first', 'second'].map(c => document.querySelectorAll('svg.curve .' + c).length)";
    assert_eq!(browser.run(drawn).await, json!([1, 1, 1, 1]));
    let host = format!("Host: {}\r\n", bench.host);
    let file = bench.ask("/signals/plate-d/curve.svg", &host);
    assert!(
        file.contains("image/svg+xml") && file.contains("xmlns"),
        "{file}"
    );
    let page = bench.ask("/signals/steps", &host);
    assert!(
        page.contains("They part at word 22 of 1 (19 of 2)"),
        "{page}"
    );
    assert!(page.contains("goes round 3 words"), "{page}");
    let page = bench.ask("/signals/clock", &host);
    assert!(page.contains("Every figure is as expected"), "{page}");
    assert!(bench.ask("/signals/tube", &host).contains("V a centimetre"));
    browser.no_complaints().await;
}

#[tokio::test]
async fn what_is_harmless_is_put_away_once_and_stays_so() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let bench = Bench::open(None);
    browser.open(&bench.address("/signals/clock")).await;
    let rows = "return [...document.querySelectorAll('#differences ~ table tbody tr')].filter(r => r.closest('table') === document.querySelector('#differences ~ table')).length";
    assert_eq!(browser.run(rows).await, json!(3));
    browser
        .run("const d = document.querySelector('#differences ~ table tbody tr details'); d.open = true; const f = d.querySelector('form'); f.querySelector('[name=reason]').value = 'the first carry falls into the start'; f.requestSubmit(); return 0")
        .await;
    browser
        .until("return !!document.querySelector('#harmless')")
        .await;
    let host = format!("Host: {}\r\n", bench.host);
    let page = bench.until("/signals/clock", |p| p.contains("was put away as harmless"));
    assert!(
        page.contains("Harmless, because the first carry falls into the start"),
        "{page}"
    );
    browser.open(&bench.address("/signals/clock")).await;
    assert_eq!(browser.run(rows).await, json!(2));
    let entry = bench.ledger();
    assert!(
        entry
            .iter()
            .any(|l| l.contains("recording clock: CARRY: missing")),
        "{entry:?}"
    );
    // nothing is put away without a reason
    let refused = bench.enter(&[
        ("kind", "harmless"),
        ("capture", "clock"),
        ("channel", "CLOCK"),
        ("difference", "shape"),
        ("reason", ""),
    ]);
    assert!(!refused.starts_with("HTTP/1.1 303"), "{refused}");
    assert!(bench.ask("/signals/clock", &host).contains("2 differences"));
}

#[tokio::test]
async fn a_file_that_is_sent_is_kept_or_refused_with_its_line() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let bench = Bench::open(None);
    let folder = std::env::temp_dir().join(format!("knowngood-send-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("made");
    let mut good = String::from("Time (s),CLOCK (V),CARRY (V)\n");
    for k in 0..4000 {
        let high = if k / 25 % 2 == 0 { -10.0 } else { 0.0 };
        good += &format!("{:.1e},{high:.2},{high:.2}\n", k as f64 * 2e-7);
    }
    let bad = good.replacen("4.0e-7,-10.00", "4.0e-7,wrong", 1);
    for (name, text) in [("good.csv", &good), ("bad.csv", &bad)] {
        std::fs::write(folder.join(name), text).expect("written");
    }
    for (name, wanted) in [("bad.csv", "Not kept"), ("good.csv", "")] {
        browser.open(&bench.address("/signals/clock")).await;
        let field = browser
            .client
            .find(Locator::Css("#send input[type=file]"))
            .await
            .expect("a field");
        field
            .send_keys(folder.join(name).to_str().expect("a path"))
            .await
            .expect("chosen");
        browser
            .run("document.querySelector('#send').noValidate = true; document.querySelector('#send').requestSubmit(); return 0")
            .await;
        if wanted.is_empty() {
            browser.until("return document.querySelector('#files')?.textContent.includes('entry') ?? false").await;
            // of three files any two can be laid over each other
            browser
                .until("return !!document.querySelector('#choose')")
                .await;
        } else {
            browser
                .until(&format!("return document.body.textContent.includes('{wanted}') || [...document.querySelectorAll('[data-trouble], [role=alert]')].some(e => e.textContent.includes('wrong'))"))
                .await;
            let text = browser.run("return document.body.textContent").await;
            let text = text.as_str().expect("text");
            assert!(text.contains("wrong") && text.contains('4'), "{text}");
        }
    }
    let host = format!("Host: {}\r\n", bench.host);
    let chosen = bench.ask(
        "/signals/clock?first=captures%2Fclock%2F1-first.csv&second=captures%2Fclock%2F2-first.csv",
        &host,
    );
    assert!(chosen.contains("CARRY parts first"), "{chosen}");
    // the text about a set: a mistake is told with its line, and nothing is written
    let head = format!(
        "Host: {0}\r\nOrigin: http://{0}\r\nContent-Type: application/x-www-form-urlencoded\r\n",
        bench.host
    );
    let body = "text=capture%20%7B%0A%20expect%20CLOCK%20low%3D%22five%22%20high%3D%220V%22%0A%7D";
    let refused = bench.send("/signals/clock/about", &head, body.as_bytes());
    assert!(
        refused.contains(" 422 ") && refused.contains("line 2"),
        "{refused}"
    );
    let body = "text=capture%20%7B%0A%20expect%20CLOCK%20low%3D%22-5V%22%20high%3D%220V%22%0A%7D";
    let kept = bench.send("/signals/clock/about", &head, body.as_bytes());
    assert!(kept.contains(" 303 "), "{kept}");
    let page = bench.until("/signals/clock", |p| p.contains("not as expected"));
    assert!(page.contains("disagrees"), "{page}");
    let _ = std::fs::remove_dir_all(&folder);
}
