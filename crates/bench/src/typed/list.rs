//! A parts list that was pasted or imported: CSV with or without a header, commas, semicolons or tabs.

use super::Part;

/// Names that a column may have, in the order of the fields of a row.
const COLUMNS: [&[&str]; 5] = [
    &["kind", "part", "type of part"],
    &["designator", "ref", "reference", "name"],
    &["value", "type"],
    &["pins", "nets", "between"],
    &["more", "properties", "notes"],
];

/// The rows of a parts list. Without a header the columns are kind, designator, value, nets, more. A missing kind is
/// taken from the designator's letter (IEEE 315).
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
    let has_head = found.iter().flatten().count() >= 2 && found[1].is_some();
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
        if part.kind.is_empty() {
            part.kind = by_letter(&part.name).to_owned();
        }
        part
    });
    rows.filter(|p| !p.is_empty()).collect()
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
    fn a_list_that_was_guarded_for_a_spreadsheet_comes_back() {
        let list = pasted("kind,ref,value,nets\nresistor,R1,4k7,'+12V MID");
        assert_eq!(list[0].nets, "+12V MID");
    }
}
