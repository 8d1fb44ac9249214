//! The contract of `logic diagnose`: exit codes and the shape of its JSON, on c17 (ISCAS-85, Bryan 1988).

use std::path::PathBuf;
use std::process::{Command, Output};

const C17: &str = "gate,function,output,inputs\nG10,nand,10,1 3\nG11,nand,11,3 6\nG16,nand,16,2 11\nG19,nand,19,11 7\nG22,nand,22,10 16\nG23,nand,23,16 19\n";

fn written(name: &str, text: &str) -> PathBuf {
    let path = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
    std::fs::write(&path, text).expect("the temporary directory can be written");
    path
}

fn run(netlist: &PathBuf, seen: &PathBuf, more: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_knowngood"))
        .args(["logic", "diagnose"])
        .arg(netlist)
        .arg(seen)
        .args(more)
        .output()
        .expect("the program starts")
}

fn json(output: &Output) -> serde_json::Value {
    serde_json::from_slice(&output.stdout).expect("one JSON document")
}

#[test]
fn results_have_the_promised_shape() {
    let netlist = written("shape.csv", C17);
    let lines = "{\"id\":\"a\",\"inputs\":{\"1\":1,\"2\":0,\"3\":1,\"6\":1,\"7\":0},\"outputs\":{\"22\":0,\"23\":1,\"99\":1}}\n{\"id\":\"b\",\"inputs\":{\"1\":1,\"2\":0,\"3\":1,\"6\":1,\"7\":0},\"outputs\":{\"22\":1,\"23\":0}}\n";
    let seen = written("shape.jsonl", lines);
    let output = run(&netlist, &seen, &["--json", "--seconds", "5"]);
    assert_eq!(output.status.code(), Some(0));
    let document = json(&output);
    assert!(
        document["warnings"][0]
            .as_str()
            .is_some_and(|w| w.contains("`99`")),
        "{document}"
    );
    let a = &document["results"][0];
    // 23 should be 0: 11=0, 16=1, 19=1. Both outputs wrong with G22 or G10, and with one of G16, G19, G23, G11.
    assert_eq!(
        (&a["id"], &a["complete"]),
        (&"a".into(), &true.into()),
        "{document}"
    );
    assert_eq!(
        a["count"].as_u64(),
        a["diagnoses"].as_array().map(|d| d.len() as u64)
    );
    assert!(a["seconds"].as_f64().is_some_and(|s| s > 0.0 && s < 5.0));
    let probabilities: f64 = a["gates"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(|g| g["probability"].as_f64())
        .sum();
    let size = a["min_cardinality"].as_f64().expect("proved");
    assert!(
        (probabilities - size).abs() < 1e-9,
        "the shares of the members of sets of {size} add up to it: {document}"
    );
    let b = &document["results"][1];
    assert_eq!(
        (&b["min_cardinality"], &b["count"], &b["diagnoses"]),
        (&0.into(), &1.into(), &serde_json::json!([[]]))
    );
}

#[test]
fn one_answer_for_all_together() {
    let netlist = written("together.csv", C17);
    let seen = written(
        "together-seen.csv",
        "1,2,3,6,7,22,23\n1,0,1,1,0,0,0\n1,0,0,1,0,0,1\n",
    );
    let document = json(&run(&netlist, &seen, &["--json", "--together"]));
    assert_eq!(document["results"].as_array().map(Vec::len), Some(1));
    assert_eq!(document["results"][0]["id"], "together");
    assert!(
        document["results"][0]["count"].as_u64() > Some(0),
        "{document}"
    );
}

#[test]
fn a_bad_line_is_exit_two_unless_lenient() {
    let netlist = written("bad.csv", &C17.replace("G11,nand", "G11,nadn"));
    let seen = written("bad-seen.csv", "1,2,3,6,7,22,23\n1,0,1,1,0,0,0\n");
    let output = run(&netlist, &seen, &["--json"]);
    assert_eq!(output.status.code(), Some(2));
    let document = json(&output);
    assert_eq!(
        (&document["error"]["line"], &document["errors"][0]["line"]),
        (&3.into(), &3.into()),
        "{document}"
    );
    assert!(
        document["error"]["message"]
            .as_str()
            .is_some_and(|m| m.contains("`nadn`"))
    );
    let output = run(&netlist, &seen, &["--json", "--lenient"]);
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(json(&output)["skipped"].as_array().map(Vec::len), Some(1));
    let absent = PathBuf::from("nowhere.csv");
    assert_eq!(run(&absent, &seen, &["--json"]).status.code(), Some(2));
}
