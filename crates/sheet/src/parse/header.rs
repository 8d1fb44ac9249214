//! The `sheet` line itself, and what of a file belongs to the sheet.

use units::Celsius;

use super::{Reader, parts, statements};
use crate::Span;
use crate::text::{Bound, Line, Node, State, Wanted, did_you_mean, nearest};

const USAGE: &str = "sheet A2 title=\"what it shows\" { ... }";

/// Reads the header and returns the statements of the sheet.
pub(super) fn open<'n>(nodes: &'n [Node], reader: &mut Reader) -> Vec<&'n Node> {
    let mut sheets = nodes.iter().filter(|n| n.name == "sheet");
    let first = sheets.next().or_else(|| misspelled(nodes, reader));
    for other in sheets {
        reader.remarks.error(
            other.span,
            "A file holds one sheet, and this is a second one.",
            "Put it into a file of its own.",
        );
    }
    let mut own = Vec::new();
    let has_statements = nodes.iter().any(|n| is_known(&n.name));
    match first {
        Some(node) => {
            if node.state != State::Broken {
                header(node, reader);
            }
            let children = node.children.as_deref().unwrap_or_default();
            own.extend(children.iter().filter(|c| !is_second_sheet(c, reader)));
        }
        None if has_statements || nodes.is_empty() => no_sheet(nodes, reader),
        None => {}
    }
    let is_open = first.map_or(has_statements, |n| n.children.is_none());
    let is_first = |node: &Node| first.is_some_and(|f| std::ptr::eq(f, node));
    for node in nodes.iter().filter(|n| n.name != "sheet" && !is_first(n)) {
        if is_open {
            own.push(node);
        } else {
            outside(node, reader);
        }
    }
    own.into_iter()
        .flat_map(|node| with_strays(node, reader))
        .collect()
}

/// In a file without a sheet, the statement that was probably meant as one.
fn misspelled<'n>(nodes: &'n [Node], reader: &mut Reader) -> Option<&'n Node> {
    let is_near = |n: &Node| nearest(&n.name, ["sheet"]).is_some();
    let meant = nodes.iter().find(|n| n.children.is_some() && is_near(n))?;
    if meant.is_sound() {
        outside(meant, reader);
    }
    Some(meant)
}

fn is_second_sheet(node: &Node, reader: &mut Reader) -> bool {
    let is_sheet = node.name == "sheet" && node.is_sound();
    if is_sheet {
        reader.remarks.error(
            node.span,
            "A sheet stands inside another sheet.",
            "Close the first one with `}` and put the second into a file of its own.",
        );
    }
    is_sheet
}

fn outside(node: &Node, reader: &mut Reader) {
    if !node.is_sound() {
        return;
    }
    let (message, help) = if node.name == "machine" {
        (
            "This is a machine file, and a sheet is wanted.".to_owned(),
            "Name one of the sheets that its boards give.".to_owned(),
        )
    } else if is_known(&node.name) {
        (
            format!("`{}` stands outside the braces of the sheet.", node.name),
            "Move it in front of the closing brace of the sheet.".to_owned(),
        )
    } else {
        (
            format!("`{}` is not a word that a sheet file knows.", node.name),
            did_you_mean(
                &node.name,
                ["sheet"],
                format!("Write everything inside {USAGE}"),
            ),
        )
    };
    reader.remarks.error(node.span, message, help);
}

fn is_known(word: &str) -> bool {
    parts::is_kind(word) || statements::is_statement(word)
}

fn no_sheet(nodes: &[Node], reader: &mut Reader) {
    let span = nodes.first().map_or(Span::default(), |n| n.span);
    reader.remarks.error(
        span,
        "This file holds no sheet.",
        format!("Begin with {USAGE}"),
    );
}

fn header(node: &Node, reader: &mut Reader) {
    let mut line = Line::of(node, USAGE);
    let remarks = &mut reader.remarks;
    if let Some((name, _)) = line.name("name", remarks) {
        line.call(&name);
        reader.sheet.name = name;
    }
    reader.sheet.title = line.text("title", remarks);
    reader.sheet.temperature = line
        .quantity(Wanted("temperature", Bound::Any), remarks)
        .filter(|t| is_above_absolute_zero(*t, &mut line, reader));
    let remarks = &mut reader.remarks;
    if let Some(serials) = line.text("fits", remarks) {
        let serials = serials.split([' ', ',']).filter(|s| !s.is_empty());
        reader.sheet.fits.extend(serials.map(str::to_owned));
    }
    line.finish(true, remarks);
    if node.children.is_none() {
        line.error(
            remarks,
            node.span,
            "The sheet has no braces.",
            format!("Write it so: {USAGE}"),
        );
    }
}

fn is_above_absolute_zero(temperature: Celsius, line: &mut Line, reader: &mut Reader) -> bool {
    let possible = temperature.0 > -273.15;
    if !possible {
        let message = format!(
            "The temperature of {} lies below absolute zero.",
            line.what()
        );
        line.error(
            &mut reader.remarks,
            line.span(),
            message,
            "Write a temperature such as \"25C\".",
        );
    }
    possible
}

/// A statement, followed by those that stand in its braces only because a brace was forgotten.
fn with_strays<'n>(node: &'n Node, reader: &mut Reader) -> Vec<&'n Node> {
    let mut all = vec![node];
    let children = node.children.as_deref().unwrap_or_default();
    if !parts::has_braces(&node.name) {
        return all;
    }
    let mut strays = children.iter().filter(|c| is_known(&c.name)).peekable();
    if let Some(first) = strays.peek().filter(|c| c.is_sound()) {
        reader.remarks.error(
            first.span,
            format!(
                "`{}` does not belong in the braces of a {}.",
                first.name, node.name
            ),
            "Close those braces with `}` before this line.",
        );
    }
    all.extend(strays);
    all
}
