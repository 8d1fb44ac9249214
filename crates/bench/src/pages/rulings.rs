//! A person's word on suspects, taken as evidence: one ruled out has no share left, one ruled in has all of it.
//!
//! Multiplying a posterior probability by 0 and dividing by the rest is Bayes' rule for a witness that never errs; the
//! page says that a person said so, and the ruling can be withdrawn.

use diagnose::{Predictions, Ranked, Ranking};

use crate::case::{Case, OneUnit};
use crate::entered::Ruled;

/// Changes the probabilities of every unit as its rulings say.
pub(super) fn apply(case: &Case, ranking: &mut Ranking, rulings: &[Ruled]) {
    for (unit, ranked) in case.units.iter().zip(&mut ranking.units) {
        let own: Vec<&Ruled> = rulings.iter().filter(|r| r.unit == unit.name).collect();
        if !own.is_empty() {
            rule(unit, ranked, &own);
        }
    }
}

/// The rulings of one unit.
pub(super) fn of_unit(rulings: &[Ruled], unit: &str) -> Vec<Ruled> {
    let mut list = rulings.to_vec();
    list.retain(|r| r.unit == unit);
    list
}

fn rule(unit: &OneUnit, ranked: &mut Ranked, rulings: &[&Ruled]) {
    let changes = unit.predictor.changes();
    let said = |change: usize| {
        let name = format!("{} {}", changes[change].part, changes[change].name);
        rulings.iter().find(|r| r.suspect == name)
    };
    let is_out = |change: usize| said(change).is_some_and(|r| r.out);
    let is_in = |change: usize| said(change).is_some_and(|r| !r.out);
    ranked.pairs.retain(|(a, b, _)| !is_out(*a) && !is_out(*b));
    let sure: Vec<usize> = (0..ranked.suspects.len())
        .filter(|k| is_in(ranked.suspects[*k].change))
        .collect();
    if !sure.is_empty() {
        for suspect in &mut ranked.suspects {
            suspect.probability = 0.0;
        }
        for share in [
            &mut ranked.healthy,
            &mut ranked.reading_error,
            &mut ranked.sheet,
            &mut ranked.multiple,
        ] {
            *share = 0.0;
        }
        match sure.as_slice() {
            [one] => ranked.suspects[*one].probability = 1.0,
            _ => ranked.multiple = 1.0,
        }
    } else {
        for suspect in &mut ranked.suspects {
            if is_out(suspect.change) {
                suspect.probability = 0.0;
            }
        }
        even_out(ranked);
    }
    reorder(ranked);
}

/// Makes all shares sum to 1 again. If a person ruled out all that the readings leave, more than one fault remains.
fn even_out(ranked: &mut Ranked) {
    let singles: f64 = ranked.suspects.iter().map(|s| s.probability).sum();
    let sum = singles + ranked.healthy + ranked.multiple + ranked.reading_error + ranked.sheet;
    if sum <= 0.0 {
        ranked.multiple = 1.0;
        return;
    }
    for share in ranked
        .suspects
        .iter_mut()
        .map(|s| &mut s.probability)
        .chain([
            &mut ranked.healthy,
            &mut ranked.multiple,
            &mut ranked.reading_error,
            &mut ranked.sheet,
        ])
    {
        *share /= sum;
    }
}

/// Likeliest first again, and each group with the numbers that its members have then.
fn reorder(ranked: &mut Ranked) {
    let mut order: Vec<usize> = (0..ranked.suspects.len()).collect();
    order.sort_by(|a, b| {
        let p = |k: &usize| ranked.suspects[*k].probability;
        p(b).total_cmp(&p(a))
    });
    let mut new_place = vec![0; order.len()];
    for (place, old) in order.iter().enumerate() {
        new_place[*old] = place;
    }
    ranked.suspects = order.iter().map(|k| ranked.suspects[*k].clone()).collect();
    for group in &mut ranked.groups {
        for member in group.iter_mut() {
            *member = new_place[*member];
        }
        group.sort_unstable();
    }
    let total =
        |group: &Vec<usize>| -> f64 { group.iter().map(|k| ranked.suspects[*k].probability).sum() };
    let mut groups = ranked.groups.clone();
    groups.sort_by(|a, b| total(b).total_cmp(&total(a)));
    for (number, group) in groups.iter().enumerate() {
        for member in group {
            ranked.suspects[*member].group = number;
        }
    }
    ranked.groups = groups;
}
