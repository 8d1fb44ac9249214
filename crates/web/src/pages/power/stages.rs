//! The stages of the bring-up: what is set, what is read and between which limits, and what to do when one is crossed.

use bench::pages::power::View;
use bench::power::plan::{self, MainsView, StageReading, StageView};
use bench::table::measured;
use maud::{Markup, html};

/// The stages, or why there are none.
pub fn section(view: &View) -> Markup {
    html! {
        h2 id="stages" { "Power in stages" }
        @match &view.plan {
            Err(why) => p { "There are no stages: " (why) },
            Ok(plan) => (stages(plan)),
        }
    }
}

fn stages(plan: &plan::View) -> Markup {
    let late = plan.late();
    html! {
        h3 { "Before the first stage" }
        ul.done { @for line in &plan.before { li { (line) } } }
        aside.caution aria-label="When a limit is crossed" {
            p { strong { "When a limit is crossed" } }
            @for line in &plan.when_crossed { p { (line) } }
        }
        @if !late.is_empty() {
            details id="late" {
                summary { (late.len()) " faults destroy something before a stage shows them" }
                ul.done { @for (fault, says) in &late { li { strong { (fault) } ": " (says) } } }
            }
        }
        p { (plan.set) }
        @for (k, stage) in plan.stages.iter().enumerate() { (one(k + 1, stage, plan)) }
        p.why { "Limits from " (plan.units) " invented healthy units, with an allowance for the meter." }
    }
}

fn one(number: usize, stage: &StageView, plan: &plan::View) -> Markup {
    let set: Vec<String> = stage
        .supplies
        .iter()
        .map(|(name, volts)| format!("{name} {}", measured(Some(*volts), "V")))
        .collect();
    let shows: Vec<&str> = stage
        .shows
        .iter()
        .map(|h| plan.hazards[*h].with.as_str())
        .collect();
    html! {
        h3 id=(format!("stage-{number}")) { "Stage " (number) ": " (format!("{:.0}", 100.0 * stage.share)) " %" }
        @if stage.readings.iter().any(|r| r.hands_off) {
            aside.caution aria-label="Above 60 V" { p { strong { "Caution. " } "Above 60 V nothing is read with a hand on the probe: off, prove discharged, clip on, hands out, on, read, off. Mains and kilovolts only by those trained for them." } }
        }
        p { "Set: " (set.join(", ")) "." }
        table.plain.limits {
            thead { tr { th scope="col" { "Read" } th scope="col" { "At" } th scope="col" { "Against" } th.number scope="col" { "Expected" } th.number scope="col" { "Stop below" } th.number scope="col" { "Stop above" } } }
            tbody { @for r in &stage.readings { (reading(r)) } }
        }
        @if let Some(m) = &stage.mains { (mains(m)) }
        @if !shows.is_empty() { p { "A limit crossed here may be: " (shows.join(", ")) "." } }
        p { strong { (stage.hold) } }
    }
}

fn reading(r: &StageReading) -> Markup {
    let unit = if r.kind == "volts" { "V" } else { "A" };
    let number = |x: f64| measured(Some(x), unit);
    html! {
        tr data-row tabindex="-1" {
            td data-name="read" { (r.kind) @if r.hands_off { " (hands out)" } }
            td data-name="at" { strong { (r.at) } }
            td data-name="against" { (r.black.as_deref().unwrap_or("-")) }
            td.number data-name="expected" { (number(r.expected)) }
            td.number data-name="stop below" { (number(r.low)) }
            td.number data-name="stop above" { (number(r.high)) }
        }
    }
}

fn mains(m: &MainsView) -> Markup {
    let volts = |x: f64| measured(Some(x), "V");
    let amperes = |x: f64| measured(Some(x), "A");
    let reservoirs: Vec<String> = m
        .reservoirs
        .iter()
        .map(|r| {
            format!(
                "{} {} with {} of ripple",
                r.part,
                volts(r.volts),
                volts(r.ripple)
            )
        })
        .collect();
    html! {
        p {
            "On " (m.transformer) " at this share of the mains: " (reservoirs.join(", ")) "; secondary peaks " (amperes(m.peak)) ", "
            (amperes(m.inrush)) " on the way up; primary " (amperes(m.primary)) " and what the core takes."
            @if !m.settled { " The cycles had not become alike: take these for rough." }
        }
    }
}
