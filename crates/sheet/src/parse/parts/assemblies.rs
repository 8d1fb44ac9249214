//! Parts with statements in their braces: transformers and connectors.

use crate::parse::{Reader, parts, statements};
use crate::text::{Bound, Line, Node, State, Wanted, did_you_mean};
use crate::{Kind, Pin, Winding};

pub(super) fn transformer(line: &mut Line, node: &Node, reader: &mut Reader) -> Option<Kind> {
    let mut windings: Vec<Winding> = Vec::new();
    for child in inside(node, "winding", line, reader) {
        let names: Vec<String> = windings.iter().map(|w| w.name.clone()).collect();
        windings.extend(
            reader.attempt(|reader| winding(child, &names, reader).filter(|_| child.is_sound())),
        );
    }
    Some(Kind::Transformer { windings })
}

pub(super) fn connector(line: &mut Line, node: &Node, reader: &mut Reader) -> Option<Kind> {
    let mut pins: Vec<Pin> = Vec::new();
    for child in inside(node, "pin", line, reader) {
        let names: Vec<String> = pins.iter().map(|p| p.name.clone()).collect();
        pins.extend(
            reader.attempt(|reader| pin(child, &names, reader).filter(|_| child.is_sound())),
        );
    }
    Some(Kind::Connector { pins })
}

/// The statements of that word; any other is an error of its own line.
fn inside<'n>(
    node: &'n Node,
    word: &'static str,
    line: &Line,
    reader: &mut Reader,
) -> Vec<&'n Node> {
    let children = node.children.as_deref().unwrap_or_default();
    let mut own = Vec::new();
    for child in children {
        if child.state == State::Broken {
            reader
                .unusable
                .extend(child.entries.iter().map(|e| e.written()));
        } else if child.name == word {
            own.push(child);
        } else if !parts::is_kind(&child.name) && !statements::is_statement(&child.name) {
            reader.remarks.error(
                child.span,
                format!(
                    "`{}` does not belong in the braces of {}.",
                    child.name,
                    line.what()
                ),
                did_you_mean(
                    &child.name,
                    [word],
                    format!("Each line in them starts with `{word}`."),
                ),
            );
        }
    }
    own
}

fn winding(node: &Node, names: &[String], reader: &mut Reader) -> Option<Winding> {
    let mut line = Line::of(node, "winding primary NET1 NET2 volts=230 ohms=18");
    let name = own_name(&mut line, names, reader);
    let ends = parts::ends(&mut line, reader);
    let remarks = &mut reader.remarks;
    let volts = line.quantity(Wanted("volts", Bound::Positive), remarks);
    let ohms = line.quantity(Wanted("ohms", Bound::NotNegative), remarks);
    let spread = parts::value_spread(&mut line, reader);
    line.finish(false, &mut reader.remarks);
    if line.has_failed() {
        return None;
    }
    Some(Winding {
        name: name?,
        ends: ends?,
        volts,
        ohms,
        spread,
        span: node.span,
    })
}

fn pin(node: &Node, names: &[String], reader: &mut Reader) -> Option<Pin> {
    let mut line = Line::of(node, "pin 1 NET1");
    let name = own_name(&mut line, names, reader);
    let net = reader.net(&mut line, "net");
    line.finish(false, &mut reader.remarks);
    if line.has_failed() {
        return None;
    }
    Some(Pin {
        name: name?,
        net: net?,
        span: node.span,
    })
}

fn own_name(line: &mut Line, names: &[String], reader: &mut Reader) -> Option<String> {
    let (name, span) = line.name("name", &mut reader.remarks)?;
    line.call(&name);
    if names.contains(&name) {
        let message = format!("There is a {} in these braces already.", line.what());
        line.error(
            &mut reader.remarks,
            span,
            message,
            "Give each a name of its own.",
        );
    }
    Some(name)
}
