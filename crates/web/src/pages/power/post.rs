//! What the page of first power sends: a reading between two boards, the permit, readings of a stage, hold points.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;
use bench::pages::permit::{self, stage_rows};
use bench::pages::power::{View, rows};
use bench::power::plan::{StageReading, StageView};
use store::record::event::{
    Circumstance, ColdCheck, Hold, Override, PowerPermit, Site, Stand, Test, Watch,
};
use store::record::{Entry, Event, Id, ReadingKind, Work};

use crate::book::Unwritten;
use crate::edge;
use crate::entry::answer;
use crate::form::Form;
use crate::pages::{Bench, blocking};
use crate::project::Now;
use crate::work;

/// Takes a form of the page.
pub async fn post(State(bench): State<Bench>, form: Form) -> Response {
    blocking(move || {
        let taken = take(&bench, &form);
        bench.bell.ring();
        answer(&bench, &form, taken)
    })
    .await
}

fn take(bench: &Bench, form: &Form) -> Result<Entry, Unwritten> {
    let id = match form.line("id") {
        None => edge::fresh(),
        Some(text) => Id::new(&text).ok_or_else(|| {
            let message = "The entry's name cannot be used.";
            Unwritten::field("id", message, "Open the page anew.")
        })?,
    };
    let now = bench.now();
    let view = match bench.work.power(&now.project) {
        work::Stand::Done(view) => view,
        _ => {
            let message =
                "Card and stages are being worked out; nothing can be held against them yet.";
            return Err(Unwritten::field(
                "",
                message,
                "Wait until the page shows them, then send it again.",
            ));
        }
    };
    let unit = form.line("unit").unwrap_or_default();
    let known = now.project.known_units();
    if unit.is_empty() || known.is_some_and(|all| !all.contains(&unit)) {
        let message = format!("The machine has no unit `{unit}`.");
        return Err(Unwritten::field(
            "unit",
            message,
            "Add it on the bench page first.",
        ));
    }
    let sent = Sent {
        form,
        unit,
        view,
        now,
    };
    bench
        .book
        .append(id, &form.author, |work| match form.text("kind") {
            "across" => sent.across(),
            "permit" => sent.permit(work),
            "watch" => sent.watch(work),
            "hold" => sent.hold(work),
            kind => {
                let message = format!("No entry of the kind `{kind}` is written here.");
                Err(Unwritten::field(
                    "kind",
                    message,
                    "Use the forms of the page.",
                ))
            }
        })
}

/// A form with what it is held against.
struct Sent<'a> {
    form: &'a Form,
    unit: String,
    view: Arc<View>,
    now: Now,
}

impl Sent<'_> {
    /// A reading of the card whose leads stand on two boards is kept as a test of its name.
    fn across(&self) -> Result<Event, Unwritten> {
        let name = self.form.text("check");
        let rows = rows(&self.now.project, &self.view.card);
        let found = rows.iter().position(|r| r.name == name);
        let Some(index) = found else {
            let message = "The card has no such reading now.";
            return Err(Unwritten::field("check", message, "Open the page anew."));
        };
        let value = self.form.text("value");
        let passed = permit::is_within(&self.view.card.card[index], value).ok_or_else(|| {
            let message = format!("`{value}` cannot be read as a value.");
            Unwritten::field(
                "value",
                message,
                "Write a value such as 4k7, or OL if it was over range.",
            )
        })?;
        Ok(Event::Test(Test {
            site: Site {
                unit: self.unit.clone(),
                board: None,
            },
            name: name.to_owned(),
            passed,
            text: value.to_owned(),
            circumstance: Circumstance::default(),
        }))
    }

    fn state<'w>(&self, work: &'w Work) -> permit::State<'w> {
        let project = &self.now.project;
        let rows = rows(project, &self.view.card);
        let index = project.units.iter().position(|u| u.name == self.unit);
        let index = index.unwrap_or(usize::MAX);
        permit::state(&self.view, &rows, (&self.unit, index), work, edge::now())
    }

    /// Every check passed, or signed for with a name and a reason.
    fn permit(&self, work: &Work) -> Result<Event, Unwritten> {
        let by = self.form.text("by");
        let signed = |check: ColdCheck| {
            let reason = self.form.text(&format!("reason:{}", check.name)).to_owned();
            match check.stand {
                Stand::Owed | Stand::Failed(_) => {
                    let stand = Override::new(by, &reason).map(Stand::Overridden);
                    ColdCheck {
                        stand: stand.unwrap_or(check.stand),
                        ..check
                    }
                }
                _ => check,
            }
        };
        let checks: Vec<ColdCheck> = self
            .state(work)
            .cold_checks()
            .into_iter()
            .map(signed)
            .collect();
        PowerPermit::grant(&self.unit, &checks)
            .map(Event::Permit)
            .map_err(|owed| {
                let names: Vec<&str> = owed.iter().take(3).map(|c| c.name.as_str()).collect();
                let more = match owed.len().saturating_sub(names.len()) {
                    0 => String::new(),
                    more => format!(" and {more} more"),
                };
                let message = format!(
                    "No permit: {} of {} checks are neither passed nor signed for: {}{more}.",
                    owed.len(),
                    checks.len(),
                    names.join("; ")
                );
                let help = "Make them, or give a name and for each a reason.";
                Unwritten::field("by", message, help)
            })
    }

    /// The open stage with the entry of its permit.
    fn stage<'w>(&self, state: &permit::State<'w>) -> Result<(u32, &StageView, Id), Unwritten> {
        let refused = |message: String| {
            let help = "Off, prove discharged; make the checks that are owed and ask for a permit.";
            Unwritten::field("", message, help)
        };
        let Some(bring_up) = state.bring_up.as_ref().filter(|_| state.permit().is_some()) else {
            let why = state
                .ended()
                .unwrap_or_else(|| "None was given.".to_owned());
            return Err(refused(format!(
                "Unit {} has no permit in force. {why}",
                self.unit
            )));
        };
        let number = self.form.text("stage").parse().unwrap_or(0);
        let stages = self.view.plan.as_ref().map_or(&[][..], |p| &p.stages);
        let stage = stages.get((number as usize).wrapping_sub(1));
        let Some(stage) = stage.filter(|_| number == bring_up.open_stage()) else {
            return Err(refused(format!("Stage {number} is not open.")));
        };
        Ok((number, stage, bring_up.entry.id.clone()))
    }

    fn watch(&self, work: &Work) -> Result<Event, Unwritten> {
        let state = self.state(work);
        let (number, stage, permit) = self.stage(&state)?;
        let (measured, at, black) = (
            self.form.text("measured"),
            self.form.text("red"),
            self.form.line("black"),
        );
        let is_own = |r: &&StageReading| {
            (r.kind, r.at.as_str(), r.black.as_deref()) == (measured, at, black.as_deref())
        };
        let kind = ReadingKind::ALL.into_iter().find(|k| k.word() == measured);
        let (Some(reading), Some(kind)) = (stage.readings.iter().find(is_own), kind) else {
            let message = "The stage has no such reading.";
            return Err(Unwritten::field("red", message, "Open the page anew."));
        };
        Ok(Event::Watch(Watch {
            unit: self.unit.clone(),
            permit,
            stage: number,
            kind,
            red: reading.at.clone(),
            black: reading.black.clone(),
            value: self.form.line("value").unwrap_or_default(),
            low: reading.low,
            high: reading.high,
        }))
    }

    /// A hold point is passed with every reading taken and held long enough, or signed for.
    fn hold(&self, work: &Work) -> Result<Event, Unwritten> {
        let state = self.state(work);
        let (number, stage, permit) = self.stage(&state)?;
        let rows = stage_rows(stage, number, state.bring_up.as_ref());
        let readings = rows
            .iter()
            .filter_map(|r| r.came.map(|(e, _)| e.id.clone()));
        let readings: Vec<Id> = readings.collect();
        let text = self.form.text("minutes").replace(',', ".");
        let minutes: f64 = text.parse().unwrap_or(0.0);
        let signed = Override::new(self.form.text("by"), self.form.text("reason"));
        let lacking = rows.len() - readings.len();
        if signed.is_none() && (lacking > 0 || minutes < stage.minutes) {
            let message = match lacking {
                0 => format!(
                    "Stage {number} is held for {} minutes, and {minutes} are written.",
                    stage.minutes
                ),
                _ => format!(
                    "Of stage {number} {lacking} of {} readings are not taken.",
                    rows.len()
                ),
            };
            let help = "Take and hold them, or sign for the hold point with a name and a reason.";
            return Err(Unwritten::field("minutes", message, help));
        }
        Ok(Event::Hold(Hold {
            unit: self.unit.clone(),
            permit,
            stage: number,
            readings,
            minutes,
            note: self.form.text("note").to_owned(),
            signed,
        }))
    }
}
