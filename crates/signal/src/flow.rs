//! The order of signals in a machine: which of several differences is nearest to the source, and which may only follow from it.

/// What drives what among `count` signals, as pairs (driver, driven).
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Flow {
    drives: Vec<(usize, usize)>,
}

/// Where a signal that differs stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stand {
    /// The signal.
    pub signal: usize,
    /// When it first differs, in seconds.
    pub at: f64,
    /// A signal before it in the flow that differed no later, so that it may only follow; none for a source.
    pub after: Option<usize>,
}

impl Flow {
    /// Takes what drives what; the same pair may stand twice, and circles are allowed.
    pub fn new(drives: Vec<(usize, usize)>) -> Self {
        Self { drives }
    }

    /// Whether nothing is known.
    pub fn is_empty(&self) -> bool {
        self.drives.is_empty()
    }

    /// Everything that a signal is driven by, near or far, itself left out.
    fn before(&self, signal: usize) -> Vec<usize> {
        let mut found = Vec::new();
        let mut open = vec![signal];
        while let Some(next) = open.pop() {
            for (from, _) in self.drives.iter().filter(|d| d.1 == next) {
                if *from != signal && !found.contains(from) {
                    found.push(*from);
                    open.push(*from);
                }
            }
        }
        found
    }

    /// Puts signals that differ into order: sources first, the earliest first among them; then those that may only follow.
    ///
    /// A signal follows if one that drives it differed no later than `slack` seconds after it. In a circle of signals, in which each
    /// drives each, time alone decides.
    pub fn order(&self, firsts: &[(usize, f64)], slack: f64) -> Vec<Stand> {
        let stand = |&(signal, at): &(usize, f64)| {
            let before = self.before(signal);
            let earlier = firsts.iter().filter(|(s, t)| {
                let circle = self.before(*s).contains(&signal);
                before.contains(s) && if circle { *t < at } else { *t <= at + slack }
            });
            let nearest = earlier.min_by(|a, b| a.1.total_cmp(&b.1));
            Stand {
                signal,
                at,
                after: nearest.map(|n| n.0),
            }
        };
        let mut all: Vec<Stand> = firsts.iter().map(stand).collect();
        all.sort_by(|a, b| {
            let rank = |s: &Stand| s.after.is_some();
            rank(a).cmp(&rank(b)).then(a.at.total_cmp(&b.at))
        });
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(
        drives: &[(usize, usize)],
        firsts: &[(usize, f64)],
        wanted: &[(usize, Option<usize>)],
    ) {
        let found = Flow::new(drives.to_vec()).order(firsts, 0.5);
        let found: Vec<(usize, Option<usize>)> =
            found.iter().map(|s| (s.signal, s.after)).collect();
        assert_eq!(found, wanted);
    }

    #[test]
    fn the_source_stands_before_what_follows_from_it() {
        // a chain: the last is seen first, within the slack, because it was measured so
        check(
            &[(0, 1), (1, 2)],
            &[(2, 9.8), (1, 10.0), (0, 10.1)],
            &[(0, None), (2, Some(1)), (1, Some(0))],
        );
        // something that differed long before its driver does is a source of its own
        check(&[(0, 1)], &[(1, 3.0), (0, 10.0)], &[(1, None), (0, None)]);
        // through signals that were not recorded as different
        check(
            &[(0, 1), (1, 2)],
            &[(2, 5.0), (0, 5.0)],
            &[(0, None), (2, Some(0))],
        );
        // in a circle time decides
        check(
            &[(0, 1), (1, 0)],
            &[(0, 5.2), (1, 5.0)],
            &[(1, None), (0, Some(1))],
        );
        // nothing is known of the flow
        check(&[], &[(1, 2.0), (0, 1.0)], &[(0, None), (1, None)]);
    }
}
