//! The bench as a browser shows it, from the binary to the page.

mod care;
mod entering;
mod first_power;
mod heat;
mod hostile;
mod killed;
mod load;
mod logic;
mod looks;
mod signals;
mod stage;
mod stores;
mod together;
mod whole;

use serde_json::json;
use stage::{Bench, Browser, Folder};

const SHEET: &str = r#"sheet A2 title="Divider" {
    net "0V" role=ground
    net "+12V" role=rail volts=12
    supply V1 volts=12 plus="+12V" minus="0V" ohms=1
    resistor R1 "1k" "+12V" MID style=film
    resistor R2 "2k2" MID "0V" style=film
    capacitor C1 "100u" plus="+12V" minus="0V" leak="10M"
    diode D1 silicon-signal anode=MID cathode=K
    resistor R3 "4k7" K "0V" style=film
}
"#;

const MACHINE: &str = r#"machine "Invented 1" {
    assembly "Supplies" { board A2 sheet="sheets/a2.kdl" slot=2; board A3 sheet="sheets/a3.kdl" }
    assembly "Display" { board B1 }
    unit "1" serial="0217"
    unit "2" serial="0342"
    bring-up {
        step "Supplies"
        hold "First power" { needs "the readings agree" check=readings; needs "the rails agree" check=rails; needs "nothing is warm" }
        step "Display"
    }
}
"#;

// R2 of unit 2 is open: MID is seen through D1 and R3 one way, and over range is far away.
const READINGS: &str = "unit,state,kind,red,black,value,meter,note
1,cold,ohms,MID,0V,1k63,,
2,cold,ohms,MID,0V,OL,,planted
1,powered,volts,+12V,0V,11.99,,
2,powered,volts,+12V,0V,11.99,,
1,powered,volts,MID,0V,7.3,,
";

fn project() -> Folder {
    Folder::of(&[
        ("machine.kdl", MACHINE),
        ("sheets/a2.kdl", SHEET),
        ("sheets/a3.kdl", &SHEET.replace("A2", "A3")),
        ("readings/A2.csv", READINGS),
    ])
}

/// What every page must keep to, at desk and at phone size.
async fn check(browser: &Browser, bench: &Bench, path: &str) {
    for (width, height) in [(1280, 900), (390, 844), (320, 640)] {
        browser
            .client
            .set_window_size(width, height)
            .await
            .expect("sized");
        browser.open(&bench.address(path)).await;
        browser
            .run("for (const d of document.querySelectorAll('details')) d.open = true; return 0")
            .await;
        // Headless windows have a least width of their own; a frame of the wanted size has not.
        let script = format!(
            "const d = document.documentElement; d.style.width = '{width}px';
             const wide = [...document.body.querySelectorAll('*')].filter(e => e.checkVisibility() && !e.closest('svg, .skip') && e.getBoundingClientRect().right > {width} + 1);
             return wide.map(e => e.tagName + ' ' + e.className + ': ' + e.textContent.slice(0, 40))"
        );
        assert_eq!(
            browser.run(&script).await,
            json!([]),
            "{path} is wider than {width}"
        );
    }
    let small = "return [...document.body.querySelectorAll('*')].filter(e => e.checkVisibility() && [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
        .filter(e => parseFloat(getComputedStyle(e).fontSize) < 15).map(e => e.outerHTML)";
    assert_eq!(
        browser.run(small).await,
        json!([]),
        "{path}: letters under 15 px"
    );
    let nameless = "return [...document.body.querySelectorAll('input:not([type=hidden]), select, textarea, button, a, summary')].filter(e => e.checkVisibility())
        .filter(e => !(e.getAttribute('aria-label') || e.alt || e.querySelector('img')?.alt || e.textContent.trim() && !e.matches('select, textarea') || [...(e.labels ?? [])].some(l => l.textContent.trim())))
        .map(e => e.outerHTML)";
    assert_eq!(
        browser.run(nameless).await,
        json!([]),
        "{path}: controls without a name"
    );
    let keys = "const all = [...document.querySelectorAll('a[data-key]')].map(e => e.dataset.key); return all.filter((k, i) => all.indexOf(k) !== i)";
    assert_eq!(
        browser.run(keys).await,
        json!([]),
        "{path}: one key for two links"
    );
    // Relative luminance and contrast ratio: W3C WCAG 2.2, section 4. Words of drawings have a fill; what is written on
    // photographs has a ground of its own.
    let pale = "const rgb = t => t.match(/[\\d.]+/g).map(Number);
        const light = c => { const [r, g, b] = rgb(c).map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
        const ground = e => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor; if (rgb(c)[3] !== 0) return c; } return getComputedStyle(document.documentElement).backgroundColor; };
        const ink = e => e.closest('svg') ? getComputedStyle(e).fill : getComputedStyle(e).color;
        return [matchMedia('(prefers-color-scheme: dark)').matches, [...document.body.querySelectorAll('*')].filter(e => !e.closest('.marks') && e.checkVisibility() && [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
            .filter(e => { const [a, b] = [light(ink(e)), light(ground(e))]; return (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05) < 4.5; })
            .map(e => e.outerHTML)]";
    for is_dark in [true, false] {
        browser.scheme(if is_dark { "dark" } else { "light" }).await;
        assert_eq!(
            browser.run(pale).await,
            json!([is_dark, []]),
            "{path}: contrast under 4.5"
        );
    }
    let (console, asked) = browser.traces().await;
    assert!(console.is_empty(), "{path}: {console:?}");
    assert!(!asked.is_empty(), "{path}: the browser's log is empty");
    let own = bench.address("/");
    let outside: Vec<&String> = asked
        .iter()
        .filter(|a| !a.starts_with(&own) && !a.starts_with("data:") && !a.starts_with("chrome"))
        .collect();
    assert!(outside.is_empty(), "{path} asked outside: {outside:?}");
}

#[tokio::test]
async fn every_page_opens_clean_and_fits_a_phone() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = project();
    let bench = Bench::open(Some(&project.0));
    for path in [
        "/",
        "/board/A2",
        "/board/A3",
        "/board/A2/trust",
        "/board/A2/map",
        "/board/A2/sheet",
        "/board/B1",
        "/intake",
        "/ledger",
        "/power",
        "/twins",
        "/keys",
    ] {
        check(&browser, &bench, path).await;
    }
}

#[tokio::test]
async fn a_planted_fault_disagrees_on_its_unit_alone() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = project();
    let bench = Bench::open(Some(&project.0));
    browser.open(&bench.address("/board/A2")).await;
    let cells = "return [...document.querySelector('tr[data-row]').querySelectorAll('td.reading .verdict')].map(e => e.textContent)";
    assert_eq!(
        browser.run(cells).await,
        json!(["agrees", "disagrees, over range"])
    );
    let twin = browser
        .run("return document.querySelector('tr[data-row] .twin').textContent")
        .await;
    assert_eq!(twin, json!("only unit 2 is off"));
    let ticks = browser.run("return document.querySelectorAll('tr[data-row] svg.bar')[0].querySelectorAll('.tick').length").await;
    assert_eq!(ticks, json!(2));
    // D1 and R3 stand beside R2: no single fault makes MID over range, so the reading is doubted first.
    browser
        .until("return document.querySelectorAll('.advice h3').length === 2")
        .await;
    let lead = "return document.querySelectorAll('.advice h3')[1].nextElementSibling.querySelector('li').textContent";
    let lead = browser.run(lead).await;
    let doubted = "nothing but a reading is wrong";
    assert!(
        lead.as_str().is_some_and(|t| t.starts_with(doubted)),
        "{lead}"
    );
    browser.open(&bench.address("/")).await;
    let words = browser
        .run("return [...document.querySelectorAll('.standing')].map(e => e.textContent)")
        .await;
    assert_eq!(
        words,
        json!(["begun", "disagrees", "not looked at", "not looked at"])
    );
    let needs = browser
        .run("return [...document.querySelectorAll('.needs .figures')].map(e => e.textContent)")
        .await;
    let wanted = [
        "open: A2: 1 of unit 2 disagree; and 2 more",
        "open: A3 +12V: not read in unit 1; and 1 more",
        "for a person to say; open on units 1 and 2",
    ];
    assert_eq!(needs, json!(wanted));
    // What only a person can say is said of each unit, and a move takes it away.
    let say = |unit: &str| {
        let fields = [
            ("kind", "test"),
            ("unit", unit),
            ("name", "nothing is warm"),
            ("passed", "yes"),
            ("text", "after an hour"),
        ];
        assert!(bench.enter(&fields).starts_with("HTTP/1.1 303"));
    };
    let last = "return [...document.querySelectorAll('.needs .figures')].at(-1).textContent";
    say("1");
    browser
        .until("return [...document.querySelectorAll('.needs .figures')].at(-1).textContent === 'for a person to say; open on unit 2'")
        .await;
    whole::fill(&browser, ".needs form", &[("text", "cool, J.")], "It is so").await;
    assert_eq!(
        browser.run(last).await,
        json!("what was written down shows it")
    );
    bench.enter(&[("kind", "move"), ("unit", "1"), ("text", "to the attic")]);
    browser
        .until("return [...document.querySelectorAll('.needs .figures')].at(-1).textContent === 'for a person to say; open on unit 1'")
        .await;
    let next = browser
        .run("return document.querySelector('.next').textContent")
        .await;
    assert_eq!(
        next,
        json!("Continue at A2: unit 2 has readings that disagree")
    );
}

#[tokio::test]
async fn the_demo_shows_its_planted_faults() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let bench = Bench::open(None);
    check(&browser, &bench, "/").await;
    let boards = browser
        .run("return [...document.querySelectorAll('.boards a')].map(e => e.getAttribute('href'))")
        .await;
    let boards: Vec<String> = serde_json::from_value(boards).expect("addresses");
    assert!(boards.len() >= 5, "{boards:?}");
    let mut odd = 0;
    for board in &boards {
        check(&browser, &bench, board).await;
        let found = browser.run("return [...document.querySelectorAll('.verdict')].filter(e => e.textContent.startsWith('disagrees')).length").await;
        odd += found.as_u64().expect("a number");
    }
    assert!(odd > 0, "no planted fault is seen on {boards:?}");
}

#[tokio::test]
async fn hostile_names_stay_names() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let evil = "<script>document.title='taken'</script>";
    let sheet = format!(
        "sheet A2 title=\"{evil}\" {{\n net \"0V\" role=ground\n resistor R1 \"1k\" \"{evil}\" \"0V\"\n wire \"<img src=x>\"\n}}\n"
    );
    let readings = format!(
        "unit,state,kind,red,black,value,note\n\"<b>1</b>\",cold,ohms,\"{evil}\",0V,5k,\"{evil}\"\n"
    );
    let project = Folder::of(&[("sheets/a2.kdl", &sheet), ("readings/A2.csv", &readings)]);
    let bench = Bench::open(Some(&project.0));
    for path in [
        "/",
        "/board/A2",
        "/board/%3Cscript%3Ealert(1)%3C%2Fscript%3E",
    ] {
        browser.open(&bench.address(path)).await;
        let inside = browser
            .run("return document.body.querySelectorAll('script, img, b').length")
            .await;
        assert_eq!(inside, json!(0), "{path}");
        assert_ne!(browser.run("return document.title").await, json!("taken"));
    }
    browser.open(&bench.address("/board/A2")).await;
    let text = browser
        .run("return document.body.textContent")
        .await
        .to_string();
    assert!(
        text.contains("<script>document.title='taken'</script>") && text.contains("Unit <b>1</b>"),
        "{text}"
    );
    assert!(text.contains("disagrees, high"), "{text}");
}

#[tokio::test]
async fn a_changed_file_is_shown_without_asking_again() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = project();
    let bench = Bench::open(Some(&project.0));
    browser.open(&bench.address("/board/A2")).await;
    browser
        .run("window.sameDocument = true; document.querySelector('#unread').open = true; return 0")
        .await;
    project.write(
        "readings/A2.csv",
        &READINGS.replace("OL,,planted", "1k64,,mended"),
    );
    browser.until("return document.body.textContent.includes('mended') && !document.body.textContent.includes('disagree')").await;
    assert_eq!(
        browser
            .run("return window.sameDocument && document.querySelector('#unread').open")
            .await,
        json!(true)
    );
}

#[tokio::test]
async fn the_keyboard_alone_is_enough() {
    let Some(browser) = Browser::start().await else {
        return;
    };
    let project = project();
    let bench = Bench::open(Some(&project.0));
    browser.open(&bench.address("/board/A2")).await;
    let shown = "return [...document.querySelectorAll('table.verdicts tr[data-row]')].filter(e => e.checkVisibility()).length";
    assert_eq!(browser.run(shown).await, json!(3));
    browser.press("o").await;
    assert_eq!(browser.run(shown).await, json!(1));
    browser.press("\u{e00c}").await; // Escape
    assert_eq!(browser.run(shown).await, json!(3));
    browser.press("/").await;
    browser.press("powered").await;
    assert_eq!(browser.run(shown).await, json!(2));
    browser.press("\u{e00c}").await;
    browser.press("\u{e015}").await; // arrow down
    assert_eq!(
        browser.run("return document.activeElement.id").await,
        json!("r0")
    );
    browser.press("\u{e015}").await;
    assert_eq!(
        browser.run("return document.activeElement.id").await,
        json!("r1")
    );
    browser.press("?").await;
    assert_eq!(
        browser
            .run("return document.querySelector('#keys').open")
            .await,
        json!(true)
    );
    browser.press("\u{e00c}").await;
    assert_eq!(
        browser
            .run("return document.querySelector('#keys').open")
            .await,
        json!(false)
    );
    browser.press("n").await;
    browser
        .until("return location.pathname === '/board/A3'")
        .await;
    browser.press("b").await;
    browser.until("return location.pathname === '/'").await;
    browser.open(&bench.address("/")).await;
    browser.press("\u{e007}").await; // Enter
    browser
        .until("return location.pathname === '/board/A2'")
        .await;
}

#[test]
fn without_script_the_page_says_it_all() {
    let project = project();
    let bench = Bench::open(Some(&project.0));
    let page = bench.settled("/board/A2");
    for wanted in [
        "1.63 kΩ",
        "disagrees, over range",
        "only unit 2 is off",
        "Caution.",
        "Expectations where nothing was read",
        "Download as CSV",
    ] {
        assert!(page.contains(wanted), "{wanted}: {page}");
    }
    let table = bench.settled("/board/A2/verdicts.csv");
    assert!(table.contains("2,cold,ohms,MID,0V,OL,"), "{table}");
    let rest = bench.settled("/board/A2/expectations.csv");
    assert!(rest.contains("cold,diode,MID,0V,"), "{rest}");
    assert!(
        !rest.contains("cold,ohms,MID,0V,"),
        "what was read is no longer due: {rest}"
    );
}

#[test]
fn only_this_computer_is_answered() {
    let project = project();
    let bench = Bench::open(Some(&project.0));
    let own = format!("Host: {}\r\n", bench.host);
    let port = bench.host.rsplit(':').next().expect("a port");
    let answer = bench.ask("/", &own);
    assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
    let head = answer.to_lowercase();
    for wanted in [
        "content-security-policy: default-src 'none'",
        "x-content-type-options: nosniff",
        "referrer-policy: same-origin",
    ] {
        assert!(head.contains(wanted), "{wanted}: {answer}");
    }
    assert!(!head.contains("unsafe-inline"), "{answer}");
    let foreign = [
        format!("Host: example.org:{port}\r\n"),
        "Host: example.org\r\n".to_owned(),
        format!("{own}Origin: http://example.org\r\n"),
        format!("{own}Origin: null\r\n"),
    ];
    for head in foreign {
        let answer = bench.ask("/board/A2", &head);
        assert!(answer.starts_with("HTTP/1.1 403"), "{head}: {answer}");
        assert!(!answer.contains("MID"), "{head}: {answer}");
    }
    assert!(bench.ask("/board/none", &own).starts_with("HTTP/1.1 404"));
    assert!(
        bench
            .ask("/../Cargo.toml", &own)
            .starts_with("HTTP/1.1 404")
    );
}

#[test]
fn a_broken_sheet_gives_what_its_good_lines_allow() {
    let broken = SHEET.replace("resistor R3", "resistorr R3");
    let project = Folder::of(&[("sheets/a2.kdl", &broken), ("readings/A2.csv", READINGS)]);
    let bench = Bench::open(Some(&project.0));
    let page = bench.settled("/board/A2");
    for wanted in [
        "sheets/a2.kdl, line 9",
        "resistorr R3",
        "cannot be used",
        "1.63 kΩ",
        "disagrees, over range",
    ] {
        assert!(page.contains(wanted), "{wanted}: {page}");
    }
}

#[test]
fn a_folder_of_sheets_alone_is_a_project() {
    let project = Folder::of(&[("a2.kdl", SHEET)]);
    let bench = Bench::open(Some(&project.0));
    assert!(bench.settled("/").contains("href=\"/board/A2\""));
    let page = bench.settled("/board/A2");
    assert!(
        page.contains("No reading of this board was taken yet")
            && page.contains("data-name=\"red\">MID<"),
        "{page}"
    );
}

#[test]
fn units_are_compared_before_anything_is_drawn() {
    let readings = "unit,state,kind,red,black,value\n1,cold,ohms,J1.2,J1.1,1k63\n2,cold,ohms,J1.2,J1.1,1k60\n1,cold,ohms,TP3,J1.1,47k\n2,cold,ohms,TP3,J1.1,OL\n";
    let project = Folder::of(&[("readings/B1.csv", readings)]);
    let bench = Bench::open(Some(&project.0));
    let table = bench.settled("/board/B1/verdicts.csv");
    let lines: Vec<&str> = table
        .lines()
        .skip_while(|l| !l.starts_with("unit,"))
        .collect();
    let wanted = [
        "1,cold,ohms,TP3,J1.1,47 kΩ,,,no expectation,they differ,",
        "2,cold,ohms,TP3,J1.1,OL,,,no expectation,they differ,",
        "1,cold,ohms,J1.2,J1.1,1.63 kΩ,,,no expectation,alike,",
        "2,cold,ohms,J1.2,J1.1,1.60 kΩ,,,no expectation,alike,",
    ];
    assert_eq!(lines[1..], wanted, "{table}");
    let page = bench.settled("/board/B1");
    assert!(
        page.contains("There is no sheet of this board yet") && page.contains("they differ"),
        "{page}"
    );
}
