//! Minimum-degree elimination order of a symmetric pattern.

use std::collections::BTreeSet;

/// Orders the unknowns so that elimination creates little fill.
///
/// `pairs` are the off-diagonal places of a symmetric `n` by `n` pattern, in any order and with
/// repeats. Returns a permutation: position `k` holds the unknown that is eliminated as the
/// `k`-th. Minimum degree after Tinney and Walker, Proc. IEEE 55 (1967), their second scheme;
/// ties go to the lower index, so the order is reproducible.
pub fn elimination_order(n: usize, pairs: &[(u32, u32)]) -> Vec<u32> {
    let mut neighbours = vec![Vec::<u32>::new(); n];
    for &(a, b) in pairs {
        if a != b {
            neighbours[a as usize].push(b);
            neighbours[b as usize].push(a);
        }
    }
    for list in &mut neighbours {
        list.sort_unstable();
        list.dedup();
    }
    let mut queue: BTreeSet<(usize, u32)> = (0..n as u32)
        .map(|i| (neighbours[i as usize].len(), i))
        .collect();
    let mut order = Vec::with_capacity(n);
    let mut merged = Vec::new();
    while let Some((_, pivot)) = queue.pop_first() {
        order.push(pivot);
        let clique = std::mem::take(&mut neighbours[pivot as usize]);
        for &member in &clique {
            let list = &mut neighbours[member as usize];
            let before = list.len();
            merge(list, &clique, pivot, member, &mut merged);
            std::mem::swap(list, &mut merged);
            if list.len() != before {
                queue.remove(&(before, member));
                queue.insert((list.len(), member));
            }
        }
    }
    order
}

/// Writes the union of two sorted lists without `pivot` and `own` into `out`.
fn merge(a: &[u32], b: &[u32], pivot: u32, own: u32, out: &mut Vec<u32>) {
    out.clear();
    let (mut i, mut j) = (0, 0);
    while i < a.len() || j < b.len() {
        let next = match (a.get(i), b.get(j)) {
            (Some(&x), Some(&y)) if x == y => {
                i += 1;
                j += 1;
                x
            }
            (Some(&x), Some(&y)) if x < y => {
                i += 1;
                x
            }
            (Some(&x), None) => {
                i += 1;
                x
            }
            (_, Some(&y)) => {
                j += 1;
                y
            }
            (None, None) => unreachable!("the loop runs while one list has more"),
        };
        if next != pivot && next != own {
            out.push(next);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_star_is_eliminated_from_its_leaves() {
        let pairs: Vec<_> = (1..6).map(|i| (0, i)).collect();
        let order = elimination_order(6, &pairs);
        // The hub may only go once it has a single neighbour left.
        let hub = order.iter().position(|&i| i == 0).unwrap();
        assert!(hub >= 4, "{order:?}");
    }

    #[test]
    fn every_unknown_appears_once() {
        let mut order = elimination_order(5, &[(0, 4), (4, 0), (1, 1), (2, 3)]);
        order.sort_unstable();
        assert_eq!(order, [0, 1, 2, 3, 4]);
    }
}
