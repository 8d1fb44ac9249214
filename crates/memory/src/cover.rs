//! The fewest sets that cover all items.

/// Finds a smallest choice of `sets` whose union holds every item below `items`; `None` if there is none. The choice is
/// proved smallest unless `steps` run out, which the flag tells.
pub(crate) fn smallest_cover(
    items: usize,
    sets: &[Vec<usize>],
    steps: u64,
) -> Option<(Vec<usize>, bool)> {
    let mut holders: Vec<Vec<usize>> = vec![Vec::new(); items];
    for (number, set) in sets.iter().enumerate() {
        for item in set {
            holders[*item].push(number);
        }
    }
    if holders.iter().any(Vec::is_empty) {
        return None;
    }
    let mut search = Cover {
        sets,
        holders,
        covered: vec![0; items],
        chosen: Vec::new(),
        best: greedy(items, sets),
        steps,
    };
    search.extend();
    let proved = search.steps > 0;
    let mut best = search.best;
    best.sort_unstable();
    Some((best, proved))
}

fn greedy(items: usize, sets: &[Vec<usize>]) -> Vec<usize> {
    let mut open = vec![true; items];
    let mut left = items;
    let mut chosen = Vec::new();
    while left > 0 {
        let gain = |s: &Vec<usize>| s.iter().filter(|i| open[**i]).count();
        let Some(best) = (0..sets.len()).rev().max_by_key(|n| gain(&sets[*n])) else {
            break;
        };
        for item in &sets[best] {
            left -= usize::from(std::mem::replace(&mut open[*item], false));
        }
        chosen.push(best);
    }
    chosen
}

struct Cover<'s> {
    sets: &'s [Vec<usize>],
    holders: Vec<Vec<usize>>,
    covered: Vec<u32>,
    chosen: Vec<usize>,
    best: Vec<usize>,
    steps: u64,
}

impl Cover<'_> {
    fn extend(&mut self) {
        if self.steps == 0 {
            return;
        }
        self.steps -= 1;
        let open: Vec<usize> = (0..self.covered.len())
            .filter(|i| self.covered[*i] == 0)
            .collect();
        if open.is_empty() {
            if self.chosen.len() < self.best.len() {
                self.best = self.chosen.clone();
            }
            return;
        }
        if self.chosen.len() + self.apart(&open) >= self.best.len() {
            return;
        }
        let Some(item) = open.into_iter().min_by_key(|i| self.holders[*i].len()) else {
            return;
        };
        for set in self.holders[item].clone() {
            for i in &self.sets[set] {
                self.covered[*i] += 1;
            }
            self.chosen.push(set);
            self.extend();
            self.chosen.pop();
            for i in &self.sets[set] {
                self.covered[*i] -= 1;
            }
        }
    }

    /// Open items no two of which share a set: each needs a set of its own.
    fn apart(&self, open: &[usize]) -> usize {
        let mut taken = vec![false; self.sets.len()];
        let mut count = 0;
        for item in open {
            if self.holders[*item].iter().all(|s| !taken[*s]) {
                count += 1;
                for s in &self.holders[*item] {
                    taken[*s] = true;
                }
            }
        }
        count
    }
}

#[cfg(test)]
mod tests {
    use super::smallest_cover;

    // Minimal hitting sets of {7,6,4,2}{8,7,4,2}{8,7,3,2}{6,5,4,2}: the published example has {2} as its smallest.
    #[test]
    fn a_published_hitting_set_example() {
        let conflicts = [
            vec![7, 6, 4, 2],
            vec![8, 7, 4, 2],
            vec![8, 7, 3, 2],
            vec![6, 5, 4, 2],
        ];
        let holders = |e: usize| {
            (0..4)
                .filter(|c| conflicts[*c].contains(&e))
                .collect::<Vec<_>>()
        };
        let sets: Vec<Vec<usize>> = (0..9).map(holders).collect();
        assert_eq!(smallest_cover(4, &sets, 10_000), Some((vec![2], true)));
    }

    #[test]
    fn greedy_is_not_enough() {
        // The usual trap: the largest set first needs three.
        let sets = vec![vec![0, 1, 2, 3], vec![0, 1, 4], vec![2, 3, 5]];
        assert_eq!(smallest_cover(6, &sets, 10_000), Some((vec![1, 2], true)));
        assert_eq!(smallest_cover(7, &sets, 10_000), None);
    }
}
