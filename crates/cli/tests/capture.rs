//! `knowngood capture` from outside: documents, exit codes, and where a bad file is bad.

use std::path::PathBuf;
use std::process::Command;

use serde_json::Value;

fn file(name: &str, text: &str) -> PathBuf {
    let dir = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("capture");
    std::fs::create_dir_all(&dir).expect("a folder");
    let path = dir.join(name);
    std::fs::write(&path, text).expect("a file");
    path
}

fn run(words: &[&str]) -> (i32, Value) {
    let out = Command::new(env!("CARGO_BIN_EXE_knowngood"))
        .arg("capture")
        .args(words)
        .arg("--json")
        .output()
        .expect("the program runs");
    let document = serde_json::from_slice(&out.stdout)
        .unwrap_or_else(|e| panic!("{e}: {}", String::from_utf8_lossy(&out.stdout)));
    (out.status.code().expect("an exit code"), document)
}

/// Trapezoidal pulses of an invented signal at 1 us a sample, shifted by `shift` samples; one pulse may be left out.
fn pulses(shift: f64, lost: Option<usize>) -> String {
    let mut text = String::from("Time (s),CLK (V)\n");
    let starts: Vec<f64> = (0..60)
        .map(|k| 50.0 + 60.0 * k as f64 + ((k * k * 7) % 23) as f64)
        .collect();
    for i in 0..4000 {
        let t = i as f64 - shift;
        let ramp = |from: f64| ((t - from) / 4.0 + 0.5).clamp(0.0, 1.0);
        let value: f64 = starts
            .iter()
            .enumerate()
            .filter(|(k, _)| Some(*k) != lost)
            .map(|(_, s)| ramp(*s) - ramp(s + 20.0))
            .sum();
        text += &format!("{:.6},{:.4}\n", i as f64 * 1e-6, -12.0 + 12.0 * value);
    }
    text
}

#[test]
fn measure_gives_every_figure_of_the_contract() {
    let path = file("measure.csv", &pulses(0.0, None));
    let (code, document) = run(&[
        "measure",
        path.to_str().expect("a path"),
        "--channel",
        "CLK",
    ]);
    assert_eq!(code, 0, "{document}");
    let c = &document["channels"][0];
    let near = |field: &Value, wanted: f64, within: f64| {
        let got = field.as_f64().unwrap_or_else(|| panic!("{c}"));
        assert!((got - wanted).abs() <= within, "{got} for {wanted}");
    };
    assert_eq!(
        (c["name"].as_str(), c["edges"].as_u64()),
        (Some("CLK"), Some(120))
    );
    near(&c["levels"]["low"], -12.0, 1e-3);
    near(&c["levels"]["high"], 0.0, 1e-3);
    near(&c["rise"], 3.2e-6, 0.1e-6);
    near(&c["fall"], 3.2e-6, 0.1e-6);
    near(&c["width"], 20e-6, 0.05e-6);
    near(&c["overshoot"], 0.0, 1e-9);
    assert!(c["period"].is_number());
}

#[test]
fn compare_names_the_lost_pulse_and_the_offset() {
    let (a, b) = (
        file("a.csv", &pulses(0.0, None)),
        file("b.csv", &pulses(37.5, Some(30))),
    );
    let (code, document) = run(&[
        "compare",
        a.to_str().expect("a path"),
        b.to_str().expect("a path"),
    ]);
    assert_eq!(code, 0, "{document}");
    let c = &document["channels"][0];
    assert_eq!(c["aligned"], true);
    assert!(
        (c["offset"].as_f64().expect("an offset") - 37.5e-6).abs() < 0.1e-6,
        "{c}"
    );
    let differences = c["differences"].as_array().expect("a list");
    assert_eq!(differences.len(), 1, "{c}");
    assert_eq!(differences[0]["kind"], "missing");
    let start = 50.0 + 60.0 * 30.0 + ((30 * 30 * 7) % 23) as f64;
    assert!(
        (c["first"].as_f64().expect("a time") - start * 1e-6).abs() < 1e-6,
        "{c}"
    );
}

#[test]
fn what_cannot_be_known_is_refused_with_its_place() {
    let bare = file("bare.csv", "CH1 (V)\n0\n1\n0\n");
    let (code, document) = run(&["measure", bare.to_str().expect("a path")]);
    assert_eq!(code, 2);
    assert!(
        document["error"]["help"]
            .as_str()
            .expect("help")
            .contains("--interval"),
        "{document}"
    );
    let (code, _) = run(&[
        "measure",
        bare.to_str().expect("a path"),
        "--interval",
        "1e-6",
    ]);
    assert_eq!(code, 0);
    let garbled = file("garbled.csv", "Time (s),CH1 (V)\n0,1\n\n1e-6,9.9E37\n");
    let (code, document) = run(&["measure", garbled.to_str().expect("a path")]);
    assert_eq!(
        (code, document["error"]["line"].as_u64()),
        (2, Some(4)),
        "{document}"
    );
    let (code, document) = run(&["measure", garbled.to_str().expect("a path"), "--channel"]);
    assert_eq!(code, 2);
    assert!(document["error"]["message"].is_string());
    let (code, document) = run(&["measure", "no-such-file.csv"]);
    assert_eq!(code, 2, "{document}");
}

/// A square of four strokes and its diagonal, X as wide as `gain` makes it; the last stroke only if it is lit.
fn square(gain: f64, last: bool) -> String {
    let corners = [
        (-1.0, -1.0),
        (1.0, -1.0),
        (1.0, 1.0),
        (-1.0, 1.0),
        (-1.0, -1.0),
        (1.0, 1.0),
    ];
    let mut text = "Time (s),X (V),Y (V),Z (V)\n".to_owned();
    let mut k = 0;
    for _ in 0..2 {
        for (n, ends) in corners.windows(2).enumerate() {
            for s in 0..24 {
                let f = f64::from((s - 4_i32).max(0)) / 19.0;
                let at = |a: f64, b: f64| a + f * (b - a);
                let (x, y) = (gain * at(ends[0].0, ends[1].0), at(ends[0].1, ends[1].1));
                let z = if s >= 4 && (n < 4 || last) { 5 } else { 0 };
                text += &format!("{k}e-6,{x},{y},{z}\n");
                k += 1;
            }
        }
    }
    text
}

#[test]
fn picture_draws_a_file_and_holds_it_against_a_known_figure() {
    let recorded = file("square.csv", &square(0.9, false));
    let figure = file(
        "figure.csv",
        "stroke,x,y\nbottom,-1,-1\nbottom,1,-1\nright,1,-1\nright,1,1\ntop,1,1\ntop,-1,1\nleft,-1,1\nleft,-1,-1\ndiagonal,-1,-1\ndiagonal,1,1\n",
    );
    let drawn = file("square.png", "");
    let path = |p: &PathBuf| p.to_str().expect("a path").to_owned();
    let (code, document) = run(&[
        "picture",
        &path(&recorded),
        "--figure",
        &path(&figure),
        "-o",
        &path(&drawn),
        "--plates-x",
        "20mm,5mm,200mm",
        "--anode",
        "2000",
    ]);
    assert_eq!(code, 0, "{document}");
    let gain = document["geometry"][0].clone();
    assert_eq!(
        (gain["term"].as_str(), gain["stands"].as_bool()),
        (Some("X gain"), Some(true)),
        "{gain}"
    );
    assert!(
        (gain["value"].as_f64().expect("told") + 10.0).abs() < 0.1,
        "{gain}"
    );
    let missing = &document["differences"];
    assert_eq!(missing.as_array().map(Vec::len), Some(1), "{missing}");
    assert_eq!(missing[0]["stroke"], "diagonal");
    // 20 mm plates 5 mm apart, 200 mm before the screen, at 2 kV: 0.2 mm/V by the formula for parallel plates
    assert!(
        (document["tube"][0]["metres_per_volt"]
            .as_f64()
            .expect("told")
            - 2e-4)
            .abs()
            < 1e-12
    );
    assert!(
        std::fs::read(&drawn)
            .expect("written")
            .starts_with(b"\x89PNG")
    );
    let (code, document) = run(&["picture", &path(&recorded), "--x", "W"]);
    assert_eq!(code, 2);
    assert!(
        document["error"]["help"]
            .as_str()
            .expect("help")
            .contains("--x"),
        "{document}"
    );
}

fn demo(name: &str) -> String {
    format!("{}/../bench/demo/{name}", env!("CARGO_MANIFEST_DIR"))
}

#[test]
fn curves_are_judged_by_the_sheet_and_drawn() {
    let (a, b, sheet) = (
        demo("captures/plate-d/1-first.csv"),
        demo("captures/plate-d/2-first.csv"),
        demo("sheets/a4.kdl"),
    );
    let drawing = file("curve.svg", "");
    let words = [
        "curve",
        a.as_str(),
        b.as_str(),
        "--sheet",
        &sheet,
        "--red",
        "HT",
        "--black",
        "PD",
        "-o",
        drawing.to_str().expect("a path"),
    ];
    let (code, document) = run(&words);
    assert_eq!(code, 0, "{document}");
    assert_eq!(document["case"], "second-odd");
    assert_eq!(document["curves"][0]["verdict"], "agrees");
    assert_eq!(document["curves"][1]["verdict"], "disagrees");
    let svg = std::fs::read_to_string(&drawing).expect("drawn");
    assert!(
        svg.starts_with("<svg") && svg.contains("class=\"band\""),
        "{svg}"
    );
    // without a sheet they are held against each other alone
    let (code, document) = run(&["curve", &a, &b]);
    assert_eq!(
        (code, &document["case"]),
        (0, &Value::from("differ")),
        "{document}"
    );
    let (code, document) = run(&[
        "curve", &a, "--sheet", &sheet, "--red", "HT", "--black", "NOWHERE",
    ]);
    assert_eq!(code, 2);
    assert!(
        document["error"]["message"]
            .as_str()
            .expect("words")
            .contains("NOWHERE"),
        "{document}"
    );
    let (code, document) = run(&["curve", &a, "-o", "curve.gif"]);
    assert_eq!(code, 2, "{document}");
    let bare = file("bare.csv", "v,i\n0,0\n1,1\n2,2\n");
    let (code, document) = run(&["curve", bare.to_str().expect("a path")]);
    assert_eq!(code, 2);
    assert!(
        document["error"]["help"]
            .as_str()
            .expect("help")
            .contains("unit"),
        "{document}"
    );
}

#[test]
fn recordings_are_judged_by_what_is_known_of_them() {
    let names = ["steps/1-first.vcd", "steps/2-first.vcd", "steps.kdl"];
    let [a, b, by] = names.map(|n| demo(&format!("captures/{n}")));
    let (code, document) = run(&["judge", &a, &b, "--by", &by]);
    assert_eq!(code, 0, "{document}");
    assert_eq!(
        document["sequences"]["partings"][0]["step"],
        serde_json::json!([22, 19])
    );
    let names = ["clock/1-first.csv", "clock/2-first.csv", "clock.kdl"];
    let [a, b, by] = names.map(|n| demo(&format!("captures/{n}")));
    let (code, document) = run(&["judge", &a, "--by", &by]);
    assert_eq!(code, 0, "{document}");
    assert_eq!(document["verdicts"][0]["seen"][0]["verdict"], "agrees");
    let (code, document) = run(&["compare", &a, &b, "--by", &by]);
    assert_eq!(code, 0, "{document}");
    assert_eq!(document["sources"][0]["channel"], "CARRY");
    assert_eq!(document["sources"][1]["channel"], "CLOCK");
    let wrong = file("wrong.kdl", "capture {\n expect CLOCK low=\"five\"\n}\n");
    let (code, document) = run(&["judge", &a, "--by", wrong.to_str().expect("a path")]);
    assert_eq!(code, 2);
    assert_eq!(document["error"]["line"], 2, "{document}");
}

/// One unit misses a pulse now and then: against its own other recording the same kind shows, and is marked as varying by itself.
#[test]
fn what_a_unit_does_to_itself_is_marked() {
    let a = file("again-a.csv", &pulses(0.0, None));
    let own = file("again-own.csv", &pulses(0.0, Some(30)));
    let b = file("again-b.csv", &pulses(7.25, Some(12)));
    let [a, own, b] = [&a, &own, &b].map(|p| p.to_str().expect("a path"));
    let (code, plain) = run(&["compare", a, b]);
    assert_eq!(code, 0, "{plain}");
    assert!(
        plain["channels"][0]["differences"][0]
            .get("varies")
            .is_none(),
        "{plain}"
    );
    let (code, document) = run(&["compare", a, b, "--again", own]);
    assert_eq!(code, 0, "{document}");
    assert_eq!(document["channels"][0]["differences"][0]["kind"], "missing");
    assert_eq!(document["channels"][0]["differences"][0]["varies"], true);
}
