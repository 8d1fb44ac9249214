//! A parts list that was pasted or imported: CSV with or without a header, commas, semicolons or tabs.

use super::{KINDS, Part};

/// Names that a column may have, in the order of the fields of a row.
const COLUMNS: [&[&str]; 5] = [
    &["kind", "part", "type of part"],
    &[
        "designator",
        "designators",
        "ref",
        "refs",
        "reference",
        "references",
        "name",
    ],
    &["value"],
    &["pins", "nets", "between"],
    &["more", "properties", "notes"],
];

/// A column that holds a kind in some lists, a value or a style in others.
const TYPE: &str = "type";

/// The rows of a parts list. Without a header the columns are kind, designator, value, nets, more. A missing kind is
/// taken from the designator's letter (IEEE 315); `R1, R3-R5` in one line are four parts.
pub fn pasted(text: &str) -> Vec<Part> {
    let lines: Vec<&str> = text.lines().filter(|l| !l.trim().is_empty()).collect();
    let Some(first) = lines.first() else {
        return Vec::new();
    };
    let mark = ['\t', ';', ',']
        .into_iter()
        .find(|mark| first.contains(*mark))
        .unwrap_or(',');
    let head = fields(first, mark);
    let place = |names: &[&str]| {
        let fits = |f: &String| names.contains(&f.trim().to_lowercase().as_str());
        head.iter().position(fits)
    };
    let found = COLUMNS.map(place);
    let typed = place(&[TYPE]);
    let named = found.iter().chain([&typed]).flatten().count();
    let has_head = named >= 2 && found[1].is_some();
    let order = if has_head {
        found
    } else {
        [0, 1, 2, 3, 4].map(Some)
    };
    let rows = lines.iter().skip(usize::from(has_head)).map(|line| {
        let fields = fields(line, mark);
        let of = |column: Option<usize>| {
            let field = column.and_then(|c| fields.get(c));
            field.map_or(String::new(), |f| record::unguarded(f.trim()).to_owned())
        };
        let mut part = Part {
            kind: of(order[0]).to_lowercase(),
            name: of(order[1]),
            value: of(order[2]),
            nets: of(order[3]).replace([',', ';', '/'], " "),
            more: of(order[4]),
        };
        let word = of(typed.filter(|_| has_head));
        if part.kind.is_empty() && KINDS.iter().any(|(kind, _)| *kind == word.to_lowercase()) {
            part.kind = word.to_lowercase();
        } else if part.value.is_empty() {
            part.value = word;
        } else if !word.is_empty() && word.chars().all(char::is_alphanumeric) {
            let more = format!("{} style={}", part.more, word.to_lowercase());
            part.more = more.trim().to_owned();
        }
        part
    });
    let mut list = Vec::new();
    for part in rows.filter(|p| !p.is_empty()) {
        for name in designators(&part.name) {
            let kind = match part.kind.as_str() {
                "" => by_letter(&name),
                kind => kind,
            };
            let kind = kind.to_owned();
            list.push(Part {
                kind,
                name,
                ..part.clone()
            });
        }
    }
    list
}

/// The designators of a line: `R1, R3-R5` are R1, R3, R4 and R5. What is none stays as it is.
fn designators(text: &str) -> Vec<String> {
    let whole = || vec![text.to_owned()];
    let words: Vec<&str> = text
        .split([' ', ',', ';'])
        .filter(|w| !w.is_empty())
        .collect();
    let mut list = Vec::new();
    for word in words {
        let ends = word.split_once('-').unwrap_or((word, word));
        let (Some((letters, from)), Some((other, to))) = (numbered(ends.0), numbered(ends.1))
        else {
            return whole();
        };
        let is_range = word.contains('-');
        if is_range && (letters != other || to < from || to - from >= RANGE) {
            return whole();
        }
        match is_range {
            true => list.extend((from..=to).map(|n| format!("{letters}{n}"))),
            false => list.push(word.to_owned()),
        }
    }
    if list.is_empty() { whole() } else { list }
}

/// More parts than this in one range are a slip; chosen above what a board has of one value.
const RANGE: u32 = 500;

/// Letters and number of a designator.
fn numbered(word: &str) -> Option<(&str, u32)> {
    let start = word.find(|c: char| c.is_ascii_digit())?;
    let (letters, number) = word.split_at(start);
    let is_one = !letters.is_empty() && letters.chars().all(|c| c.is_ascii_alphabetic());
    Some((letters, number.parse().ok()?)).filter(|_| is_one)
}

fn by_letter(name: &str) -> &'static str {
    let letters: String = name.chars().take_while(char::is_ascii_alphabetic).collect();
    match letters.to_uppercase().as_str() {
        "R" => "resistor",
        "RV" | "VR" => "potentiometer",
        "C" => "capacitor",
        "L" => "inductor",
        "D" | "CR" => "diode",
        "F" => "fuse",
        "S" | "SW" => "switch",
        _ => "",
    }
}

/// The fields of a line (RFC 4180, with any mark between).
fn fields(line: &str, mark: char) -> Vec<String> {
    let mut list = vec![String::new()];
    let mut in_quotes = false;
    let mut chars = line.chars().peekable();
    while let Some(c) = chars.next() {
        let last = list.len() - 1;
        match c {
            '"' if in_quotes && chars.peek() == Some(&'"') => {
                chars.next();
                list[last].push('"');
            }
            '"' => in_quotes = !in_quotes,
            c if c == mark && !in_quotes => list.push(String::new()),
            c => list[last].push(c),
        }
    }
    list
}

#[cfg(test)]
mod tests {
    use super::pasted;

    #[test]
    fn lists_come_in_any_order_and_with_any_mark() {
        let wanted = pasted("resistor,R1,4k7,+12V MID\ncapacitor,C1,10n,MID 0V");
        assert_eq!(wanted.len(), 2);
        assert_eq!(wanted[0].nets, "+12V MID");
        for other in [
            "Designator;Kind;Value;Pins\nR1;Resistor;4k7;+12V MID\nC1;capacitor;10n;MID 0V",
            "ref\tvalue\tnets\nR1\t4k7\t+12V MID\n\nC1\t10n\tMID 0V\n",
            "name,value,pins\nR1,4k7,\"+12V,MID\"\nC1,10n,MID/0V",
        ] {
            assert_eq!(pasted(other), wanted, "{other}");
        }
        assert_eq!(pasted("\n \n"), []);
    }

    #[test]
    fn a_type_is_a_kind_a_value_or_a_style() {
        let list = pasted(
            "Ref,Type,Value,Pins\nR1,Resistor,4k7,A B\nQ1,npn,2N2222,c=A b=B e=0V\nD1,1N4148,,A B\nC1,mica,100p,A B",
        );
        let rows: Vec<[&str; 4]> = list
            .iter()
            .map(|p| [&p.kind, &p.name, &p.value, &p.more].map(String::as_str))
            .collect();
        assert_eq!(
            rows,
            [
                ["resistor", "R1", "4k7", ""],
                ["npn", "Q1", "2N2222", ""],
                ["diode", "D1", "1N4148", ""],
                ["capacitor", "C1", "100p", "style=mica"],
            ]
        );
    }

    #[test]
    fn parts_of_one_value_in_one_line_are_parts() {
        let names =
            |text: &str| -> Vec<String> { pasted(text).into_iter().map(|p| p.name).collect() };
        assert_eq!(
            names("Designators,Value\n\"R1, R3-R5\",4k7\nC1 C2,10n"),
            ["R1", "R3", "R4", "R5", "C1", "C2"]
        );
        // What is no range is left to the person.
        assert_eq!(
            names("ref,value\nR5-R3,1k\nR1-C2,1k\nR1-R9999,1k\nA-1,1k"),
            ["R5-R3", "R1-C2", "R1-R9999", "A-1"]
        );
    }

    #[test]
    fn a_list_that_was_guarded_for_a_spreadsheet_comes_back() {
        let list = pasted("kind,ref,value,nets\nresistor,R1,4k7,'+12V MID");
        assert_eq!(list[0].nets, "+12V MID");
    }
}
