//! The demo's recordings: they are what their seed draws, and what was planted in them is found and nothing else.

use bench::signal::picture::{How, Panels, Scope, held, image};
use bench::signal::{Asked, Recording, compare_recordings};

/// Holds the demo's files against what their seed draws; KNOWNGOOD_WRITE=1 writes them anew.
#[test]
fn the_recordings_of_the_demo_are_those_that_their_seed_draws() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/captures");
    for (name, text) in signal::demo::files() {
        let path = folder.join(&name);
        if std::env::var_os("KNOWNGOOD_WRITE").is_some() {
            std::fs::create_dir_all(path.parent().expect("a folder")).expect("made");
            std::fs::write(&path, &text).expect("written");
        }
        let found = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(found == text, "{name} is another");
    }
}

fn recording(name: &str) -> Recording<'static> {
    let all = signal::demo::files();
    let (file, text) = all
        .into_iter()
        .find(|f| f.0 == name)
        .expect("a recording of the demo");
    Recording {
        file,
        bytes: Box::new(std::io::Cursor::new(text.into_bytes())),
    }
}

#[test]
fn the_planted_differences_of_the_signals_are_found_and_no_others() {
    let view = compare_recordings(
        recording("clock/1-first.csv"),
        recording("clock/2-first.csv"),
        &Asked::default(),
    )
    .expect("compared");
    let found: Vec<(&str, &str)> = view
        .channels
        .iter()
        .flat_map(|c| c.differences.iter().map(|d| (c.name.as_str(), d.kind)))
        .collect();
    assert_eq!(
        found,
        [("CLOCK", "shape"), ("CARRY", "missing"), ("CARRY", "level")],
        "{view:#?}"
    );
    let clock = &view.channels[0];
    assert!((clock.offset.expect("aligned") - 31e-6).abs() < 0.1e-6);
    assert!((clock.rate_ppm.expect("aligned") - 30.0).abs() < 30.0);
    assert_eq!(
        view.first, view.channels[1].first,
        "the lost pulse comes first"
    );
}

#[test]
fn the_planted_faults_of_the_picture_are_found_and_no_others() {
    let scope = |unit: u8| {
        Scope::read(
            recording(&format!("tube/{unit}-first.csv")),
            &Asked::default(),
            &How::default(),
        )
        .expect("a picture")
    };
    let (a, b) = (scope(1), scope(2));
    let view = held(
        &a.picture().expect("a"),
        &b.picture().expect("b"),
        ["unit 1", "unit 2"],
        ["V", "V"],
    );
    let standing: Vec<(&str, f64)> = view
        .geometry
        .iter()
        .filter(|t| t.stands)
        .map(|t| (t.term.as_str(), t.value.expect("told")))
        .collect();
    let [("Y gain", gain), ("skew", skew)] = standing[..] else {
        panic!("{standing:?}")
    };
    assert!((gain + 18.0).abs() < 0.5, "{gain}");
    // 5 in 100 of Y, which is itself as planted before its gain: the lean of verticals in unit 2, clockwise
    assert!(
        (skew + (0.05f64 / 0.82).atan().to_degrees()).abs() < 0.3,
        "{skew}"
    );
    assert_eq!(view.differences.len(), 1, "{:#?}", view.differences);
    assert_eq!(view.differences[0].kind, "missing");
    assert!(
        view.differences[0].stroke.contains("character 16"),
        "{:?}",
        view.differences[0]
    );
    assert_eq!(view.of_characters, 18);
    let drawn = image(&[&a, &b], Panels::All, 64).expect("drawn");
    assert!(drawn.starts_with(b"\x89PNG\r\n"));
}
