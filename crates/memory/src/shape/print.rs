//! A shape as the text of its file.

use std::fmt::Write;

use super::{Axis, Shape, Weave, Word};

/// The shape file of a shape; [`super::read_shape`] gives the same shape back.
pub fn print_shape(shape: &Shape) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "store {:?} {{", shape.name);
    let _ = writeln!(out, "    organisation {}", shape.organisation.word());
    let _ = writeln!(out, "    address bits={}", shape.address_bits);
    let _ = writeln!(
        out,
        "    data bits={} idle={}",
        shape.bits,
        u8::from(shape.idle)
    );
    let names: &[&str] = if shape.axes.len() == 2 {
        &["x", "y"]
    } else {
        &["word"]
    };
    for (name, axis) in names.iter().zip(&shape.axes) {
        let _ = writeln!(out, "    {name} {}", axis_text(axis));
    }
    let weave = Weave::ALL
        .iter()
        .find(|(w, _)| *w == shape.weave)
        .map_or("diagonal", |(_, word)| word);
    if !shape.sense_segments.is_empty() {
        let _ = writeln!(
            out,
            "    sense weave={weave} segments-by={:?}",
            number_list(&shape.sense_segments)
        );
    } else if shape.weave != Weave::Diagonal {
        let _ = writeln!(out, "    sense weave={weave}");
    }
    if let Some(by) = &shape.inhibit_segments {
        let by = if by.is_empty() {
            String::new()
        } else {
            format!(" segments-by={:?}", number_list(by))
        };
        let _ = writeln!(out, "    inhibit{by}");
    }
    for (number, bits) in shape.strobes.iter().enumerate() {
        let _ = writeln!(
            out,
            "    strobe {number} bits={:?}",
            number_list(&bit_numbers(*bits))
        );
    }
    for field in &shape.fields {
        let _ = writeln!(
            out,
            "    field {:?} bits={:?}",
            field.name,
            number_list(&field.bits)
        );
    }
    if !shape.zero_words.is_empty() {
        let words: Vec<String> = shape.zero_words.iter().map(|w| format!("{w:X}")).collect();
        let _ = writeln!(out, "    zero-words {:?}", words.join(" "));
    }
    if let Some(grid) = &shape.grid {
        let pair = |p: (f64, f64)| format!("{:?}", format!("{},{}", p.0, p.1));
        let _ = writeln!(
            out,
            "    grid origin={} pitch={} plane={}",
            pair(grid.origin),
            pair(grid.pitch),
            pair(grid.plane)
        );
    }
    for place in &shape.places {
        let _ = writeln!(
            out,
            "    place {:?} at=\"{},{}\"",
            place.element, place.at.0, place.at.1
        );
    }
    for alter in &shape.alters {
        let _ = writeln!(out, "    alter {:?} prior={:?}", alter.element, alter.prior);
    }
    out.push_str("}\n");
    out
}

fn axis_text(axis: &Axis) -> String {
    let mut text = format!(
        "lines={} address={:?}",
        axis.lines,
        number_list(&axis.address)
    );
    if let Some(m) = axis.matrix {
        let _ = write!(
            text,
            " drivers={} sinks={} diodes=#{}",
            m.drivers, m.sinks, m.diodes
        );
    }
    text
}

/// The set bits of a word, lowest first.
pub(crate) fn bit_numbers(word: Word) -> Vec<u8> {
    (0..128).filter(|b| word >> b & 1 == 1).collect()
}

/// `0-3 7`, keeping the order given.
fn number_list(numbers: &[u8]) -> String {
    let mut parts: Vec<String> = Vec::new();
    let mut at = 0;
    while at < numbers.len() {
        let mut end = at;
        while end + 1 < numbers.len() && numbers[end].checked_add(1) == Some(numbers[end + 1]) {
            end += 1;
        }
        parts.push(if end == at {
            numbers[at].to_string()
        } else {
            format!("{}-{}", numbers[at], numbers[end])
        });
        at = end + 1;
    }
    parts.join(" ")
}
