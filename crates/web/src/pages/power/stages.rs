//! The stages of the bring-up: the open one with its next reading, its limits and its hold point; the others folded.

use bench::pages::board::Mark;
use bench::pages::permit::{StageRow, State, stage_rows};
use bench::power::plan::{self, StageReading, StageView};
use bench::table::measured;
use maud::{Markup, html};
use store::record::work::Lapse;

use super::Shown;
use crate::pages::enter::{held, hidden, line, number};
use crate::pages::marks;

/// The open stage under a permit that is in force; nothing without one.
pub fn open(shown: &Shown<'_>, state: &State<'_>, plan: &plan::View) -> Markup {
    let (Some(bring_up), Some(_)) = (&state.bring_up, state.permit()) else {
        return html! {};
    };
    let stage_number = bring_up.open_stage();
    let Some(stage) = plan.stages.get(stage_number as usize - 1) else {
        return html! {
            section.hold id="stage" { h2 { small { "Unit " (shown.unit) } "All stages are passed" }
            p { "What is proven from here on has to be proven by tests of its own; this permit still ends as any other." } }
        };
    };
    let rows = stage_rows(stage, stage_number, Some(bring_up));
    let chosen = shown.at.reading.filter(|k| *k < rows.len());
    let next = chosen.or_else(|| rows.iter().position(|r| r.came.is_none()));
    html! {
        section.hold id="stage" aria-labelledby="stage-head" {
            h2 id="stage-head" { small { "Unit " (shown.unit) ", stage " (stage_number) " of " (plan.stages.len()) } (stage.title()) }
        }
        (before(stage))
        dl.set { (set(stage)) }
        aside.caution aria-label="When a limit is crossed" {
            p { strong { "When a limit is crossed" } }
            @for words in &plan.when_crossed { p { (words) } }
        }
        @if let Some(k) = next { (take(shown, stage_number, &rows, k)) }
        @let taken = rows.iter().filter(|r| r.came.is_some()).count();
        details id="readings" {
            summary { "Readings of this stage: " (taken) " of " (rows.len()) " taken" }
            (table(shown, &rows, true))
        }
        @if let Some(m) = &stage.mains { p { (m.words()) } }
        (may_be(stage, plan))
        (hold(shown, stage_number, stage, &rows))
    }
}

/// What stands before the step.
fn before(stage: &StageView) -> Markup {
    html! {
        @if stage.readings.iter().any(|r| r.hands_off) {
            aside.caution aria-label="Above 60 V" { p { strong { "Caution. " } "Above 60 V nothing is read with a hand on the probe: off, prove discharged, clip on, hands out, on, read, off. Mains and kilovolts only by those trained for them." } }
        }
    }
}

fn set(stage: &StageView) -> Markup {
    let list = |of: &[(String, f64)], unit| -> Vec<String> {
        of.iter()
            .map(|(name, x)| format!("{name} {}", measured(Some(*x), unit)))
            .collect()
    };
    html! {
        dt { "Connected" } dd { (stage.connected) }
        dt { "Set" } dd { (list(&stage.supplies, "V").join(", ")) }
        @if !stage.limits.is_empty() { dt { "Current limits" } dd { (list(&stage.limits, "A").join(", ")) } }
        dt { "Held for" } dd { (stage.minutes) " minutes" }
    }
}

fn unit_of(r: &StageReading) -> &'static str {
    if r.kind == "volts" { "V" } else { "A" }
}

/// The next reading, large.
fn take(shown: &Shown<'_>, stage: u32, rows: &[StageRow<'_>], k: usize) -> Markup {
    let r = rows[k].reading;
    let value = |x: f64| measured(Some(x), unit_of(r));
    html! {
        section.probe id="check" aria-label="Next reading" {
            div.leads {
                p { span.word { (if r.kind == "volts" { "Volts, red on" } else { "Amperes of" }) } strong.lead-on { (r.at) } }
                @if let Some(black) = &r.black { p { span.word { "Black on" } strong.lead-on { (black) } } }
            }
            @if r.hands_off { p { strong { "Hands out: " } "off, prove discharged, clip on, hands out, on, read, off." } }
            p.expect { "Expected " strong { (value(r.expected)) } span.band-words { "stop below " (value(r.low)) " or above " (value(r.high)) } }
            @if shown.is_open {
                form.take-value method="post" action="/power" data-keep id=(format!("watch-{stage}-{k}")) {
                    (hidden("watch", &shown.here("", "check")))
                    (held("unit", shown.unit)) (held("stage", &stage.to_string())) (held("measured", r.kind)) (held("red", &r.at))
                    @if let Some(black) = &r.black { (held("black", black)) }
                    label.field { span { "It read, in " (unit_of(r)) } input.value type="text" name="value" required autocomplete="off" spellcheck="false" autofocus; }
                    button type="submit" { "Enter" }
                }
            }
        }
    }
}

/// The readings of a stage with their limits, and what came.
fn table(shown: &Shown<'_>, rows: &[StageRow<'_>], is_open: bool) -> Markup {
    html! {
        table.plain.limits {
            thead { tr { th scope="col" { "Read" } th scope="col" { "At" } th scope="col" { "Against" } th.number scope="col" { "Expected" } th.number scope="col" { "Stop below" } th.number scope="col" { "Stop above" } @if is_open { th scope="col" { "Came" } } } }
            tbody { @for (k, row) in rows.iter().enumerate() { (reading(shown, row, k, is_open)) } }
        }
    }
}

fn reading(shown: &Shown<'_>, row: &StageRow<'_>, k: usize, is_open: bool) -> Markup {
    let r = row.reading;
    let number = |x: f64| measured(Some(x), unit_of(r));
    html! {
        tr data-row tabindex="-1" {
            td data-name="read" { (r.kind) @if r.hands_off { " (hands out)" } }
            td data-name="at" { strong { (r.at) } }
            td data-name="against" { (r.black.as_deref().unwrap_or("-")) }
            td.number data-name="expected" { (number(r.expected)) }
            td.number data-name="stop below" { (number(r.low)) }
            td.number data-name="stop above" { (number(r.high)) }
            @if is_open {
                td data-name="came" {
                    @match row.came {
                        Some((_, watch)) => {
                            @let is_within = watch.is_within() == Some(true);
                            span.verdict { (marks::verdict(if is_within { Mark::Agrees } else { Mark::High })) strong { (watch.value) } (if is_within { " within" } else { " beyond" }) }
                        },
                        None => span.verdict { (marks::verdict(Mark::NotTaken)) a.small href=(shown.here(&format!("reading={k}"), "check")) { "take it" } },
                    }
                }
            }
        }
    }
}

/// The hold point after a stage.
fn hold(shown: &Shown<'_>, stage_number: u32, stage: &StageView, rows: &[StageRow<'_>]) -> Markup {
    let lacking = rows.iter().filter(|r| r.came.is_none()).count();
    let fields = html! {
        (hidden("hold", &shown.here("", "stage")))
        (held("unit", shown.unit)) (held("stage", &stage_number.to_string()))
    };
    html! {
        section.hold-point aria-label="Hold point" {
            p.figure-words { strong { (stage.hold) } }
            @if shown.is_open {
                @if lacking == 0 {
                    form.enter method="post" action="/power" data-keep id="hold-form" {
                        (fields)
                        div.fields { (number("minutes", "Minutes held", "")) (line("note", "Seen, felt, smelled", "")) }
                        button.go type="submit" { "Pass the hold point" }
                    }
                } @else {
                    p { "Shut: " (lacking) @if lacking == 1 { " reading is" } @else { " readings are" } " not taken." }
                }
                details id="sign-hold" {
                    summary { "Sign for the hold point instead" }
                    form.enter method="post" action="/power" data-keep id="sign-hold-form" {
                        (fields)
                        div.fields { (number("minutes", "Minutes held", "")) (line("by", "Name", shown.author)) }
                        label.field.wide { span { "Reason" } input type="text" name="reason" autocomplete="off"; }
                        button type="submit" { "Sign, and open the next stage" }
                    }
                }
            }
        }
    }
}

/// A limit was crossed: what it was, what it may be, and what is done.
pub fn crossed(state: &State<'_>, plan: &plan::View) -> Markup {
    let Some(bring_up) = &state.bring_up else {
        return html! {};
    };
    let Some(Lapse::Crossed(entry)) = &bring_up.lapse else {
        return html! {};
    };
    let watch = bring_up.watches.iter().find(|(own, _)| own.id == entry.id);
    html! {
        @if let Some((_, watch)) = watch {
            aside.caution aria-label="Stop" {
                p.answer { "Stop. Off at the plug." }
                p.figure-words { "Stage " (watch.stage) ": " (watch.red) " read " (watch.value) "; the limits are " (watch.limits()) "." }
                @for words in &plan.when_crossed { p { (words) } }
                @if let Some(stage) = plan.stages.get(watch.stage as usize - 1) { (may_be(stage, plan)) }
            }
        }
    }
}

/// What a limit crossed at a stage may be.
fn may_be(stage: &StageView, plan: &plan::View) -> Markup {
    let shows: Vec<&str> = stage
        .shows
        .iter()
        .map(|h| plan.hazards[*h].with.as_str())
        .collect();
    html! {
        @if !shows.is_empty() {
            details id=(format!("may-be-{}", stage.title().replace([' ', '%', ','], ""))) {
                summary { "A limit crossed here may be one of " (shows.len()) " faults" }
                p { (shows.join(", ")) }
            }
        }
    }
}

/// All stages, each folded.
pub fn all(shown: &Shown<'_>, plan: &plan::View) -> Markup {
    html! {
        details id="stages" {
            summary { "All " (plan.stages.len()) " stages" }
            h3 { "Before the first" }
            ul.done { @for words in &plan.before { li { (words) } } }
            p { (plan.set) }
            @for (k, stage) in plan.stages.iter().enumerate() {
                details id=(format!("stage-{}", k + 1)) {
                    summary { "Stage " (k + 1) ": " (stage.title()) }
                    (before(stage))
                    dl.set { (set(stage)) }
                    (table(shown, &stage_rows(stage, 0, None), false))
                    @if let Some(m) = &stage.mains { p { (m.words()) } }
                    (may_be(stage, plan))
                    p { strong { (stage.hold) } }
                }
            }
            p.why { "Limits from " (plan.units) " invented healthy units, with an allowance for the meter." }
        }
    }
}
