//! A project made, checked, exported and imported from the command line.

use std::path::{Path, PathBuf};

use crate::run::{document, json, run, text};

fn place(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"))
        .join(format!("ledger-{}-{name}", std::process::id()));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("the folder can be made");
    folder
}

fn words(path: &Path) -> &str {
    path.to_str().expect("text")
}

const NOTHING: &str = "0000000000000000000000000000000000000000000000000000000000000000";

#[test]
fn a_project_is_made_checked_exported_and_imported() {
    let folder = place("round");
    let (project, file, again) = (
        folder.join("mine"),
        folder.join("mine.zip"),
        folder.join("again"),
    );
    json(&["bench", "new", words(&project)]);
    std::fs::write(
        project.join("readings/a2.csv"),
        "unit,state,kind,red,black,value\n",
    )
    .expect("written");
    let checked = json(&["bench", "verify", words(&project)]);
    assert_eq!(text(&checked, "last"), NOTHING);
    assert_eq!(
        (&checked["entries"], &checked["faults"]),
        (&0.into(), &serde_json::json!([]))
    );
    let written = json(&["bench", "export", words(&project), "-o", words(&file)]);
    assert_eq!(written["files"], 2);
    json(&["bench", "import", words(&file), words(&again)]);
    for name in ["machine.kdl", "readings/a2.csv"] {
        assert_eq!(
            std::fs::read(again.join(name)).expect("there"),
            std::fs::read(project.join(name)).expect("there")
        );
    }
    let said = run(&["bench", "verify", words(&again)]);
    assert_eq!(
        said.out,
        format!("0 entries, 0 attachments. The last hash is\n{NOTHING}\nThe chain is whole.\n")
    );
}

#[test]
fn what_cannot_be_done_is_said() {
    let folder = place("refused");
    let project = folder.join("mine");
    json(&["bench", "new", words(&project)]);
    let refused = |list: &[&str], message: &str| {
        let ended = run(&[list, &["--json"]].concat());
        assert_eq!(ended.code, 2, "{}", ended.out);
        let said = document(&ended);
        assert_eq!(text(&said["error"], "message"), message);
        assert!(text(&said["error"], "help").ends_with('.'));
    };
    let named = |p: &Path| p.display().to_string();
    refused(
        &["bench", "new", words(&project)],
        &format!("The folder {} is not empty.", named(&project)),
    );
    refused(
        &["bench", "verify", words(&folder)],
        &format!("There is no ledger at {}.", named(&folder.join("bench.db"))),
    );
    let inside = project.join("mine.zip");
    refused(
        &["bench", "export", words(&project), "-o", words(&inside)],
        &format!(
            "`{}` lies in the project itself, and would be part of the next export.",
            named(&inside)
        ),
    );
    assert!(!inside.exists() && !project.join("mine.part").exists());
    let machine = project.join("machine.kdl");
    let target = folder.join("target");
    let ended = run(&["bench", "import", words(&machine), words(&target)]);
    assert_eq!(ended.code, 2);
    assert!(
        ended.err.starts_with("This is no export of a project:"),
        "{}",
        ended.err
    );
}

#[test]
fn damage_is_an_input_at_fault_and_is_exported_all_the_same() {
    let folder = place("damaged");
    let (project, file) = (folder.join("mine"), folder.join("mine.zip"));
    json(&["bench", "new", words(&project)]);
    let ledger = project.join("bench.db");
    let mut bytes = std::fs::read(&ledger).expect("read");
    // The name of the format, which stands first in every such file (SQLite file format, section 1.3).
    bytes[0] ^= 1;
    std::fs::write(&ledger, bytes).expect("written");
    let ended = run(&["bench", "verify", words(&project)]);
    assert_eq!(ended.code, 2, "{}", ended.out);
    assert!(
        ended
            .err
            .contains("The ledger is damaged: it does not begin as a ledger does."),
        "{}",
        ended.err
    );
    let ended = run(&[
        "bench",
        "export",
        words(&project),
        "-o",
        words(&file),
        "--json",
    ]);
    assert_eq!(ended.code, 2);
    assert_eq!(document(&ended)["files"], 1);
    assert!(file.is_file());
}
