//! The page of a gate sheet, on the demo's two, and on files that cannot be used.

use bench::Text;
use bench::pages::logic::sheet;
use bench::stores::{StoreFile, StoreText};

macro_rules! demo {
    ($name:literal) => {
        include_str!(concat!("../demo/logic/", $name))
    };
}

fn store(shape: &str, files: &[(&str, &[u8])]) -> StoreText {
    StoreText {
        name: "x".to_owned(),
        shape: Some(Text {
            file: "logic/x.kdl".to_owned(),
            text: shape.to_owned(),
        }),
        files: files
            .iter()
            .map(|(file, bytes)| StoreFile {
                file: (*file).to_owned(),
                bytes: (*bytes).into(),
            })
            .collect(),
    }
}

fn units() -> Vec<String> {
    vec!["1".to_owned(), "2".to_owned()]
}

#[test]
fn the_control_shows_its_suspects_and_every_wire_is_in_its_place() {
    let text = store(
        demo!("control.kdl"),
        &[
            ("1-run.csv", demo!("control/1-run.csv").as_bytes()),
            ("2-run.csv", demo!("control/2-run.csv").as_bytes()),
        ],
    );
    let view = sheet(&text, &units(), &[], &|| true);
    assert!(
        view.remarks.is_empty() && view.is_sequence,
        "{:?}",
        view.remarks
    );
    assert_eq!(view.units[0].result.min_cardinality, Some(0));
    let second = &view.units[1];
    assert!(second.result.diagnoses.contains(&vec!["U4".to_owned()]));
    assert_eq!(second.first_wrong(), 4);
    assert_eq!(
        (second.levels("BUSY")[4], second.seen_of("BUSY")[4]),
        ('1', Some(false))
    );
    let graph = view.graph.expect("the sheet can be drawn");
    for wire in &graph.wires {
        let from = &graph.nodes[wire.from.0].outputs[wire.from.1];
        let to = &graph.nodes[wire.to.0].inputs[wire.to.1];
        assert_eq!((&from.net, &to.net), (&wire.net, &wire.net));
    }
    // Of the 22 sections of six packages four are on no net: U3.8, U3.11, U6.10 and U6.12.
    assert_eq!(graph.nodes.len(), 18);
    assert!(
        graph
            .nodes
            .iter()
            .all(|n| n.inputs.iter().all(|p| p.net != "VCC"))
    );
}

#[test]
fn files_that_cannot_be_used_are_named_and_the_rest_is_shown() {
    let text = store(
        demo!("arithmetic.kdl"),
        &[
            ("3-sums.csv", b"A0\n0\n"),
            ("1-bad.csv", b"\xFF"),
            ("2-sums.csv", b"A0,S0\n0,2\n1,1\n"),
            ("1-sums.csv", demo!("arithmetic/1-sums.csv").as_bytes()),
        ],
    );
    let view = sheet(&text, &units(), &[], &|| true);
    let said: Vec<&str> = view.remarks.iter().map(|r| r.message.as_str()).collect();
    assert_eq!(
        said,
        [
            "3-sums.csv does not begin with the name of a unit.",
            "1-bad.csv is not UTF-8 text.",
            "`2` is not a level."
        ]
    );
    assert_eq!(view.units.len(), 2);
    let none = sheet(&store("logic x { gait }", &[]), &units(), &[], &|| true);
    assert!(none.graph.is_none() && none.remarks.len() == 1, "{none:?}");
}
