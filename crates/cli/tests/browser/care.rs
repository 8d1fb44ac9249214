//! What is worked on without a sheet or beside it: like parts, trust, tests, trimmers, capacitors, outlines, comments.

use serde_json::json;

use crate::stage::{Bench, Browser, Folder};
use crate::whole::fill;
use crate::{check, project};

const UNDRAWN: &str = "machine \"Invented 7\" {\n    assembly \"Logic\" { board L1 }\n    unit \"1\"\n    unit \"2\"\n}\n";

fn diode(unit: &str, part: usize, value: &str) -> String {
    format!("{unit},cold,diode,D{part}.a,D{part}.k,{value}\n")
}

#[tokio::test]
async fn a_board_without_a_sheet_shows_its_odd_parts_first() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    // Nine diodes within some millivolts, one of unit 2 far above; six places alike on both units but for one.
    let mut readings = "unit,state,kind,red,black,value\n".to_owned();
    for part in 1..=9 {
        readings += &diode("1", part, &format!("0.6{part}0").replace("0.6", "0.60"));
        readings += &diode("2", part, if part == 7 { "0.712" } else { "0.605" });
    }
    for (place, (one, two)) in [
        ("1000", "1010"),
        ("2200", "2230"),
        ("3300", "3330"),
        ("4700", "6600"),
        ("6800", "6860"),
        ("10000", "10100"),
    ]
    .into_iter()
    .enumerate()
    {
        readings += &format!("1,cold,ohms,N{place},0V,{one}\n2,cold,ohms,N{place},0V,{two}\n");
    }
    let folder = Folder::of(&[("machine.kdl", UNDRAWN), ("readings/L1.csv", &readings)]);
    let bench = Bench::open(Some(&folder.0));
    check(&browser, &bench, "/board/L1").await;
    let kin = browser
        .run("return document.querySelector('article.kin').innerText")
        .await
        .to_string();
    for wanted in [
        "One stands out of 18",
        "D7.a to D7.k, unit 2",
        "spreads above",
    ] {
        assert!(kin.contains(wanted), "{wanted}: {kin}");
    }
    let first = "const rows = [...document.querySelectorAll('table.verdicts tr[data-row]')];
        const at = name => rows.findIndex(r => r.querySelector('th').textContent.includes(name));
        return [Math.max(at('D7.a'), at('N3')), document.querySelector('table.verdicts .group').textContent.trim()]";
    assert_eq!(
        browser.run(first).await,
        json!([1, "Odd among like readings"]),
        "the odd ones are the first two rows"
    );
    browser.open(&bench.address("/twins")).await;
    let twins = browser
        .run("return document.querySelector('table.twins').textContent")
        .await
        .to_string();
    assert!(twins.contains("N3") && !twins.contains("N4"), "{twins}");
    browser.open(&bench.address("/")).await;
    let next = "return document.querySelector('.next').textContent";
    let next = browser.run(next).await.to_string();
    assert!(
        next.contains("L1") && next.contains("like readings differ"),
        "{next}"
    );
    // Of unit 2 a diode and a pair; of unit 1 the pair alone.
    let cell = "return document.querySelectorAll('table.bench td')[1].textContent";
    let before = browser.run(cell).await.to_string();
    assert!(before.contains("2 odd among like ones"), "{before}");
    // What was said to be harmless is not seen again.
    let harmless = [
        ("kind", "dismissal"),
        ("board", "L1"),
        ("state", "cold"),
        ("measured", "ohms"),
        ("red", "N3"),
        ("black", "0V"),
        ("reason", "another tube is fitted"),
    ];
    assert!(bench.enter(&harmless).starts_with("HTTP/1.1 303"));
    browser
        .until("return document.querySelectorAll('table.bench td')[1].textContent.includes('1 odd among like ones')")
        .await;
    // The odd one becomes a finding as one of a sheet does.
    browser.open(&bench.address("/board/L1")).await;
    fill(
        &browser,
        "tr:has(td.reading[data-odd]) form.inline",
        &[],
        "Open a finding on unit 2",
    )
    .await;
    let standing = "return document.querySelector('article.finding').dataset.standing";
    assert_eq!(browser.run(standing).await, json!("open"));
}

#[tokio::test]
async fn one_odd_part_is_put_away_once_and_comes_back_when_it_changes() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let mut readings = "unit,state,kind,red,black,value\n".to_owned();
    for part in 1..=9 {
        readings += &diode("1", part, if part == 4 { "0.712" } else { "0.605" });
    }
    let folder = Folder::of(&[("machine.kdl", UNDRAWN), ("readings/L1.csv", &readings)]);
    let bench = Bench::open(Some(&folder.0));
    browser.open(&bench.address("/board/L1")).await;
    let kin = "return document.querySelector('article.kin').textContent";
    let said = browser.run(kin).await.to_string();
    assert!(said.contains("One stands out of 9"), "{said}");
    // Without a reason nothing is put away.
    let bare = [
        ("kind", "dismissal"),
        ("board", "L1"),
        ("unit", "1"),
        ("state", "cold"),
        ("measured", "diode"),
        ("red", "D4.a"),
        ("black", "D4.k"),
        ("value", "0.712"),
    ];
    assert!(bench.enter(&bare).starts_with("HTTP/1.1 422"));
    let why = ("reason", "another make, fitted by the maker");
    let form = "details[id^=harmless] form";
    fill(&browser, form, &[why], "Put it away").await;
    let said = browser.run(kin).await.to_string();
    for wanted in [
        "None stands out of 9",
        "1 said to be harmless",
        "because another make",
    ] {
        assert!(said.contains(wanted), "{wanted}: {said}");
    }
    let odd = "return document.querySelectorAll('td.reading[data-odd]').length";
    assert_eq!(browser.run(odd).await, json!(0));
    check(&browser, &bench, "/board/L1").await;
    // It is remembered when the bench is opened anew, and holds for a reading like the one that was seen, for no other.
    drop(bench);
    let bench = Bench::open(Some(&folder.0));
    let read = |value: &str| {
        let mut fields = bare.to_vec();
        fields[0].1 = "reading";
        fields[7].1 = value;
        assert!(bench.enter(&fields).starts_with("HTTP/1.1 303"));
    };
    read("0.70");
    bench.until("/board/L1", |page| {
        page.contains("0.70 V") && page.contains("None stands out")
    });
    read("0.95");
    bench.until("/board/L1", |page| {
        page.contains("0.95 V") && page.contains("One stands out")
    });
    read("0.71");
    bench.until("/board/L1", |page| {
        page.contains("0.71 V") && page.contains("None stands out")
    });
    // And it can be taken back.
    browser.open(&bench.address("/board/L1")).await;
    let form = "article.kin form:has([value=correction])";
    fill(&browser, form, &[("reason", "it drifts")], "Take it back").await;
    let said = browser.run(kin).await.to_string();
    assert!(said.contains("One stands out of 9"), "{said}");
}

#[tokio::test]
async fn trust_is_earned_by_a_test_and_lost_by_a_move() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = project();
    let bench = Bench::open(Some(&project.0));
    let page = "/board/A2/trust";
    browser.open(&bench.address(page)).await;
    let answer = "return document.querySelector('.answer').textContent";
    assert_eq!(browser.run(answer).await, json!("Unit 1: unknown"));
    fill(
        &browser,
        "#test-form",
        &[
            ("name", "rails at the load"),
            ("text", "one hour, 11.98 V"),
            ("minutes", "60"),
        ],
        "It passed",
    )
    .await;
    fill(
        &browser,
        "#trust-form",
        &[("level", "proven"), ("test", "rails at the load")],
        "Write it",
    )
    .await;
    assert_eq!(browser.run(answer).await, json!("Unit 1: proven"));
    browser.open(&bench.address("/")).await;
    let cell = browser
        .run("return document.querySelector('table.bench').innerText")
        .await;
    assert!(cell.to_string().contains("1 of 2 boards proven"), "{cell}");
    let reading = [
        ("kind", "reading"),
        ("unit", "1"),
        ("board", "A2"),
        ("state", "cold"),
        ("measured", "ohms"),
        ("red", "K"),
        ("black", "0V"),
        ("value", "4k64"),
    ];
    bench.enter(&reading);
    bench.enter(&[
        ("kind", "move"),
        ("unit", "1"),
        ("text", "to the other room"),
    ]);
    browser.open(&bench.address(page)).await;
    let lost = browser
        .run("return document.querySelector('main').innerText")
        .await
        .to_string();
    for wanted in [
        "unknown again; it was proven",
        "The unit was moved since (entry 4).",
        "Unit 1: 1 of 1 readings no longer hold",
        "cold ohms, red K, black 0V: read 4k64",
    ] {
        assert!(lost.contains(wanted), "{wanted}: {lost}");
    }
    check(&browser, &bench, page).await;
}

#[tokio::test]
async fn a_trimmer_is_marked_before_it_is_turned_and_checked_after() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = project();
    let bench = Bench::open(Some(&project.0));
    let turn = [
        ("kind", "turn"),
        ("unit", "1"),
        ("board", "A2"),
        ("trimmer", "R9"),
        ("position", "a quarter to the left"),
        ("measured", "12.00 V"),
        ("reason", "the rail was low"),
    ];
    let refused = bench.enter(&turn);
    assert!(
        refused.starts_with("HTTP/1.1 422") && refused.contains("not marked and measured before"),
        "{refused}"
    );
    browser.open(&bench.address("/board/A2/trust")).await;
    for (form, fields, button) in [
        (
            "#mark-form",
            &[
                ("trimmer", "R9"),
                ("position", "at the red mark"),
                ("measured", "11.4 V"),
            ][..],
            "Marked and measured",
        ),
        (
            "#mark-form",
            &[
                ("trimmer", "R8"),
                ("position", "half way"),
                ("measured", "5.1 V"),
            ],
            "Marked and measured",
        ),
        (
            "#order-form",
            &[("trimmers", "R9\nR8")],
            "This is the order",
        ),
        (
            "#turn-form",
            &[
                ("trimmer", "R8"),
                ("position", "up"),
                ("measured", "5.0 V"),
                ("reason", "as the sheet says"),
            ],
            "Write it",
        ),
        (
            "#turn-form",
            &[
                ("trimmer", "R9"),
                ("position", "a quarter left"),
                ("measured", "12.00 V"),
                ("reason", "the rail was low"),
                ("recheck", "ripple at full load\nR8's 5 V"),
            ],
            "Write it",
        ),
    ] {
        fill(&browser, form, fields, button).await;
    }
    let table = "return document.querySelector('#trimmers ~ table').innerText";
    let said = browser.run(table).await.to_string();
    for wanted in [
        "1. R9",
        "at the red mark; reads 11.4 V",
        "2. R8",
        "set it again",
        "ripple at full load",
    ] {
        assert!(said.contains(wanted), "{wanted}: {said}");
    }
    fill(
        &browser,
        "form[id^=recheck]",
        &[("result", "20 mV")],
        "Checked",
    )
    .await;
    let said = browser.run(table).await.to_string();
    assert!(
        !said.contains("ripple at full load") && said.contains("R8's 5 V"),
        "{said}"
    );
    for (minutes, amps) in [("0", "12m"), ("10", "3m5"), ("30", "350u")] {
        fill(
            &browser,
            "#capacitor-form",
            &[
                ("part", "C1"),
                ("minutes", minutes),
                ("volts", "25"),
                ("amps", amps),
            ],
            "Write it",
        )
        .await;
    }
    let said = browser
        .run("return document.querySelector('#capacitors ~ article').innerText")
        .await
        .to_string();
    for wanted in ["C1, unit 1", "25 V", "350 µA", "at 30 min", "3 rows"] {
        assert!(said.contains(wanted), "{wanted}: {said}");
    }
    let points = "return document.querySelectorAll('#capacitors ~ article circle').length";
    assert_eq!(browser.run(points).await, json!(3));
    check(&browser, &bench, "/board/A2/trust").await;
}

#[tokio::test]
async fn places_are_put_on_an_outline_where_there_is_no_photograph() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = project();
    let bench = Bench::open(Some(&project.0));
    browser.open(&bench.address("/board/A2/map")).await;
    fill(
        &browser,
        "#outline-form",
        &[("across", "120"), ("down", "80"), ("edge", "bottom")],
        "Draw it",
    )
    .await;
    // 120 mm by 80 mm with the margins that the picture has.
    browser
        .until("const i = document.querySelector('.picture input'); return i !== null && Math.abs(i.clientHeight / i.clientWidth - 664 / 984) < 0.01")
        .await;
    for name in ["MID", "0V"] {
        let click = format!(
            "window.leaving = true; const form = document.querySelector('form.map');
             form.elements.namedItem('name').value = '{name}';
             const box = form.querySelector('input[type=image]'); box.click(); return 0"
        );
        browser.run(&click).await;
        browser
            .until(
                "return window.leaving === undefined && document.querySelector('#placed') !== null",
            )
            .await;
    }
    // The place that tells most next is shown on it, once it is worked out; both are placed, so both leads are drawn.
    browser
        .until("return document.querySelector('main').innerText.includes('Next to probe on unit')")
        .await;
    check(&browser, &bench, "/board/A2/map").await;
    let head = format!(
        "Host: {0}\r\nOrigin: http://{0}\r\nContent-Type: application/x-www-form-urlencoded\r\n",
        bench.host
    );
    let answer = bench.send(
        "/board/A2/map",
        &head,
        b"kind=outline&unit=1&across=2&down=80",
    );
    assert!(
        answer.starts_with("HTTP/1.1 422") && answer.contains("millimetres"),
        "{answer}"
    );
}

#[tokio::test]
async fn saving_the_table_keeps_the_comments_of_the_file() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = project();
    let sheet = crate::SHEET.replace(
        "    diode D1",
        "    // added by an earlier owner\n    diode D1",
    );
    project.write("sheets/a2.kdl", &sheet);
    let bench = Bench::open(Some(&project.0));
    browser.open(&bench.address("/board/A2/sheet")).await;
    fill(
        &browser,
        "#sheet",
        &[("title", "Divider, second issue")],
        "Save the sheet",
    )
    .await;
    let text = std::fs::read_to_string(project.0.join("sheets/a2.kdl")).expect("a sheet");
    assert!(text.contains("second issue"), "{text}");
    assert!(
        text.contains("    // added by an earlier owner\n    diode D1"),
        "{text}"
    );
}
