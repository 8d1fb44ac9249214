//! How a contact bounces: transitions that follow one another closely are one making or one breaking of it.

use crate::blocks::blocks;
use crate::capture::Trace;
use crate::edges::{edges, step_edges, step_levels};
use crate::levels::levels;

/// What a contact did at one go, until it was quiet.
#[derive(Clone, Debug, PartialEq)]
pub struct Bounce {
    /// Time of the first transition, seconds.
    pub at: f64,
    /// Transitions, the first and the last among them: 1 is a contact that does not bounce.
    pub changes: usize,
    /// Seconds from the first transition to the last.
    pub time: f64,
    /// Shortest time between two transitions, seconds; none if there is but one.
    pub shortest: Option<f64>,
    /// Whether the level was high before, and after.
    pub from_high: bool,
    /// The level after it.
    pub to_high: bool,
}

impl Bounce {
    /// Whether the contact came back to where it was: it spoke, and nobody made or broke it.
    pub fn is_back(&self) -> bool {
        self.from_high == self.to_high
    }
}

/// Every making and breaking in a recording: transitions with less than `quiet` seconds between them are one; none if it holds no samples.
pub fn bounces(trace: &Trace, quiet: f64) -> Option<Vec<Bounce>> {
    let (times, first_rises) = match trace {
        Trace::Sampled { axis, samples } => {
            let all = blocks(samples);
            let found = edges(samples, &all, &levels(samples, &all)?);
            let times: Vec<f64> = found.at.iter().map(|i| axis.time(*i)).collect();
            (times, found.first_rises)
        }
        Trace::Stepped(steps) => {
            let found = step_edges(steps, &step_levels(steps)?);
            (found.at, found.first_rises)
        }
    };
    Some(grouped(&times, first_rises, quiet))
}

fn grouped(times: &[f64], first_rises: bool, quiet: f64) -> Vec<Bounce> {
    let mut list = Vec::new();
    let mut from = 0;
    for end in 1..=times.len() {
        if end < times.len() && times[end] - times[end - 1] < quiet {
            continue;
        }
        let group = &times[from..end];
        let rises = |i: usize| first_rises ^ (i % 2 == 1);
        list.push(Bounce {
            at: group[0],
            changes: group.len(),
            time: group[group.len() - 1] - group[0],
            shortest: group.windows(2).map(|w| w[1] - w[0]).reduce(f64::min),
            from_high: !rises(from),
            to_high: rises(end - 1),
        });
        from = end;
    }
    list
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::axis::Axis;
    use crate::capture::Steps;

    /// A contact that makes at 10 ms with changes after 0.2, 0.5, 0.6 and 1.9 ms, breaks cleanly at 80 ms, and speaks for 0.3 ms at 120 ms.
    const CHANGES: [f64; 8] = [0.010, 0.0102, 0.0105, 0.0106, 0.0119, 0.080, 0.120, 0.1203];

    fn expected(found: &[Bounce], within: f64) {
        let wanted = [(0.010, 5, 0.0019), (0.080, 1, 0.0), (0.120, 2, 0.0003)];
        assert_eq!(found.len(), 3, "{found:?}");
        for (bounce, (at, changes, time)) in found.iter().zip(wanted) {
            assert!((bounce.at - at).abs() <= within, "{bounce:?}");
            assert!((bounce.time - time).abs() <= 2.0 * within, "{bounce:?}");
            assert_eq!(bounce.changes, changes);
        }
        let ways: Vec<(bool, bool)> = found.iter().map(|b| (b.from_high, b.to_high)).collect();
        assert_eq!(ways, [(true, false), (false, true), (true, true)]);
        assert!(found[2].is_back() && !found[0].is_back());
        let shortest = found[0].shortest.expect("several changes");
        assert!((shortest - 0.0001).abs() <= 2.0 * within);
    }

    #[test]
    fn a_logic_analyser_gives_the_changes_as_they_were() {
        let mut high = true;
        let mut steps = Steps {
            times: vec![0.0],
            values: vec![Some(1.0)],
            end: 0.2,
            tick: 1e-6,
        };
        for time in CHANGES {
            high = !high;
            steps.times.push(time);
            steps.values.push(Some(f32::from(u8::from(high))));
        }
        expected(
            &bounces(&Trace::Stepped(steps.clone()), 0.02).expect("levels"),
            1e-9,
        );
        // A pause shorter than the longest one inside parts the making in two.
        let parted = bounces(&Trace::Stepped(steps), 0.001).expect("levels");
        assert_eq!(
            parted.iter().map(|b| b.changes).collect::<Vec<_>>(),
            [4, 1, 1, 2]
        );
    }

    /// The same on an oscilloscope: 5 V through 20 us of cable and pull-up, 20 mV of noise, a sample every 10 us.
    #[test]
    fn an_oscilloscope_shows_the_same_within_a_sample() {
        let (step, slow) = (10e-6, 20e-6);
        let mut state = 0x2545_F491_4F6C_DD1Du64;
        let mut noise = || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 40) as f64 / f64::from(1 << 24) - 0.5
        };
        let mut volts: f64 = 5.0;
        let samples: Vec<f32> = (0..20_000)
            .map(|k| {
                let t = f64::from(k) * step;
                let changed = CHANGES.iter().filter(|c| **c <= t).count();
                let target = if changed % 2 == 0 { 5.0 } else { 0.0 };
                volts += (target - volts) * (1.0 - (-step / slow).exp());
                (volts + 0.04 * noise()) as f32
            })
            .collect();
        let trace = Trace::Sampled {
            axis: Arc::new(Axis::uniform(0.0, step)),
            samples,
        };
        expected(&bounces(&trace, 0.02).expect("levels"), 3e-5);
    }

    #[test]
    fn a_contact_that_does_nothing_has_no_bounce() {
        let steps = Steps {
            times: vec![0.0],
            values: vec![Some(1.0)],
            end: 1.0,
            tick: 1e-6,
        };
        assert_eq!(bounces(&Trace::Stepped(steps), 0.02), Some(Vec::new()));
        assert_eq!(bounces(&Trace::Stepped(Steps::default()), 0.02), None);
    }
}
