//! The picture on the tube: both units at one scale, what is wrong with it, and what adjusts or causes that.

use bench::pages::signals::Signals;
use bench::signal::picture::{PictureView, TermView, figure_words, tube_words};
use maud::{Markup, html};

use super::address;

/// The pictures, and the geometry in words.
pub fn section(name: &str, signals: &Signals) -> Markup {
    let Some(view) = &signals.view.picture else {
        return html! {};
    };
    let image = |show: &str| format!("{}/picture.png?show={show}", address(name));
    let marks = signals.marks();
    let on = |picture: usize| marks.iter().filter(move |m| m.picture == picture);
    html! {
        (answer(view))
        div.tubes {
            @for (k, unit) in view.names.iter().enumerate().take(2) {
                figure {
                    div.screen {
                        img src=(image(&k.to_string())) width="720" height="720" alt=(format!("The picture of {unit}"));
                        svg viewBox="0 0 1000 1000" aria-hidden="true" {
                            @for m in on(k) {
                                path d=(format!("M{:.0} {:.0}L{:.0} {:.0}", m.from[0], m.from[1], m.to[0], m.to[1])) {}
                                text x=(format!("{:.0}", m.from[0].max(m.to[0]) + 14.0)) y=(format!("{:.0}", m.from[1].min(m.to[1]) - 14.0)) { (m.number) }
                            }
                        }
                    }
                    figcaption { strong { (capital(unit)) } ", " (view.strokes[k]) " strokes" @if on(k).next().is_some() { "; numbers are those below" } }
                }
            }
            @if view.names.len() > 1 {
                figure {
                    div.screen { img src=(image("over")) width="720" height="720" alt="Both over each other"; }
                    figcaption { strong { "Over each other" } ": " (view.names[0]) " orange, " (view.names[1]) " blue, white where both" }
                }
            }
        }
        (differing(view))
        @let standing: Vec<&TermView> = view.geometry.iter().filter(|t| t.stands).collect();
        @if !standing.is_empty() {
            h2 id="geometry" { "The whole of it: " (view.names[1]) " beside " (view.names[0]) }
            ul.terms {
                @for t in standing {
                    li {
                        p.figure-words { strong { (capital(&t.term)) } " " (figure_words(t)) }
                        p { (t.looks) }
                        p { strong { "Look at: " } (t.cause) }
                    }
                }
            }
        }
        @if !view.geometry.is_empty() {
            details id="terms" {
                summary { "All terms, and how well this picture tells them" }
                table.plain {
                    thead { tr { th scope="col" { "Term" } th.number scope="col" { "Value, with two standard uncertainties" } th scope="col" { "Stands out" } } }
                    tbody { @for t in &view.geometry { tr {
                        td data-name="" { (t.term) }
                        td.number data-name="" { (figure_words(t)) }
                        td data-name="" { @if t.stands { "yes" } @else { "no" } }
                    } } }
                }
                p.hint { "Per cent are of half the picture's width or height. Position is told where no signal puts the spot, if that is within the picture." }
            }
        }
        @if !view.tube.is_empty() {
            h2 id="deflection" { "What the plates should do" }
            ul.done { @for t in &view.tube { li { (tube_words(t)) } } }
            p.hint { "Spot displacement a volt between the plates is length times way to the screen, over twice their distance times the accelerating volts." }
        }
        @if !view.notes.is_empty() { details id="notes" { summary { "What was assumed" } ul.done { @for n in &view.notes { li { (n) } } } } }
        aside.caution aria-label="Before anything is adjusted" {
            p { strong { "Kilovolts, and a tube that can implode. " } "Reservoirs hold their charge after switch-off. Adjust with one hand and an insulated tool, with the beam turned down before a deflection amplifier is unplugged: a spot that stands still burns the screen. Follow the rules of your place, and leave kilovolts to those trained for them." }
            p { "Mark a trimmer and measure it before it is turned." }
        }
    }
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters
        .next()
        .map_or(String::new(), |c| c.to_uppercase().chain(letters).collect())
}

fn answer(view: &PictureView) -> Markup {
    let standing: Vec<String> = view
        .geometry
        .iter()
        .filter(|t| t.stands)
        .map(|t| {
            let value = t.value.unwrap_or(0.0);
            match t.unit.as_str() {
                "deg" => format!("{} {value:+.1} degrees", t.term),
                "%" => format!("{} {value:+.1} %", t.term),
                unit => format!("{} {}", t.term, bench::signal::engineering(value, unit)),
            }
        })
        .collect();
    let count = |kind: &str| view.differences.iter().filter(|d| d.kind == kind).count();
    let strokes: Vec<String> = ["missing", "moved", "extra"]
        .into_iter()
        .map(|k| (k, count(k)))
        .filter(|c| c.1 > 0)
        .map(|(k, n)| format!("{n} stroke{} {k}", if n == 1 { "" } else { "s" }))
        .collect();
    let all = [strokes, standing].concat();
    html! {
        @if let Some(why) = &view.why_not {
            p.answer { "The pictures were not compared" } p { (why) }
        } @else if view.names.len() < 2 {
            p.answer { "One picture: record the other unit's" }
        } @else if all.is_empty() {
            p.answer { "The pictures are alike" }
        } @else {
            p.answer { (capital(&view.names[1])) " beside " (view.names[0]) ": " (all.join("; ")) }
            p { "They differ; which of them is wrong, this does not say." }
        }
    }
}

fn differing(view: &PictureView) -> Markup {
    html! {
        @if !view.differences.is_empty() {
            h2 id="strokes" { "Strokes" }
            table.plain {
                thead { tr { th.number scope="col" { "No." } th scope="col" { "Kind" } th scope="col" { "Stroke" } th scope="col" { "What" } } }
                tbody { @for (n, d) in view.differences.iter().enumerate() { tr {
                    td.number data-name="no." { (n + 1) }
                    td data-name="" { strong { (d.kind) } }
                    td data-name="" { (d.stroke) }
                    td data-name="" { (capital(&d.detail)) }
                } } }
            }
            @if count_missing(view) > 0 {
                p { "A stroke that is missing while its neighbours stand is not lit, or not in the store: hold the blanking signal, and the code that draws this character, against the other unit." }
            }
        }
        @if !view.characters.is_empty() {
            h2 id="characters" { "Characters, beside what the whole picture does" }
            ul.done { @for c in &view.characters { li { (c.detail) } } }
        }
    }
}

fn count_missing(view: &PictureView) -> usize {
    view.differences
        .iter()
        .filter(|d| d.kind == "missing")
        .count()
}
