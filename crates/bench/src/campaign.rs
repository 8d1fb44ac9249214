//! `board campaign`: every single fault against every reading, counted.

use std::sync::atomic::{AtomicUsize, Ordering};

use predict::faults::{FaultBoard, Tally, campaign_faults, campaign_places, tally};
use rayon::prelude::*;
use record::{ReadingKind, State};
use serde::Serialize;

use crate::loading::{self, Text};
use crate::meters::{MeterChoice, Meters, no_question, question};
use crate::places::{self, Treatment};
use crate::refused::{Complaint, Refused};
use crate::{Progress, Stop};

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Meter.
    pub meter: MeterChoice,
    /// Use good lines in spite of bad ones.
    pub lenient: bool,
}

/// What was done; a pair is a fault and a reading.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct View {
    /// Name of the sheet.
    pub sheet: String,
    /// Parts on it.
    pub parts: usize,
    /// Nets on it.
    pub nets: usize,
    /// Faults that were assumed, one at a time.
    pub faults: usize,
    /// Readings that were taken with all of them.
    pub readings: usize,
    /// Pairs that were answered.
    pub solves: usize,
    /// Pairs among them that were proven unmoved without a solve.
    pub screened: usize,
    /// Pairs that have no answer.
    pub failed: usize,
    /// Pairs in which the fault moves the leads by more than 10 mV.
    pub changed: usize,
    /// Pairs that took laying out the whole circuit anew.
    pub anew: usize,
    /// Seconds that went by.
    pub seconds: f64,
    /// Processor seconds of the whole program.
    pub cpu_seconds: f64,
    /// Threads at work.
    pub threads: usize,
    /// Bad lines that were skipped.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub skipped: Vec<Complaint>,
}

/// Takes every reading of the campaign with every fault, on all cores, until `stop` says so.
///
/// A reading that was begun is finished, and counts are of what was done. The times are left at
/// zero for whoever has a clock.
///
/// # Errors
/// Bad input, a meter without a diode test, or no operating point.
pub fn campaign(
    text: &Text,
    options: &Options,
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<View, Refused> {
    let loaded = loading::sheet(text, options.lenient)?;
    let sheet = loaded.value;
    let meters = Meters::settle(&options.meter)?;
    let meter = meters.current();
    let question = question(meter, ReadingKind::Diode).ok_or_else(|| {
        Refused::input(
            no_question(meter, ReadingKind::Diode),
            "Name a meter that has a diode test with --meter.",
        )
    })?;
    let places = campaign_places(&sheet);
    if places.is_empty() {
        return Err(Refused::input(
            format!(
                "The sheet {} has no ground net and no rail, against which nets could be read.",
                sheet.name
            ),
            "Write `net \"0V\" role=ground`.",
        ));
    }
    let board = places::board(&sheet, State::Cold, &Treatment::default())?;
    let values = board.network.population.nominal();
    let faults = campaign_faults(&sheet);
    let faulty = FaultBoard::new(&board, &sheet, &values, &faults);
    let done = AtomicUsize::new(0);
    let total = places
        .par_iter()
        .map(|(red, black)| {
            // One reading at least, so that there is something to tell.
            if stop() && done.load(Ordering::Relaxed) > 0 {
                return Tally::default();
            }
            let tally = tally(&faulty, red.0, black.0, &question);
            progress(done.fetch_add(1, Ordering::Relaxed) + 1, places.len());
            tally
        })
        .reduce(Tally::default, Tally::plus);
    Ok(View {
        parts: sheet.parts.len(),
        nets: sheet.nets.len(),
        faults: faults.len(),
        readings: done.into_inner(),
        solves: total.solves,
        screened: total.screened,
        failed: total.failed,
        changed: total.changed,
        anew: total.anew,
        seconds: 0.0,
        cpu_seconds: 0.0,
        threads: rayon::current_num_threads(),
        skipped: loaded.skipped,
        sheet: sheet.name,
    })
}

impl View {
    /// The same with what the work took.
    pub fn timed(self, seconds: f64, cpu_seconds: f64) -> Self {
        Self {
            seconds,
            cpu_seconds,
            ..self
        }
    }

    /// The answer for people.
    pub fn to_text(&self) -> String {
        let share = |n: usize| 100.0 * n as f64 / (self.solves.max(1) as f64);
        format!(
            "Sheet {}: {} parts, {} nets\n\
             {} faults against {} readings: {} pairs answered, {} without an answer\n\
             {:>5.1} % proven unmoved without solving\n\
             {:>5.1} % move the reading by more than 10 mV\n\
             {:>5.1} % took laying out the whole circuit anew\n\
             {:.1} s on {} threads, {:.1} s of processor time: {:.0} pairs a processor second\n",
            self.sheet,
            self.parts,
            self.nets,
            self.faults,
            self.readings,
            self.solves,
            self.failed,
            share(self.screened),
            share(self.changed),
            share(self.anew),
            self.seconds,
            self.threads,
            self.cpu_seconds,
            self.solves as f64 / self.cpu_seconds.max(1e-9),
        )
    }
}
