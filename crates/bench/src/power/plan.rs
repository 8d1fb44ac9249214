//! `power plan`: a supply brought up in stages, with limits that no healthy unit crosses and hazards do.

mod stages;
mod stand_in;
mod words;

use circuit::Fault;
use predict::stress::Powered;
use rayon::prelude::*;
use serde::Serialize;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::MAINS;
use crate::course::Course;
use crate::meters::MeterChoice;
use crate::refused::{Complaint, Refused};
use crate::risk::{self, Input, LimitView, RefusedView};
use crate::{Progress, Stop};
use stages::Stage;

pub use stages::{MainsView, StageReading};

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Meter, for the cold card that stands before the first stage.
    pub meter: MeterChoice,
    /// Healthy units that are drawn to set the limits.
    pub units: usize,
    /// Mains voltage of the transformer's drawing, in hertz.
    pub hertz: f64,
    /// Use good lines in spite of bad ones.
    pub lenient: bool,
}

/// The answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct View {
    /// Name of the sheet or of the machine.
    pub sheet: String,
    /// What has to be said before the first stage.
    pub cautions: Vec<String>,
    /// What has to be done and held before the first stage.
    pub before: Vec<String>,
    /// How the volts of a stage are set.
    pub set: String,
    /// The stages, in order.
    pub stages: Vec<StageView>,
    /// Every hazard of `board risk`, and at which stage a limit shows it.
    pub hazards: Vec<PlanHazard>,
    /// What to do when a limit is crossed.
    pub when_crossed: Vec<String>,
    /// Healthy units that were drawn to set the limits.
    pub units: usize,
    /// Faults whose circuit could not be solved.
    pub refused: Vec<RefusedView>,
    /// Bad lines that were skipped.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub skipped: Vec<Complaint>,
}

/// One stage.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StageView {
    /// Share of the full voltage.
    pub share: f64,
    /// Share of the kilovolts; none where there are none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kilovolts: Option<f64>,
    /// What is connected, and what stays off.
    pub connected: String,
    /// What is set: each supply and its volts at this stage.
    pub supplies: Vec<(String, f64)>,
    /// To what the current of each supply is limited, in amperes: no healthy unit takes as much.
    pub limits: Vec<(String, f64)>,
    /// For how long it is held, in minutes.
    pub minutes: f64,
    /// What is read, with limits.
    pub readings: Vec<StageReading>,
    /// What the rectifiers do at this setting of a variable transformer, where the sheet has any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mains: Option<MainsView>,
    /// Hazards that a limit of this stage shows first.
    pub shows: Vec<usize>,
    /// What has to hold before the next stage.
    pub hold: String,
}

/// A hazard and the stages.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlanHazard {
    /// The fault.
    pub with: String,
    /// Severity at full power.
    pub severity: f64,
    /// First stage at which a limit is crossed; null if none is.
    pub shown_at: Option<usize>,
    /// First stage at which something is destroyed.
    pub destroys_at: Option<usize>,
    /// A limit is crossed at a stage at which nothing is destroyed yet.
    pub in_time: bool,
    /// What contains it if the stages do not show it in time; null: do not power before the cold card rules it out.
    pub limit: Option<LimitView>,
    /// Readings of the cold card that rule it out.
    pub detected_by: Vec<usize>,
    /// What stands against it if no stage shows it in time; empty if one does.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub says: String,
}

/// The plan together with the card that stands before its first stage.
#[derive(Debug)]
pub struct Answer {
    /// Hazards and cold card.
    pub card: risk::View,
    /// The plan, or why there is none.
    pub plan: Result<View, Refused>,
}

/// Makes the plan.
///
/// # Errors
/// Bad input, a circuit without an operating point, or stopped.
pub fn plan(
    input: &Input,
    options: &Options,
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<View, Refused> {
    with_card(input, options, progress, stop)?.plan
}

/// Makes the plan and keeps the card, so that who shows both works them out once.
///
/// # Errors
/// Bad input, a circuit without an operating point at full power, or stopped.
pub fn with_card(
    input: &Input,
    options: &Options,
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<Answer, Refused> {
    let risk_options = risk::Options {
        meter: options.meter.clone(),
        lenient: options.lenient,
    };
    let mut whole = risk::read_whole(input, options.lenient)?;
    stand_in::stand_in(&mut whole.sheet, options.hertz)?;
    let course = Course::new(progress);
    let worked = risk::worked_out(whole, &risk_options, &course.part(0, 60), stop)?;
    let plan = of_worked(&worked, input, options, &course, stop);
    course.part(90, 100)(1, 1);
    Ok(Answer {
        card: worked.view,
        plan,
    })
}

fn of_worked(
    worked: &risk::Worked,
    input: &Input,
    options: &Options,
    course: &Course<'_>,
    stop: Stop<'_>,
) -> Result<View, Refused> {
    let sheet = &worked.whole.sheet;
    let plain = Powered::new(sheet).map_err(|e| crate::places::unsolved(&e, sheet))?;
    let mut mains = stages::mains(&worked.whole, options.hertz);
    let stages = stages::stages(sheet, &plain, options.units, &course.part(60, 75))?;
    risk::stopped(stop)?;
    let faults: Vec<&Fault> = worked.hazards.iter().map(|h| &h.fault).collect();
    let at_stages: Vec<Option<Powered<'_>>> = stages
        .iter()
        .map(|stage| Powered::under(&plain, &stage.sheet).ok())
        .collect();
    let (done, telling) = (AtomicUsize::new(0), course.part(75, 90));
    let told: Vec<Told> = faults
        .par_iter()
        .map(|f| {
            let told = told(&stages, &at_stages, f);
            telling(done.fetch_add(1, Ordering::Relaxed) + 1, faults.len());
            told
        })
        .collect();
    risk::stopped(stop)?;
    let late: Vec<&Fault> = faults
        .iter()
        .zip(&told)
        .filter(|(_, t)| !t.in_time())
        .map(|(f, _)| *f)
        .collect();
    let mut contained = worked
        .contain(&plain, &late, &course.part(90, 100))
        .into_iter();
    let hazards: Vec<PlanHazard> = worked
        .hazards
        .iter()
        .zip(&told)
        .enumerate()
        .map(|(k, (h, t))| {
            let limit = match t.in_time() {
                true => None,
                false => contained.next().flatten(),
            };
            let detected_by = worked.view.hazards[k].detected_by.clone();
            let says = match t.in_time() {
                true => String::new(),
                false => words::against(sheet, &h.fault, limit.as_ref(), &detected_by),
            };
            PlanHazard {
                with: worked.view.hazards[k].with.clone(),
                severity: h.cascade.severity,
                shown_at: t.shown,
                destroys_at: t.destroys,
                in_time: t.in_time(),
                limit,
                detected_by,
                says,
            }
        })
        .collect();
    let views = stages
        .iter()
        .enumerate()
        .map(|(k, stage)| StageView {
            share: stage.setting.share,
            kilovolts: stage.setting.kilovolts,
            connected: words::connected(&worked.whole, stage),
            supplies: stage.supplies.clone(),
            limits: stage.limits(),
            minutes: words::minutes(stage.setting),
            readings: stage.readings.clone(),
            mains: mains.get_mut(k).and_then(Option::take),
            shows: (0..hazards.len())
                .filter(|h| hazards[*h].shown_at == Some(k) && hazards[*h].in_time)
                .collect(),
            hold: words::hold(stage.setting),
        })
        .collect();
    Ok(View {
        sheet: worked.view.sheet.clone(),
        cautions: words::cautions(&worked.view, MAINS),
        before: words::before(&worked.view, input),
        stages: views,
        hazards,
        when_crossed: words::when_crossed(),
        set: words::set(&worked.whole.sheet),
        units: options.units,
        refused: worked.view.refused.clone(),
        skipped: worked.view.skipped.clone(),
    })
}

/// When a hazard shows and when it destroys.
struct Told {
    shown: Option<usize>,
    destroys: Option<usize>,
}

impl Told {
    /// A limit is crossed while nothing is lost yet.
    fn in_time(&self) -> bool {
        match (self.shown, self.destroys) {
            (Some(shown), Some(destroys)) => shown < destroys,
            (Some(_), None) => true,
            (None, _) => false,
        }
    }
}

fn told(stages: &[Stage], at_stages: &[Option<Powered<'_>>], fault: &Fault) -> Told {
    let mut told = Told {
        shown: None,
        destroys: None,
    };
    for (k, (stage, under)) in stages.iter().zip(at_stages).enumerate() {
        let Some(under) = under else {
            continue;
        };
        // A circuit that cannot be solved is taken to be lost.
        let (crossed, lost) = match under.follow_watched(fault) {
            Ok((first, cascade)) => (stage.crossed(&first), !cascade.victims.is_empty()),
            Err(_) => (false, true),
        };
        if crossed && told.shown.is_none() {
            told.shown = Some(k);
        }
        if lost && told.destroys.is_none() {
            told.destroys = Some(k);
        }
        if told.shown.is_some() && told.destroys.is_some() {
            break;
        }
    }
    told
}
