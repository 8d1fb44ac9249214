//! Transitions of two aligned trains matched as sequences: what is missing, what is extra, what is where it should be.

use crate::align::{Alignment, Train};
use crate::track::Pair;

/// How far apart matched transitions may be, in seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gates {
    /// Beyond this a transition has moved.
    pub moved: f64,
    /// Transitions this close to an end of the overlap are not called missing.
    pub margin: f64,
}

/// Two trains matched as sequences.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Matching {
    /// Matched transitions in order.
    pub pairs: Vec<Pair>,
    /// Transitions of a alone, inside the overlap.
    pub missing: Vec<u32>,
    /// Transitions of b alone, inside the overlap.
    pub extra: Vec<u32>,
    /// Where every transition of a should lie on b's axis, seconds.
    pub expected: Vec<f64>,
}

/// Matches two trains under an alignment.
///
/// Close mutual neighbours are taken first; between them the few left over are matched in order at least cost, where leaving two
/// alone costs as much as a shift by four tenths of the gap they lie in.
pub fn matching(a: &Train, b: &Train, alignment: &Alignment, gates: &Gates) -> Matching {
    let expected: Vec<f64> = a.times.iter().map(|t| alignment.map(*t)).collect();
    let window = (
        alignment.map(a.span.0).max(b.span.0) + gates.margin,
        alignment.map(a.span.1).min(b.span.1) - gates.margin,
    );
    let tight = close_pairs(a, b, &expected, gates.moved);
    let mut matched = Matching {
        expected,
        ..Matching::default()
    };
    let ends = (a.times.len() as u32, b.times.len() as u32);
    let (mut at_a, mut at_b) = (0, 0);
    let mut edge = window.0;
    for pair in tight.iter().map(Some).chain([None]) {
        let (to_a, to_b) = pair.map_or(ends, |p| (p.a, p.b));
        let next = pair.map_or(window.1, |p| b.times[p.b as usize]);
        if to_a > at_a || to_b > at_b {
            between(
                a,
                b,
                (at_a..to_a, at_b..to_b),
                (edge, next),
                window,
                &mut matched,
            );
        }
        if let Some(pair) = pair {
            matched.pairs.push(*pair);
            (at_a, at_b, edge) = (pair.a + 1, pair.b + 1, next);
        }
    }
    matched
}

fn close_pairs(a: &Train, b: &Train, expected: &[f64], gate: f64) -> Vec<Pair> {
    let mut pairs: Vec<Pair> = Vec::with_capacity(a.times.len());
    let mut j = 0;
    let far = |i: usize, k: usize| (b.times[k] - expected[i]).abs();
    for (i, &due) in expected.iter().enumerate() {
        while j < b.times.len() && b.times[j] < due - gate {
            j += 1;
        }
        let mut best: Option<usize> = None;
        let mut k = j;
        while k < b.times.len() && b.times[k] <= due + gate {
            if b.rises(k) == a.rises(i) && best.is_none_or(|m| far(i, k) < far(i, m)) {
                best = Some(k);
            }
            k += 1;
        }
        let Some(k) = best else { continue };
        match pairs.last_mut() {
            // in order and one to one: of two claims on one transition the nearer stands
            Some(last) if last.b as usize >= k => {
                if last.b as usize == k && far(i, k) < far(last.a as usize, k) {
                    last.a = i as u32;
                }
            }
            _ => pairs.push(Pair {
                a: i as u32,
                b: k as u32,
            }),
        }
    }
    pairs
}

/// More cells than this are not worth an optimum: the stretch has nothing in common.
const MOST_CELLS: usize = 250_000;

fn between(
    a: &Train,
    b: &Train,
    ranges: (std::ops::Range<u32>, std::ops::Range<u32>),
    gap: (f64, f64),
    window: (f64, f64),
    matched: &mut Matching,
) {
    let (from_a, from_b) = (ranges.0.start as usize, ranges.1.start as usize);
    let (n, m) = (ranges.0.len(), ranges.1.len());
    let limit = 0.4 * (gap.1 - gap.0).max(0.0);
    let mut alone_a: Vec<bool> = vec![true; n];
    let mut alone_b: Vec<bool> = vec![true; m];
    if n > 0 && m > 0 && n * m <= MOST_CELLS {
        let cost = |i: usize, j: usize| {
            let far = (b.times[from_b + j] - matched.expected[from_a + i]).abs();
            if a.rises(from_a + i) == b.rises(from_b + j) && far < limit {
                2.0 * far / limit
            } else {
                f64::INFINITY
            }
        };
        let width = m + 1;
        let mut table = vec![0.0; (n + 1) * width];
        for i in 0..=n {
            for j in 0..=m {
                table[i * width + j] = match (i, j) {
                    (0, _) => j as f64,
                    (_, 0) => i as f64,
                    _ => (table[(i - 1) * width + j - 1] + cost(i - 1, j - 1))
                        .min(1.0 + table[(i - 1) * width + j])
                        .min(1.0 + table[i * width + j - 1]),
                };
            }
        }
        let (mut i, mut j) = (n, m);
        let mut found = Vec::new();
        while i > 0 && j > 0 {
            let here = table[i * width + j];
            if here == 1.0 + table[(i - 1) * width + j] {
                i -= 1;
            } else if here == 1.0 + table[i * width + j - 1] {
                j -= 1;
            } else {
                (i, j) = (i - 1, j - 1);
                (alone_a[i], alone_b[j]) = (false, false);
                found.push(Pair {
                    a: (from_a + i) as u32,
                    b: (from_b + j) as u32,
                });
            }
        }
        matched.pairs.extend(found.into_iter().rev());
    }
    let inside = |t: f64| t >= window.0 && t <= window.1;
    let missing = (0..n)
        .filter(|&i| alone_a[i])
        .map(|i| from_a + i)
        .filter(|&i| inside(matched.expected[i]));
    let missing: Vec<u32> = missing.map(|i| i as u32).collect();
    let extra = (0..m)
        .filter(|&j| alone_b[j])
        .map(|j| from_b + j)
        .filter(|&j| inside(b.times[j]));
    matched.extra.extend(extra.map(|j| j as u32));
    matched.missing.extend(missing);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn train(times: &[f64]) -> Train {
        Train {
            times: times.to_vec(),
            first_rises: true,
            span: (0.0, 1000.0),
            unit: 1.0,
            jitter: 0.0,
        }
    }

    fn check(a: &[f64], b: &[f64], pairs: usize, missing: &[u32], extra: &[u32]) {
        let same = Alignment {
            offset: 0.0,
            rate: 0.0,
            drift: vec![],
            sigma: 0.1,
            offset_uncertainty: 0.0,
            rate_uncertainty: 0.0,
            repeats: None,
        };
        let found = matching(
            &train(a),
            &train(b),
            &same,
            &Gates {
                moved: 2.0,
                margin: 4.0,
            },
        );
        assert_eq!(
            (found.pairs.len(), &found.missing[..], &found.extra[..]),
            (pairs, missing, extra),
            "{a:?} {b:?}"
        );
    }

    #[test]
    fn sequences_are_matched_and_not_positions() {
        let a = [100.0, 110.0, 200.0, 210.0, 300.0, 310.0];
        check(&a, &a, 6, &[], &[]);
        check(&a, &[100.0, 110.0, 300.0, 310.0], 4, &[2, 3], &[]);
        check(
            &a,
            &[100.0, 110.0, 150.0, 160.0, 200.0, 210.0, 300.0, 310.0],
            6,
            &[],
            &[2, 3],
        );
        // a pulse late by nine is a moved pulse; one at the far side of its gap is another pulse
        check(&a, &[100.0, 110.0, 209.0, 219.0, 300.0, 310.0], 6, &[], &[]);
        check(
            &a,
            &[100.0, 110.0, 285.0, 293.0, 300.0, 310.0],
            4,
            &[2, 3],
            &[2, 3],
        );
    }
}
