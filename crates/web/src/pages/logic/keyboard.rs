//! A keyboard: what explains its codes, and a table of every key with both units' codes and bounce.

use bench::logic::{ContactBounce, KeyUnit};
use bench::pages::keyboard::View;
use bench::signal::engineering;
use maud::{Markup, html};

use super::LISTED;

/// The page's content.
pub fn section(view: &View) -> Markup {
    let units = view.units();
    html! {
        h1 { "Keyboard: " (view.name) " " small { @if let Some(keys) = &view.keys { (keys.name) ": " (keys.keys.len()) " keys, " (keys.lines.len()) " lines" } } }
        @if let Some(keys) = &view.keys {
            @if units.is_empty() {
                p.answer { "No code was taken yet" }
                p { "Press each key and write what came into " code { "logic/" (view.name) "/1-codes.csv" } ": the columns key and code, a 0, 1 or x for each of " (keys.lines.join(" ")) ". A recording of the contacts, a channel a key, is " code { "1-bounce.csv" } "." }
            }
            @for unit in &keys.units { (told(unit)) }
        }
        @if let Some(bounce) = &view.bounce {
            p { "A contact is taken to be quiet after " (engineering(bounce.quiet, "s")) " without a change." }
            @for contact in bounce.contacts.iter().filter(|c| c.told.is_some()) {
                p { "Contact " strong { (contact.name) } ": " (by_unit(contact.told.as_deref().unwrap_or_default(), &view.recorded)) "." }
            }
        }
        (table(view, &units))
    }
}

fn told(unit: &KeyUnit) -> Markup {
    let sets: Vec<String> = unit.explanations.iter().map(|s| s.join(" and ")).collect();
    let wrong: Vec<&str> = unit.wrong.iter().map(|w| w[0].as_str()).collect();
    html! {
        section aria-label=(format!("Unit {}", unit.unit)) {
            @if wrong.is_empty() {
                p.answer { "Unit " (unit.unit) ": every code that was given is right" }
            } @else if let Some(first) = sets.first() {
                p.answer { "Unit " (unit.unit) ": " (first) @if sets.len() > 1 { ", or one of " (sets.len() - 1) " others" } }
                p { "It explains the codes of " (wrong.join(", ")) ", and nothing smaller does." }
                @if sets.len() > 1 { details { summary { "All " (sets.len()) } ul { @for set in sets.iter().take(LISTED) { li { (set) } } } } }
            } @else {
                p.answer { "Unit " (unit.unit) ": keys " (wrong.join(", ")) " are wrong" }
                p { "No four faults of diodes, contacts and lines give this; look at what stands behind the lines." }
            }
            @if !unit.missing.is_empty() { p.small { "No code was given for " (unit.missing.join(", ")) "." } }
        }
    }
}

fn table(view: &View, units: &[&str]) -> Markup {
    let Some(keys) = &view.keys else {
        return html! {};
    };
    html! {
        h2 { "Every key" }
        p.legend { span { "codes in the order " (keys.lines.join(" ")) } span { "! not the code of the table" } span { "bounce: longest, most changes" } }
        table.keyboard {
            thead { tr {
                th scope="col" { "Key" } th scope="col" { "Code" }
                @for unit in units { th scope="col" { "Unit " (unit) } }
            } }
            tbody {
                @for (at, key) in keys.keys.iter().enumerate() {
                    tr {
                        th scope="row" { (key.key) }
                        td { (key.code) }
                        @for unit in units {
                            td {
                                @match view.code_of(at, unit) {
                                    None => { "not taken" },
                                    Some(code) => { (code) @if is_other(code, &key.code) { strong { " !" } } },
                                }
                                @if let Some(b) = view.bounce_of(&key.key, unit) { br; small { (contact(b)) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The same with the units' names.
fn by_unit(told: &str, units: &[String]) -> String {
    let name = |at: usize| format!("unit {}", units.get(at).map_or("", String::as_str));
    told.replace("the first", &name(0))
        .replace("the second", &name(1))
}

/// Whether a line that was looked at is other than in the table.
fn is_other(came: &str, should: &str) -> bool {
    came.chars()
        .zip(should.chars())
        .any(|(c, s)| c != 'x' && c != s)
}

fn times(n: usize) -> String {
    if n == 1 {
        "once".to_owned()
    } else {
        format!("{n} times")
    }
}

fn contact(bounce: &ContactBounce) -> Markup {
    html! {
        @if bounce.strokes == 0 { "never went over" }
        @else if bounce.most_changes < 2 { "no bounce" }
        @else { (engineering(bounce.longest, "s")) ", " (bounce.most_changes) }
        @if bounce.spoke > 0 { strong { "; spoke " (times(bounce.spoke)) } }
    }
}
