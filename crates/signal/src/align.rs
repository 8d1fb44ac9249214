//! Two trains of transitions laid over each other: offset, clock rate and slow drift, or a plain statement that it cannot be done.
//!
//! Runs of three intervals between transitions are looked up from one train in the other, and vote for a shift; the best shifts are
//! followed both ways by a filter that learns offset and rate as it goes; the survivor is fitted as a whole, without its outliers.

use crate::measure::median;
use crate::track::{Pair, follow};

/// Transitions of one channel in time.
#[derive(Clone, Debug, PartialEq)]
pub struct Train {
    /// Times in seconds, rising.
    pub times: Vec<f64>,
    /// Whether the first one rises.
    pub first_rises: bool,
    /// Start and end of the recording in seconds.
    pub span: (f64, f64),
    /// Seconds a sample or tick.
    pub unit: f64,
    /// Standard deviation of one time from noise, seconds.
    pub jitter: f64,
}

impl Train {
    /// Whether transition `i` rises.
    #[inline]
    pub fn rises(&self, i: usize) -> bool {
        self.first_rises ^ (i % 2 == 1)
    }

    fn length(&self) -> f64 {
        (self.span.1 - self.span.0).max(self.unit)
    }
}

/// How times of one recording lie on another's axis: `t_b = offset + (1 + rate) t_a + drift(t_a)`.
#[derive(Clone, Debug, PartialEq)]
pub struct Alignment {
    /// Seconds at `t_a` = 0.
    pub offset: f64,
    /// Relative excess of b's clock over a's; 1e-6 is one part in a million.
    pub rate: f64,
    /// Slow drift beside the straight line: times on a's axis and seconds, straight between them.
    pub drift: Vec<(f64, f64)>,
    /// Standard deviation of a pair of transitions around the fit, seconds, outliers left out.
    pub sigma: f64,
    /// Standard uncertainty of the offset, seconds.
    pub offset_uncertainty: f64,
    /// Standard uncertainty of the rate.
    pub rate_uncertainty: f64,
    /// The signal repeats: shifts by this many seconds fit as well, and the one nearest to zero was taken.
    pub repeats: Option<f64>,
}

impl Alignment {
    /// Where a time of a lies on b's axis, seconds.
    pub fn map(&self, t_a: f64) -> f64 {
        self.offset + (1.0 + self.rate) * t_a + interpolate(&self.drift, t_a)
    }

    /// Where a time of b lies on a's axis, seconds.
    pub fn back(&self, t_b: f64) -> f64 {
        let mut t = (t_b - self.offset) / (1.0 + self.rate);
        for _ in 0..3 {
            t = (t_b - self.offset - interpolate(&self.drift, t)) / (1.0 + self.rate);
        }
        t
    }
}

fn interpolate(knots: &[(f64, f64)], t: f64) -> f64 {
    match knots {
        [] => 0.0,
        [one] => one.1,
        _ => {
            // beyond the ends the last piece goes on, but not further than one piece
            let i = knots
                .partition_point(|k| k.0 <= t)
                .clamp(1, knots.len() - 1);
            let ((x0, y0), (x1, y1)) = (knots[i - 1], knots[i]);
            y0 + (y1 - y0) * ((t - x0) / (x1 - x0)).clamp(-1.0, 2.0)
        }
    }
}

/// Why two recordings could not be laid over each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unaligned {
    /// Fewer than two transitions in the first or the second recording.
    TooFewEdges(usize, usize),
    /// The best shift found pairs only this share of the transitions that overlap.
    NoLikeness(f64),
}

impl std::fmt::Display for Unaligned {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Unaligned::TooFewEdges(a, b) => write!(
                f,
                "Too few transitions to align by: {a} in A, {b} in B; two in each are the least."
            ),
            Unaligned::NoLikeness(share) => write!(
                f,
                "No shift lays these over each other: the best one pairs {:.0} in 100 of their transitions, and six in ten are the least.",
                100.0 * share
            ),
        }
    }
}

/// Least share of overlapping transitions that must pair before two recordings count as one signal; unrelated data on a
/// common clock pair by chance in a quarter to four tenths of them.
const LEAST_SHARE: f64 = 0.6;
/// Greatest scatter around the fit as a share of the distance of like transitions.
const LARGEST_SCATTER: f64 = 0.1;
/// Transitions whose interval runs are looked up at once.
const WINDOW: usize = 512;
/// Shifts that are followed through the whole recording at most.
const CANDIDATES: usize = 6;

/// A shift to try: `t_b - t_a` around time `at` of a.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Seed {
    pub at: f64,
    pub shift: f64,
    pub votes: usize,
}

struct Followed {
    pairs: Vec<Pair>,
    share: f64,
    /// Pairs less half of what stayed alone in the overlap.
    score: f64,
    /// Shift at time zero, or at a's start if zero is not recorded.
    home: f64,
    rate: f64,
}

/// Time zero if it is recorded (a trigger, mostly), else the start.
fn home_time(a: &Train) -> f64 {
    if a.span.0 <= 0.0 && a.span.1 >= 0.0 {
        0.0
    } else {
        a.span.0
    }
}

/// Aligns two trains.
pub fn align(a: &Train, b: &Train) -> Result<Alignment, Unaligned> {
    let (n_a, n_b) = (a.times.len(), b.times.len());
    if n_a < 2 || n_b < 2 {
        return Err(Unaligned::TooFewEdges(n_a, n_b));
    }
    let seeds = if n_a * n_b <= 60_000 {
        by_pairs(a, b)
    } else {
        by_intervals(a, b)
    };
    let mut tried: Vec<Followed> = Vec::new();
    let unit = a.unit.max(b.unit);
    let most = seeds.first().map_or(0, |s| s.votes);
    for seed in seeds.iter().take(5 * CANDIDATES) {
        // votes from other places for a shift that was followed already are no rivals
        let known = |t: &Followed| {
            (t.home + t.rate * (seed.at - home_time(a)) - seed.shift).abs()
                < 6.0 * unit + 10.0 * a.jitter.hypot(b.jitter)
        };
        if tried.iter().any(known) {
            continue;
        }
        if tried.len() >= CANDIDATES
            || (seed.votes * 10 < most * 7 && tried.iter().any(|t| t.share > 0.8))
        {
            break;
        }
        tried.extend(attempt(a, b, seed));
    }
    let mut repeats = None;
    if let [first, second] = rivals(&tried)[..] {
        let pitch = (tried[first].home - tried[second].home).abs();
        if pitch > 4.0 * unit {
            repeats = Some(pitch);
            let home = tried[first].home;
            let nearest = home - (home / pitch).round() * pitch;
            if (nearest - home).abs() > 0.5 * pitch {
                tried.extend(attempt(
                    a,
                    b,
                    &Seed {
                        at: home_time(a),
                        shift: nearest,
                        votes: 0,
                    },
                ));
            }
        }
    }
    let best = tried.iter().map(|t| t.score).fold(f64::MIN, f64::max);
    let near = |t: &&Followed| t.score >= best - (0.02 * best.abs()).max(2.0);
    let chosen = tried
        .iter()
        .filter(near)
        .min_by(|x, y| x.home.abs().total_cmp(&y.home.abs()));
    match chosen {
        Some(chosen) if chosen.share >= LEAST_SHARE && chosen.pairs.len() >= 2 => {
            let fitted = fit(a, b, &chosen.pairs);
            // transitions paired by chance lie anywhere in the space between their neighbours
            if fitted.sigma > LARGEST_SCATTER * spacing(a) {
                return Err(Unaligned::NoLikeness(0.0));
            }
            Ok(Alignment { repeats, ..fitted })
        }
        other => Err(Unaligned::NoLikeness(other.map_or(0.0, |t| t.share))),
    }
}

/// Median distance of neighbouring transitions of one direction, seconds.
fn spacing(train: &Train) -> f64 {
    let mut gaps: Vec<f64> = train
        .times
        .windows(3)
        .step_by((train.times.len() / 2000).max(1))
        .map(|w| w[2] - w[0])
        .collect();
    if gaps.is_empty() {
        f64::MAX
    } else {
        median(&mut gaps)
    }
}

/// The two best attempts if they are about equally good.
fn rivals(tried: &[Followed]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..tried.len()).collect();
    order.sort_by(|x, y| tried[*y].score.total_cmp(&tried[*x].score));
    order.truncate(2);
    let close = order.len() == 2
        && tried[order[1]].score > 0.9 * tried[order[0]].score
        && tried[order[1]].share >= LEAST_SHARE;
    if close { order } else { Vec::new() }
}

fn attempt(a: &Train, b: &Train, seed: &Seed) -> Option<Followed> {
    let pairs = follow(a, b, seed)?;
    if pairs.is_empty() {
        return None;
    }
    // overlap by the straight line through the pairs
    let (offset, rate) = line(&pairs, a, b, |_| 1.0);
    let on_b = |t: f64| t + offset + rate * t;
    let slack = 2.0 * a.unit.max(b.unit);
    let (from, to) = (
        on_b(a.span.0).max(b.span.0) - slack,
        on_b(a.span.1).min(b.span.1) + slack,
    );
    let in_a = count_within(
        &a.times,
        (from - offset) / (1.0 + rate),
        (to - offset) / (1.0 + rate),
    );
    let in_b = count_within(&b.times, from, to);
    let share = pairs.len() as f64 / in_a.max(in_b).max(1) as f64;
    let alone = (in_a + in_b).saturating_sub(2 * pairs.len()) as f64;
    let home = offset + rate * home_time(a);
    Some(Followed {
        share,
        rate,
        score: pairs.len() as f64 - 0.5 * alone,
        pairs,
        home,
    })
}

fn count_within(times: &[f64], from: f64, to: f64) -> usize {
    times
        .partition_point(|t| *t <= to)
        .saturating_sub(times.partition_point(|t| *t < from))
}

/// All shifts of like transitions, gathered where they crowd.
fn by_pairs(a: &Train, b: &Train) -> Vec<Seed> {
    let mut shifts = Vec::new();
    for (i, t_a) in a.times.iter().enumerate() {
        for (j, t_b) in b.times.iter().enumerate() {
            if a.rises(i) == b.rises(j) {
                shifts.push((t_b - t_a, *t_a));
            }
        }
    }
    let width = crowd_width(a, b, a.length().min(b.length()));
    crowds(shifts, width)
}

fn crowd_width(a: &Train, b: &Train, length: f64) -> f64 {
    (6.0 * a.unit.max(b.unit)).max(10.0 * a.jitter.hypot(b.jitter)) + 2e-4 * length
}

/// The most crowded shifts first; of equals, the smaller shift.
fn crowds(mut shifts: Vec<(f64, f64)>, width: f64) -> Vec<Seed> {
    shifts.sort_unstable_by(|x, y| x.0.total_cmp(&y.0));
    let mut crowds: Vec<Seed> = Vec::new();
    let mut low = 0;
    for high in 0..shifts.len() {
        while shifts[high].0 - shifts[low].0 > width {
            low += 1;
        }
        let votes = high - low + 1;
        let middle = shifts[low + votes / 2];
        match crowds.last_mut() {
            Some(last) if middle.0 - last.shift <= width => {
                if votes > last.votes {
                    *last = Seed {
                        at: middle.1,
                        shift: middle.0,
                        votes,
                    };
                }
            }
            _ => crowds.push(Seed {
                at: middle.1,
                shift: middle.0,
                votes,
            }),
        }
    }
    let most = crowds.iter().map(|s| s.votes).max().unwrap_or(0);
    crowds.retain(|s| s.votes * 2 >= most);
    crowds.sort_by(|x, y| {
        y.votes
            .cmp(&x.votes)
            .then(x.shift.abs().total_cmp(&y.shift.abs()))
    });
    // among nearly equal crowds of a repeating signal the small shifts matter, not the last vote
    let equal = crowds
        .iter()
        .take_while(|s| s.votes as f64 >= 0.97 * most as f64 - 2.0)
        .count();
    crowds[..equal].sort_by(|x, y| x.shift.abs().total_cmp(&y.shift.abs()));
    crowds
}

/// Shifts for which runs of three intervals agree, from a window of a's transitions against all of b's.
fn by_intervals(a: &Train, b: &Train) -> Vec<Seed> {
    let mut all: Vec<Seed> = Vec::new();
    let n = a.times.len();
    let window = WINDOW.min(n);
    for place in [0.05, 0.5, 0.9, 0.3, 0.7] {
        let from = ((n - window) as f64 * place) as usize;
        let seeds = window_votes(a, b, from, from + window);
        let clear = seeds.first().is_some_and(|s| s.votes * 10 > window * 3);
        all.extend(seeds.into_iter().take(CANDIDATES));
        if clear {
            break;
        }
    }
    all.sort_by_key(|s| std::cmp::Reverse(s.votes));
    let most = all.first().map_or(0, |s| s.votes);
    let equal = all
        .iter()
        .take_while(|s| s.votes as f64 >= 0.9 * most as f64)
        .count();
    all[..equal].sort_by(|x, y| x.shift.abs().total_cmp(&y.shift.abs()));
    all
}

/// Equal runs kept of one kind: a clock is all one run and says nothing, and must not cost more than it says.
const EQUAL_RUNS: u32 = 6;

fn window_votes(a: &Train, b: &Train, from: usize, to: usize) -> Vec<Seed> {
    let bin = (4.0 * a.unit.max(b.unit)).max(8.0 * a.jitter.hypot(b.jitter));
    let key = |rises: bool, bins: [i64; 3]| {
        let mixed = bins.iter().fold(rises as u64 + 1, |h, q| {
            (h ^ *q as u64)
                .wrapping_mul(0x9E37_79B9_7F4A_7C15)
                .rotate_left(29)
        });
        mixed ^ (mixed >> 31)
    };
    const SLOTS: usize = 1 << 14;
    let mut slots = vec![u32::MAX; SLOTS];
    let mut entries: Vec<(u64, u32)> = Vec::new();
    for i in from..to.min(a.times.len().saturating_sub(3)) {
        let bins: Vec<[i64; 2]> = (0..3)
            .map(|k| {
                let place = (a.times[i + k + 1] - a.times[i + k]) / bin;
                let whole = place.floor() as i64;
                [
                    whole,
                    if place - place.floor() < 0.5 {
                        whole - 1
                    } else {
                        whole + 1
                    },
                ]
            })
            .collect();
        for choice in 0..8usize {
            let pick = |k: usize| bins[k][choice >> k & 1];
            let key = key(a.rises(i), [pick(0), pick(1), pick(2)]);
            let mut slot = key as usize % SLOTS;
            let mut equal = 0;
            while slots[slot] != u32::MAX && equal < EQUAL_RUNS {
                equal += (entries[slots[slot] as usize].0 == key) as u32;
                slot = (slot + 1) % SLOTS;
            }
            if equal < EQUAL_RUNS {
                slots[slot] = entries.len() as u32;
                entries.push((key, i as u32));
            }
        }
    }
    let mut shifts = Vec::new();
    let whole: Vec<i64> = b
        .times
        .windows(2)
        .map(|w| ((w[1] - w[0]) / bin) as i64)
        .collect();
    for j in 0..whole.len().saturating_sub(2) {
        let key = key(b.rises(j), [whole[j], whole[j + 1], whole[j + 2]]);
        let mut slot = key as usize % SLOTS;
        while slots[slot] != u32::MAX {
            let (found, i) = entries[slots[slot] as usize];
            if found == key {
                let t_a = a.times[i as usize];
                shifts.push((b.times[j] - t_a, t_a));
            }
            slot = (slot + 1) % SLOTS;
        }
        if shifts.len() > 400_000 {
            break;
        }
    }
    let length = a.times[to - 1] - a.times[from];
    crowds(shifts, crowd_width(a, b, length))
}

/// Weighted straight line through shifts: shift at time zero and its slope. Too short or too few pairs have no slope.
fn line(pairs: &[Pair], a: &Train, b: &Train, weight: impl Fn(usize) -> f64) -> (f64, f64) {
    let (mut w, mut x, mut y) = (0.0, 0.0, 0.0);
    let (x0, y0) = (
        a.times[pairs[0].a as usize],
        b.times[pairs[0].b as usize] - a.times[pairs[0].a as usize],
    );
    let place = |p: &Pair| {
        (
            a.times[p.a as usize] - x0,
            b.times[p.b as usize] - a.times[p.a as usize] - y0,
        )
    };
    for (k, pair) in pairs.iter().enumerate() {
        let ((px, py), pw) = (place(pair), weight(k));
        w += pw;
        x += pw * px;
        y += pw * py;
    }
    let (mx, my) = (x / w, y / w);
    let (mut xx, mut xy) = (0.0, 0.0);
    for (k, pair) in pairs.iter().enumerate() {
        let ((px, py), pw) = (place(pair), weight(k));
        xx += pw * (px - mx) * (px - mx);
        xy += pw * (px - mx) * (py - my);
    }
    let rate = if pairs.len() >= 4 && xx > 0.0 {
        xy / xx
    } else {
        0.0
    };
    (y0 + my - rate * (mx + x0), rate)
}

/// Fits offset, rate and drift to pairs; transitions far from the fit have no say in it.
pub(crate) fn fit(a: &Train, b: &Train, pairs: &[Pair]) -> Alignment {
    let shift = |p: &Pair| b.times[p.b as usize] - a.times[p.a as usize];
    let time = |p: &Pair| a.times[p.a as usize];
    let finest = 0.01 * a.unit.max(b.unit);
    let mut weights = vec![1.0; pairs.len()];
    let (mut offset, mut rate) = (0.0, 0.0);
    let mut drift: Vec<(f64, f64)> = Vec::new();
    let mut residues = vec![0.0; pairs.len()];
    let mut sigma = finest;
    for round in 0..5 {
        (offset, rate) = line(pairs, a, b, |k| weights[k]);
        let walk = |drift: &[(f64, f64)], residues: &mut [f64]| {
            for (k, pair) in pairs.iter().enumerate() {
                residues[k] =
                    shift(pair) - offset - rate * time(pair) - interpolate(drift, time(pair));
            }
        };
        walk(&[], &mut residues);
        if round >= 1 {
            drift = slow_drift(pairs, a, &residues, finest);
            if !drift.is_empty() {
                walk(&drift, &mut residues);
            }
        }
        let before = sigma;
        sigma = spread(&residues).max(finest);
        // without drift and with the scatter settled another round changes nothing
        if round >= 2 && drift.is_empty() && (sigma - before).abs() < 0.01 * sigma {
            break;
        }
        // Tukey's biweight: no say at all beyond 4.685 deviations
        let reach = 4.685 * sigma;
        for (weight, residue) in weights.iter_mut().zip(&residues) {
            let off = residue / reach;
            *weight = if off.abs() < 1.0 {
                if drift.is_empty() {
                    (1.0 - off * off).powi(2)
                } else {
                    1.0
                }
            } else {
                0.0
            };
        }
    }
    let n = weights.iter().sum::<f64>().max(1.0);
    let mean = pairs
        .iter()
        .zip(&weights)
        .map(|(p, w)| w * time(p))
        .sum::<f64>()
        / n;
    let xx = pairs
        .iter()
        .zip(&weights)
        .map(|(p, w)| w * (time(p) - mean).powi(2))
        .sum::<f64>();
    let rate_uncertainty = if xx > 0.0 {
        sigma / xx.sqrt()
    } else {
        f64::MAX
    };
    Alignment {
        offset,
        rate,
        drift,
        sigma,
        offset_uncertainty: (sigma / n.sqrt()).hypot(rate_uncertainty.min(1e3) * mean),
        rate_uncertainty,
        repeats: None,
    }
}

/// Standard deviation by the median of absolute residues, from a sample of them.
fn spread(residues: &[f64]) -> f64 {
    let step = (residues.len() / 20_000).max(1);
    let mut off: Vec<f64> = residues.iter().step_by(step).map(|r| r.abs()).collect();
    1.4826 * median(&mut off)
}

/// Drift that stays when the straight line is taken out: medians of stretches, kept only if they are far beyond their scatter.
fn slow_drift(pairs: &[Pair], a: &Train, residues: &[f64], finest: f64) -> Vec<(f64, f64)> {
    let stretches = (pairs.len() / 40).min(48);
    if stretches < 4 {
        return Vec::new();
    }
    let mut knots = Vec::new();
    let mut excess = 0.0;
    for s in 0..stretches {
        let (from, to) = (
            pairs.len() * s / stretches,
            pairs.len() * (s + 1) / stretches,
        );
        let step = ((to - from) / 2000).max(1);
        let mut values: Vec<f64> = residues[from..to].iter().step_by(step).copied().collect();
        let middle = median(&mut values);
        values.iter_mut().for_each(|v| *v = (*v - middle).abs());
        let own =
            (1.2533 * 1.4826 * median(&mut values) / (values.len() as f64).sqrt()).max(finest);
        excess += (middle / own).powi(2);
        let (first, last) = (
            a.times[pairs[from].a as usize],
            a.times[pairs[to - 1].a as usize],
        );
        knots.push((0.5 * (first + last), middle));
    }
    let dof = stretches as f64;
    if excess > dof + 8.0 * (2.0 * dof).sqrt() {
        knots
    } else {
        Vec::new()
    }
}
