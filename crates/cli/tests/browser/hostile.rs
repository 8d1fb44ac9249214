//! What a hostile or broken sender may send: it must reach neither a path nor a page unescaped, and never fail the program.

use std::collections::BTreeSet;
use std::path::Path;

use crate::project;
use crate::stage::{Bench, urlencoded};

/// Texts that have broken other programs.
const TEXTS: [&str; 22] = [
    "<script>evil()</script>",
    "\"><img src=x onerror=evil()>",
    "' onmouseover='evil()",
    "</textarea><script>evil()</script>",
    "</title><svg onload=evil()>",
    "javascript:evil()",
    "../../../../etc/passwd",
    "..\\..\\windows\\win.ini",
    "/etc/passwd",
    "C:\\evil.kdl",
    "evil\u{0}.kdl",
    "evil\r\nSet-Cookie: evil=1",
    "\u{202e}live",
    "%2e%2e%2fevil",
    "{{evil}}${evil}<%= evil %>",
    "'; DROP TABLE entry; --",
    "\" } unit \"evil",
    "// evil",
    "=cmd|' /C evil'!A0",
    "NaN",
    "1e999",
    "\u{feff}\u{fffd}\u{1f4a5}",
];

/// Where a form goes, its kind, the fields that are attacked, and all fields as they would be.
type Attack = (
    &'static str,
    &'static str,
    &'static [&'static str],
    &'static [(&'static str, &'static str)],
);

/// The forms that are attacked.
const FORMS: [Attack; 5] = [
    (
        "/entry",
        "reading",
        &["red", "value", "note", "unit", "board", "back"],
        &[
            ("unit", "1"),
            ("board", "B1"),
            ("state", "cold"),
            ("measured", "ohms"),
            ("red", "A"),
            ("black", "B"),
            ("value", "1k"),
            ("note", ""),
        ],
    ),
    (
        "/entry",
        "condition",
        &["text", "id"],
        &[("unit", "1"), ("text", "seen")],
    ),
    (
        "/entry",
        "finding",
        &["text", "tapped"],
        &[("unit", "1"), ("board", "A2"), ("text", "off")],
    ),
    (
        "/machine",
        "unit",
        &["name", "serial"],
        &[("name", "x"), ("serial", "1")],
    ),
    (
        "/machine",
        "board",
        &["name", "assembly", "title"],
        &[("name", "y"), ("assembly", "z"), ("title", "t")],
    ),
];

/// All files below a folder.
fn files(folder: &Path) -> BTreeSet<String> {
    let mut list = BTreeSet::new();
    for entry in std::fs::read_dir(folder).expect("listed").flatten() {
        let path = entry.path();
        if path.is_dir() {
            list.extend(files(&path));
        } else {
            list.insert(path.display().to_string());
        }
    }
    list
}

fn own_head(bench: &Bench, media: &str) -> String {
    format!(
        "Host: {0}\r\nOrigin: http://{0}\r\nContent-Type: {media}\r\n",
        bench.host
    )
}

#[track_caller]
fn is_decent(answer: &str, what: &str) {
    let status = answer.get(9..12).unwrap_or("");
    let good = [
        "303", "400", "403", "404", "405", "413", "415", "422", "200",
    ];
    assert!(good.contains(&status), "{what}: {answer}");
    let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((answer, ""));
    assert!(
        !head.to_lowercase().contains("set-cookie: evil"),
        "{what}: {head}"
    );
    for line in head
        .lines()
        .filter(|l| l.to_lowercase().starts_with("location:"))
    {
        assert!(
            line[9..].trim().starts_with('/') && !line[9..].trim().starts_with("//"),
            "{line}"
        );
    }
    for raw in ["<script>evil", "<img src=x", "<svg onload"] {
        assert!(!body.contains(raw), "{what}: {raw} came back raw");
    }
}

#[test]
fn a_hundred_hostile_texts_stay_texts() {
    let project = project();
    let bench = Bench::open(Some(&project.0));
    let parent = project.0.parent().expect("a folder").join("etc");
    let mut sent = 0;
    for (path, kind, attacked, fields) in FORMS {
        for field in attacked {
            for text in TEXTS {
                let mut form: Vec<(&str, &str)> = vec![("kind", kind)];
                form.extend(fields.iter().filter(|(name, _)| name != field));
                form.push((field, text));
                let head = own_head(&bench, "application/x-www-form-urlencoded");
                let answer = bench.send(path, &head, urlencoded(&form).as_bytes());
                is_decent(&answer, &format!("{kind} {field} {text}"));
                sent += 1;
            }
        }
    }
    assert!(sent > 300, "{sent}");
    for path in [
        "/",
        "/ledger",
        "/ledger.csv",
        "/intake",
        "/twins",
        "/power",
        "/board/A2",
        "/board/B1",
        "/board/B1/sheet",
        "/board/A2/probe?unit=%3Cscript%3Eevil()",
        "/board/A2?red=%22%3E%3Cscript%3Eevil()",
        "/ledger?unit=%3Cscript%3Eevil()",
        "/board/A2/proves?fault=%3Cscript%3Eevil()",
        "/photo/..%2f..%2fetc%2fpasswd",
        "/entry/%3Cscript%3Eevil()",
    ] {
        if path != "/ledger.csv" {
            is_decent(&bench.ask(path, &format!("Host: {}\r\n", bench.host)), path);
        }
    }
    for file in files(&project.0) {
        let name = file[project.0.display().to_string().len() + 1..].to_owned();
        let ours = [
            "machine.kdl",
            "bench.db",
            "bench.db-wal",
            "bench.db-shm",
            "sheets/a2.kdl",
            "sheets/a3.kdl",
            "readings/A2.csv",
        ];
        assert!(ours.contains(&name.as_str()), "{name} was written");
    }
    assert!(!parent.exists(), "something was written beside the project");
}

#[test]
fn broken_bodies_and_foreign_senders_write_nothing() {
    let project = project();
    let bench = Bench::open(Some(&project.0));
    let form = "application/x-www-form-urlencoded";
    let multipart = "multipart/form-data; boundary=b";
    let note = "kind=note&text=x";
    let bodies: [(&str, &[u8]); 14] = [
        (form, b""),
        (form, b"%"),
        (form, b"kind=%ff%fe&text=%00"),
        (form, b"&&&==&=&"),
        ("application/json", b""),
        ("application/json", b"{"),
        ("application/json", b"[[[[[[[["),
        ("application/json", b"{\"kind\":{}}"),
        (multipart, b""),
        (multipart, b"--b\r\n"),
        (
            multipart,
            b"--b\r\nContent-Disposition: form-data; name=\"kind\"\r\n\r\nnote\r\n--c--\r\n",
        ),
        ("multipart/form-data", note.as_bytes()),
        ("text/plain", note.as_bytes()),
        ("text/html", b"<script>evil()</script>"),
    ];
    for (media, body) in bodies {
        let answer = bench.send("/entry", &own_head(&bench, media), body);
        is_decent(&answer, media);
        assert!(
            !answer.starts_with("HTTP/1.1 303"),
            "{media} {body:?}: {answer}"
        );
    }
    let host = format!("Host: {}\r\nContent-Type: {form}\r\n", bench.host);
    for foreign in [
        "",
        "Origin: http://example.org\r\n",
        "Origin: null\r\n",
        "Sec-Fetch-Site: cross-site\r\n",
        "Sec-Fetch-Site: same-site\r\n",
        "Sec-Fetch-Site: none\r\n",
        "Origin: http://localhost:1\r\n",
    ] {
        for path in [
            "/entry",
            "/machine",
            "/board/A2/sheet",
            "/board/A2/map",
            "/signature",
        ] {
            let answer = bench.send(path, &format!("{host}{foreign}"), note.as_bytes());
            assert!(
                answer.starts_with("HTTP/1.1 403"),
                "{foreign} {path}: {answer}"
            );
        }
    }
    assert_eq!(bench.ledger().len(), 0);
    let head = own_head(&bench, form);
    assert!(
        bench
            .promise("/entry", &head, 5 << 20)
            .starts_with("HTTP/1.1 413")
    );
    // The form itself is good.
    assert!(
        bench
            .send("/entry", &head, note.as_bytes())
            .starts_with("HTTP/1.1 303")
    );
}
