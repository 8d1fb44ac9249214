//! The order of a card's readings in which the leads move least.

/// Where the leads stand for a reading, and what has been done to the machine for it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stop {
    /// What is unplugged; readings with the same number are taken together.
    pub condition: usize,
    /// Red and black lead.
    pub leads: [u32; 2],
}

/// Moves of a lead that a change of condition is worth: chosen above what a card's whole round of leads takes.
const CONDITION: u32 = 1000;
/// Halves of a move: exchanging the leads takes both hands, but no search for a place.
const EXCHANGE: u32 = 1;

/// What it takes to go from one reading to the next, in half moves of a lead.
pub fn effort(from: &Stop, to: &Stop) -> u32 {
    let condition = if from.condition == to.condition {
        0
    } else {
        CONDITION
    };
    let [r, b] = from.leads;
    let [red, black] = to.leads;
    condition
        + match ((r, b) == (red, black), (r, b) == (black, red)) {
            (true, _) => 0,
            (_, true) => EXCHANGE,
            // A lead that stays where it is, or only changes its colour.
            _ if r == red || b == black => 2,
            _ if r == black || b == red => 2 + EXCHANGE,
            _ => 4,
        }
}

/// Up to so many readings every order is weighed; beyond, one is bettered until no exchange helps.
const EXACT: usize = 12;

/// The order in which the leads move little: the least effort of all for up to twelve readings (Held and Karp, J. SIAM 10,
/// 1962), beyond that the best that reversing or moving any part of it leads to.
pub fn in_order(stops: &[Stop]) -> Vec<usize> {
    if stops.len() <= EXACT {
        exact(stops)
    } else {
        bettered(stops)
    }
}

fn exact(stops: &[Stop]) -> Vec<usize> {
    let n = stops.len();
    if n == 0 {
        return Vec::new();
    }
    let mut best = vec![(u32::MAX, usize::MAX); n << n];
    let at = |set: usize, last: usize| set * n + last;
    for k in 0..n {
        best[at(1 << k, k)] = (0, usize::MAX);
    }
    for set in 1..1usize << n {
        for last in (0..n).filter(|k| set >> k & 1 == 1) {
            let (so_far, _) = best[at(set, last)];
            if so_far == u32::MAX {
                continue;
            }
            for next in (0..n).filter(|k| set >> k & 1 == 0) {
                let total = so_far + effort(&stops[last], &stops[next]);
                let there = &mut best[at(set | 1 << next, next)];
                if total < there.0 {
                    *there = (total, last);
                }
            }
        }
    }
    let mut set = (1 << n) - 1;
    let mut last = (0..n)
        .min_by_key(|k| best[at(set, *k)].0)
        .expect("there is at least one reading");
    let mut order = Vec::with_capacity(n);
    while last != usize::MAX {
        order.push(last);
        let before = best[at(set, last)].1;
        set &= !(1 << last);
        last = before;
    }
    order.reverse();
    order
}

fn total(stops: &[Stop], order: &[usize]) -> u32 {
    let pairs = order.windows(2);
    pairs.map(|w| effort(&stops[w[0]], &stops[w[1]])).sum()
}

fn bettered(stops: &[Stop]) -> Vec<usize> {
    let mut order = nearest_first(stops);
    let mut least = total(stops, &order);
    loop {
        let mut better: Option<(u32, Vec<usize>)> = None;
        let mut consider = |candidate: Vec<usize>| {
            let effort = total(stops, &candidate);
            if effort < better.as_ref().map_or(least, |b| b.0) {
                better = Some((effort, candidate));
            }
        };
        for i in 0..order.len() {
            for j in i + 1..=order.len() {
                let mut turned = order.clone();
                turned[i..j].reverse();
                consider(turned);
                if j - i <= 3 {
                    let mut rest = order.clone();
                    let part: Vec<usize> = rest.drain(i..j).collect();
                    for k in 0..=rest.len() {
                        let mut moved = rest.clone();
                        moved.splice(k..k, part.iter().copied());
                        consider(moved);
                    }
                }
            }
        }
        match better {
            Some((effort, found)) => (least, order) = (effort, found),
            None => return order,
        }
    }
}

fn nearest_first(stops: &[Stop]) -> Vec<usize> {
    let mut order = vec![0];
    let mut left: Vec<usize> = (1..stops.len()).collect();
    while !left.is_empty() {
        let here = &stops[order[order.len() - 1]];
        let k = (0..left.len())
            .min_by_key(|k| effort(here, &stops[left[*k]]))
            .expect("something is left");
        order.push(left.remove(k));
    }
    order
}

#[cfg(test)]
mod tests {
    use rand::Rng;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;

    use super::*;

    fn stops(count: usize, seed: u64) -> Vec<Stop> {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let mut net = || random.random_range(0..5u32);
        (0..count)
            .map(|k| Stop {
                condition: k % 2,
                leads: [net(), 5 + net() % 3],
            })
            .collect()
    }

    /// The least effort of any order, by trying them all.
    fn least(stops: &[Stop], order: &mut Vec<usize>) -> u32 {
        if order.len() == stops.len() {
            return total(stops, order);
        }
        let mut best = u32::MAX;
        for k in 0..stops.len() {
            if !order.contains(&k) {
                order.push(k);
                best = best.min(least(stops, order));
                order.pop();
            }
        }
        best
    }

    #[test]
    fn short_cards_are_in_the_best_order_of_all() {
        for seed in 0..20 {
            let stops = stops(6, seed);
            let order = in_order(&stops);
            let mut sorted = order.clone();
            sorted.sort_unstable();
            assert_eq!(sorted, [0, 1, 2, 3, 4, 5]);
            assert_eq!(total(&stops, &order), least(&stops, &mut Vec::new()));
        }
    }

    #[test]
    fn long_cards_come_near_it_and_change_the_condition_once() {
        for seed in 0..5 {
            let stops = stops(EXACT, seed);
            assert!(total(&stops, &bettered(&stops)) <= total(&stops, &exact(&stops)) + 4);
            let long = super::tests::stops(30, seed);
            let order = in_order(&long);
            assert!(total(&long, &order) < 2 * CONDITION);
        }
    }

    #[test]
    fn exchanged_leads_come_next_to_each_other() {
        let stop = |red, black| Stop {
            condition: 0,
            leads: [red, black],
        };
        let order = in_order(&[stop(1, 0), stop(2, 0), stop(0, 1)]);
        let place = |k: usize| order.iter().position(|o| *o == k).unwrap();
        assert_eq!(place(0).abs_diff(place(2)), 1);
    }
}
