//! Changes of the machine file that a page makes: a name, a unit, a board. Lines are added where a person would write them;
//! everything else, comments too, stays as it is.

use sheet::machine::{self, Machine};

use crate::loading::Text;
use crate::project::Project;
use crate::refused::{Complaint, Refused};

/// What is to be changed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Change {
    /// The machine's name.
    Name(String),
    /// One more unit.
    Unit {
        /// Its name.
        name: String,
        /// Its serial number.
        serial: Option<String>,
    },
    /// One more board.
    Board {
        /// The assembly that it belongs to; a new one if there is none of that name.
        assembly: String,
        /// Its name.
        name: String,
        /// What it is.
        title: Option<String>,
        /// Its slot.
        slot: Option<String>,
        /// Path of its sheet.
        sheet: Option<String>,
    },
    /// A board that is there gets a sheet.
    Sheet {
        /// The board.
        board: String,
        /// Path of its sheet.
        path: String,
    },
}

/// The machine file with a change; without a file a new one, which names what the project has already.
///
/// # Errors
/// If the name is taken or empty, or if the file is written in a way that cannot be added to.
pub fn change(project: &Project, change: &Change) -> Result<Text, Refused> {
    let file = "machine.kdl".to_owned();
    let before = match project.machine_text() {
        Some(text) => text.text.clone(),
        None => fresh(project),
    };
    let (old, found) = machine::parse(&before, &file);
    let errors = found.iter().filter(|d| d.is_error()).count();
    refuse_taken(&old, change)?;
    let first = found.iter().find(|d| d.is_error());
    let by_hand = || match first {
        Some(mistake) => {
            let told = Complaint::from(mistake);
            let line = told.line.map_or(String::new(), |l| format!(" in line {l}"));
            Refused::unable(
                format!(
                    "machine.kdl has a mistake{line}, and nothing is added to it before that is mended: {}",
                    told.message
                ),
                "Mend it in an editor, save, and send this again.",
            )
        }
        None => by_hand(),
    };
    let text = applied(&before, &old, change).ok_or_else(by_hand)?;
    let (new, again) = machine::parse(&text, &file);
    let more_errors = again.iter().filter(|d| d.is_error()).count() > errors;
    if more_errors || !holds(&new, change) {
        return Err(by_hand());
    }
    Ok(Text { file, text })
}

fn by_hand() -> Refused {
    Refused::unable(
        "machine.kdl is written in a way that this page cannot add to.",
        "Open it in an editor, and write the line there.",
    )
}

/// A machine file for what a project has: its sheets and readings as boards, and the units that were read.
fn fresh(project: &Project) -> String {
    let mut text = format!("machine {} {{\n", quoted(&project.name));
    for assembly in &project.assemblies {
        text += &format!("    assembly {} {{\n", quoted(&assembly.name));
        for board in &assembly.boards {
            text += &format!("        board {}", quoted(&board.name));
            if let Some(sheet) = &board.sheet {
                text += &format!(" sheet={}", quoted(&sheet.file));
            }
            text += "\n";
        }
        text += "    }\n";
    }
    for unit in &project.units {
        text += &format!("    unit {}\n", quoted(&unit.name));
    }
    text + "}\n"
}

fn refuse_taken(old: &Machine, change: &Change) -> Result<(), Refused> {
    let taken = |what: &str, name: &str| {
        Refused::input(
            format!("The machine has {what} {name} already."),
            "Give this one another name.",
        )
    };
    let empty = || Refused::input("The name is empty.", "Give it a short one.");
    match change {
        Change::Name(name) | Change::Unit { name, .. } | Change::Board { name, .. }
            if name.trim().is_empty() =>
        {
            Err(empty())
        }
        Change::Unit { name, .. } if old.unit(name).is_some() => Err(taken("a unit", name)),
        Change::Board { name, .. } if board(old, name).is_some() => Err(taken("a board", name)),
        _ => Ok(()),
    }
}

fn board<'a>(machine: &'a Machine, name: &str) -> Option<&'a machine::Board> {
    let all = machine.assemblies.iter().flat_map(|a| &a.boards);
    all.into_iter().find(|b| b.name == name)
}

fn holds(new: &Machine, change: &Change) -> bool {
    match change {
        Change::Name(name) => new.name == *name,
        Change::Unit { name, serial } => new.unit(name).is_some_and(|u| u.serial == *serial),
        Change::Board { name, sheet, .. } => board(new, name).is_some_and(|b| b.sheet == *sheet),
        Change::Sheet { board: name, path } => {
            board(new, name).is_some_and(|b| b.sheet.as_ref() == Some(path))
        }
    }
}

fn applied(text: &str, old: &Machine, change: &Change) -> Option<String> {
    let bare = bare(text);
    let after = word(&bare, "machine")? + "machine".len();
    let Some(open) = bare[after..].find('{').map(|i| after + i) else {
        // A machine without a block gets one, and then the change.
        let end = bare[after..].find('\n').map_or(text.len(), |i| after + i);
        let at = after + bare[after..end].trim_end().len();
        let block = format!("{} {{\n}}{}", &text[..at], &text[at..]);
        return applied(&block, old, change);
    };
    let end = end_of_block(&bare, open)?;
    match change {
        Change::Name(name) => Some(format!(
            "{} {} {}",
            &text[..after],
            quoted(name),
            &text[open..]
        )),
        Change::Unit { name, serial } => {
            let line = format!("    unit {}{}\n", quoted(name), property("serial", serial));
            before_end(text, end, &line)
        }
        Change::Board {
            assembly,
            name,
            title,
            slot,
            sheet,
        } => {
            let line = format!(
                "        board {}{}{}{}\n",
                quoted(name),
                property("sheet", sheet),
                property("slot", slot),
                property("title", title)
            );
            match old.assemblies.iter().find(|a| a.name == *assembly) {
                Some(found) => {
                    let open = found.span.start + bare.get(found.span.start..)?.find('{')?;
                    before_end(text, end_of_block(&bare, open)?, &line)
                }
                None => {
                    let block = format!("    assembly {} {{\n{line}    }}\n", quoted(assembly));
                    before_end(text, end, &block)
                }
            }
        }
        Change::Sheet { board: name, path } => {
            let found = board(old, name)?;
            let rest = text.get(found.span.start..)?;
            let end = rest.find(['\n', ';', '}']).unwrap_or(rest.len());
            let at = found.span.start + rest[..end].trim_end().len();
            let more = property("sheet", &Some(path.clone()));
            Some(format!("{}{more}{}", &text[..at], &text[at..]))
        }
    }
}

/// Adds lines before the closing brace at `end`, which gets a line of its own.
fn before_end(text: &str, end: usize, lines: &str) -> Option<String> {
    let line_start = text[..end].rfind('\n').map_or(0, |i| i + 1);
    let indent = text.get(line_start..end)?;
    if indent.trim().is_empty() {
        return Some(format!(
            "{}{lines}{}",
            &text[..line_start],
            &text[line_start..]
        ));
    }
    Some(format!(
        "{}\n{lines}{}",
        text[..end].trim_end(),
        &text[end..]
    ))
}

/// A KDL text with blanks in the place of comments and low lines in that of strings, byte for byte, so that braces and words
/// are found where they mean something.
fn bare(text: &str) -> String {
    let bytes = text.as_bytes();
    let mut out = bytes.to_vec();
    let mut at = 0;
    while at < bytes.len() {
        let rest = &bytes[at..];
        let (length, instead) = if rest.starts_with(b"//") {
            let line = rest.iter().position(|b| *b == b'\n');
            (line.unwrap_or(rest.len()), b' ')
        } else if rest.starts_with(b"/*") {
            (comment(rest), b' ')
        } else {
            (string(rest).unwrap_or(0), b'_')
        };
        for byte in &mut out[at..at + length] {
            if *byte != b'\n' {
                *byte = instead;
            }
        }
        at += length.max(1);
    }
    String::from_utf8(out).unwrap_or_else(|_| " ".repeat(text.len()))
}

/// Length of a comment of many lines, which may hold others.
fn comment(rest: &[u8]) -> usize {
    let (mut at, mut depth) = (0, 0usize);
    while at < rest.len() {
        match rest.get(at..at + 2) {
            Some(b"/*") => (at, depth) = (at + 2, depth + 1),
            Some(b"*/") => (at, depth) = (at + 2, depth - 1),
            _ => at += 1,
        }
        if depth == 0 {
            break;
        }
    }
    at.min(rest.len())
}

/// Length of a string that begins here: in quotation marks, one or three, raw with as many number signs on both sides.
fn string(rest: &[u8]) -> Option<usize> {
    let signs = rest.iter().take_while(|b| **b == b'#').count();
    let marks = match &rest[signs..] {
        body if body.starts_with(b"\"\"\"") => 3,
        body if body.starts_with(b"\"") => 1,
        _ => return None,
    };
    let end = [vec![b'"'; marks], vec![b'#'; signs]].concat();
    let mut at = signs + marks;
    while at < rest.len() {
        if rest[at..].starts_with(&end) {
            return Some(at + end.len());
        }
        at += if rest[at] == b'\\' && signs == 0 {
            2
        } else {
            1
        };
    }
    Some(rest.len())
}

/// Where a word begins that stands by itself.
fn word(bare: &str, word: &str) -> Option<usize> {
    let is_part = |c: char| c.is_alphanumeric() || "-_.".contains(c);
    let mut all = bare.match_indices(word).map(|(at, _)| at);
    all.find(|at| {
        let before = bare[..*at].chars().next_back();
        let after = bare[at + word.len()..].chars().next();
        !before.is_some_and(is_part) && !after.is_some_and(is_part)
    })
}

/// The brace that closes the one at `open`.
fn end_of_block(bare: &str, open: usize) -> Option<usize> {
    let mut depth = 0usize;
    for (at, c) in bare[open..].char_indices() {
        match c {
            '{' => depth += 1,
            '}' => {
                depth -= 1;
                if depth == 0 {
                    return Some(open + at);
                }
            }
            _ => {}
        }
    }
    None
}

fn property(key: &str, value: &Option<String>) -> String {
    let value = value.as_ref().filter(|v| !v.trim().is_empty());
    value.map_or(String::new(), |v| format!(" {key}={}", quoted(v)))
}

/// A KDL 2.0 string.
pub fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' | '\r' | '\t' => out.push(' '),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::project::ProjectText;

    fn project(machine: Option<&str>) -> Project {
        Project::of(ProjectText {
            name: "folder".to_owned(),
            machine: machine.map(|text| Text {
                file: "machine.kdl".to_owned(),
                text: text.to_owned(),
            }),
            ..ProjectText::default()
        })
    }

    fn unit(name: &str) -> Change {
        Change::Unit {
            name: name.to_owned(),
            serial: Some("02 \"17\"".to_owned()),
        }
    }

    fn a1(assembly: &str) -> Change {
        Change::Board {
            assembly: assembly.to_owned(),
            name: "A1".to_owned(),
            title: Some("Regulator".to_owned()),
            slot: None,
            sheet: None,
        }
    }

    #[track_caller]
    fn check(before: Option<&str>, change: &Change, after: &str) {
        let text = super::change(&project(before), change)
            .expect("changed")
            .text;
        assert_eq!(text, after);
    }

    #[test]
    fn lines_are_added_where_a_person_would_write_them() {
        check(
            None,
            &unit("1"),
            "machine \"folder\" {\n    unit \"1\" serial=\"02 \\\"17\\\"\"\n}\n",
        );
        let commented = "// mine\nmachine \"M\" {\n    assembly \"S\" { board A2 } // } here\n    // unit \"9\"\n}\n";
        check(
            Some(commented),
            &a1("S"),
            "// mine\nmachine \"M\" {\n    assembly \"S\" { board A2\n        board \"A1\" title=\"Regulator\"\n} // } here\n    // unit \"9\"\n}\n",
        );
        check(
            Some(commented),
            &a1("T"),
            "// mine\nmachine \"M\" {\n    assembly \"S\" { board A2 } // } here\n    // unit \"9\"\n    assembly \"T\" {\n        board \"A1\" title=\"Regulator\"\n    }\n}\n",
        );
        check(
            Some("machine \"M\" {\n}\n"),
            &Change::Name("N \\ \"x\"".to_owned()),
            "machine \"N \\\\ \\\"x\\\"\" {\n}\n",
        );
        let sheet = Change::Sheet {
            board: "A2".to_owned(),
            path: "sheets/a2.kdl".to_owned(),
        };
        check(
            Some("machine \"M\" {\n    assembly \"S\" {\n        board A2 slot=1\n    }\n}\n"),
            &sheet,
            "machine \"M\" {\n    assembly \"S\" {\n        board A2 slot=1 sheet=\"sheets/a2.kdl\"\n    }\n}\n",
        );
    }

    #[test]
    fn words_in_comments_and_strings_are_no_machine() {
        let before = "// The machine {that} all units share\n/* machine { /* } */ */\nmachine \"a } machine {\" {\n    // unit \"9\" }\n} // }\n";
        check(
            Some(before),
            &Change::Name("N".to_owned()),
            &before.replace("\"a } machine {\"", "\"N\""),
        );
        check(
            Some(before),
            &Change::Unit {
                name: "1".to_owned(),
                serial: None,
            },
            &before.replace("\n} // }", "\n    unit \"1\"\n} // }"),
        );
        check(
            Some("machine #\"raw \" }\"# // no block\n"),
            &Change::Unit {
                name: "1".to_owned(),
                serial: None,
            },
            "machine #\"raw \" }\"# {\n    unit \"1\"\n} // no block\n",
        );
    }

    #[test]
    fn a_file_with_a_mistake_says_which() {
        let text = "machine \"M\" {\n    assembly \"S\" { board A1\n}\n";
        let refused =
            super::change(&project(Some(text)), &unit("1")).expect_err("a brace is missing");
        let message = &refused.complaints()[0].message;
        assert!(message.contains("has a mistake in line"), "{message}");
    }

    #[test]
    fn what_is_there_is_not_added_again() {
        let text = "machine \"M\" {\n    assembly \"S\" { board A1 }\n    unit \"1\"\n}\n";
        for change in [
            unit("1"),
            a1("S"),
            a1("T"),
            unit(" "),
            Change::Name(String::new()),
        ] {
            assert!(
                super::change(&project(Some(text)), &change).is_err(),
                "{change:?}"
            );
        }
    }
}
