//! The recordings of a project: a folder for each signal or picture that was recorded, a file for each unit and time.

/// A file under `captures/`, not opened yet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CaptureFile {
    /// Its path in the project: `captures/clock/1-first.csv`; or what the ledger calls it.
    pub file: String,
    /// Another number whenever its content is another.
    pub stamp: u64,
}

/// What was recorded of one signal, or of several in one go.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CaptureSet {
    /// Its name: that of its folder.
    pub name: String,
    /// Its files, in the order of their names.
    pub files: Vec<CaptureFile>,
}

/// Puts the files under `captures/` together.
pub fn gather(files: Vec<CaptureFile>) -> Vec<CaptureSet> {
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
            }),
        }
    }
    for set in &mut sets {
        set.files.sort_by(|a, b| a.file.cmp(&b.file));
    }
    sets.sort_by(|a, b| a.name.cmp(&b.name));
    sets
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
        let sets = gather(vec![
            file("captures/clock/2-b.csv"),
            file("captures/tube/1.wav"),
            file("captures/clock/1-a.csv"),
            file("captures/loose.csv"),
        ]);
        let names: Vec<&str> = sets.iter().map(|s| s.name.as_str()).collect();
        assert_eq!(names, ["clock", "tube"]);
        assert_eq!(sets[0].files[0].file, "captures/clock/1-a.csv");
        let units = ["1", "1-a"].map(str::to_owned);
        assert_eq!(unit_of("captures/clock/1-a.csv", &units), Some("1-a"));
        assert_eq!(unit_of("captures/clock/1-b.csv", &units), Some("1"));
        assert_eq!(unit_of("captures/clock/12-b.csv", &units), None);
    }
}
