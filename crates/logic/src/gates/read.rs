//! A gate sheet from its text, with every mistake in it at its place.

use kdl::{KdlDocument, KdlNode};

use super::block::{Block, Sharing};
use super::build::{Builder, Connection};
use super::expression::Expression;
use super::levels::Levels;
use super::machine::Machine;
use super::place::Places;
use super::series;
use crate::diagnostic::Diagnostic;
use crate::network::Function;

const KNOWN: &str = "levels, family, open-input, input, clock, output, low, high, wired, start, block, gate or package";

/// What an open input of each family reads, true for the more positive level (common practice).
const FAMILIES: &[(&str, bool)] = &[
    ("ttl", true),
    ("dtl", true),
    ("htl", true),
    ("rtl", false),
    ("ecl", false),
];

/// Reads a gate sheet (`docs/gate-sheet.md`). A machine is given as far as the text can be used, with all mistakes in the order of the
/// text; none if nothing can be built.
pub fn read_gates(text: &str) -> (Option<Machine>, Vec<Diagnostic>) {
    let mut places = Places::new(text);
    let machine = document(&mut places);
    places.found.sort_by_key(|d| (d.line, d.column));
    (machine, places.found)
}

fn document(places: &mut Places<'_>) -> Option<Machine> {
    let document = places.document()?;
    let mut nodes = document.nodes().iter();
    let Some(sheet) = nodes.next() else {
        places.wrong_at(0, "The sheet is empty.", "Begin with `logic \"name\" {`.");
        return None;
    };
    if sheet.name().value() != "logic" {
        let found = sheet.name().value().to_owned();
        places.wrong(
            sheet,
            format!("`{found}` is not known here."),
            "A gate sheet begins with `logic \"name\" {`.",
        );
        return None;
    }
    if let Some(second) = nodes.next() {
        places.wrong(
            second,
            "A file holds one gate sheet only.",
            "Put it inside the braces, or into a file of its own.",
        );
    }
    let none = KdlDocument::new();
    let lines = sheet.children().unwrap_or(&none).nodes();
    let mut levels = Levels::default();
    let mut blocks = Vec::new();
    // What later lines are read by comes first, so that the lines may stand in any order.
    for line in lines {
        match line.name().value() {
            "levels" => bands(line, &mut levels, places),
            "family" => family(line, &mut levels, places),
            "block" => blocks.extend(Block::read(line, false, places)),
            _ => {}
        }
    }
    for line in lines.iter().filter(|l| l.name().value() == "open-input") {
        match words(line).first().map(String::as_str) {
            Some("one") => levels.open_reads_high = levels.is_positive(),
            Some("zero") => levels.open_reads_high = !levels.is_positive(),
            _ => places.wrong(
                line,
                "`open-input` says neither one nor zero.",
                "Write `open-input one`.",
            ),
        }
    }
    let mut builder = Builder::new(levels);
    for line in lines {
        statement(line, &blocks, &mut builder, places);
    }
    let name = words(sheet).into_iter().next().unwrap_or_default();
    builder.finish(name, sheet, places)
}

fn words(node: &KdlNode) -> Vec<String> {
    let unnamed = node.entries().iter().filter(|e| e.name().is_none());
    unnamed
        .map(|e| match e.value().as_string() {
            Some(text) => text.to_owned(),
            None => e.value().to_string(),
        })
        .collect()
}

fn bands(line: &KdlNode, levels: &mut Levels, places: &mut Places<'_>) {
    let of = |key: &str| {
        line.get(key)
            .and_then(|v| v.as_string())
            .and_then(Levels::band)
    };
    match (of("one"), of("zero")) {
        (Some(one), Some(zero)) if one.1 < zero.0 || zero.1 < one.0 => {
            levels.one = one;
            levels.zero = zero;
        }
        (Some(_), Some(_)) => places.wrong(
            line,
            "The two levels overlap.",
            "Leave a gap in which a reading is neither.",
        ),
        _ => places.wrong(
            line,
            "The levels are not two ranges in volts.",
            "Write `levels one=\"-13 to -9 V\" zero=\"-1.5 to 0 V\"`.",
        ),
    }
}

fn family(line: &KdlNode, levels: &mut Levels, places: &mut Places<'_>) {
    let word = words(line).into_iter().next().unwrap_or_default();
    match FAMILIES.iter().find(|(name, _)| *name == word.to_lowercase()) {
        Some((_, high)) => levels.open_reads_high = *high,
        None => places.wrong(
            line,
            format!("`{word}` is no family that is known."),
            "Write ttl, dtl, htl, rtl or ecl, or `open-input one` or `open-input zero` for what an open input reads.",
        ),
    }
}

fn statement(line: &KdlNode, blocks: &[Block], builder: &mut Builder, places: &mut Places<'_>) {
    let given = words(line);
    match line.name().value() {
        "levels" | "family" | "block" | "open-input" => {}
        "input" => given.iter().for_each(|n| builder.input(n)),
        "output" => given.iter().for_each(|n| builder.output(n, line)),
        "low" => given
            .iter()
            .for_each(|n| builder.tie(n, false, line, places)),
        "high" => given
            .iter()
            .for_each(|n| builder.tie(n, true, line, places)),
        "clock" => match given.as_slice() {
            [one] => builder.clock(one, line, places),
            _ => places.wrong(
                line,
                "`clock` names one net.",
                "Write `clock PHI`; further phases are inputs.",
            ),
        },
        "wired" => match (given.len(), given.last().map(String::as_str)) {
            (2.., Some("and")) => given[..given.len() - 1]
                .iter()
                .for_each(|n| builder.wired(n, Function::And)),
            (2.., Some("or")) => given[..given.len() - 1]
                .iter()
                .for_each(|n| builder.wired(n, Function::Or)),
            _ => places.wrong(
                line,
                "`wired` lacks its net or its kind.",
                "Write `wired BUS or`: a 1 from any driver wins; with `and` a 0.",
            ),
        },
        "start" => start(line, builder, places),
        "gate" => gate(line, &given, builder, places),
        "package" => package(line, &given, blocks, builder, places),
        other => places.wrong(
            line,
            format!("`{other}` is not known on a gate sheet."),
            format!("Write {KNOWN}."),
        ),
    }
}

fn start(line: &KdlNode, builder: &mut Builder, places: &mut Places<'_>) {
    for entry in line.entries() {
        let level = match entry.value().to_string().trim_matches('"') {
            "0" => Some(false),
            "1" => Some(true),
            _ => None,
        };
        match (entry.name(), level) {
            (Some(name), Some(level)) => builder.start(name.value(), level, entry.span().offset()),
            _ => places.wrong_at(
                entry.span().offset(),
                "This is no state at the start.",
                "Write `start F1=0`, or `start \"U2.a\"=1` for one of several in a part.",
            ),
        }
    }
}

fn gate(line: &KdlNode, given: &[String], builder: &mut Builder, places: &mut Places<'_>) {
    let [name, word, output, inputs @ ..] = given else {
        places.wrong(
            line,
            "The gate is not complete.",
            "Write `gate G1 nand OUT A B`.",
        );
        return;
    };
    let Some(function) = Function::from_word(word).filter(|f| f.inputs().1 > 0) else {
        places.wrong(
            line,
            format!("`{word}` is no function of a gate."),
            "Write and, nand, or, nor, xor, xnor, not or buf.",
        );
        return;
    };
    let (fewest, most) = function.inputs();
    if inputs.len() < fewest || inputs.len() > most.min(26) {
        let wanted = if most == 1 {
            "exactly one input".to_owned()
        } else {
            format!("{fewest} to 26 inputs")
        };
        places.wrong(
            line,
            format!("Gate {name} has {} inputs.", inputs.len()),
            format!("A gate {word} takes {wanted}."),
        );
        return;
    }
    let pin = |i: usize| char::from(b'a' + i as u8).to_string();
    let names: Vec<Expression> = (0..inputs.len())
        .map(|i| Expression::Name(pin(i)))
        .collect();
    let first = names[0].clone();
    let whole = match function {
        Function::And => Expression::And(names),
        Function::Nand => Expression::And(names).not(),
        Function::Or => Expression::Or(names),
        Function::Nor => Expression::Or(names).not(),
        Function::Xor => Expression::Xor(names),
        Function::Xnor => Expression::Xor(names).not(),
        Function::Not => first.not(),
        _ => first,
    };
    let block = Block {
        name: word.clone(),
        title: format!("{word} of {}", inputs.len()),
        source: String::new(),
        power: Vec::new(),
        idle: Vec::new(),
        equations: vec![("y".to_owned(), whole)],
        elements: Vec::new(),
        outputs: vec!["y".to_owned()],
        sharing: Sharing::Alone,
        enables: Vec::new(),
        is_positive: false,
    };
    let mut pins: Vec<Connection> = inputs
        .iter()
        .enumerate()
        .map(|(i, net)| Connection {
            pin: pin(i),
            net: net.clone(),
            offset: line.name().span().offset(),
        })
        .collect();
    pins.push(Connection {
        pin: "y".to_owned(),
        net: output.clone(),
        offset: line.name().span().offset(),
    });
    let part = line.get("part").and_then(|v| v.as_string());
    builder.place(name, part, &block, &pins, line, places);
}

fn package(
    line: &KdlNode,
    given: &[String],
    blocks: &[Block],
    builder: &mut Builder,
    places: &mut Places<'_>,
) {
    let [name, number] = given else {
        places.wrong(
            line,
            "The package is not complete.",
            "Write `package U1 \"7400\" pins=\"1=A 2=B 3=X\"`.",
        );
        return;
    };
    let Some(block) = blocks
        .iter()
        .find(|b| b.name == *number)
        .or_else(|| series::find(number))
    else {
        places.wrong(
            line,
            format!("No package or block `{number}` is known."),
            series::near(number),
        );
        return;
    };
    let Some(entry) = line.entry("pins") else {
        places.wrong(
            line,
            format!("{name} has no pins."),
            "Add `pins=\"1=A 2=B\"`, each pin with its net.",
        );
        return;
    };
    let text = entry.value().as_string().unwrap_or_default().to_owned();
    let inside = places.inside(entry);
    let mut pins = Vec::new();
    for word in text.split_whitespace() {
        // The word is a slice of the text, so that its place is the distance between the two.
        let offset = inside + (word.as_ptr() as usize - text.as_ptr() as usize);
        match word.split_once('=') {
            Some((pin, net)) if !pin.is_empty() && !net.is_empty() => {
                pins.push(Connection {
                    pin: pin.to_owned(),
                    net: net.to_owned(),
                    offset,
                });
            }
            _ => places.wrong_at(
                offset,
                format!("`{word}` is no pin with a net."),
                "Write the pin, `=` and the net, such as `3=BUSY`.",
            ),
        }
    }
    let part = line.get("part").and_then(|v| v.as_string());
    builder.place(name, part, block, &pins, line, places);
}
