//! Entering: readings, probe runs and findings, by hand, by script and by several people at once.

use serde_json::json;

use crate::project;
use crate::stage::{Bench, Browser};

const ENTER: &str = "\u{e007}";
const RIGHT: &str = "\u{e014}";

fn reading<'a>(unit: &'a str, red: &'a str, value: &'a str) -> Vec<(&'a str, &'a str)> {
    vec![
        ("kind", "reading"),
        ("unit", unit),
        ("board", "A2"),
        ("state", "cold"),
        ("measured", "ohms"),
        ("red", red),
        ("black", "0V"),
        ("value", value),
        ("back", "/board/A2"),
    ]
}

/// What a page says, without its tags.
fn words(page: &str) -> String {
    let mut text = String::new();
    let mut is_tag = false;
    for c in page.chars() {
        match c {
            '<' => is_tag = true,
            '>' => is_tag = false,
            _ if !is_tag => text.push(c),
            _ => {}
        }
    }
    text
}

#[tokio::test]
async fn a_reading_is_judged_at_once_and_seen_on_another_screen() {
    let (Some(one), Some(two)) = (Browser::start().await, Browser::start().await) else {
        return;
    };
    let project = project();
    let bench = Bench::open(Some(&project.0));
    for browser in [&one, &two] {
        browser.open(&bench.address("/board/A2")).await;
        browser.run("window.sameDocument = true; return 0").await;
    }
    // Half a word on the second screen must outlive what comes from the first.
    two.run("document.querySelector('#enter [name=value]').focus(); return 0")
        .await;
    two.press("12").await;
    // Events, in the order in which they come: sent on one screen, acknowledged there, shown on the other by itself.
    let watch = "window.arrival = new Promise(resolve => new MutationObserver(() => {
        if (document.querySelector('table.verdicts')?.textContent.includes('4.7 k')) resolve(Date.now());
    }).observe(document.getElementById('main'), { childList: true, subtree: true })); return 0";
    two.run(watch).await;
    let watch = "const form = document.querySelector('#enter');
        form.addEventListener('submit', () => { window.sent = Date.now(); });
        window.acknowledged = new Promise(resolve => form.addEventListener('entered', e => resolve(e.detail.entry)));
        return 0";
    one.run(watch).await;
    one.press("r").await;
    one.press("MID\t0V\t4k7").await;
    one.press(ENTER).await;
    let seen = "return document.querySelector('table.verdicts').textContent.includes('4.7 k')
        && [...document.querySelectorAll('.verdict')].some(e => e.textContent === 'disagrees, high')";
    one.until(seen).await;
    two.until(seen).await;
    assert_eq!(
        one.told("acknowledged").await,
        json!(1),
        "the entry's number"
    );
    // Both pages read the same clock. How long it took is told and not judged: a busy machine is no fault of the page.
    let sent = one.run("return window.sent").await.as_f64().expect("sent");
    let arrived = two.told("arrival").await.as_f64().expect("arrived");
    assert!(
        arrived >= sent,
        "shown at {arrived}, before it was sent at {sent}"
    );
    eprintln!(
        "a reading entered on one screen showed on the other after {} ms",
        arrived - sent
    );
    let kept = "return window.sameDocument && document.querySelector('#enter [name=value]').value";
    assert_eq!(two.run(kept).await, json!("12"));
    assert_eq!(
        one.run(kept).await,
        json!(""),
        "the field is free for the next one"
    );
    assert_eq!(
        one.run("return document.activeElement.name").await,
        json!("red")
    );
    // A wrong value is told beside the form, and nothing that was typed is lost.
    one.press("NOWHERE\t0V\t1k").await;
    one.press(ENTER).await;
    one.until("return document.querySelector('[data-trouble]').textContent.includes('NOWHERE')")
        .await;
    assert_eq!(
        one.run("return document.activeElement.name + document.querySelector('#enter [name=value]').value").await,
        json!("red1k")
    );
    assert_eq!(bench.ledger().len(), 1);
}

#[tokio::test]
async fn a_probe_run_is_walked_by_the_keyboard_alone() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = project();
    let bench = Bench::open(Some(&project.0));
    browser.open(&bench.address("/board/A2")).await;
    browser.press("t").await;
    browser
        .until("return location.pathname === '/board/A2/probe'")
        .await;
    browser.press("\u{e015}").await; // arrow down: the first unit
    browser.press(ENTER).await;
    let ready = "return document.activeElement.name === 'value'";
    browser.until(ready).await;
    browser
        .until("return document.querySelector('.expect strong') !== null")
        .await;
    let place = "return [...document.querySelectorAll('.lead-on')].map(e => e.textContent).join(' ') + document.querySelector('.expect').firstChild.textContent";
    let first = browser.run(place).await;
    let caution = "const box = document.querySelector('.caution').getBoundingClientRect();
        return box.top < document.querySelector('.leads').getBoundingClientRect().top";
    assert_eq!(
        browser.run(caution).await,
        json!(true),
        "the caution stands before the step"
    );
    browser.press(RIGHT).await;
    browser
        .until("return new URLSearchParams(location.search).get('skip') === '1'")
        .await;
    browser.until(ready).await;
    assert_ne!(browser.run(place).await, first);
    browser.press("\u{e012}").await; // arrow left: back
    browser
        .until("return new URLSearchParams(location.search).get('skip') === null")
        .await;
    browser.until(ready).await;
    browser.press("1k0").await;
    browser.press(ENTER).await;
    browser
        .until("return document.querySelector('.came .verdict') !== null")
        .await;
    browser.until(ready).await;
    assert_ne!(browser.run(place).await, first, "the run goes on");
    assert_eq!(bench.ledger().len(), 1);
    browser.press("nonsense").await;
    browser.press(ENTER).await;
    browser
        .until("return document.querySelector('h1').textContent === 'Not written'")
        .await;
    assert_eq!(bench.ledger().len(), 1);
}

#[test]
fn forms_need_no_script() {
    let project = project();
    let bench = Bench::open(Some(&project.0));
    let answer = bench.enter(&reading("1", "MID", "4k7"));
    assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
    let to = "location: /board/A2?unit=1&state=cold&measured=ohms&black=0V";
    assert!(answer.contains(to), "{answer}");
    let page = bench.settled("/board/A2?unit=1&black=0V");
    assert!(
        page.contains("4.7 kΩ") && page.contains("disagrees, high"),
        "{page}"
    );
    assert!(
        !page.contains("1.63 kΩ"),
        "the last reading of a place counts: {page}"
    );
    // Refused, with what was typed.
    let answer = bench.enter(&reading("1", "MID", "four"));
    assert!(answer.starts_with("HTTP/1.1 422"), "{answer}");
    assert!(
        answer.contains("value=\"four\"") && answer.contains("cannot be read"),
        "{answer}"
    );
    let answer = bench.enter(&reading("7", "MID", "4k7"));
    assert!(answer.contains("The machine has no unit 7."), "{answer}");
    assert_eq!(bench.ledger().len(), 1);
}

#[test]
fn a_correction_names_the_old_and_takes_its_place() {
    let project = project();
    let bench = Bench::open(Some(&project.0));
    let mut first = reading("1", "MID", "4k7");
    first.push(("id", "first"));
    bench.enter(&first);
    // The same form sent twice is one entry.
    assert!(bench.enter(&first).starts_with("HTTP/1.1 303"));
    assert_eq!(bench.ledger().len(), 1);
    let correct = |reason| {
        bench.enter(&[
            ("kind", "correction"),
            ("entry", "first"),
            ("instead", "yes"),
            ("value", "1k6"),
            ("reason", reason),
        ])
    };
    assert!(
        correct("").starts_with("HTTP/1.1 422"),
        "a correction needs a reason"
    );
    assert!(correct("misread").starts_with("HTTP/1.1 303"));
    let page = bench.settled("/board/A2");
    assert!(
        page.contains("1.6 kΩ") && !page.contains("4.7 kΩ"),
        "{page}"
    );
    let lines = bench.ledger();
    assert_eq!(lines.len(), 2);
    assert!(
        lines[0].contains("4k7") && lines[0].contains("Corrected by entry 2"),
        "{lines:?}"
    );
}

#[test]
fn two_people_entering_at_once_lose_nothing() {
    const EACH: usize = 30;
    let project = project();
    let bench = Bench::open(Some(&project.0));
    let write = |unit: &'static str| {
        for n in 0..EACH {
            let value = format!("{}", 1000 + n);
            let answer = bench.enter(&reading(unit, "MID", &value));
            assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
        }
    };
    std::thread::scope(|scope| {
        scope.spawn(|| write("1"));
        scope.spawn(|| write("2"));
    });
    let lines = bench.ledger();
    assert_eq!(lines.len(), 2 * EACH);
    for unit in ["1", "2"] {
        for n in 0..EACH {
            let value = format!("unit {unit} board A2: cold ohms MID to 0V: {}", 1000 + n);
            assert_eq!(
                lines.iter().filter(|l| l.contains(&value)).count(),
                1,
                "{value}"
            );
        }
    }
}

#[test]
fn a_ruling_is_evidence_and_can_be_taken_back() {
    let project = project();
    project.write("readings/A2.csv", "unit,state,kind,red,black,value\n1,cold,ohms,MID,K,OL\n1,cold,diode,MID,K,OL\n1,cold,diode,K,MID,OL\n");
    let bench = Bench::open(Some(&project.0));
    let weighed = |path: &str| words(&bench.until(path, |page| !page.contains("Being weighed")));
    let page = weighed("/board/A2");
    assert!(page.contains("D1 open:"), "{page}");
    let ruling = [
        ("kind", "ruling"),
        ("id", "ruled"),
        ("unit", "1"),
        ("board", "A2"),
        ("suspect", "D1 open"),
        ("out", "yes"),
        ("reason", "lifted and tested"),
    ];
    assert!(bench.enter(&ruling).starts_with("HTTP/1.1 303"));
    let page = weighed("/board/A2");
    assert!(
        page.contains("D1 open was ruled out by hand, because lifted and tested"),
        "{page}"
    );
    assert!(
        !page.contains("D1 open:"),
        "it is no suspect any more: {page}"
    );
    let back = [
        ("kind", "correction"),
        ("entry", "ruled"),
        ("reason", "wrong part"),
    ];
    assert!(bench.enter(&back).starts_with("HTTP/1.1 303"));
    let page = weighed("/board/A2");
    assert!(
        page.contains("D1 open:") && !page.contains("was ruled out"),
        "{page}"
    );
}

#[test]
fn a_project_that_cannot_be_written_is_read_and_says_so() {
    let project = project();
    // A folder in the ledger's place can be opened by nobody, not even by one who may write everything.
    std::fs::create_dir(project.0.join("bench.db")).expect("made");
    let bench = Bench::open(Some(&project.0));
    let page = bench.settled("/board/A2");
    assert!(
        page.contains("Nothing can be entered here.") && page.contains("1.63 kΩ"),
        "{page}"
    );
    assert!(!page.contains("id=\"enter\""), "{page}");
    let answer = bench.enter(&reading("1", "MID", "4k7"));
    assert!(
        answer.starts_with("HTTP/1.1 503") && answer.contains("4k7"),
        "{answer}"
    );
}

#[test]
fn a_board_without_a_sheet_takes_readings_too() {
    let project = project();
    let bench = Bench::open(Some(&project.0));
    for (unit, value) in [("1", "47k"), ("2", "OL")] {
        let mut fields = reading(unit, "TP3", value);
        fields[2].1 = "B1";
        assert!(bench.enter(&fields).starts_with("HTTP/1.1 303"));
    }
    let page = bench.settled("/board/B1");
    assert!(
        page.contains("they differ") && page.contains("47 kΩ"),
        "{page}"
    );
}
