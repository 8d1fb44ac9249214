//! Every answer of the crate against plain enumeration of all subsets, and against a published example.

use cover::{
    Answer, CoverError, Fewest, Formula, Literal, Outcome, Totaliser, cheapest_cover,
    minimum_explanations, minimum_hitting_sets,
};
use proptest::prelude::*;

fn never() -> bool {
    false
}

fn members(mask: u32, of: usize) -> Vec<usize> {
    (0..of).filter(|i| mask >> i & 1 == 1).collect()
}

fn smallest(of: usize, good: impl Fn(u32) -> bool) -> Vec<Vec<usize>> {
    let all: Vec<u32> = (0..1u32 << of).filter(|m| good(*m)).collect();
    let least = all.iter().map(|m| m.count_ones()).min();
    let mut sets: Vec<Vec<usize>> = all
        .into_iter()
        .filter(|m| Some(m.count_ones()) == least)
        .map(|m| members(m, of))
        .collect();
    sets.sort();
    sets
}

fn mask(set: &[usize]) -> u32 {
    set.iter().fold(0, |m, i| m | 1 << i)
}

/// The public example of minimal hitting sets, recomputed: {7,6,4,2} {8,7,4,2} {8,7,3,2} {6,5,4,2} are all met by {2} alone,
/// and without the element 2 by the six pairs {3,4} {4,7} {4,8} {5,7} {6,7} {6,8}.
#[test]
fn published_hitting_sets() {
    let sets = vec![
        vec![7, 6, 4, 2],
        vec![8, 7, 4, 2],
        vec![8, 7, 3, 2],
        vec![6, 5, 4, 2],
    ];
    let family = minimum_hitting_sets(&sets, &never);
    assert_eq!((family.sets, family.complete), (vec![vec![2]], true));
    let without: Vec<Vec<usize>> = sets
        .iter()
        .map(|s| s.iter().copied().filter(|e| *e != 2).collect())
        .collect();
    let pairs = vec![
        vec![3, 4],
        vec![4, 7],
        vec![4, 8],
        vec![5, 7],
        vec![6, 7],
        vec![6, 8],
    ];
    assert_eq!(minimum_hitting_sets(&without, &never).sets, pairs);
}

#[test]
fn an_empty_set_cannot_be_hit_and_no_sets_need_nothing() {
    let family = minimum_hitting_sets(&[vec![1], vec![]], &never);
    assert!(family.sets.is_empty() && family.complete);
    assert_eq!(
        minimum_hitting_sets(&[], &never).sets,
        vec![Vec::<usize>::new()]
    );
}

#[test]
fn a_stopped_search_does_not_claim_completeness() {
    let sets: Vec<Vec<usize>> = (0..40).map(|i| vec![2 * i, 2 * i + 1]).collect();
    let family = minimum_hitting_sets(&sets, &|| true);
    assert!(!family.complete);
    let cover = cheapest_cover(40, &sets_over(40), &[3; 40], &|| true).expect("coverable");
    assert!(!cover.proven && !cover.chosen.is_empty());
}

fn sets_over(items: usize) -> Vec<Vec<usize>> {
    (0..items)
        .map(|i| vec![i, (i + 1) % items, (i * 7 + 3) % items])
        .collect()
}

#[test]
fn an_item_in_no_set_is_named() {
    assert_eq!(
        cheapest_cover(3, &[vec![0, 2]], &[1], &never),
        Err(CoverError::Uncoverable { item: 1 })
    );
    assert_eq!(
        cheapest_cover(1, &[vec![0]], &[], &never),
        Err(CoverError::CostsMismatch { sets: 1, costs: 0 })
    );
}

#[test]
fn a_totaliser_counts() {
    for bound in 0..5usize {
        let mut formula = Formula::new(&never);
        let inputs: Vec<Literal> = (0..5).map(|_| formula.variable()).collect();
        let mut totaliser = Totaliser::new(&inputs);
        let limit = !totaliser.at_least(&mut formula, bound + 1);
        for chosen in 0..32u32 {
            let mut assumptions: Vec<Literal> = (0..5)
                .map(|i| {
                    if chosen >> i & 1 == 1 {
                        inputs[i]
                    } else {
                        !inputs[i]
                    }
                })
                .collect();
            assumptions.push(limit);
            let expected = if chosen.count_ones() as usize <= bound {
                Answer::Satisfiable
            } else {
                Answer::Unsatisfiable
            };
            assert_eq!(
                formula.solve(&assumptions),
                expected,
                "{chosen:b} with at most {bound}"
            );
        }
    }
}

#[test]
fn a_formula_that_cannot_be_true_is_told_from_a_costly_one() {
    let mut formula = Formula::new(&never);
    let a = formula.variable();
    formula.clause(&[a]);
    let mut search = Fewest::new(formula, &[(a, 5)]);
    assert_eq!(search.minimum(&mut |_| {}), Outcome::Proven(5));
    let mut formula = Formula::new(&never);
    let a = formula.variable();
    formula.clause(&[a]);
    formula.clause(&[!a]);
    assert_eq!(
        Fewest::new(formula, &[(a, 5)]).minimum(&mut |_| {}),
        Outcome::Impossible
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn hitting_sets_are_all_and_smallest(sets in prop::collection::vec(prop::collection::vec(0usize..10, 1..5), 1..12)) {
        let family = minimum_hitting_sets(&sets, &never);
        prop_assert!(family.complete);
        prop_assert_eq!(family.sets, smallest(10, |m| sets.iter().all(|s| m & mask(s) != 0)));
    }

    #[test]
    fn explanations_are_all_exact_and_fewest(
        explains in prop::collection::vec(prop::collection::vec(0usize..8, 1..4), 1..12),
        seen in prop::collection::vec(0usize..8, 0..7),
    ) {
        let family = minimum_explanations(&explains, &seen, &never);
        let target = mask(&seen);
        let union = |m: u32| members(m, explains.len()).iter().fold(0, |u, i| u | mask(&explains[*i]));
        prop_assert_eq!(family.sets, smallest(explains.len(), |m| union(m) == target));
    }

    #[test]
    fn covers_are_cheapest(
        sets in prop::collection::vec((prop::collection::vec(0usize..9, 1..5), 1u64..20), 4..12),
    ) {
        let (sets, costs): (Vec<_>, Vec<_>) = sets.into_iter().unzip();
        let good = |m: u32| members(m, sets.len()).iter().fold(0, |u, i| u | mask(&sets[*i])) & 0x1ff == 0x1ff;
        let price = |m: u32| members(m, sets.len()).iter().map(|i| costs[*i]).sum::<u64>();
        let least = (0..1u32 << sets.len()).filter(|m| good(*m)).map(price).min();
        match cheapest_cover(9, &sets, &costs, &never) {
            Ok(cover) => {
                prop_assert!(cover.proven && good(mask(&cover.chosen)));
                prop_assert_eq!(price(mask(&cover.chosen)), cover.cost);
                prop_assert_eq!(Some(cover.cost), least);
            }
            Err(_) => prop_assert_eq!(least, None),
        }
    }
}
