//! What can be left out of a covering problem without losing its cheapest answer.

/// Which sets and items are left, as flags.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Kept {
    /// Sets that may be chosen.
    pub sets: Vec<bool>,
    /// Items whose cover covers all others, too.
    pub items: Vec<bool>,
}

/// Members as bits.
type Bits = Vec<u64>;

fn bits(members: impl Iterator<Item = usize>, size: usize) -> Bits {
    let mut bits = vec![0; size.div_ceil(64)];
    members.for_each(|m| bits[m / 64] |= 1 << (m % 64));
    bits
}

/// Whether all of `a` is in `b`, as far as `among` counts.
fn within(a: &[u64], b: &[u64], among: &[u64]) -> bool {
    a.iter()
        .zip(b)
        .zip(among)
        .all(|((a, b), m)| a & m & !b == 0)
}

/// Drops sets that another holds for no more, and items that come with another, until nothing changes
/// (row and column dominance, as of old for prime implicants: McCluskey, Bell System Technical Journal 35, 1956).
///
/// Of sets alike the first is kept, of items alike, too.
pub(crate) fn reduce(items: usize, sets: &[Vec<usize>], costs: &[u64]) -> Kept {
    let members: Vec<Bits> = sets
        .iter()
        .map(|s| bits(s.iter().copied().filter(|i| *i < items), items))
        .collect();
    let mut holders: Vec<Bits> = vec![vec![0; sets.len().div_ceil(64)]; items];
    for (index, set) in sets.iter().enumerate() {
        for item in set.iter().filter(|i| **i < items) {
            holders[*item][index / 64] |= 1 << (index % 64);
        }
    }
    let mut kept = Kept {
        sets: vec![true; sets.len()],
        items: vec![true; items],
    };
    loop {
        let open = bits((0..items).filter(|i| kept.items[*i]), items);
        let mut changed = false;
        for a in 0..sets.len() {
            let beats = |b: &usize| {
                let b = *b;
                let alike = costs[b] == costs[a] && within(&members[b], &members[a], &open);
                b != a
                    && kept.sets[b]
                    && costs[b] <= costs[a]
                    && within(&members[a], &members[b], &open)
                    && (!alike || b < a)
            };
            if kept.sets[a] && (0..sets.len()).any(|b| beats(&b)) {
                kept.sets[a] = false;
                changed = true;
            }
        }
        let usable = bits((0..sets.len()).filter(|s| kept.sets[*s]), sets.len());
        for a in 0..items {
            let implied = |b: &usize| {
                let b = *b;
                b != a
                    && kept.items[b]
                    && within(&holders[b], &holders[a], &usable)
                    && (!within(&holders[a], &holders[b], &usable) || b < a)
            };
            if kept.items[a] && (0..items).any(|b| implied(&b)) {
                kept.items[a] = false;
                changed = true;
            }
        }
        if !changed {
            return kept;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_another_does_as_well_is_dropped() {
        // The second set lies within the first and costs as much; the third is alone with item 2; item 1 comes with item 0.
        let kept = reduce(3, &[vec![0, 1], vec![0], vec![2]], &[2, 2, 5]);
        assert_eq!(kept.sets, [true, false, true]);
        assert_eq!(kept.items, [true, false, true]);
    }

    #[test]
    fn of_two_alike_one_stays() {
        let kept = reduce(1, &[vec![0], vec![0]], &[3, 3]);
        assert_eq!(kept.sets, [true, false]);
        let cheaper = reduce(1, &[vec![0], vec![0]], &[3, 1]);
        assert_eq!(cheaper.sets, [false, true]);
    }
}
