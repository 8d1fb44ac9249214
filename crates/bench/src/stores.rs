//! The stores of a project: a shape file each, and the files of reads, logs, maps and sequences beside it.

use std::sync::Arc;

use crate::loading::Text;
use crate::project::Remark;
use crate::refused::Complaint;

/// A file under `stores/`, as found; it need not be text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoreFile {
    /// Its path in the project: `stores/registers.kdl`, `stores/registers/1-first.hex`.
    pub file: String,
    /// Its bytes.
    pub bytes: Arc<[u8]>,
}

/// One store and what was read of it.
#[derive(Clone, Debug, PartialEq)]
pub struct StoreText {
    /// Its name: that of its shape file.
    pub name: String,
    /// The shape file; none if files were read before anybody wrote it.
    pub shape: Option<Text>,
    /// Its other files, in the order of their names.
    pub files: Vec<StoreFile>,
}

/// What a file of a store is for, by its name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Role {
    /// What the store should hold.
    Reference,
    /// Reads of the store, or the log of a march test: which of the two its first line tells.
    Reads(String),
    /// A map of passes and failures, of a unit.
    Map(String),
    /// A captured sequence of micro-addresses, of a unit.
    Sequence(String),
}

/// What a file is for: `reference.hex`, or the unit, a hyphen and anything, as in `2-first.hex`, `2-march.csv`,
/// `2-map-1970.csv`, `2-sequence.txt`. `None`: it names no unit that is known.
pub fn role(file: &str, units: &[String]) -> Option<Role> {
    let name = file.rsplit('/').next().unwrap_or(file);
    if name.starts_with("reference.") || name == "reference" {
        return Some(Role::Reference);
    }
    let of = |unit: &&String| {
        name.strip_prefix(unit.as_str())
            .is_some_and(|rest| rest.starts_with(['-', '.']))
    };
    let unit = units.iter().filter(of).max_by_key(|u| u.len())?;
    let rest = &name[unit.len()..];
    let has = |word: &str| {
        let parts = rest.split(|c: char| !c.is_ascii_alphabetic());
        parts
            .into_iter()
            .any(|part| part.eq_ignore_ascii_case(word))
    };
    Some(if has("map") {
        Role::Map(unit.clone())
    } else if has("sequence") {
        Role::Sequence(unit.clone())
    } else {
        Role::Reads(unit.clone())
    })
}

/// Puts the files of a folder such as `stores/` together; a shape file that is no text becomes a remark.
pub fn gather(under: &str, files: Vec<StoreFile>, remarks: &mut Vec<Remark>) -> Vec<StoreText> {
    let mut stores: Vec<StoreText> = Vec::new();
    for file in files {
        let path = file.file.strip_prefix(under).unwrap_or(&file.file);
        let (name, is_shape) = match path.split_once('/') {
            Some((folder, _)) => (folder.to_owned(), false),
            None => {
                let plain = path
                    .strip_suffix(".kdl")
                    .or_else(|| path.strip_suffix(".keys"));
                (plain.unwrap_or(path).to_owned(), true)
            }
        };
        let at = stores
            .iter()
            .position(|s| s.name == name)
            .unwrap_or_else(|| {
                stores.push(StoreText {
                    name,
                    shape: None,
                    files: Vec::new(),
                });
                stores.len() - 1
            });
        if !is_shape {
            stores[at].files.push(file);
            continue;
        }
        match std::str::from_utf8(&file.bytes) {
            Ok(text) => {
                stores[at].shape = Some(Text {
                    text: text.to_owned(),
                    file: file.file,
                });
            }
            Err(_) => remarks.push(Remark {
                is_error: true,
                complaint: Complaint {
                    file: Some(file.file),
                    ..Complaint::new(
                        "The shape file is not UTF-8 text.",
                        "Save it as UTF-8, or write it anew.",
                    )
                },
            }),
        }
    }
    for store in &mut stores {
        store.files.sort_by(|a, b| a.file.cmp(&b.file));
    }
    stores.sort_by(|a, b| a.name.cmp(&b.name));
    stores
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_files_say_what_they_are_for() {
        let units = ["1", "2", "2-b"].map(str::to_owned);
        let cases = [
            ("stores/a/reference.hex", Some(Role::Reference)),
            ("stores/a/1-first.hex", Some(Role::Reads("1".to_owned()))),
            ("stores/a/2.bin", Some(Role::Reads("2".to_owned()))),
            (
                "stores/a/2-b-march.csv",
                Some(Role::Reads("2-b".to_owned())),
            ),
            ("stores/a/2-Map-new.csv", Some(Role::Map("2".to_owned()))),
            (
                "stores/a/2-sequence.txt",
                Some(Role::Sequence("2".to_owned())),
            ),
            ("stores/a/2-mapped.hex", Some(Role::Reads("2".to_owned()))),
            ("stores/a/3-first.hex", None),
            ("stores/a/12.hex", None),
        ];
        for (file, expected) in cases {
            assert_eq!(role(file, &units), expected, "{file}");
        }
    }

    #[test]
    fn files_find_their_store() {
        let file = |name: &str, bytes: &[u8]| StoreFile {
            file: name.to_owned(),
            bytes: bytes.into(),
        };
        let mut remarks = Vec::new();
        let stores = gather(
            "stores/",
            vec![
                file("stores/b/2.hex", b"2"),
                file("stores/b/1.hex", b"1"),
                file("stores/b.kdl", b"store b {}"),
                file("stores/a.kdl", b"\xFF"),
            ],
            &mut remarks,
        );
        let names: Vec<&str> = stores.iter().map(|s| s.name.as_str()).collect();
        assert_eq!(names, ["a", "b"]);
        assert!(stores[0].shape.is_none() && remarks.len() == 1);
        assert_eq!(
            stores[1].shape.as_ref().map(|t| t.text.as_str()),
            Some("store b {}")
        );
        let files: Vec<&str> = stores[1].files.iter().map(|f| f.file.as_str()).collect();
        assert_eq!(files, ["stores/b/1.hex", "stores/b/2.hex"]);
    }
}
