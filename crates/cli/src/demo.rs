//! Lays the demo out of the binary into the user's data folder, and never over what a person changed.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

use bench::Refused;
use include_dir::{Dir, include_dir};
use store::record::{Draft, Moment};

static DEMO: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/../bench/demo");

/// Which files were laid out, each with a sum over its content.
const LIST: &str = ".laid-out";

/// The demo's folder, with its files in it.
///
/// # Errors
/// If there is no folder for data, or it cannot be written.
pub fn folder() -> Result<PathBuf, Refused> {
    let home = data_home(|name| std::env::var_os(name).map(PathBuf::from)).ok_or_else(|| {
        Refused::unable(
            "There is no folder for the demo: neither XDG_DATA_HOME nor HOME is set.",
            "Set HOME, or name a project folder: knowngood bench open FOLDER.",
        )
    })?;
    let folder = home.join("knowngood").join("demo");
    lay_out(&files(&DEMO), &folder).map_err(|e| {
        Refused::unable(
            format!("The demo cannot be laid out in {}: {e}.", folder.display()),
            "Make that folder writable, or name a project folder: knowngood bench open FOLDER.",
        )
    })?;
    tell(&folder);
    Ok(folder)
}

/// What happened to the demo's units, as entries of a ledger; its times are moved so that it ends now.
const STORY: &str = include_str!("../../bench/demo/story.txt");

/// Begins the demo's ledger, if there is none. Where it cannot be written, opening it says why.
fn tell(folder: &Path) {
    let path = folder.join(store::FILE);
    if path.exists() {
        return;
    }
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    let now = since.map_or(0, |d| i64::try_from(d.as_millis()).unwrap_or(i64::MAX));
    let _ = store::Store::with(&path, &story(now));
}

/// The story, so that its last entry is an hour before `now`, in milliseconds since 1970.
fn story(now: i64) -> Vec<Draft> {
    let mut drafts = store::read_entries(STORY).unwrap_or_default();
    let last = drafts.last().map_or(0, |d| d.time.milliseconds());
    let shift = now - 3_600_000 - last;
    for draft in &mut drafts {
        let moved = Moment::new(draft.time.milliseconds() + shift);
        draft.time = moved.unwrap_or(draft.time);
    }
    drafts
}

/// The user's data folder: `$XDG_DATA_HOME` if it is absolute, else `~/.local/share` (XDG Base Directory Specification
/// 0.8), else on Windows `%LOCALAPPDATA%`.
fn data_home(variable: impl Fn(&str) -> Option<PathBuf>) -> Option<PathBuf> {
    let absolute = |name| variable(name).filter(|p| p.is_absolute());
    absolute("XDG_DATA_HOME")
        .or_else(|| absolute("HOME").map(|home| home.join(".local").join("share")))
        .or_else(|| absolute("LOCALAPPDATA"))
}

/// What makes a project; how the demo was made stays with the program.
fn files<'a>(dir: &'a Dir<'_>) -> BTreeMap<&'a Path, &'a [u8]> {
    let is_project = |path: &Path| {
        let ending = path.extension().and_then(|e| e.to_str());
        ending.is_some_and(|e| ["kdl", "csv", "md", "hex", "txt", "vcd"].contains(&e))
    };
    let own = dir
        .files()
        .filter(|f| is_project(f.path()))
        .map(|f| (f.path(), f.contents()));
    own.chain(dir.dirs().flat_map(files)).collect()
}

/// Writes what is not there yet. A file that a person changed or removed stays so; one that is as it was laid out
/// follows the binary.
fn lay_out(files: &BTreeMap<&Path, &[u8]>, folder: &Path) -> std::io::Result<()> {
    let list = folder.join(LIST);
    let before = read_list(&std::fs::read_to_string(&list).unwrap_or_default());
    let mut after = before.clone();
    for (path, content) in files {
        let name = path.to_string_lossy().replace('\\', "/");
        let target = folder.join(path);
        let is_ours = match (std::fs::read(&target), before.get(&name)) {
            (Ok(found), Some(sum)) => content_sum(&found) == *sum,
            (Ok(_), None) => false,
            (Err(_), Some(_)) => false,
            (Err(_), None) => true,
        };
        if is_ours && before.get(&name) != Some(&content_sum(content)) {
            if let Some(parent) = target.parent() {
                std::fs::create_dir_all(parent)?;
            }
            std::fs::write(&target, content)?;
            after.insert(name, content_sum(content));
        }
    }
    if after != before {
        let lines: Vec<String> = after
            .iter()
            .map(|(name, sum)| format!("{sum:016x} {name}\n"))
            .collect();
        std::fs::write(&list, lines.concat())?;
    }
    Ok(())
}

fn read_list(text: &str) -> BTreeMap<String, u64> {
    text.lines()
        .filter_map(|line| line.split_once(' '))
        .filter_map(|(sum, name)| Some((name.to_owned(), u64::from_str_radix(sum, 16).ok()?)))
        .collect()
}

/// FNV-1a, 64 bits (Fowler, Noll, Vo; IETF draft-eastlake-fnv): it tells a changed file, and guards against nobody.
fn content_sum(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |sum, byte| {
        (sum ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(name: &str) -> PathBuf {
        let folder =
            std::env::temp_dir().join(format!("knowngood-demo-{}-{name}", std::process::id()));
        let _ = std::fs::remove_dir_all(&folder);
        folder
    }

    fn of<'a>(list: &[(&'a str, &'a str)]) -> BTreeMap<&'a Path, &'a [u8]> {
        list.iter()
            .map(|(path, text)| (Path::new(*path), text.as_bytes()))
            .collect()
    }

    #[test]
    fn the_story_tells_of_a_board_that_is_finished_and_of_one_that_is_not() {
        let folder = place("story");
        std::fs::create_dir_all(&folder).expect("made");
        let path = folder.join(store::FILE);
        let now = 1_800_000_000_000;
        let told = store::Store::with(&path, &story(now)).expect("written");
        let entries = store::record::Ledger::since(&told, 0).expect("read");
        assert_eq!(entries.len(), STORY.lines().count());
        let work = store::record::Work::of(entries);
        let refused: Vec<_> = work.refused().map(|(e, why)| (e.number, why)).collect();
        assert!(refused.is_empty(), "{refused:?}");
        let standing = |unit: &str, board: &str| -> Vec<&str> {
            let all = work.findings_at(unit, Some(board));
            all.iter().map(|f| f.word.word()).collect()
        };
        assert_eq!(standing("1", "A3"), ["mended"]);
        assert_eq!(standing("2", "A4"), ["open"]);
        let findings = work.findings();
        let words = |k: usize| -> Vec<Option<bool>> {
            let all = findings[k].hypotheses.iter();
            all.map(|h| h.outcome.map(|(_, o)| o.refuted)).collect()
        };
        assert_eq!(words(0), [Some(true), Some(false)]);
        assert_eq!(words(1), [None], "what is not decided stays so");
        let trust = work.trust("1", "A3", Moment::new(now).expect("a moment"));
        assert!(trust.trust.is_some() && trust.lapse.is_none(), "{trust:?}");
        // Somebody's own ledger is left alone.
        tell(&folder);
        let again = store::Store::open(&path).expect("opened");
        assert_eq!(
            store::record::Ledger::since(&again, 0).expect("read").len(),
            STORY.lines().count()
        );
        std::fs::remove_dir_all(&folder).expect("cleaned");
    }

    #[test]
    fn the_sum_is_fnv_1a() {
        // Test vectors of draft-eastlake-fnv, appendix C.
        assert_eq!(content_sum(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(content_sum(b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(content_sum(b"foobar"), 0x8594_4171_f739_67e8);
    }

    #[test]
    fn a_changed_or_removed_file_stays_as_the_person_left_it() {
        let folder = place("changed");
        let first = of(&[
            ("machine.kdl", "one"),
            ("sheets/a1.kdl", "two"),
            ("sheets/a2.kdl", "three"),
        ]);
        lay_out(&first, &folder).expect("laid out");
        let read = |name: &str| std::fs::read_to_string(folder.join(name)).ok();
        assert_eq!(read("sheets/a1.kdl").as_deref(), Some("two"));

        std::fs::write(folder.join("machine.kdl"), "mine").expect("written");
        std::fs::remove_file(folder.join("sheets/a2.kdl")).expect("removed");
        let second = of(&[
            ("machine.kdl", "newer"),
            ("sheets/a1.kdl", "newer"),
            ("sheets/a2.kdl", "newer"),
            ("extra.kdl", "more"),
        ]);
        lay_out(&second, &folder).expect("laid out again");
        assert_eq!(read("machine.kdl").as_deref(), Some("mine"));
        assert_eq!(read("sheets/a1.kdl").as_deref(), Some("newer"));
        assert_eq!(read("sheets/a2.kdl"), None);
        assert_eq!(read("extra.kdl").as_deref(), Some("more"));
        std::fs::remove_dir_all(&folder).expect("cleaned");
    }

    #[test]
    fn a_file_that_was_there_first_is_left_alone() {
        let folder = place("first");
        std::fs::create_dir_all(&folder).expect("made");
        std::fs::write(folder.join("machine.kdl"), "theirs").expect("written");
        lay_out(&of(&[("machine.kdl", "ours")]), &folder).expect("laid out");
        assert_eq!(
            std::fs::read_to_string(folder.join("machine.kdl")).expect("read"),
            "theirs"
        );
        std::fs::remove_dir_all(&folder).expect("cleaned");
    }

    #[test]
    fn the_data_folder_follows_the_specification() {
        let with = |list: &'static [(&'static str, &'static str)]| {
            data_home(|name| {
                list.iter()
                    .find(|(n, _)| *n == name)
                    .map(|(_, v)| PathBuf::from(v))
            })
        };
        assert_eq!(
            with(&[("XDG_DATA_HOME", "/d"), ("HOME", "/h")]),
            Some("/d".into())
        );
        assert_eq!(
            with(&[("XDG_DATA_HOME", "relative"), ("HOME", "/h")]),
            Some("/h/.local/share".into())
        );
        assert_eq!(with(&[]), None);
    }
}
