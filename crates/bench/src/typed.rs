//! A sheet as a table that a person types: a part a row, the rest as lines; and back to the canonical text.

mod comments;
mod list;
mod words;

use crate::project::BoardText;
use crate::refused::Complaint;

pub use comments::carried;
pub use list::pasted;
use words::{Word, line_words, quoted_words};

/// One part as it is typed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Part {
    /// `resistor`, `npn` and so on.
    pub kind: String,
    /// Designator.
    pub name: String,
    /// Value, type number or class.
    pub value: String,
    /// Nets in the order of the pins, or `c=OUT b=IN e=0V`.
    pub nets: String,
    /// Tolerance, style and the like, as `tolerance=10% style=film`.
    pub more: String,
}

impl Part {
    /// Whether nothing was typed.
    pub fn is_empty(&self) -> bool {
        self.cells().iter().all(|c| c.trim().is_empty())
    }

    fn cells(&self) -> [&str; 5] {
        [&self.kind, &self.name, &self.value, &self.nets, &self.more]
    }
}

/// A sheet as it is typed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Typed {
    /// What the board is.
    pub title: String,
    /// The ground net.
    pub ground: String,
    /// The parts.
    pub parts: Vec<Part>,
    /// All other lines: nets with a role, points, supplies, connectors, and lines that cannot be used yet.
    pub rest: String,
}

/// Something wrong or doubtful.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mistake {
    /// The row of the parts, from 0; none if it is in the other lines or in the sheet as a whole.
    pub row: Option<usize>,
    /// The cell of the row, 0 to 4.
    pub cell: usize,
    /// Doubtful only; the sheet can be saved.
    pub is_doubt: bool,
    /// What is wrong.
    pub message: String,
    /// What would mend it.
    pub help: String,
}

/// Kinds that fit into a row, and the names of their pins where nets are given by pin.
pub const KINDS: [(&str, &[&str]); 11] = [
    ("resistor", &[]),
    ("potentiometer", &["a", "wiper", "b"]),
    ("capacitor", &["plus", "minus"]),
    ("inductor", &[]),
    ("diode", &["anode", "cathode"]),
    ("zener", &["anode", "cathode"]),
    ("npn", &["c", "b", "e"]),
    ("pnp", &["c", "b", "e"]),
    ("fuse", &[]),
    ("switch", &[]),
    ("lamp", &[]),
];

fn pins(kind: &str) -> Option<&'static [&'static str]> {
    KINDS.iter().find(|k| k.0 == kind).map(|k| k.1)
}

/// The sheet of a board as a table; an empty one if it has none. Lines that cannot be used come among the rest, so that
/// saving loses nothing; comments are brought back by [`carried`].
pub fn open(board: &BoardText) -> Typed {
    let Some(text) = &board.sheet else {
        return Typed::default();
    };
    let (sheet, found) = sheet::check(&text.text, &text.file);
    let mut typed = Typed {
        title: sheet.title.clone().unwrap_or_default(),
        ..Typed::default()
    };
    let printed = sheet::print(&sheet);
    let mut rest = Vec::new();
    for line in printed.lines().skip(1).filter(|l| l.trim() != "}") {
        let line = line.trim();
        let words = line_words(line);
        let is_ground = words.len() == 3
            && words[0].text == "net"
            && words[2] == Word::pair("role", "ground")
            && typed.ground.is_empty();
        if is_ground {
            typed.ground = words[1].text.clone();
        } else if let Some(part) = part(&words) {
            typed.parts.push(part);
        } else {
            rest.push(line.to_owned());
        }
    }
    let lines: Vec<&str> = text.text.lines().collect();
    let mut bad: Vec<usize> = found
        .iter()
        .filter(|d| d.is_error())
        .filter_map(|d| Complaint::from(d).line)
        .collect();
    bad.sort_unstable();
    bad.dedup();
    rest.extend(
        bad.iter()
            .filter_map(|n| lines.get(n - 1))
            .map(|l| l.trim().to_owned()),
    );
    typed.rest = rest.join("\n");
    typed
}

/// A printed part as a row; none for a kind that needs more than a row.
fn part(words: &[Word]) -> Option<Part> {
    let pins = pins(&words.first()?.text)?;
    let mut part = Part {
        kind: words[0].text.clone(),
        name: words.get(1)?.shown(),
        ..Part::default()
    };
    let bare: Vec<&Word> = words[2..].iter().filter(|w| w.key.is_none()).collect();
    let needs_value = !["switch", "lamp"].contains(&part.kind.as_str());
    let (value, nets) = match (needs_value, bare.split_first()) {
        (true, Some((value, nets))) => (value.shown(), nets.to_vec()),
        (false, _) => (String::new(), bare),
        (true, None) => return None,
    };
    part.value = value;
    let by_pin = |w: &&Word| w.key.as_deref().is_some_and(|k| pins.contains(&k));
    let keyed: Vec<&Word> = words[2..].iter().filter(|w| w.key.is_some()).collect();
    let mut at: Vec<String> = nets.iter().map(|w| w.shown()).collect();
    at.extend(keyed.iter().copied().filter(|w| by_pin(w)).map(Word::shown));
    let more = keyed
        .iter()
        .copied()
        .filter(|w| !by_pin(w))
        .map(Word::shown);
    part.more = more.collect::<Vec<_>>().join(" ");
    part.nets = at.join(" ");
    Some(part)
}

/// The canonical text of a sheet, and what is doubtful in it.
///
/// # Errors
/// With all that is wrong, each at its cell; nothing is left out of the text silently.
pub fn save(name: &str, typed: &Typed) -> Result<(String, Vec<Mistake>), Vec<Mistake>> {
    let mut text = format!("sheet {}", crate::start::quoted(name));
    if !typed.title.trim().is_empty() {
        text += &format!(" title={}", crate::start::quoted(typed.title.trim()));
    }
    text += " {\n";
    if !typed.ground.trim().is_empty() {
        text += &format!(
            "net {} role=ground\n",
            crate::start::quoted(typed.ground.trim())
        );
    }
    // Where each row stands: its line, and the column at which each cell begins.
    let mut rows: Vec<(usize, usize, [usize; 5])> = Vec::new();
    let mut early = Vec::new();
    for (index, part) in typed
        .parts
        .iter()
        .enumerate()
        .filter(|(_, p)| !p.is_empty())
    {
        if pins(part.kind.trim()).is_none() {
            early.push(unknown_kind(index, part));
            continue;
        }
        let (line, starts) = typed_line(part);
        rows.push((text.lines().count() + 1, index, starts));
        text += &line;
        text += "\n";
    }
    for line in typed.rest.lines().filter(|l| !l.trim().is_empty()) {
        text += line.trim();
        text += "\n";
    }
    text += "}\n";
    let (sheet, found) = sheet::check(&text, "the sheet");
    let place = |d: &sheet::Diagnostic| {
        let complaint = Complaint::from(d);
        let row = rows.iter().find(|r| Some(r.0) == complaint.line);
        let column = complaint.column.unwrap_or(1);
        Mistake {
            row: row.map(|r| r.1),
            cell: row.map_or(0, |r| r.2.iter().rposition(|s| *s <= column).unwrap_or(0)),
            is_doubt: !d.is_error(),
            message: complaint.message,
            help: complaint.help.unwrap_or_default(),
        }
    };
    let mistakes: Vec<Mistake> = early.into_iter().chain(found.iter().map(place)).collect();
    if mistakes.iter().any(|m| !m.is_doubt) {
        return Err(mistakes);
    }
    Ok((sheet::print(&sheet), mistakes))
}

fn unknown_kind(row: usize, part: &Part) -> Mistake {
    let kind = part.kind.trim();
    let names = KINDS.map(|k| k.0);
    let otherwise = format!("Choose one of {}.", names.join(", "));
    Mistake {
        row: Some(row),
        cell: 0,
        is_doubt: false,
        message: match kind {
            "" => "The row has no kind of part.".to_owned(),
            _ => format!("`{kind}` is no kind of part that fits into a row."),
        },
        help: sheet::did_you_mean(kind, names, otherwise),
    }
}

/// A row as a line of a sheet; nets without pin names are taken in the order of the pins where a kind has names.
fn typed_line(part: &Part) -> (String, [usize; 5]) {
    let names = pins(part.kind.trim()).unwrap_or(&[]);
    let nets = line_words(&part.nets);
    let are_bare = nets.iter().all(|w| w.key.is_none());
    let needs_names = names.len() == 3 || ["diode", "zener"].contains(&part.kind.trim());
    let nets = if are_bare && needs_names && nets.len() == names.len() {
        let named = names
            .iter()
            .zip(nets)
            .map(|(pin, w)| Word::pair(pin, &w.text));
        quoted_words(&named.collect::<Vec<_>>())
    } else {
        quoted_words(&nets)
    };
    let value = part.value.trim();
    let cells = [
        part.kind.trim().to_owned(),
        quoted_words(&line_words(&part.name)),
        if value.is_empty() {
            String::new()
        } else {
            crate::start::quoted(value)
        },
        nets,
        quoted_words(&line_words(&part.more)),
    ];
    let mut starts = [1; 5];
    let mut line = String::new();
    for (index, cell) in cells.iter().enumerate() {
        if !line.is_empty() && !cell.is_empty() {
            line.push(' ');
        }
        starts[index] = line.chars().count() + 1;
        line += cell;
    }
    (line, starts)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::loading::Text;

    fn row(kind: &str, name: &str, value: &str, nets: &str, more: &str) -> Part {
        let [kind, name, value, nets, more] = [kind, name, value, nets, more].map(str::to_owned);
        Part {
            kind,
            name,
            value,
            nets,
            more,
        }
    }

    fn board(text: String) -> BoardText {
        BoardText {
            sheet: Some(Text {
                file: "sheets/a1.kdl".to_owned(),
                text,
            }),
            ..BoardText::default()
        }
    }

    fn three() -> Typed {
        Typed {
            title: "Divider".to_owned(),
            ground: "0V".to_owned(),
            parts: vec![
                row(
                    "resistor",
                    "R1",
                    "4k7",
                    "+12V MID",
                    "tolerance=10% style=composition",
                ),
                row("npn", "Q1", "silicon-signal", "OUT MID 0V", ""),
                row("diode", "D1", "silicon-signal", "anode=MID cathode=0V", ""),
                Part::default(),
            ],
            rest: String::new(),
        }
    }

    #[test]
    fn three_parts_make_a_sheet_that_reads_back() {
        let (text, _) = save("A1", &three()).expect("saved");
        assert!(
            text.contains("npn Q1 silicon-signal c=OUT b=MID e=\"0V\""),
            "{text}"
        );
        let again = open(&board(text.clone()));
        assert_eq!(again.parts.len(), 3);
        assert_eq!(
            (again.title.as_str(), again.ground.as_str()),
            ("Divider", "0V")
        );
        assert_eq!(save("A1", &again).expect("saved again").0, text);
    }

    #[test]
    fn a_mistake_is_told_at_its_cell() {
        let mut typed = three();
        typed.parts[0].value = "four".to_owned();
        typed.parts[1].kind = "nnp".to_owned();
        typed.parts[2].more = "colour=red".to_owned();
        let mistakes = save("A1", &typed).expect_err("mistakes");
        let at: Vec<(Option<usize>, usize)> = mistakes
            .iter()
            .filter(|m| !m.is_doubt)
            .map(|m| (m.row, m.cell))
            .collect();
        assert_eq!(
            at,
            [(Some(1), 0), (Some(0), 2), (Some(2), 4)],
            "{mistakes:?}"
        );
        assert!(mistakes[0].help.contains("npn"), "{mistakes:?}");
    }

    #[test]
    fn what_is_no_row_stays_among_the_rest() {
        let text = "sheet A1 {\n    net \"0V\" role=ground\n    point TP1 net=A access=easy\n    connector J1 { pin 1 \"0V\"; pin 2 A }\n    resistor R1 \"1k\" A \"0V\"\n    resistor R2 five A \"0V\"\n}\n";
        let typed = open(&board(text.to_owned()));
        assert_eq!(typed.parts.len(), 1);
        for wanted in ["point TP1", "connector J1", "resistor R2 five"] {
            assert!(typed.rest.contains(wanted), "{wanted}: {}", typed.rest);
        }
        let mistakes = save("A1", &typed).expect_err("the bad line is still bad");
        assert!(
            mistakes
                .iter()
                .any(|m| m.row.is_none() && m.message.contains("five")),
            "{mistakes:?}"
        );
    }
}
