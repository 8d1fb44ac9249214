//! One reading further: whether another first reading leads sooner to the same knowledge.

use super::outcome::Table;
use super::{CONVINCED, Candidate};

/// First readings that are looked behind.
const FIRST: usize = 8;
/// Second readings that are tried after each outcome.
const SECOND: usize = 12;
/// Readings against which the leader is held in both orders.
const EXCHANGED: usize = 40;
/// A class this much likelier than all others together ends the search.
const ENDS: f64 = 0.9;

/// Brings the candidate to the front that gives most bits a minute over two readings.
///
/// Where two readings give the same in either order, the one whose outcome more often ends the
/// search, for its cost, comes first: for independent tests of single faults this is the order of
/// probability over cost, which is optimal (Kalagnanam and Henrion, 1990).
pub(super) fn reorder(
    order: &mut [(usize, f64)],
    candidates: &[Candidate],
    tables: &[Option<Table>],
    shares: &[f64],
) {
    if order.len() < 2 || shares.iter().any(|s| *s >= CONVINCED) {
        return;
    }
    let table = |k: usize| tables[k].as_ref().expect("only tables are ordered");
    let minutes = |k: usize| candidates[k].minutes;
    // The best pair, whatever comes second.
    let second: Vec<usize> = order.iter().take(SECOND).map(|o| o.0).collect();
    let rates: Vec<f64> = order
        .iter()
        .take(FIRST)
        .map(|&(first, bits)| {
            let (mut gain, mut cost) = (bits, minutes(first));
            for bin in 0..table(first).bins() {
                let (after, chance) = table(first).after(bin, shares);
                if chance < 1e-4 || ended(&after) {
                    continue;
                }
                let best = second
                    .iter()
                    .filter(|k| **k != first)
                    .map(|k| (table(*k).bits(&after), minutes(*k)))
                    .max_by(|a, b| (a.0 / a.1).total_cmp(&(b.0 / b.1)));
                if let Some((bits, minutes)) = best {
                    gain += chance * bits;
                    cost += chance * minutes;
                }
            }
            gain / cost
        })
        .collect();
    let mut champion = 0;
    for (k, rate) in rates.iter().enumerate() {
        // A clear gain only: the look ahead is as rough as its bins.
        if *rate > 1.02 * rates[champion] {
            champion = k;
        }
    }
    for challenger in 0..order.len().min(EXCHANGED) {
        if challenger == champion {
            continue;
        }
        let (a, b) = (order[champion].0, order[challenger].0);
        let (first, second) = (table(a), table(b));
        let one = pair(
            first,
            order[champion].1,
            minutes(a),
            second,
            minutes(b),
            shares,
        );
        let other = pair(
            second,
            order[challenger].1,
            minutes(b),
            first,
            minutes(a),
            shares,
        );
        if same_knowledge(one.0, other.0) && other.1 < one.1 * (1.0 - 1e-9) {
            champion = challenger;
        }
    }
    order[..=champion].rotate_right(1);
}

/// Bits of a reading and then, unless the search has ended, another; and the minutes expected.
fn pair(
    first: &Table,
    bits: f64,
    minutes: f64,
    second: &Table,
    more: f64,
    shares: &[f64],
) -> (f64, f64) {
    let (mut gain, mut cost) = (bits, minutes);
    for bin in 0..first.bins() {
        let (after, chance) = first.after(bin, shares);
        gain += chance * second.bits(&after);
        if !ended(&after) {
            cost += chance * more;
        }
    }
    (gain, cost)
}

fn same_knowledge(a: f64, b: f64) -> bool {
    (a - b).abs() < 0.05 * a.max(b)
}

fn ended(shares: &[f64]) -> bool {
    shares.iter().any(|s| *s >= ENDS)
}
