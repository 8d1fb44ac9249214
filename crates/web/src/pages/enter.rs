//! Forms: the one for a reading, the pieces that all forms share, and the page that gives a refused one back.

use std::collections::HashMap;

use bench::pages::board::View;
use bench::project::UnitName;
use maud::{Markup, html};

use crate::book::Unwritten;
use crate::edge;
use crate::form::Form;

/// What the fields start with, by their names.
pub type Given = HashMap<String, String>;

/// Hidden fields of every form: what is written, the entry's name, so that the same form sent twice is one entry, and
/// where to go afterwards.
pub fn hidden(kind: &str, back: &str) -> Markup {
    html! {
        input type="hidden" name="kind" value=(kind);
        input type="hidden" name="id" value=(edge::fresh());
        input type="hidden" name="back" value=(back);
    }
}

/// A hidden field.
pub fn held(name: &str, value: &str) -> Markup {
    html! { input type="hidden" name=(name) value=(value); }
}

/// A field of one line.
pub fn line(name: &str, label: &str, value: &str) -> Markup {
    html! { label.field { span { (label) } input type="text" name=(name) value=(value) autocomplete="off" spellcheck="false"; } }
}

/// A field for a number.
pub fn number(name: &str, label: &str, value: &str) -> Markup {
    html! { label.field.short { span { (label) } input type="text" inputmode="decimal" name=(name) value=(value) autocomplete="off"; } }
}

/// A field for sentences.
pub fn text(name: &str, label: &str) -> Markup {
    html! { label.field.wide { span { (label) } textarea name=(name) rows="2" {} } }
}

/// A choice of words.
pub fn choice(name: &str, label: &str, words: &[(&str, &str)], chosen: &str) -> Markup {
    html! {
        label.field { span { (label) }
            select name=(name) {
                @for (word, shown) in words { option value=(word) selected[*word == chosen] { (shown) } }
            }
        }
    }
}

/// A box to tick.
pub fn tick(name: &str, value: &str, label: &str) -> Markup {
    html! { label.tick { input type="checkbox" name=(name) value=(value); span { (label) } } }
}

/// A field for photographs.
pub fn photos(label: &str) -> Markup {
    html! { label.field.wide { span { (label) } input type="file" name="photo" accept="image/png,image/jpeg" multiple; } }
}

/// A choice of units; a field where the project names none yet.
pub fn unit(units: &[UnitName], chosen: &str) -> Markup {
    if units.is_empty() {
        let first = if chosen.is_empty() { "1" } else { chosen };
        return line("unit", "Unit", first);
    }
    let words: Vec<(&str, &str)> = units
        .iter()
        .map(|u| (u.name.as_str(), u.name.as_str()))
        .collect();
    choice("unit", "Unit", &words, chosen)
}

/// Kinds of readings as they are chosen.
pub const KINDS: [(&str, &str); 7] = [
    ("ohms", "ohms"),
    ("diode", "diode test"),
    ("volts", "volts DC"),
    ("ripple", "ripple"),
    ("amps", "amps"),
    ("capacitance", "capacitance"),
    ("leakage", "leakage"),
];
/// States of the circuit.
pub const STATES: [(&str, &str); 2] = [("cold", "cold"), ("powered", "powered")];

/// The form for a reading of a board.
pub fn reading(view: &View, back: &str, given: &Given) -> Markup {
    let of = |name: &str| given.get(name).map_or("", String::as_str);
    html! {
        form.enter id="enter" method="post" action="/entry" data-keep data-quick {
            h2 { "Enter a reading" }
            (hidden("reading", back))
            (held("board", &view.name))
            div.fields {
                (unit(&view.units, of("unit")))
                (choice("state", "State", &STATES, of("state")))
                (choice("measured", "Kind", &KINDS, of("measured")))
                label.field { span { "Red lead on" } input type="text" name="red" list="places" value=(of("red")) required autocomplete="off" spellcheck="false"; }
                label.field { span { "Black lead on" } input type="text" name="black" list="places" value=(of("black")) required autocomplete="off" spellcheck="false"; }
                label.field { span { "Value, or OL" } input.value type="text" name="value" required autocomplete="off" spellcheck="false" aria-describedby="value-forms"; }
                button.go type="submit" { "Enter" }
            }
            p.hint id="value-forms" { "4k7, 2R2, 0.62, OL; 1k8..OL if it wandered." }
            p.trouble role="alert" data-trouble {}
            details id="conditions" {
                summary { "Meter, conditions, note" }
                div.fields { (conditions(view, given)) }
            }
            datalist id="places" { @for place in &view.places { option value=(place) {} } }
        }
    }
}

/// The fields that most readings leave as they are.
pub fn conditions(view: &View, given: &Given) -> Markup {
    let of = |name: &str| given.get(name).map_or("", String::as_str);
    let in_force = format!("{} (in force)", view.meter);
    let mut meters = vec![("", in_force.as_str())];
    meters.extend(view.meters.iter().map(|m| (m.as_str(), m.as_str())));
    let places = [
        ("", "not said"),
        ("chassis", "in the chassis"),
        ("board-out", "board out"),
    ];
    html! {
        (choice("meter", "Meter", &meters, of("meter")))
        (choice("place", "Board", &places, of("place")))
        (line("lifted", "Pins lifted", of("lifted")))
        (line("unplugged", "Connectors unplugged", of("unplugged")))
        (number("celsius", "Degrees C", of("celsius")))
        (number("minutes", "Minutes since switch-on", of("minutes")))
        (line("cycle", "Power cycle", of("cycle")))
        (line("note", "Note", ""))
    }
}

/// Fields that nobody types.
const UNSEEN: [&str; 20] = [
    "kind",
    "id",
    "back",
    "board",
    "finding",
    "hypothesis",
    "alteration",
    "entry",
    "photo",
    "x",
    "y",
    "retest",
    "remedy",
    "evidence",
    "reading",
    "instead",
    "turn",
    "was",
    "sheet",
    "rows",
];

/// Where a form of this kind is sent.
fn taker(kind: &str) -> &'static str {
    match kind {
        "" | "name" | "unit" | "board" => "/machine",
        "across" | "permit" | "watch" | "hold" => "/power",
        _ => "/entry",
    }
}

/// A refused form, with what was wrong above it.
pub fn again(form: &Form, why: &Unwritten) -> Markup {
    html! {
        h1 { "Not written" }
        p.answer { (why.message) }
        p { (why.help) }
        @if why.is_world {
            p { "What you typed stands below; send it again when that is mended." }
        }
        form.enter method="post" action=(taker(form.text("kind"))) enctype=[(!form.files.is_empty()).then_some("multipart/form-data")] {
            @for (name, value) in form.fields() {
                @if UNSEEN.contains(&name.as_str()) { (held(name, value)) }
                @else if value.contains('\n') || value.len() > 60 {
                    label.field.wide { span { (name) } textarea name=(name) rows="3" { (value) } }
                } @else {
                    label.field { span { (name) } input type="text" name=(name) value=(value) autofocus[name == why.field]; }
                }
            }
            @if !form.files.is_empty() { (photos("Photographs, to be chosen again")) }
            button.go type="submit" { "Send again" }
        }
        p { a.go href=(form.back()) { "Leave it" } }
    }
}
