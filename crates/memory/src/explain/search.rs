//! Deepening search for all smallest sets of faults that give exactly what was read.

use std::collections::{HashMap, HashSet};

use super::path::{Path, Scratch};
use super::plausible::Plausible;
use super::remedy::{Turn, remedies};
use super::{Frame, Limits, Seen};
use crate::fault::Fault;
use crate::plant::Chance;
use crate::shape::Word;
use crate::wiring::Wiring;

/// What a search found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Explanations {
    /// Smallest sets of faults, each sorted; one empty set if nothing is wrong.
    pub sets: Vec<Vec<Fault>>,
    /// No smaller set exists among the faults considered.
    pub fewest: bool,
    /// No other set of this size exists among the faults considered.
    pub complete: bool,
    /// Sets of faults tried.
    pub trials: u64,
}

/// Finds the smallest sets of faults that explain every bit read in every frame.
pub fn explain(wiring: &Wiring, frames: &[Frame], limits: &Limits) -> Explanations {
    let seen: Vec<Seen> = frames.iter().map(|f| Seen::new(wiring, f)).collect();
    let mut search = Search::new(wiring, &seen, limits);
    let first = search.run();
    if first.sets.is_empty()
        || search.plausible.doubted.is_empty()
        || (first.fewest && first.sets.iter().all(|s| s.len() < 2))
    {
        return first;
    }
    // What alone spoils more than it improves is looked at again beside what is likely.
    let more = search.second_look(&first.sets);
    if more.is_empty() {
        return first;
    }
    search.plausible.believe(wiring, &more);
    search.trials = 0;
    search.stopped = false;
    let second = search.run();
    let size = |e: &Explanations| e.sets.first().map_or(usize::MAX, Vec::len);
    if size(&first) < size(&second)
        || (size(&first) == size(&second) && second.sets.len() < first.sets.len())
    {
        return Explanations {
            fewest: first.fewest && second.fewest,
            complete: false,
            ..first
        };
    }
    second
}

/// One read of one frame.
#[derive(Clone, Copy)]
struct Row {
    frame: usize,
    address: u32,
}

struct Search<'a> {
    wiring: &'a Wiring,
    frames: &'a [Seen],
    plausible: Plausible,
    /// Reads with wrong bits first: they refute a set soonest.
    rows: Vec<Row>,
    limits: &'a Limits<'a>,
    size: usize,
    excluded: HashSet<Fault>,
    found: Vec<Vec<Fault>>,
    trials: u64,
    stopped: bool,
    scratch: Scratch,
}

/// Faults, and sets that were found, beside which doubted faults are looked at again.
const LIKELY: usize = 12;
/// Reads over which that is judged.
const READS: usize = 1500;
/// Unexplained bits looked at to choose where to branch and to prove how many faults are still needed.
const SAMPLE: usize = 40;

impl<'a> Search<'a> {
    fn new(wiring: &'a Wiring, frames: &'a [Seen], limits: &'a Limits<'a>) -> Self {
        let healthy = Path::new(wiring, &[]);
        let mut scratch = Scratch::default();
        let mut rows: Vec<(bool, Row)> = Vec::new();
        for (number, frame) in frames.iter().enumerate() {
            for a in wiring
                .addresses()
                .iter()
                .filter(|a| frame.known[**a as usize] != 0)
            {
                let wrong = frame.unexplained(&healthy, *a, &mut scratch);
                rows.push((
                    wrong == 0,
                    Row {
                        frame: number,
                        address: *a,
                    },
                ));
            }
        }
        // In mixed order, so that the first few wrong bits come from all over the store.
        let mut chance = Chance::new(1);
        let mut rows: Vec<((bool, u64), Row)> = rows
            .into_iter()
            .map(|(r, row)| ((r, chance.bits()), row))
            .collect();
        rows.sort_unstable_by_key(|(key, _)| *key);
        Self {
            wiring,
            frames,
            plausible: Plausible::new(wiring, frames),
            rows: rows.into_iter().map(|(_, row)| row).collect(),
            limits,
            size: 0,
            excluded: HashSet::new(),
            found: Vec::new(),
            trials: 0,
            stopped: false,
            scratch,
        }
    }

    /// All smallest sets among the faults that are plausible now.
    fn run(&mut self) -> Explanations {
        self.found.clear();
        let limits = self.limits;
        let start = self.forced();
        let first_bound = start.len() + self.bound(&start, usize::MAX);
        if first_bound > limits.largest {
            return Explanations {
                sets: Vec::new(),
                fewest: false,
                complete: false,
                trials: 0,
            };
        }
        let greedy = self.greedy(start.clone());
        let mut fewest = true;
        for size in first_bound..greedy.len().min(limits.largest.saturating_add(1)) {
            self.begin(size);
            self.deepen(&start);
            if self.stopped {
                fewest &= !self.found.is_empty();
                break;
            }
            if !self.found.is_empty() {
                break;
            }
        }
        if self.found.is_empty() && greedy.len() <= limits.largest {
            if fewest && !self.stopped {
                self.begin(greedy.len());
                self.deepen(&start);
            }
            if !self.found.contains(&greedy) {
                self.found.push(greedy);
            }
        }
        self.found.sort_unstable();
        Explanations {
            fewest,
            complete: fewest && !self.stopped,
            trials: self.trials,
            sets: std::mem::take(&mut self.found),
        }
    }

    /// Doubted faults that leave fewer bits unexplained beside some likely ones: beside one of the faults that explain
    /// most alone, or beside some of the line faults of a set that was found. Judged over a sample of the reads.
    fn second_look(&mut self, sets: &[Vec<Fault>]) -> Vec<Fault> {
        let mut alone: Vec<(usize, Fault)> = Vec::new();
        for fault in self.plausible.all() {
            alone.push((self.sampled(&[fault], usize::MAX), fault));
        }
        alone.sort_unstable();
        let mut bases: Vec<Vec<Fault>> = alone.iter().take(LIKELY).map(|(_, f)| vec![*f]).collect();
        for set in sets.iter().take(LIKELY) {
            let lines = set.iter().copied().filter(|f| !matches!(f, Fault::Bit(..)));
            let lines: Vec<Fault> = lines.take(4).collect();
            for subset in 1..1u32 << lines.len() {
                let picked = lines
                    .iter()
                    .enumerate()
                    .filter(|(n, _)| subset >> n & 1 == 1);
                bases.push(picked.map(|(_, f)| *f).collect());
            }
        }
        bases.sort_unstable();
        bases.dedup();
        let mut more: Vec<Fault> = Vec::new();
        for base in &bases {
            let without = self.sampled(base, usize::MAX);
            for fault in self.plausible.doubted.clone() {
                if more.contains(&fault) || base.iter().any(|b| !b.goes_with(fault)) {
                    continue;
                }
                if self.sampled(&insert_unsorted(base, fault), without) < without {
                    more.push(fault);
                }
            }
        }
        more
    }

    /// Unexplained bits over a sample of the reads; not counted beyond `enough`.
    fn sampled(&mut self, set: &[Fault], enough: usize) -> usize {
        let path = Path::new(self.wiring, set);
        let step = self.rows.len() / READS + 1;
        let mut left = 0;
        for row in self.rows.iter().step_by(step) {
            left += self.frames[row.frame]
                .unexplained(&path, row.address, &mut self.scratch)
                .count_ones() as usize;
            if left >= enough {
                break;
            }
        }
        left
    }

    fn begin(&mut self, size: usize) {
        self.size = size;
        self.excluded.clear();
        self.found.clear();
    }

    /// Unexplained bits under a set of faults, at most `most`, and of one read at most two.
    fn unexplained(&mut self, path: &Path, most: usize) -> Vec<(usize, Turn)> {
        let mut turns = Vec::new();
        for row in &self.rows {
            let frame = &self.frames[row.frame];
            let mut left: Word = frame.unexplained(path, row.address, &mut self.scratch);
            let mut of_this_read = 0;
            while left != 0 && (of_this_read < 2 || most == usize::MAX) {
                let bit = left.trailing_zeros() as u8;
                left &= left - 1;
                of_this_read += 1;
                let want = frame.read[row.address as usize] >> bit & 1 == 1;
                turns.push((
                    row.frame,
                    Turn {
                        address: row.address,
                        bit,
                        want,
                    },
                ));
                if turns.len() == most {
                    return turns;
                }
            }
        }
        turns
    }

    fn explains(&mut self, path: &Path) -> bool {
        let scratch = &mut self.scratch;
        self.rows
            .iter()
            .all(|row| self.frames[row.frame].unexplained(path, row.address, scratch) == 0)
    }

    fn remedies_of(
        &mut self,
        path: &Path,
        set: &[Fault],
        (frame, turn): (usize, Turn),
    ) -> Vec<Fault> {
        let mut out = Vec::new();
        let pulses = &self.frames[frame].pulses;
        remedies(
            path,
            pulses,
            turn,
            &self.plausible,
            &mut self.scratch,
            &mut out,
        );
        out.retain(|f| set.iter().all(|s| s.goes_with(*f)));
        out
    }

    /// Faults that every explanation must hold, because a bit has no other remedy.
    fn forced(&mut self) -> Vec<Fault> {
        let mut set: Vec<Fault> = Vec::new();
        loop {
            let path = Path::new(self.wiring, &set);
            let turns = self.unexplained(&path, usize::MAX);
            let mut more = Vec::new();
            for turn in turns {
                let remedies = self.remedies_of(&path, &set, turn);
                if let Some(only) = remedies
                    .first()
                    .filter(|first| remedies.iter().all(|f| f == *first))
                {
                    more.push(*only);
                }
            }
            more.sort_unstable();
            more.dedup();
            if more.is_empty() {
                return set;
            }
            set.extend(more);
            set.sort_unstable();
        }
    }

    /// How many further faults are certainly needed: unexplained bits no two of which share a remedy.
    fn bound(&mut self, set: &[Fault], most: usize) -> usize {
        let path = Path::new(self.wiring, set);
        let turns = self.unexplained(&path, most.min(4000));
        let all: Vec<Vec<Fault>> = turns
            .into_iter()
            .map(|t| self.remedies_of(&path, set, t))
            .collect();
        apart(&all)
    }

    /// Adds the fault that could turn most unexplained bits, until all is explained. Gives an upper bound, and an answer
    /// if time is short.
    fn greedy(&mut self, mut set: Vec<Fault>) -> Vec<Fault> {
        let mut left = self.left(&set, usize::MAX);
        while left > 0 {
            let path = Path::new(self.wiring, &set);
            let turns = self.unexplained(&path, 2000);
            let mut hits: HashMap<Fault, usize> = HashMap::new();
            let mut alone: Vec<Fault> = Vec::new();
            for (frame, turn) in turns {
                let own = Fault::Bit(turn.address, turn.bit, turn.want ^ self.wiring.shape().idle);
                let remedies = self.remedies_of(&path, &set, (frame, turn));
                if remedies.contains(&own) {
                    alone.push(own);
                }
                for fault in remedies {
                    *hits.entry(fault).or_default() += 1;
                }
            }
            let mut order: Vec<(usize, Fault)> = hits
                .into_iter()
                .map(|(f, n)| (n, f))
                .filter(|(n, _)| *n > 1)
                .collect();
            order.sort_unstable_by(|a, b| b.cmp(a));
            let better = order.into_iter().take(40).find_map(|(_, fault)| {
                let now = self.left(&insert(&set, fault), left);
                (now < left).then_some((now, vec![fault]))
            });
            // What is left is blamed on its own bits, many at a time.
            let (now, more) = better.unwrap_or_else(|| {
                alone.sort_unstable();
                alone.dedup();
                let with = alone.iter().fold(set.clone(), |s, f| insert(&s, *f));
                (self.left(&with, left), alone)
            });
            if now >= left {
                return self.bit_by_bit();
            }
            left = now;
            set = more.into_iter().fold(set, |s, f| insert(&s, f));
        }
        set
    }

    fn left(&mut self, set: &[Fault], enough: usize) -> usize {
        let path = Path::new(self.wiring, set);
        let mut left = 0;
        for row in &self.rows {
            left += self.frames[row.frame]
                .unexplained(&path, row.address, &mut self.scratch)
                .count_ones() as usize;
            if left >= enough {
                break;
            }
        }
        left
    }

    /// Every wrong bit blamed on itself: the explanation that always exists for one frame.
    fn bit_by_bit(&mut self) -> Vec<Fault> {
        let path = Path::new(self.wiring, &[]);
        let idle = self.wiring.shape().idle;
        let turns = self.unexplained(&path, usize::MAX);
        let mut set: Vec<Fault> = turns
            .iter()
            .map(|(_, t)| Fault::Bit(t.address, t.bit, t.want ^ idle))
            .collect();
        set.sort_unstable();
        set.dedup();
        set
    }

    /// Finds every set of the wanted size that holds `set` and none of the faults in `self.excluded`.
    ///
    /// Faults are tried in order of how many unexplained bits they could turn; once one has been tried, the later
    /// branches exclude it, so that no set is met twice and the small faults are not tried in every company.
    fn deepen(&mut self, set: &[Fault]) {
        self.trials += 1;
        if self.found.len() >= self.limits.explanations
            || self.trials >= self.limits.trials
            || self.trials.is_multiple_of(64) && !(self.limits.go_on)()
        {
            self.stopped = true;
            return;
        }
        let path = Path::new(self.wiring, set);
        let room = self.size - set.len();
        if room == 0 {
            if self.explains(&path) {
                self.found.push(set.to_vec());
            }
            return;
        }
        let Some(choice) = self.choice(&path, set, room) else {
            return;
        };
        for fault in &choice {
            self.deepen(&insert(set, *fault));
            if self.stopped {
                break;
            }
            self.excluded.insert(*fault);
        }
        for fault in &choice {
            self.excluded.remove(fault);
        }
    }

    /// The faults to branch over, likeliest first; `None` if `room` more cannot do.
    fn choice(&mut self, path: &Path, set: &[Fault], room: usize) -> Option<Vec<Fault>> {
        let mut crossed = Crossed::default();
        let stages: &[usize] = if room == 1 { &[4] } else { &[8, SAMPLE] };
        for most in stages {
            let turns = self.unexplained(path, *most);
            for turn in turns.into_iter().skip(crossed.lists.len()) {
                let mut list = self.remedies_of(path, set, turn);
                if !self.excluded.is_empty() {
                    list.retain(|f| !self.excluded.contains(f));
                }
                if list.is_empty() {
                    return None;
                }
                crossed.lists.push(list);
            }
            crossed.count();
            if !crossed.can_be_hit(room) {
                return None;
            }
        }
        crossed.choice(room)
    }
}

/// Unexplained bits, each with the faults that could turn it.
#[derive(Default)]
struct Crossed {
    lists: Vec<Vec<Fault>>,
    /// Each fault with the lists that it stands in, as a bit mask.
    hits: Vec<(Fault, u64)>,
    /// The lists by the places of their faults in `hits`.
    places: Vec<Vec<usize>>,
}

impl Crossed {
    fn count(&mut self) {
        let pairs = self
            .lists
            .iter()
            .enumerate()
            .flat_map(|(n, list)| list.iter().map(move |f| (*f, n)));
        let mut pairs: Vec<(Fault, usize)> = pairs.collect();
        pairs.sort_unstable();
        pairs.dedup();
        self.hits.clear();
        self.places = vec![Vec::new(); self.lists.len()];
        for (fault, list) in pairs {
            if self.hits.last().is_none_or(|(f, _)| *f != fault) {
                self.hits.push((fault, 0));
            }
            let place = self.hits.len() - 1;
            self.hits[place].1 |= 1 << list;
            self.places[list].push(place);
        }
    }

    fn all(&self) -> u64 {
        (1 << self.lists.len()) - 1
    }

    /// Whether `room` faults can stand in all lists together; for many, only a bound is taken.
    fn can_be_hit(&self, room: usize) -> bool {
        if room > 3 {
            return apart(&self.lists) <= room;
        }
        self.hit(self.all(), room)
    }

    fn hit(&self, needed: u64, room: usize) -> bool {
        if needed == 0 {
            return true;
        }
        if room == 0 {
            return false;
        }
        let lists = (0..self.lists.len()).filter(|n| needed >> n & 1 == 1);
        let Some(shortest) = lists.min_by_key(|n| self.lists[*n].len()) else {
            return true;
        };
        self.places[shortest]
            .iter()
            .any(|place| self.hit(needed & !self.hits[*place].1, room - 1))
    }

    /// The shortest list, after faults are left out that no `room` faults with them could complete.
    fn choice(&self, room: usize) -> Option<Vec<Fault>> {
        let mut best: Option<Vec<usize>> = None;
        let mut order: Vec<usize> = (0..self.lists.len()).collect();
        order.sort_by_key(|n| self.lists[*n].len());
        for list in order.into_iter().take(6) {
            let mut places = self.places[list].clone();
            if room <= 3 {
                places.retain(|p| self.hit(self.all() & !self.hits[*p].1, room - 1));
            }
            if best.as_ref().is_none_or(|b| places.len() < b.len()) {
                best = Some(places);
            }
        }
        let mut best = best?;
        best.sort_by_key(|p| std::cmp::Reverse(self.hits[*p].1.count_ones()));
        Some(best.into_iter().map(|p| self.hits[p].0).collect())
    }
}

fn insert(set: &[Fault], fault: Fault) -> Vec<Fault> {
    let at = set.partition_point(|f| *f < fault);
    let mut with = set.to_vec();
    with.insert(at, fault);
    with
}

fn insert_unsorted(set: &[Fault], fault: Fault) -> Vec<Fault> {
    let mut with = set.to_vec();
    with.push(fault);
    with
}

/// How many of the lists share no fault with each other, chosen greedily from the shortest.
fn apart(lists: &[Vec<Fault>]) -> usize {
    let mut order: Vec<&Vec<Fault>> = lists.iter().collect();
    order.sort_by_key(|l| l.len());
    let mut taken: HashSet<Fault> = HashSet::new();
    let mut count = 0;
    for list in order {
        if list.iter().all(|f| !taken.contains(f)) {
            taken.extend(list);
            count += 1;
        }
    }
    count
}
