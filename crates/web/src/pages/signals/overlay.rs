//! Both units over each other, drawn without script around the first difference; the differences as a table.

use std::fmt::Write;

use bench::pages::signals::{Drawn, Lane, Signals};
use bench::signal::known::sources;
use bench::signal::{DifferenceView, engineering, in_words};
use maud::{Markup, html};

use super::{Put, address};
use crate::pages::enter::{choice, held, hidden, line};

/// Columns that are drawn without script.
const COLUMNS: usize = 700;
/// Differences that the page lists.
const MOST: usize = 200;
/// A stretch is this many times as long as what is seen around a difference, unless somebody chose one; chosen so that a few
/// cycles stand on either side.
const AROUND: f64 = 0.06;

/// What the overlay is made of.
pub struct Shown<'a> {
    /// Name of the set.
    pub name: &'a str,
    /// The recordings.
    pub signals: &'a Signals,
    /// The stretch of time that was asked for.
    pub chosen: Option<[f64; 2]>,
    /// The files that were asked for, as the rest of an address.
    pub files: &'a str,
    /// Differences that were put away.
    pub harmless: &'a [Put],
    /// The ledger can be written.
    pub is_open: bool,
}

/// A difference with its channel.
type One<'a> = (&'a str, &'a DifferenceView);

/// A difference within this share of the recording from one that was put away is that one; chosen above what two alignments differ by.
const NEAR: f64 = 2e-3;

impl Shown<'_> {
    /// The dismissal that a difference falls under.
    fn put_away(&self, channel: &str, kind: &str, at: f64) -> Option<&Put> {
        let span = self.signals.view.span.map_or(0.0, |s| s[1] - s[0]);
        let falls = |p: &&Put| {
            let near = p.1.at.is_none_or(|t| (t - at).abs() <= NEAR * span);
            p.1.channel == channel && p.1.difference == kind && near
        };
        self.harmless.iter().find(falls)
    }
}

/// The overlay, and what differs.
pub fn section(shown: &Shown) -> Markup {
    let (name, signals) = (shown.name, shown.signals);
    let view = &signals.view;
    let Some(span) = view.span else {
        return html! { p.answer { "There is nothing to draw in these files" } };
    };
    let keep = |channel: &str, kind: &str, at: f64| shown.put_away(channel, kind, at).is_none();
    let found = view.differences();
    let (mut all, away): (Vec<One>, Vec<One>) = found
        .into_iter()
        .partition(|(c, d)| keep(c, d.kind, d.at_a));
    let order = view
        .compared
        .as_ref()
        .map_or_else(Vec::new, |c| sources(view.known.as_ref(), c, &keep));
    let follows = |channel: &str| {
        let own = order.iter().find(|s| s.channel == channel)?;
        own.follows.as_deref()
    };
    all.sort_by(|a, b| {
        let rank = |one: &One| follows(one.0).is_some();
        rank(a).cmp(&rank(b)).then(a.1.at_a.total_cmp(&b.1.at_a))
    });
    let around = |at: f64| {
        let half = AROUND * (span[1] - span[0]);
        [at - half, at + half]
    };
    let ends = shown
        .chosen
        .unwrap_or_else(|| all.first().map_or(span, |d| around(d.1.at_a)));
    let window = signals.window(ends[0], ends[1], COLUMNS);
    let units: Vec<&str> = view.units.iter().map(|u| u.0.as_str()).collect();
    let mut marks: Vec<f64> = all.iter().map(|d| d.1.at_a).collect();
    marks.sort_by(f64::total_cmp);
    let list: Vec<String> = marks.iter().take(MOST).map(|m| format!("{m:e}")).collect();
    let link = |ends: [f64; 2]| {
        format!(
            "{}?from={:e}&to={:e}{}#signals-view",
            address(name),
            ends[0],
            ends[1],
            shown.files
        )
    };
    html! {
        (first(shown, &all, &units, follows(all.first().map_or("", |a| a.0))))
        div.signals id="signals-view" data-signals=(format!("{}/window.json{}", address(name), shown.files.replacen('&', "?", 1))) data-from=(format!("{:e}", ends[0])) data-to=(format!("{:e}", ends[1]))
            data-first=(format!("{:e}", span[0])) data-last=(format!("{:e}", span[1])) data-marks=(list.join(" ")) data-units=(units.join("\t")) {
            p.legend {
                @if let Some(unit) = units.first() { span { (key("thin")) "unit " (unit) } }
                @if let Some(unit) = units.get(1) { span { (key("wide")) "unit " (unit) } }
                @if !all.is_empty() { span { (key("mark-line")) "a difference" } }
            }
            div.lanes {
                @for lane in &window.channels { (drawn(lane, ends, &marks)) }
            }
            p.ends { span { (engineering(ends[0], "s")) } span { (engineering(ends[1], "s")) } }
            p.steps data-plain {
                a.small href=(link(span)) { "All of it" }
                a.small href=(link(zoomed(ends, 0.5))) { "Closer" }
                a.small href=(link(zoomed(ends, 2.0))) { "Farther" }
                a.small href=(link(shifted(ends, -0.5))) { "Earlier" }
                a.small href=(link(shifted(ends, 0.5))) { "Later" }
            }
        }
        @if !all.is_empty() {
            h2 id="differences" { (all.len()) @if all.len() == 1 { " difference" } @else { " differences" } ", " @if order.iter().any(|s| s.follows.is_some()) { "nearest to the source first" } @else { "the earliest first" } }
            table.plain {
                thead { tr { th.number scope="col" { "No." } th.number scope="col" { "Time" } th scope="col" { "Channel" } th scope="col" { "Kind" } th scope="col" { "What" } } }
                tbody {
                    @for (n, (channel, d)) in all.iter().take(MOST).enumerate() {
                        @let ends = around(d.at_a);
                        tr {
                            td.number data-name="no." { (n + 1) }
                            td.number data-name="at" { a.go href=(link(ends)) data-go=(format!("{:e} {:e}", ends[0], ends[1])) { (engineering(d.at_a, "s")) } }
                            td data-name="channel" { (channel) }
                            td data-name="" { (d.kind) }
                            td data-name="" { (in_words(&d.detail, &units)) @if let Some(source) = follows(channel) { " May follow from " (source) "." }
                                @if d.varies { " Unit " (units.first().unwrap_or(&"A")) " differs from itself so, too." }
                                @if shown.is_open { (dismiss(shown, channel, d)) } }
                        }
                    }
                }
            }
            @if all.len() > MOST { p { (all.len() - MOST) " more are told by " code { "knowngood capture compare --json" } "." } }
        }
        @if !away.is_empty() {
            details id="harmless" {
                summary { (away.len()) @if away.len() == 1 { " difference was" } @else { " differences were" } " put away as harmless" }
                ul.done { @for (channel, d) in away.iter().take(MOST) { li {
                    (channel) ", " (d.kind) " at " (engineering(d.at_a, "s")) ": " (in_words(&d.detail, &units))
                    @if let Some((entry, h)) = shown.put_away(channel, d.kind, d.at_a) { " Harmless, because " (h.reason) ". " a href=(format!("/entry/{entry}")) { "the entry" } }
                } } }
            }
        }
        (alignment(signals, &units))
    }
}

fn dismiss(shown: &Shown, channel: &str, d: &DifferenceView) -> Markup {
    let here = format!("{:e}", d.at_a);
    html! {
        details {
            summary { "It is harmless" }
            form method="post" action="/entry" {
                (hidden("harmless", &address(shown.name)))
                (held("capture", shown.name)) (held("channel", channel)) (held("difference", d.kind))
                (choice("at", "Which", &[(here.as_str(), "this one"), ("", "all of this kind on this channel")], &here))
                (line("reason", "Because", ""))
                button type="submit" { "Put it away" }
            }
        }
    }
}

/// The answer: where they first part.
fn first(shown: &Shown, all: &[One], units: &[&str], follows: Option<&str>) -> Markup {
    let signals = shown.signals;
    let aligned = signals
        .view
        .compared
        .iter()
        .flat_map(|c| &c.channels)
        .any(|c| c.aligned);
    html! {
        @match (all.first(), &signals.view.compared) {
            (Some((channel, d)), _) => {
                p.answer { (channel) " parts first, at " (engineering(d.at_a, "s")) ": " (in_words(&d.detail, units)) }
                p { "They differ; which of them is wrong, this does not say." @if follows.is_none() && all.iter().any(|o| o.0 != *channel) { " Of the channels that differ, none that drives " (channel) " does so earlier, as far as the flow is known." } }
            }
            (None, Some(_)) if aligned => { p.answer { @if shown.harmless.is_empty() { "No difference was found where they lie over each other" } @else { "No difference is left but what was put away as harmless" } } }
            (None, Some(_)) => { p.answer { "They could not be laid over each other" } }
            (None, None) if signals.view.picture.is_none() => { p.answer { "One recording: record the same in the other unit" } }
            (None, None) => {}
        }
    }
}

fn zoomed(ends: [f64; 2], by: f64) -> [f64; 2] {
    let (middle, half) = (0.5 * (ends[0] + ends[1]), 0.5 * (ends[1] - ends[0]) * by);
    [middle - half, middle + half]
}

fn shifted(ends: [f64; 2], by: f64) -> [f64; 2] {
    let step = by * (ends[1] - ends[0]);
    [ends[0] + step, ends[1] + step]
}

fn key(class: &str) -> Markup {
    let path = if class == "mark-line" {
        "M10 1v14"
    } else {
        "M1 12h6v-8h6v8h6"
    };
    html! { svg viewBox="0 0 20 16" width="40" height="20" aria-hidden="true" { path class=(class) d=(path) {} } }
}

const WIDTH: f64 = 1000.0;
const HEIGHT: f64 = 100.0;

fn drawn(lane: &Lane, ends: [f64; 2], marks: &[f64]) -> Markup {
    let wide = f64::from(lane.high - lane.low).max(1e-12);
    let y = |v: f32| HEIGHT * (0.94 - 0.88 * f64::from(v - lane.low) / wide);
    let x = |t: f64| WIDTH * (t - ends[0]) / (ends[1] - ends[0]);
    // the wide line lies below the thin one
    let paths: Vec<(&str, String)> = lane
        .traces
        .iter()
        .zip(["thin", "wide"])
        .map(|(t, class)| (class, path(t, &x, &y)))
        .rev()
        .collect();
    let seen = marks.iter().filter(|m| **m >= ends[0] && **m <= ends[1]);
    html! {
        p.lane-name { strong { (lane.name) } " " span { (engineering(f64::from(lane.low), &lane.unit)) " to " (engineering(f64::from(lane.high), &lane.unit)) } }
        svg.lane viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) preserveAspectRatio="none" role="img" aria-label=(format!("{}, both units", lane.name)) {
            @for m in seen { path.mark-line d=(format!("M{:.1} 0V{HEIGHT}", x(*m))) {} }
            @for (class, d) in &paths { path class=(class) d=(d) {} }
        }
    }
}

fn path(trace: &Drawn, x: &dyn Fn(f64) -> f64, y: &dyn Fn(f32) -> f64) -> String {
    let mut d = String::new();
    match trace {
        Drawn::Points { t, v, steps } => {
            for (k, (t, v)) in t.iter().zip(v).enumerate() {
                let (px, py) = (x(*t), y(*v));
                let _ = match (k, steps) {
                    (0, _) => write!(d, "M{px:.1} {py:.1}"),
                    (_, true) => write!(d, "H{px:.1}V{py:.1}"),
                    (_, false) => write!(d, "L{px:.1} {py:.1}"),
                };
            }
        }
        Drawn::Columns { low, high } => {
            let width = WIDTH / low.len().max(1) as f64;
            for (c, pair) in low.iter().zip(high).enumerate() {
                let (Some(low), Some(high)) = pair else {
                    continue;
                };
                let px = (c as f64 + 0.5) * width;
                let _ = write!(d, "M{px:.1} {:.1}V{:.1}", y(*high), y(*low) + 0.5);
            }
        }
    }
    d
}

/// How they lie over each other.
fn alignment(signals: &Signals, units: &[&str]) -> Markup {
    let Some(compared) = &signals.view.compared else {
        return html! {};
    };
    html! {
        details id="alignment" open[compared.channels.iter().any(|c| !c.aligned)] {
            summary { "How they lie over each other" }
            ul.done {
                @for c in &compared.channels {
                    li {
                        strong { (c.name) } ": "
                        @if let (Some(offset), Some(rate)) = (c.offset, c.rate_ppm) {
                            "unit " (units.get(1).unwrap_or(&"B")) " is " (engineering(offset, "s")) " later on its own axis, its clock " (format!("{rate:+.2}")) " in a million; "
                            (c.matched) " transitions in both. "
                        }
                        @if let Some(note) = &c.note { (note) }
                    }
                }
                @for note in &compared.notes { li { (in_words(note, units)) } }
            }
        }
    }
}

/// What was measured on each channel, the units side by side.
pub fn measured(signals: &Signals) -> Markup {
    let all = &signals.view.measured;
    let Some((_, first)) = all.first() else {
        return html! {};
    };
    let time = |t: Option<f64>| t.map_or("-".to_owned(), |t| engineering(t, "s"));
    html! {
        details id="measured" {
            summary { "Measured levels and times" }
            table.plain {
                thead { tr { th scope="col" { "Channel" } th scope="col" { "Unit" } th.number scope="col" { "Low" } th.number scope="col" { "High" } th.number scope="col" { "Rise" } th.number scope="col" { "Fall" } th.number scope="col" { "Period" } th.number scope="col" { "Width" } th.number scope="col" { "Transitions" } } }
                tbody {
                    @for channel in &first.channels {
                        @for (unit, m) in all {
                            @for c in m.channels.iter().filter(|c| c.name == channel.name) {
                                tr {
                                    td data-name="" { strong { (c.name) } }
                                    td data-name="unit" { (unit) }
                                    td.number data-name="low" { (engineering(c.levels.low, &c.unit)) }
                                    td.number data-name="high" { (engineering(c.levels.high, &c.unit)) }
                                    td.number data-name="rise" { (time(c.rise)) }
                                    td.number data-name="fall" { (time(c.fall)) }
                                    td.number data-name="period" { (time(c.period)) }
                                    td.number data-name="width" { (time(c.width)) }
                                    td.number data-name="transitions" { (c.edges) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
