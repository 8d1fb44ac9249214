//! Tests that a board was put to, by name: each could have failed.

use maud::{Markup, html};
use store::record::event::Test;
use store::record::{Entry, Event, Work};

use super::super::enter::{held, hidden, line, number, text, tick};
use super::{Place, units};

/// The tests, newest first, and the form for another.
pub fn section(work: &Work, place: &Place) -> Markup {
    let list = all(work, place.board);
    html! {
        h2 id="tests-done" { "Tests" }
        @if list.is_empty() { p { "None was run yet. A board is proven by a test that it could have failed." } }
        @else {
            table.plain {
                thead { tr { th scope="col" { "Test" } th scope="col" { "Unit" } th scope="col" { "Outcome" } th scope="col" { "What was seen" } th scope="col" { "When" } } }
                tbody {
                    @for (entry, test) in list.iter().rev() {
                        tr data-row tabindex="-1" {
                            th scope="row" { (test.name) }
                            td data-name="unit" { (test.site.unit) }
                            td data-name="outcome" { strong { @if test.passed { "passed" } @else { "failed" } } }
                            td data-name="what was seen" { (test.text) (circumstance(test)) }
                            td data-name="when" { (entry.time.to_string()[..10]) " " a href=(format!("/entry/{}", entry.id)) { (entry.number) } }
                        }
                    }
                }
            }
        }
        @if place.is_open { (form(place)) }
    }
}

fn all<'a>(work: &'a Work, board: &str) -> Vec<(&'a Entry, &'a Test)> {
    let tests = work.others().filter_map(|(entry, event)| match event {
        Event::Test(test) if test.site.board.as_deref() == Some(board) => Some((entry, test)),
        _ => None,
    });
    tests.collect()
}

/// Names of tests that the board passed, once each.
pub fn names<'a>(work: &'a Work, board: &str) -> Vec<&'a str> {
    let mut names: Vec<&str> = all(work, board)
        .into_iter()
        .filter(|(_, test)| test.passed)
        .map(|(_, test)| test.name.as_str())
        .collect();
    names.sort_unstable();
    names.dedup();
    names
}

fn circumstance(test: &Test) -> Markup {
    let at = &test.circumstance;
    html! {
        @if let Some(minutes) = at.minutes { " after " (minutes) " min;" }
        @if let Some(celsius) = at.celsius { " at " (celsius.0) " °C;" }
        @if let Some(tapped) = &at.tapped { " while " (tapped) " was tapped;" }
        @if at.intermittent { " it came and went" }
    }
}

fn form(place: &Place) -> Markup {
    html! {
        details id="run-test" {
            summary { "Write down a test" }
            form method="post" action="/entry" data-keep id="test-form" {
                (hidden("test", &format!("{}#tests-done", place.back))) (held("board", place.board))
                div.fields {
                    (units(place, ""))
                    label.field { span { "Its name, the same each time" } input type="text" name="name" list="tests" required autocomplete="off"; }
                    (text("text", "What was done and what was seen"))
                    (number("minutes", "Minutes since switch-on", ""))
                    (number("celsius", "Degrees C", ""))
                    (line("tapped", "Tapped meanwhile", ""))
                    (tick("intermittent", "yes", "it came and went"))
                    button type="submit" name="passed" value="yes" { "It passed" }
                    button type="submit" name="passed" value="no" { "It failed" }
                }
            }
        }
    }
}
