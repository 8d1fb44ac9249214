//! Curves of a pin in words.

use super::{CurveView, Stretch};
use crate::signal::engineering;
use crate::table::{Align, aligned};

/// One stretch as a sentence; `than` is whom it is held against.
pub fn words(s: &Stretch, than: &str) -> String {
    let at = |p: [f64; 2]| format!("{} at {}", engineering(p[1], "A"), engineering(p[0], "V"));
    format!(
        "carries {} current than {than} from {} to {}: {} where {than} {} {}",
        s.carries,
        engineering(s.volts[0], "V"),
        engineering(s.volts[1], "V"),
        at(s.worst),
        if than.ends_with("boards") {
            "have"
        } else {
            "has"
        },
        at(s.instead),
    )
}

/// The answer in one sentence.
pub fn told(view: &CurveView) -> String {
    let name = |n: usize| capital(&view.curves[n].name);
    let off = |n: usize| view.curves[n].verdict == "disagrees";
    match view.case {
        Some("alike") => "The two curves are alike. Whether they are right, no sheet says here.".to_owned(),
        Some("differ") => "The two curves differ; which of them is wrong, this does not say.".to_owned(),
        Some("both-agree") => "Both curves are as healthy boards would show them.".to_owned(),
        Some("first-odd") => format!("{} disagrees with the sheet; {} agrees.", name(0), view.curves[1].name),
        Some("second-odd") => format!("{} disagrees with the sheet; {} agrees.", name(1), view.curves[0].name),
        Some("alike-but-off") => {
            "Both disagree with the sheet in the same way: one fault twice, or a sheet that is wrong here.".to_owned()
        }
        Some("all-differ") => "Both disagree with the sheet, each in its own way.".to_owned(),
        _ if view.expected.is_empty() => "One curve, and nothing to hold it against.".to_owned(),
        _ if off(0) => format!("{} disagrees with the sheet.", name(0)),
        _ => format!("{} is as healthy boards would show it.", name(0)),
    }
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters
        .next()
        .map_or(String::new(), |c| c.to_uppercase().chain(letters).collect())
}

/// The view for people.
pub fn plain(view: &CurveView) -> String {
    let mut text = told(view) + "\n";
    if let Some(e) = view.expected.first() {
        text += &format!(
            "Sheet {}, red on {}, black on {}, {}\n",
            e.sheet, e.red, e.black, e.state
        );
    }
    text += "\n";
    let head = [
        ("curve", Align::Left),
        ("verdict", Align::Left),
        ("ohms at the lower end", Align::Right),
        ("at zero", Align::Right),
        ("at the upper end", Align::Right),
    ];
    let ohms = |o: Option<f64>| o.map_or("-".to_owned(), |o| engineering(o, "ohm"));
    let rows: Vec<Vec<String>> = view
        .curves
        .iter()
        .map(|c| {
            let mut row = vec![c.name.clone(), c.verdict.to_owned()];
            row.extend(c.slopes.map(ohms));
            row
        })
        .collect();
    text += &aligned(&head, &rows);
    for c in &view.curves {
        for s in &c.stretches {
            text += &format!("{} {}.\n", c.name, words(s, "healthy boards"));
        }
    }
    if let [a, b] = &view.curves[..] {
        for s in &view.parts {
            text += &format!("{} {}.\n", b.name, words(s, &a.name));
        }
    }
    view.notes.iter().for_each(|n| text += &format!("{n}\n"));
    text
}
