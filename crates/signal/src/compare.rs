//! Two recordings of like signals compared: where they differ, how, and where they first part company.

use crate::align::{Alignment, Train, Unaligned, align};
use crate::axis::Axis;
use crate::blocks::{Block, blocks};
use crate::capture::Trace;
use crate::differences::{Difference, Kind};
use crate::edges::{self, Edges};
use crate::levels::{Levels, guess, levels};
use crate::matching::{Gates, Matching, matching};
use crate::measure::typical_duration;
use crate::{plateaus, shapes};
use std::sync::Arc;
use units::Seconds;

/// What a person may set for a comparison.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Settings {
    /// A transition shifted by less than this has not moved; two samples if not given.
    pub tolerance: Option<Seconds>,
}

/// The outcome of comparing one channel of two recordings.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// How b lies over a, or why it cannot be said.
    pub alignment: Result<Alignment, Unaligned>,
    /// Transitions matched.
    pub matched: usize,
    /// Differences in order of time.
    pub differences: Vec<Difference>,
}

impl Compared {
    /// Time of the first difference on a's axis, seconds.
    pub fn first(&self) -> Option<f64> {
        self.differences.first().map(|d| d.at_a)
    }

    fn unaligned(why: Unaligned) -> Compared {
        Compared {
            alignment: Err(why),
            matched: 0,
            differences: Vec::new(),
        }
    }
}

/// Samples of one channel with all that is known of them.
pub(crate) struct Sampled<'a> {
    pub axis: &'a Axis,
    pub samples: &'a [f32],
    pub blocks: Vec<Block>,
}

/// One channel of one recording, made ready for comparison.
pub struct Prepared<'a> {
    pub(crate) sampled: Option<Sampled<'a>>,
    /// Its states and noise.
    pub levels: Levels,
    /// Its transitions in sample indices, or seconds for steps.
    pub edges: Edges,
    /// Its transitions in time.
    pub train: Train,
    /// Typical 10 to 90 % duration of a transition in samples.
    pub(crate) rise: f64,
}

/// Finds levels and transitions of one channel; none if it holds too little.
pub fn prepare(trace: &Trace) -> Option<Prepared<'_>> {
    match trace {
        Trace::Sampled { axis, samples } => prepare_samples(axis, samples),
        Trace::Stepped(steps) => {
            let levels = edges::step_levels(steps)?;
            let found = edges::step_edges(steps, &levels);
            let train = Train {
                times: found.at.clone(),
                first_rises: found.first_rises,
                span: trace.span()?,
                unit: steps.tick,
                jitter: 0.3 * steps.tick,
            };
            Some(Prepared {
                sampled: None,
                levels,
                edges: found,
                train,
                rise: 0.0,
            })
        }
    }
}

/// The same for samples on a time base.
pub fn prepare_samples<'a>(axis: &'a Arc<Axis>, samples: &'a [f32]) -> Option<Prepared<'a>> {
    let (all, levels, found) = walked(samples)?;
    let rise = typical_duration(samples, &levels, &found).unwrap_or(1.0);
    let unit = axis.interval();
    let slope = 0.8 * levels.amplitude() / rise.max(1.0);
    let jitter = if slope > 0.0 {
        unit * (levels.noise / slope).hypot(0.03)
    } else {
        unit
    };
    let train = Train {
        times: found.at.iter().map(|i| axis.time(*i)).collect(),
        first_rises: found.first_rises,
        span: (axis.time(0.0), axis.time(samples.len() as f64 - 1.0)),
        unit,
        jitter,
    };
    Some(Prepared {
        sampled: Some(Sampled {
            axis,
            samples,
            blocks: all,
        }),
        levels,
        edges: found,
        train,
        rise,
    })
}

/// Blocks, states and transitions of a channel. What a few samples tell of the states mostly holds for all, and then one walk finds the rest.
pub(crate) fn walked(samples: &[f32]) -> Option<(Vec<Block>, Levels, Edges)> {
    if let Some(guess) = guess(samples) {
        let (all, found) = edges::blocks_and_edges(samples, &guess.levels);
        if guess.holds(&all) {
            return Some((all, guess.levels, found));
        }
    }
    let all = blocks(samples);
    let levels = levels(samples, &all)?;
    let found = edges::edges(samples, &all, &levels);
    Some((all, levels, found))
}

/// Compares two channels.
pub fn compare(a: &Trace, b: &Trace, settings: &Settings) -> Compared {
    match (prepare(a), prepare(b)) {
        (Some(a), Some(b)) => compare_prepared(&a, &b, settings, None),
        _ => Compared::unaligned(Unaligned::TooFewEdges(0, 0)),
    }
}

/// Compares two prepared channels; with `laid` under an alignment known from another channel of the same recordings.
pub fn compare_prepared(
    a: &Prepared,
    b: &Prepared,
    settings: &Settings,
    laid: Option<&Alignment>,
) -> Compared {
    let alignment = match laid {
        Some(alignment) => alignment.clone(),
        None => match align(&a.train, &b.train) {
            Ok(alignment) => alignment,
            Err(why) => return Compared::unaligned(why),
        },
    };
    let unit = a.train.unit.max(b.train.unit);
    let tolerance = settings.tolerance.map_or(2.0 * unit, |s| s.0);
    let sigma = alignment
        .sigma
        .max(0.5 * a.train.jitter.hypot(b.train.jitter));
    let count = a.train.times.len().max(b.train.times.len()).max(2) as f64;
    let gates = Gates {
        moved: tolerance.max(chance_bound(count).max(3.0) * sigma),
        margin: 3.0 * unit + tolerance.max(3.0 * sigma),
    };
    let matched = matching(&a.train, &b.train, &alignment, &gates);
    let mut differences = lone_pulses(a, b, &alignment, &matched);
    let (steps, courses) = looked_at(a, b, &matched);
    let off_levels = plateaus::compare(a, b, &matched, &steps, &mut differences);
    let moved = moved(a, b, &matched, &gates, &off_levels, &mut differences);
    shapes::compare(
        a,
        b,
        &matched,
        &moved,
        &off_levels,
        &courses,
        &mut differences,
    );
    differences.sort_by(|x, y| x.at_a.total_cmp(&y.at_a));
    Compared {
        matched: matched.pairs.len(),
        alignment: Ok(alignment),
        differences,
    }
}

/// Plateaus, low and high, and courses of all pairs, in one walk along both recordings: they are long, and memory is slow.
fn looked_at(
    a: &Prepared,
    b: &Prepared,
    matched: &Matching,
) -> ([Vec<plateaus::Step>; 2], Vec<shapes::Course>) {
    let (mut steps, mut courses) = ([Vec::new(), Vec::new()], Vec::new());
    let (Some(sa), Some(sb)) = (&a.sampled, &b.sampled) else {
        return (steps, courses);
    };
    courses.reserve(matched.pairs.len());
    let rises = plateaus::rises(a, b);
    for (k, pair) in matched.pairs.iter().enumerate() {
        courses.extend(shapes::course(
            a,
            b,
            sa,
            sb,
            (pair.a as usize, pair.b as usize),
            k,
        ));
        if let Some(next) = matched.pairs.get(k + 1) {
            let high = a.train.rises(pair.a as usize);
            steps[usize::from(high)].extend(plateaus::step(a, b, (*pair, *next), rises, k));
        }
    }
    (steps, courses)
}

/// Deviations that the greatest of so many normal ones stays below in all but one case in a thousand.
pub(crate) fn chance_bound(count: f64) -> f64 {
    // tail of the normal distribution bounded by exp(-z^2 / 2)
    (2.0 * (count / 1e-3).ln()).sqrt()
}

/// Lone transitions, two neighbours as one pulse.
fn lone_pulses(
    a: &Prepared,
    b: &Prepared,
    alignment: &Alignment,
    matched: &Matching,
) -> Vec<Difference> {
    let mut found = Vec::new();
    let mut gather =
        |lone: &[u32], train: &Train, kind: Kind, place: &dyn Fn(usize) -> (f64, f64)| {
            let mut k = 0;
            while k < lone.len() {
                let i = lone[k] as usize;
                let twin = lone.get(k + 1).is_some_and(|n| *n as usize == i + 1);
                let (at_a, at_b) = place(i);
                let width = twin.then(|| train.times[i + 1] - train.times[i]);
                found.push(Difference {
                    kind,
                    at_a,
                    at_b,
                    rises: train.rises(i),
                    amount: width,
                    whole: false,
                });
                k += 1 + twin as usize;
            }
        };
    gather(&matched.missing, &a.train, Kind::Missing, &|i| {
        (a.train.times[i], matched.expected[i])
    });
    gather(&matched.extra, &b.train, Kind::Extra, &|j| {
        (alignment.back(b.train.times[j]), b.train.times[j])
    });
    found
}

/// Matched transitions whose place differs; marks them by their position among the pairs.
fn moved(
    a: &Prepared,
    b: &Prepared,
    matched: &Matching,
    gates: &Gates,
    off_levels: &[bool],
    differences: &mut Vec<Difference>,
) -> Vec<bool> {
    let mut marks = vec![false; matched.pairs.len()];
    for (k, pair) in matched.pairs.iter().enumerate() {
        let (i, j) = (pair.a as usize, pair.b as usize);
        let mut by = b.train.times[j] - matched.expected[i];
        if by.abs() <= gates.moved {
            continue;
        }
        // beside a wrong level the half-way point itself has shifted: compare at each transition's own half
        if off_levels[k] || (k > 0 && off_levels[k - 1]) {
            by = plateaus::own_half(b, j).unwrap_or(b.train.times[j])
                - matched.expected[i]
                - (plateaus::own_half(a, i).unwrap_or(a.train.times[i]) - a.train.times[i]);
            if by.abs() <= gates.moved {
                continue;
            }
        }
        marks[k] = true;
        differences.push(Difference {
            kind: Kind::Moved,
            at_a: a.train.times[i],
            at_b: b.train.times[j],
            rises: a.train.rises(i),
            amount: Some(by),
            whole: false,
        });
    }
    marks
}
