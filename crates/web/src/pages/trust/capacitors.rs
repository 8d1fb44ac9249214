//! The record of each electrolytic while it is measured or reformed: voltage, current, time, and what was decided.

use maud::{Markup, html};
use store::record::event::Capacitor;
use store::record::{Entry, Event, Work};

use super::super::enter::{held, hidden, line, number};
use super::{Place, units};

/// The rows of one capacitor of one unit.
struct Record<'a> {
    unit: &'a str,
    part: &'a str,
    rows: Vec<(&'a Entry, &'a Capacitor)>,
}

/// The records, and the form for the next row.
pub fn section(work: &Work, place: &Place) -> Markup {
    let records = records(work, place.board);
    html! {
        h2 id="capacitors" { "Capacitors" }
        aside.caution aria-label="Before a capacitor is reformed" {
            p { strong { "Caution. " } "A capacitor under voltage holds its charge after the supply is off, and a bad one may burst." }
            p.why { "Through a series resistor and a current limit, behind a cover, discharged and proven so before it is touched; local rules stand above this page." }
        }
        @if records.is_empty() { p { "None was measured or reformed on this board yet." } }
        @for r in &records { (one(r)) }
        @if place.is_open { (form(records.last(), place)) }
    }
}

fn records<'a>(work: &'a Work, board: &str) -> Vec<Record<'a>> {
    let mut list: Vec<Record> = Vec::new();
    for (entry, event) in work.others() {
        let Event::Capacitor(row) = event else {
            continue;
        };
        if row.site.board.as_deref() != Some(board) {
            continue;
        }
        let (unit, part) = (row.site.unit.as_str(), row.part.as_str());
        match list.iter_mut().find(|r| (r.unit, r.part) == (unit, part)) {
            Some(record) => record.rows.push((entry, row)),
            None => list.push(Record {
                unit,
                part,
                rows: vec![(entry, row)],
            }),
        }
    }
    list
}

fn one(record: &Record) -> Markup {
    let last = record.rows.last().map(|r| r.1);
    html! {
        article.finding {
            h3 { (record.part) ", unit " (record.unit) }
            @if let Some(row) = last {
                p.figure-words { "Last: " strong { (row.volts.0) " V" } ", " strong { (current(row)) } " at " (row.minutes) " min" }
            }
            (plot(&record.rows))
            details id=(format!("capacitor-{}-{}", record.unit, record.part)) open[record.rows.len() < 6] {
                summary { (record.rows.len()) " rows" }
                table.plain {
                    thead { tr { th.number scope="col" { "Minutes" } th.number scope="col" { "Volts" } th.number scope="col" { "Current" } th scope="col" { "Note" } } }
                    tbody {
                        @for (entry, row) in &record.rows {
                            tr data-row tabindex="-1" {
                                td.number data-name="minutes" { (row.minutes) }
                                td.number data-name="volts" { (row.volts.0) }
                                td.number data-name="current" { (current(row)) }
                                td data-name="note" { (row.note) " " a.small href=(format!("/entry/{}", entry.id)) { "entry " (entry.number) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn current(row: &Capacitor) -> String {
    row.amps.map_or_else(
        || "no current written".to_owned(),
        |a| bench::table::written(a.0, "A"),
    )
}

const WIDTH: f64 = 480.0;
const HEIGHT: f64 = 160.0;
/// Room for the words at the left and below.
const EDGE: f64 = 70.0;

/// Current against time: a capacitor that reforms falls, one that does not stays.
fn plot(rows: &[(&Entry, &Capacitor)]) -> Markup {
    let points: Vec<(f64, f64)> = rows
        .iter()
        .filter_map(|(_, r)| Some((r.minutes, r.amps?.0)))
        .filter(|(_, amps)| *amps >= 0.0)
        .collect();
    let most = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).fold(0.0, f64::max);
    let (minutes, amps) = (most(|p| p.0), most(|p| p.1));
    let x = |m: f64| EDGE + m / minutes * (WIDTH - EDGE - 10.0);
    let y = |a: f64| HEIGHT - 30.0 - a / amps * (HEIGHT - 46.0);
    let words = |a: f64| bench::table::written(a, "A");
    html! {
        @if points.len() > 1 && minutes > 0.0 && amps > 0.0 {
            svg.bar viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) width=(WIDTH) height=(HEIGHT) role="img"
                aria-label=(format!("current over {minutes} minutes: from {} to {}", words(points[0].1), words(points[points.len() - 1].1))) {
                line.axis x1=(EDGE) y1=(y(0.0)) x2=(WIDTH - 10.0) y2=(y(0.0)) {}
                line.axis x1=(EDGE) y1=(y(0.0)) x2=(EDGE) y2=(y(amps)) {}
                text x=(EDGE - 6.0) y=(y(amps) + 5.0) text-anchor="end" { (words(amps)) }
                text x=(EDGE - 6.0) y=(y(0.0) + 5.0) text-anchor="end" { "0" }
                text x=(WIDTH - 10.0) y=(HEIGHT - 8.0) text-anchor="end" { (minutes) " min" }
                polyline.line points=(points.iter().map(|(m, a)| format!("{:.1},{:.1}", x(*m), y(*a))).collect::<Vec<_>>().join(" ")) {}
                @for (m, a) in &points { circle.full cx=(format!("{:.1}", x(*m))) cy=(format!("{:.1}", y(*a))) r="4" {} }
            }
        }
    }
}

/// The form; it starts with the capacitor that was written last.
fn form(last: Option<&Record>, place: &Place) -> Markup {
    html! {
        form.enter id="capacitor-form" method="post" action="/entry" data-keep {
            h3 { "Next row of a capacitor's record" }
            (hidden("capacitor", &format!("{}#capacitors", place.back))) (held("board", place.board))
            div.fields {
                (units(place, last.map_or("", |r| r.unit)))
                label.field { span { "Capacitor" } input type="text" name="part" list="parts" value=(last.map_or("", |r| r.part)) required autocomplete="off" spellcheck="false"; }
                (number("minutes", "Minutes since the start", ""))
                (number("volts", "Volts across it", ""))
                (number("amps", "Current: 12m, 350u", ""))
                (line("note", "Series resistor, warmth; what was decided, and why", ""))
                button type="submit" { "Write it" }
            }
        }
    }
}
