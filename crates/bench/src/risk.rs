//! `board risk`: what an unseen fault would destroy at switch-on, the cold readings that rule it out, and what contains the rest.

mod cold;
#[cfg(test)]
mod optimum;
mod precaution;
mod view;
mod whole;
mod wiring;
mod words;

use circuit::Fault;
use diagnose::card;
use predict::faults::FaultBoard;
use predict::stress::{Cascade, Powered, hazard_faults};
use rayon::prelude::*;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::course::Course;
use crate::meters::{MeterChoice, Meters};
use crate::places;
use crate::refused::Refused;
use crate::{Progress, Stop};
use cold::{Bench, Seen};

pub(crate) use precaution::step_up;
pub use precaution::{LimitValue, LimitView};
pub(crate) use view::against;
pub use view::{CardView, HazardView, RefusedView, UncoveredView, VictimView, View};
pub use whole::{Input, machine_sheets};
pub use wiring::WiringView;

pub(crate) use whole::{Whole, read as read_whole};
pub(crate) use words::{precaution, should};

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Meter.
    pub meter: MeterChoice,
    /// Use good lines in spite of bad ones.
    pub lenient: bool,
}

/// A hazard, worked out.
pub(crate) struct Hazard {
    pub fault: Fault,
    pub cascade: Cascade,
}

/// All that was worked out.
pub(crate) struct Worked {
    pub whole: Whole,
    pub hazards: Vec<Hazard>,
    pub view: View,
    precautions: OnceLock<Vec<precaution::Precaution>>,
}

impl Worked {
    /// The precaution of each hazard under which it destroys nothing, and a healthy circuit comes up.
    pub(crate) fn contain(
        &self,
        powered: &Powered<'_>,
        hazards: &[&Fault],
        progress: Progress<'_>,
    ) -> Vec<Option<LimitView>> {
        contain(&self.whole, &self.precautions, powered, hazards, progress)
    }
}

/// Works out the hazards, the card and the precautions.
///
/// # Errors
/// Bad input, a powered circuit that has no operating point, or stopped.
pub fn risk(
    input: &Input,
    options: &Options,
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<View, Refused> {
    let whole = whole::read(input, options.lenient)?;
    worked_out(whole, options, progress, stop).map(|w| w.view)
}

/// All that was worked out of what was read, for whoever needs more of it than the view.
pub(crate) fn worked_out(
    whole: Whole,
    options: &Options,
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<Worked, Refused> {
    let precautions = OnceLock::new();
    let (hazards, view) = of_whole(&whole, &precautions, options, progress, stop)?;
    Ok(Worked {
        whole,
        hazards,
        view,
        precautions,
    })
}

fn of_whole(
    whole: &Whole,
    precautions: &OnceLock<Vec<precaution::Precaution>>,
    options: &Options,
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Result<(Vec<Hazard>, View), Refused> {
    let meters = Meters::settle(&options.meter)?;
    if let Some(transformer) = places::undriven_rectifier(&whole.sheet) {
        return Err(places::undriven(&transformer));
    }
    let powered = Powered::new(&whole.sheet).map_err(|e| places::unsolved(&e, &whole.sheet))?;
    let faults = hazard_faults(&whole.sheet);
    let course = Course::new(progress);
    let (mut hazards, refused) = hazards(&powered, &faults, &course.part(0, 25), stop);
    stopped(stop)?;
    hazards.sort_by(|a, b| b.cascade.severity.total_cmp(&a.cascade.severity));
    let plain: Vec<Fault> = hazards.iter().map(|h| h.fault.clone()).collect();
    let benches: Vec<Bench<'_>> = whole
        .cold
        .iter()
        .map(|c| Bench::new(c, &plain))
        .collect::<Result<_, _>>()?;
    let (seen, card) = draw_card(&benches, plain.len(), &meters, &course, stop);
    stopped(stop)?;
    let open: Vec<&Fault> = card.uncovered.iter().map(|h| &plain[*h]).collect();
    let contained = contain(whole, precautions, &powered, &open, &course.part(88, 100));
    course.part(88, 100)(1, 1);
    let view = view::view(&view::Found {
        whole,
        powered: &powered,
        faults: faults.len(),
        hazards: &hazards,
        refused: &refused,
        benches: &benches,
        seen: &seen,
        card: &card,
        contained: &contained,
    });
    Ok((hazards, view))
}

/// The same; the list of precautions is made when it is first needed.
fn contain(
    whole: &Whole,
    precautions: &OnceLock<Vec<precaution::Precaution>>,
    powered: &Powered<'_>,
    hazards: &[&Fault],
    progress: Progress<'_>,
) -> Vec<Option<LimitView>> {
    if hazards.is_empty() {
        return Vec::new();
    }
    let list = precautions.get_or_init(|| precaution::precautions(whole, powered));
    precaution::contained(list, powered, hazards, progress)
}

pub(crate) fn stopped(stop: Stop<'_>) -> Result<(), Refused> {
    if stop() {
        return Err(Refused::unable(
            "It was stopped before it was done.",
            "Give it more time; a board of 300 parts takes some seconds.",
        ));
    }
    Ok(())
}

/// Follows every fault; those that destroy something, and those that could not be solved.
fn hazards(
    powered: &Powered<'_>,
    faults: &[Fault],
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> (Vec<Hazard>, Vec<(Fault, predict::Refusal)>) {
    let done = AtomicUsize::new(0);
    let all: Vec<Option<Result<Cascade, predict::Refusal>>> = faults
        .par_iter()
        .map(|fault| {
            if stop() {
                return None;
            }
            let found = powered.follow(fault);
            progress(done.fetch_add(1, Ordering::Relaxed) + 1, faults.len());
            Some(found)
        })
        .collect();
    let mut hazards = Vec::new();
    let mut refused = Vec::new();
    for (fault, found) in faults.iter().zip(all) {
        match found {
            Some(Ok(cascade)) if !cascade.victims.is_empty() => hazards.push(Hazard {
                fault: fault.clone(),
                cascade,
            }),
            Some(Err(refusal)) => refused.push((fault.clone(), refusal)),
            Some(Ok(_)) | None => {}
        }
    }
    (hazards, refused)
}

/// More readings than this are first weighed only at the hazards' own places; what they leave open is looked for everywhere.
const MANY: usize = 900;

/// Looks at the readings and chooses; what comes onto the card is looked at more closely, and the choice is made again until
/// nothing on it is a guess.
fn draw_card(
    benches: &[Bench<'_>],
    hazards: usize,
    meters: &Meters,
    course: &Course<'_>,
    stop: Stop<'_>,
) -> (Vec<Seen>, card::Card) {
    // First all boards by themselves, then what they leave open: each of these takes an equal share of the way.
    let share = |from: usize, index: usize| {
        let at = |index| from + 28 * index / benches.len().max(1);
        course.part(at(index), at(index + 1))
    };
    let faulty: Vec<FaultBoard<'_>> = benches.iter().map(Bench::faulty).collect();
    let mut seen: Vec<Seen> = Vec::new();
    let mut later = Vec::new();
    let everything = vec![true; hazards];
    // Boards out is what the work begins with; with all boards in their places only what that leaves open is looked for.
    let in_place = |b: &Bench<'_>| benches.len() > 1 && b.cold.unplugged.is_empty();
    for (index, bench) in benches.iter().enumerate() {
        let all = bench.candidates(meters);
        let places = bench.places(&everything);
        let few = all.len() <= MANY;
        let now = |o: &cold::Offer| !in_place(bench) && (few || near(&places, o));
        let (now, rest): (Vec<_>, Vec<_>) = all.into_iter().partition(now);
        seen.extend(look(
            bench,
            &faulty[index],
            index,
            now,
            &everything,
            &share(25, index),
            stop,
        ));
        later.push(rest);
    }
    let mut card = settled(benches, &faulty, hazards, &mut seen, stop);
    if !card.uncovered.is_empty() && later.iter().any(|l| !l.is_empty()) {
        let mut wanted = vec![false; hazards];
        card.uncovered.iter().for_each(|h| wanted[*h] = true);
        for (index, mut rest) in later.into_iter().enumerate() {
            let bench = &benches[index];
            if in_place(bench) {
                // A fault is seen at its own part, at points and rails, or not at all in so large a circuit.
                let places = bench.places(&wanted);
                rest.retain(|o| near(&places, o));
            }
            seen.extend(look(
                bench,
                &faulty[index],
                index,
                rest,
                &wanted,
                &share(55, index),
                stop,
            ));
        }
        card = settled(benches, &faulty, hazards, &mut seen, stop);
    }
    (seen, card)
}

/// Whether both leads stand at these places.
fn near(places: &[bool], (candidate, ..): &cold::Offer) -> bool {
    [&candidate.red, &candidate.black]
        .iter()
        .all(|l| places[l.net.index()])
}

fn look(
    bench: &Bench<'_>,
    faulty: &FaultBoard<'_>,
    index: usize,
    candidates: Vec<cold::Offer>,
    wanted: &[bool],
    progress: Progress<'_>,
    stop: Stop<'_>,
) -> Vec<Seen> {
    let done = AtomicUsize::new(0);
    let count = candidates.len();
    candidates
        .into_par_iter()
        .filter_map(|offer| {
            if stop() {
                return None;
            }
            let seen = bench.look(faulty, index, offer, wanted);
            progress(done.fetch_add(1, Ordering::Relaxed) + 1, count);
            seen.filter(Seen::tells)
        })
        .collect()
}

fn settled(
    benches: &[Bench<'_>],
    faulty: &[FaultBoard<'_>],
    hazards: usize,
    seen: &mut [Seen],
    stop: Stop<'_>,
) -> card::Card {
    loop {
        let offered: Vec<card::ColdReading> = seen.iter().map(Seen::offered).collect();
        let card = card::choose(hazards, &offered, &|| stop());
        let mut counted: Vec<Vec<usize>> = vec![Vec::new(); seen.len()];
        for entry in &card.entries {
            counted[entry.reading].clone_from(&entry.rules_out);
        }
        let changed = seen
            .par_iter_mut()
            .zip(&counted)
            .filter(|(_, c)| !c.is_empty())
            .map(|(s, c)| benches[s.bench].settle(&faulty[s.bench], s, c))
            .reduce(|| false, |a, b| a || b);
        if !changed || stop() {
            return card;
        }
    }
}
