//! Which readings of a board are like ones: the pins of the same kind of part, and the same place on two units.

use record::Reading;

use super::{Crowd, crowd, kin, pairs, seen};

/// Readings of one board that are like ones, with what they tell about each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// What they have in common: `D*.a to D*.k`.
    pub kin: String,
    /// Indices of the readings.
    pub members: Vec<usize>,
    /// How they stand to each other, along the members.
    pub crowd: Crowd,
}

/// The groups of like parts, those with the oddest members first; parts of all units together, because units of one make were
/// built from like parts.
pub fn groups(readings: &[Reading]) -> Vec<Group> {
    let mut found: Vec<(String, Vec<usize>)> = Vec::new();
    for (index, reading) in readings.iter().enumerate() {
        let Some(kin) = kin(&reading.red.written, &reading.black.written) else {
            continue;
        };
        let fits = |(other, members): &&mut (String, Vec<usize>)| {
            *other == kin && is_taken_alike(&readings[members[0]], reading)
        };
        match found.iter_mut().find(fits) {
            Some((_, members)) => members.push(index),
            None => found.push((kin, vec![index])),
        }
    }
    let whole = |(kin, members): (String, Vec<usize>)| {
        let list: Vec<_> = members.iter().map(|i| seen(&readings[*i])).collect();
        let crowd = crowd(&list)?;
        Some(Group {
            kin,
            members,
            crowd,
        })
    };
    let mut list: Vec<Group> = found.into_iter().filter_map(whole).collect();
    list.sort_by(|a, b| oddest(b).total_cmp(&oddest(a)));
    list
}

/// The largest distance in a group.
fn oddest(group: &Group) -> f64 {
    let all = group.crowd.scores.iter().map(|s| s.abs());
    all.fold(0.0, f64::max)
}

/// Same state, kind, meter and conditions: only then are two readings comparable.
fn is_taken_alike(a: &Reading, b: &Reading) -> bool {
    let lifted = |r: &Reading| -> Vec<String> {
        let all = r.conditions.lifted.iter();
        all.map(|l| l.written.clone()).collect()
    };
    a.state == b.state
        && a.kind == b.kind
        && a.meter == b.meter
        && lifted(a) == lifted(b)
        && a.conditions.unplugged == b.conditions.unplugged
}

/// The same places on two units.
#[derive(Clone, Debug, PartialEq)]
pub struct Pairs {
    /// The readings of each pair, by index.
    pub list: Vec<(usize, usize)>,
    /// How far each pair is apart, against the others.
    pub crowd: Crowd,
}

/// The pairs of each state and kind, of the first unit that was read at a place and the next one.
pub fn twins(readings: &[Reading]) -> Vec<Pairs> {
    let mut found: Vec<Vec<(usize, usize)>> = Vec::new();
    for (index, reading) in readings.iter().enumerate() {
        let is_other = |other: &Reading| {
            other.unit != reading.unit
                && other.red.net == reading.red.net
                && other.black.net == reading.black.net
                && is_taken_alike(other, reading)
        };
        let Some(first) = readings[..index].iter().position(is_other) else {
            continue;
        };
        // Always the same unit first, or what the units differ by would change its sign from pair to pair.
        let pair = match readings[first].unit <= reading.unit {
            true => (first, index),
            false => (index, first),
        };
        let fits = |list: &&mut Vec<(usize, usize)>| {
            let (a, b) = list[0];
            let kind = |r: &Reading| (r.state, r.kind, r.meter.clone());
            kind(&readings[a]) == kind(reading)
                && readings[a].unit == readings[pair.0].unit
                && readings[b].unit == readings[pair.1].unit
        };
        match found.iter_mut().find(fits) {
            Some(list) => list.push(pair),
            None => found.push(vec![pair]),
        }
    }
    let whole = |list: Vec<(usize, usize)>| {
        let both: Vec<_> = list
            .iter()
            .map(|(a, b)| (seen(&readings[*a]), seen(&readings[*b])))
            .collect();
        let crowd = pairs(&both)?;
        Some(Pairs { list, crowd })
    };
    found.into_iter().filter_map(whole).collect()
}

/// How one reading stands to like ones; scores are none where too few were read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Standing {
    /// Against the same place of the other unit.
    pub twin: Option<f64>,
    /// Against like parts.
    pub kin: Option<f64>,
}

impl Standing {
    /// The larger of the two distances; 0 if there is none.
    pub fn far(&self) -> f64 {
        let of = |score: Option<f64>| score.map_or(0.0, f64::abs);
        of(self.twin).max(of(self.kin))
    }
}

/// How each reading stands.
pub fn standings(count: usize, groups: &[Group], twins: &[Pairs]) -> Vec<Standing> {
    let mut list = vec![Standing::default(); count];
    for pairs in twins {
        for ((a, b), score) in pairs.list.iter().zip(&pairs.crowd.scores) {
            list[*a].twin = Some(*score);
            list[*b].twin = Some(*score);
        }
    }
    for group in groups {
        for (member, score) in group.members.iter().zip(&group.crowd.scores) {
            list[*member].kin = Some(*score);
        }
    }
    list
}
