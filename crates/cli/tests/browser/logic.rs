//! Gate sheets in a browser: what would explain the levels, the next net, and the sheet with the levels of a row.

use serde_json::json;

use crate::check;
use crate::stage::{Bench, Browser, Folder};

const MACHINE: &str = "machine \"Tamarisk 40\" {\n    unit \"1\"\n    unit \"2\"\n}\n";

/// A file of the demonstration's gate sheets.
macro_rules! demo {
    ($name:literal) => {
        (
            concat!("logic/", $name),
            include_str!(concat!("../../../bench/demo/logic/", $name)),
        )
    };
}

#[tokio::test]
async fn suspects_next_net_and_levels_stand_on_the_page() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = Folder::of(&[
        ("machine.kdl", MACHINE),
        demo!("control.kdl"),
        demo!("control/1-run.csv"),
        demo!("control/2-run.csv"),
        demo!("arithmetic.kdl"),
        demo!("arithmetic/1-sums.csv"),
    ]);
    let bench = Bench::open(Some(&project.0));
    for path in ["/logic", "/logic/control", "/logic/control?show=0&row=12"] {
        check(&browser, &bench, path).await;
    }
    browser.open(&bench.address("/logic/control")).await;
    let answers = "return [...document.querySelectorAll('.answer')].map(e => e.textContent)";
    let said = json!([
        "Unit 1: every level is as it should be",
        "Unit 2: U2, U4 or U5"
    ]);
    assert_eq!(browser.run(answers).await, said);
    let heavy = "return document.querySelectorAll('rect.suspect').length";
    // Two flip-flops of U2, four gates of U4, four of U5.
    assert_eq!(browser.run(heavy).await, json!(10));
    // In row 5 BUSY was seen 0 at its source and wherever it goes on the drawing: two gates of U3, two of U5.
    let odd = "return [...document.querySelectorAll('.pin.odd')].map(e => e.textContent).sort()";
    assert_eq!(
        browser.run(odd).await,
        json!(["0! BUSY", "BUSY 0!", "BUSY 0!", "BUSY 0!", "BUSY 0!"])
    );
    browser
        .open(&bench.address("/logic/control?show=0&row=12"))
        .await;
    assert_eq!(browser.run(odd).await, json!([]));
    let host = format!("Host: {}\r\n", bench.host);
    assert!(bench.ask("/logic/nothing", &host).contains(" 404 "));
    assert!(
        bench
            .ask("/logic/control?show=99&row=0", &host)
            .contains(" 200 ")
    );
}
