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

/// What one screen enters with a tap another shows within a second: fewer suspects, another next net, and the level in the drawing.
#[tokio::test]
async fn a_level_entered_on_one_screen_narrows_the_suspects_on_another() {
    let (Some(desk), Some(phone)) = (Browser::start().await, Browser::start().await) else {
        return;
    };
    let project = Folder::of(&[
        ("machine.kdl", MACHINE),
        demo!("control.kdl"),
        demo!("control/2-run.csv"),
        demo!("arithmetic.kdl"),
    ]);
    let bench = Bench::open(Some(&project.0));
    let address = bench.address("/logic/control");
    desk.open(&address).await;
    phone.open(&address).await;
    let answers = "return [...document.querySelectorAll('.answer')].map(e => e.textContent)";
    assert_eq!(desk.run(answers).await, json!(["Unit 2: U2, U4 or U5"]));
    let next = "return document.querySelector('.take .figure').textContent";
    assert_eq!(desk.run(next).await, json!("DBUSY"));
    let explanations = "return document.querySelector('.take .small').textContent";
    let before = desk.run(explanations).await;
    assert!(
        before.to_string().contains("of 19 explanations"),
        "{before}"
    );
    // The planted fault holds SSN high, so that DBUSY stays low.
    phone
        .run("document.querySelector('form.levels button[value=\"DBUSY=0\"]').click()")
        .await;
    desk.until("return !document.body.textContent.includes('of 19 explanations')")
        .await;
    let odd = "return [...document.querySelectorAll('.pin.odd')].map(e => e.textContent)";
    desk.open(&bench.address("/logic/control?show=0&row=4"))
        .await;
    assert!(desk.run(odd).await.to_string().contains("DBUSY"));
    assert_ne!(desk.run(next).await, json!("DBUSY"));
    // By name, a pin in volts: SSN is high where the start key should have pulled it low.
    let enter = |words: &str| {
        format!(
            "const f = document.getElementById('enter-0'); f.elements['row'].value = '4'; f.elements['seen'].value = '{words}'; f.submit()"
        )
    };
    phone.open(&address).await;
    phone.run(&enter("U4.11=3.3V SS=1")).await;
    desk.until("return document.querySelector('.answer').textContent === 'Unit 2: U4'")
        .await;
    // What cannot be is refused, and what was typed stands there again.
    phone.open(&address).await;
    phone.run(&enter("U4.11=1.4V")).await;
    phone
        .until("return document.querySelector('.answer')?.textContent === '1.4V at U4.11 is neither level.'")
        .await;
    // A sheet without any rows begins with one; both entries are in the ledger.
    desk.open(&bench.address("/logic/arithmetic")).await;
    desk.run("const f = document.getElementById('enter-first-1'); f.elements['seen'].value = 'A0=1 A1=0 A2=0 A3=0 B0=1 B1=0 B2=0 B3=0 SUB=0 CIN=0 S0=0 S1=0'; f.submit()")
        .await;
    desk.until("return document.querySelector('.answer')?.textContent.startsWith('Unit 1: ')")
        .await;
    assert_ne!(
        desk.run("return document.querySelector('.answer').textContent")
            .await,
        json!("Unit 1: every level is as it should be")
    );
    desk.open(&bench.address("/ledger")).await;
    let told = desk
        .run("return document.querySelector('main').textContent")
        .await;
    for words in ["DBUSY=0", "U4.11=3.3V SS=1", "A0=1"] {
        assert!(told.to_string().contains(words), "{words}: {told}");
    }
    check(&desk, &bench, "/logic/arithmetic").await;
}

/// A keyboard's page: what explains the codes, and a table in which every key of both units stands with its bounce.
#[tokio::test]
async fn a_keyboard_stands_as_a_table_of_both_units() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = Folder::of(&[
        ("machine.kdl", MACHINE),
        demo!("digits.keys"),
        demo!("digits/codes.csv"),
        demo!("digits/1-bounce.vcd"),
        demo!("digits/2-bounce.vcd"),
    ]);
    let bench = Bench::open(Some(&project.0));
    check(&browser, &bench, "/logic/digits").await;
    browser.open(&bench.address("/logic/digits")).await;
    let answers = "return [...document.querySelectorAll('.answer')].map(e => e.textContent)";
    assert_eq!(
        browser.run(answers).await,
        json!([
            "Unit 1: every code that was given is right",
            "Unit 2: diode of key 7 to FOUR open and contact of key 9 open"
        ])
    );
    let row = |key: usize| {
        format!(
            "return [...document.querySelectorAll('.keyboard tbody tr')[{key}].cells].map(c => c.innerText.trim())"
        )
    };
    let starts = |cell: &serde_json::Value, with: &str| {
        assert!(cell.as_str().is_some_and(|c| c.starts_with(with)), "{cell}");
    };
    let seven = browser.run(&row(7)).await;
    assert_eq!(seven[1], json!("11101"));
    starts(&seven[2], "11101\n");
    starts(&seven[3], "11001 !\n");
    let nine = browser.run(&row(9)).await;
    assert_eq!(nine[3], json!("00000 !\nnever went over"));
    let two = browser.run(&row(2)).await;
    assert!(two[3].to_string().contains("spoke once"), "{two}");
    let said = browser
        .run("return document.querySelector('main').textContent")
        .await;
    assert!(
        said.to_string().contains("Contact 4: unit 2 is worse."),
        "{said}"
    );
}
