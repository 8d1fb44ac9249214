//! First power: the card, the permit, stages behind their hold points, and what stops them; by script and without.

use serde_json::json;

use crate::check;
use crate::stage::{Bench, Browser, Folder, urlencoded};

// With R1 short the whole supply stands across D1; no other fault of this board destroys anything.
const CLAMP: &str = r#"sheet A2 title="Clamp" {
    net "0V" role=ground
    net "+24V" role=rail volts=24
    supply V1 volts=24 plus="+24V" minus="0V" ohms=1
    resistor R1 "1k" "+24V" MID style=film
    diode D1 silicon-signal anode=MID cathode="0V"
}
"#;

const CLAMP_READINGS: &str = "unit,state,kind,red,black,value,place
1,cold,ohms,+24V,0V,1.6k,
2,cold,ohms,+24V,0V,700R,
3,cold,ohms,+24V,0V,OL,board-out
4,cold,ohms,0V,+24V,OL,
";

#[tokio::test]
async fn first_power_waits_for_its_cold_card() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = Folder::of(&[
        ("sheets/a2.kdl", CLAMP),
        ("readings/A2.csv", CLAMP_READINGS),
    ]);
    let bench = Bench::open(Some(&project.0));
    check(&browser, &bench, "/power").await;
    let first = "return document.querySelector('h1 + *').textContent.startsWith('Caution. Mains and charged capacitors kill.')";
    assert_eq!(browser.run(first).await, json!(true));
    let row = "return [...document.querySelectorAll('table.card tr[data-row]')].map(e => [e.querySelector('[data-name=red]').textContent, e.lastElementChild.textContent])";
    assert_eq!(browser.run(row).await, json!([["+24V", "R1 short"]]));
    let stands =
        "return [...document.querySelectorAll('table.card .verdict')].map(e => e.textContent)";
    let wanted = ["within", "beyond, low", "within", "not taken"];
    assert_eq!(browser.run(stands).await, json!(wanted));
    let stages = "return document.querySelectorAll('details[id^=stage-]').length";
    assert_eq!(browser.run(stages).await, json!(5));
    // One thing to do next, all else folded: on a phone the page stays short enough to be thumbed through.
    browser.open(&bench.address("/power")).await;
    browser
        .until("return !!document.querySelector('table.card')")
        .await;
    let open = "return [document.querySelectorAll('#check').length, document.querySelectorAll('details[open] details[open]').length]";
    assert_eq!(browser.run(open).await, json!([1, 0]));
    let table = bench.settled("/power.csv");
    assert!(table.contains("R1 short,1.6k,within,700R,"), "{table}");
    // The page follows the drawing: where nothing can be overloaded there is nothing to rule out.
    let mild = CLAMP.replace("1k", "10k").replace(
        "diode D1 silicon-signal anode=MID cathode=\"0V\"",
        "resistor R2 \"10k\" MID \"0V\"",
    );
    project.write("sheets/a2.kdl", &mild);
    browser
        .until("return !document.querySelector('table.card') && document.body.textContent.includes('No single fault that was followed')")
        .await;
    browser
        .run("document.querySelector('nav a[href=\"/\"]').click(); return 0")
        .await;
    browser.until("return location.pathname === '/' && !!document.querySelector('main a[href=\"/power\"]')").await;
}

/// Sends a form of the page of first power as a browser without script does; the answer's head and body.
fn power(bench: &Bench, fields: &[(&str, &str)]) -> String {
    let head = format!(
        "Host: {0}\r\nOrigin: http://{0}\r\nContent-Type: application/x-www-form-urlencoded\r\n",
        bench.host
    );
    let fields = [&[("unit", "1"), ("back", "/power?unit=1")], fields].concat();
    bench.send("/power", &head, urlencoded(&fields).as_bytes())
}

fn watch(bench: &Bench, stage: &str, measured: &str, red: &str, value: &str) -> String {
    let mut fields = vec![
        ("kind", "watch"),
        ("stage", stage),
        ("measured", measured),
        ("red", red),
        ("value", value),
    ];
    if measured == "volts" {
        fields.push(("black", "0V"));
    }
    power(bench, &fields)
}

#[track_caller]
fn refused(answer: &str, why: &str) {
    assert!(answer.starts_with("HTTP/1.1 422"), "{answer}");
    assert!(answer.contains(why), "{answer}");
}

#[track_caller]
fn taken(answer: &str) {
    assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
}

#[test]
fn stages_open_only_behind_a_permit_and_their_hold_points() {
    let project = Folder::of(&[("sheets/a2.kdl", CLAMP)]);
    let bench = Bench::open(Some(&project.0));
    let page = || bench.settled("/power?unit=1");
    assert!(page().contains("No permit"));
    refused(
        &power(&bench, &[("kind", "permit")]),
        "No permit: 2 of 2 checks are neither passed nor signed for",
    );
    refused(
        &watch(&bench, "1", "volts", "+24V", "2.4"),
        "has no permit in force",
    );

    // By hand and eye, then by the meter: beyond its line a reading stops, and says what it speaks for.
    let seen = [
        ("kind", "test"),
        ("unit", "1"),
        ("name", "Looked over, plug pulled"),
        ("passed", "yes"),
        ("text", "clean"),
        ("back", "/power"),
    ];
    bench.enter(&seen);
    let ohms = |value| {
        [
            ("kind", "reading"),
            ("unit", "1"),
            ("board", "A2"),
            ("state", "cold"),
            ("measured", "ohms"),
            ("red", "+24V"),
            ("black", "0V"),
            ("place", "chassis"),
            ("value", value),
            ("back", "/power"),
        ]
    };
    bench.enter(&ohms("700R"));
    let stopped = page();
    assert!(
        stopped.contains("Stop: 700R") && stopped.contains("R1 short</strong> would destroy D1")
    );
    refused(
        &power(&bench, &[("kind", "permit")]),
        "No permit: 1 of 2 checks",
    );
    bench.enter(&ohms("1.6k"));
    taken(&power(&bench, &[("kind", "permit")]));
    assert!(page().contains("stage 1 of 5"));

    // A tenth of 24 V: two volts and some milliamperes, then the hold point.
    let hold = |minutes| {
        power(
            &bench,
            &[
                ("kind", "hold"),
                ("stage", "1"),
                ("minutes", minutes),
                ("note", "cool"),
            ],
        )
    };
    refused(&hold("5"), "2 of 2 readings are not taken");
    refused(
        &watch(&bench, "2", "volts", "+24V", "6"),
        "Stage 2 is not open",
    );
    taken(&watch(&bench, "1", "volts", "+24V", "2.4"));
    taken(&watch(&bench, "1", "amps", "V1", "1.8m"));
    refused(
        &hold("3"),
        "Stage 1 is held for 5 minutes, and 3 are written.",
    );
    taken(&hold("5"));
    assert!(page().contains("stage 2 of 5"));

    // The next hold point is signed for; a reading beyond its limit then ends the permit.
    let sign = [
        ("kind", "hold"),
        ("stage", "2"),
        ("minutes", "5"),
        ("by", "J. Doe"),
        ("reason", "the ammeter is lent out"),
    ];
    taken(&power(&bench, &sign));
    taken(&watch(&bench, "3", "volts", "+24V", "19"));
    let crossed = page();
    assert!(
        crossed.contains("Stop. Off at the plug.") && crossed.contains("+24V read 19"),
        "{crossed}"
    );
    refused(
        &watch(&bench, "3", "amps", "V1", "1m"),
        "A limit was crossed",
    );
    refused(
        &power(&bench, &[("kind", "permit")]),
        "Found and mended: the limit crossed in entry",
    );
    let ledger = bench.ledger().concat();
    assert!(
        ledger.contains("signed for by J. Doe, because the ammeter is lent out"),
        "{ledger}"
    );
}

#[test]
fn power_goes_on_under_a_permit_or_a_signature() {
    let project = Folder::of(&[("sheets/a2.kdl", CLAMP)]);
    let bench = Bench::open(Some(&project.0));
    bench.settled("/power?unit=1");
    let on = |more: &[(&str, &str)]| {
        let own = [
            ("kind", "power"),
            ("unit", "1"),
            ("on", "yes"),
            ("cycle", "1-1"),
        ];
        bench.enter(&[&own, more].concat())
    };
    refused(
        &on(&[]),
        "No permit stands for unit 1. None was ever given.",
    );
    refused(&on(&[("by", "J. Doe")]), "sign for it below");
    assert!(bench.ledger().is_empty());
    // With a permit nobody signs.
    bench.enter(&[
        ("kind", "test"),
        ("unit", "1"),
        ("name", "Looked over, plug pulled"),
        ("passed", "yes"),
        ("text", "clean"),
    ]);
    bench.enter(&[
        ("kind", "reading"),
        ("unit", "1"),
        ("board", "A2"),
        ("state", "cold"),
        ("measured", "ohms"),
        ("red", "+24V"),
        ("black", "0V"),
        ("place", "chassis"),
        ("value", "1.6k"),
    ]);
    taken(&power(&bench, &[("kind", "permit")]));
    taken(&on(&[]));
    let off = [
        ("kind", "power"),
        ("unit", "1"),
        ("on", "no"),
        ("cycle", "1-1"),
    ];
    taken(&bench.enter(&off));
    // A reseat ends the permit: it is asked for again, or signed for.
    bench.enter(&[
        ("kind", "touch"),
        ("unit", "1"),
        ("board", "A2"),
        ("what", "J1"),
        ("how", "reseated"),
        ("reason", "dull pins"),
    ]);
    let page = bench.settled("/power?unit=1");
    assert!(
        page.contains("No permit stands.") && page.contains("It is on, and I sign for it"),
        "{page}"
    );
    refused(&on(&[]), "has ended. The board was pulled since (entry 6).");
    taken(&on(&[
        ("by", "J. Doe"),
        ("reason", "on the dummy load alone"),
    ]));
    let last = bench.ledger().pop().expect("entries");
    assert!(
        last.contains("without a permit, signed for by J. Doe, because on the dummy load alone"),
        "{last}"
    );
    // Off is always written.
    taken(&bench.enter(&off));
}
