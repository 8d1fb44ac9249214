//! The recordings of a project: a folder for each signal or picture that was recorded, a file for each unit and time, and a text about it.

use crate::loading::Text;

/// A file under `captures/`, not opened yet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CaptureFile {
    /// Its path in the project: `captures/clock/1-first.csv`; or what the ledger calls it.
    pub file: String,
    /// Another number whenever its content is another.
    pub stamp: u64,
}

/// What was recorded of one signal, or of several in one go.
#[derive(Clone, Debug, PartialEq)]
pub struct CaptureSet {
    /// Its name: that of its folder.
    pub name: String,
    /// Its files, in the order of their names.
    pub files: Vec<CaptureFile>,
    /// What is known of it: `captures/NAME.kdl`.
    pub about: Option<Text>,
}

/// Puts the files under `captures/` together.
pub fn gather(files: Vec<CaptureFile>, abouts: Vec<Text>) -> Vec<CaptureSet> {
    let mut sets: Vec<CaptureSet> = Vec::new();
    for file in files {
        let path = file.file.strip_prefix("captures/").unwrap_or(&file.file);
        let Some((name, _)) = path.split_once('/') else {
            continue;
        };
        match sets.iter_mut().find(|s| s.name == name) {
            Some(set) => set.files.push(file),
            None => sets.push(CaptureSet {
                name: name.to_owned(),
                files: vec![file],
                about: None,
            }),
        }
    }
    for text in abouts {
        let path = text.file.strip_prefix("captures/").unwrap_or(&text.file);
        let name = path.strip_suffix(".kdl").unwrap_or(path).to_owned();
        match sets.iter_mut().find(|s| s.name == name) {
            Some(set) => set.about = Some(text),
            None => sets.push(CaptureSet {
                name,
                files: Vec::new(),
                about: Some(text),
            }),
        }
    }
    for set in &mut sets {
        set.files.sort_by(|a, b| a.file.cmp(&b.file));
    }
    sets.sort_by(|a, b| a.name.cmp(&b.name));
    sets
}

/// Whether a sheet has a net or a named point of that name.
pub fn is_place(sheet: &sheet::Sheet, name: &str) -> bool {
    sheet.nets.iter().any(|n| n.name == name) || sheet.points.iter().any(|p| p.name == name)
}

/// The unit that a file was recorded from: its name begins with it, and a hyphen or a point follows.
pub fn unit_of<'u>(file: &str, units: &'u [String]) -> Option<&'u str> {
    let name = file.rsplit('/').next().unwrap_or(file);
    let begins = |unit: &&String| {
        name.strip_prefix(unit.as_str())
            .is_some_and(|rest| rest.starts_with(['-', '.']))
    };
    units
        .iter()
        .filter(begins)
        .max_by_key(|u| u.len())
        .map(String::as_str)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_find_their_signal_and_their_unit() {
        let file = |name: &str| CaptureFile {
            file: name.to_owned(),
            stamp: 0,
        };
        let sets = gather(
            vec![
                file("captures/clock/2-b.csv"),
                file("captures/tube/1.wav"),
                file("captures/clock/1-a.csv"),
                file("captures/loose.csv"),
            ],
            vec![Text {
                file: "captures/tube.kdl".to_owned(),
                text: "capture {}".to_owned(),
            }],
        );
        let names: Vec<&str> = sets.iter().map(|s| s.name.as_str()).collect();
        assert_eq!(names, ["clock", "tube"]);
        assert!(sets[0].about.is_none() && sets[1].about.is_some());
        assert_eq!(sets[0].files[0].file, "captures/clock/1-a.csv");
        let units = ["1", "1-a"].map(str::to_owned);
        assert_eq!(unit_of("captures/clock/1-a.csv", &units), Some("1-a"));
        assert_eq!(unit_of("captures/clock/1-b.csv", &units), Some("1"));
        assert_eq!(unit_of("captures/clock/12-b.csv", &units), None);
    }
}
