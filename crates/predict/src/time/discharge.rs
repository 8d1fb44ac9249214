//! What stays on capacitors at switch-off, and for how long, through what is really there.

use circuit::{Fault, State};
use sheet::device::Devices;
use sheet::{Kind, PartId, Sheet};

use super::course::Course;
use crate::board::Refusal;

/// Volts left at a moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Left {
    /// Seconds after switch-off.
    pub seconds: f64,
    /// Volts between the capacitor's pins, without sign.
    pub volts: f64,
}

/// How a capacitor's voltage falls.
#[derive(Clone, Debug, PartialEq)]
pub struct Fall {
    /// The capacitor.
    pub capacitor: PartId,
    /// Volts at switch-off.
    pub from: f64,
    /// For each limit the seconds after which it stays below; `None` if it does not come below within the time followed.
    pub below: Vec<Option<f64>>,
    /// The whole course.
    pub course: Vec<Left>,
}

/// Seconds that are followed: ten hours.
pub const FOLLOWED: f64 = 36_000.0;
/// The first step, and how much longer each may be than the one before.
const FIRST: f64 = 1e-5;
const GROWTH: f64 = 1.25;
/// Share of its voltage that no charged capacitor may lose in a step; keeps the error below a part in ten thousand.
const SHARE: f64 = 0.03;

/// Seconds in which `volts` on a capacitor fall to `limit` through a resistance, by the exponential; zero if they are
/// below already.
pub fn fall(farads: f64, ohms: f64, volts: f64, limit: f64) -> f64 {
    if volts <= limit {
        return 0.0;
    }
    farads * ohms * (volts / limit).ln()
}

/// Follows all capacitors of a sheet from switch-off: no supply connected, `faults` in the circuit, each capacitor charged
/// as `charged` says.
///
/// # Errors
/// If a step has no certified solution.
pub fn falls(
    sheet: &Sheet,
    faults: &[Fault],
    limits: &[f64],
    charged: impl Fn(PartId) -> f64,
) -> Result<Vec<Fall>, Refusal> {
    let mut network = circuit::build(sheet, Devices::shipped(), State::Cold);
    for fault in faults {
        let edits = fault.edits(sheet, &network);
        network.apply(&edits);
    }
    let capacitors: Vec<PartId> = (0..sheet.parts.len() as u32)
        .map(PartId)
        .filter(|p| matches!(&sheet.parts[p.index()].kind, Kind::Capacitor { farads, .. } if farads.0 > 0.0))
        .collect();
    let mut found: Vec<Fall> = capacitors
        .iter()
        .map(|c| Fall {
            capacitor: *c,
            from: charged(*c).abs(),
            below: vec![None; limits.len()],
            course: vec![Left {
                seconds: 0.0,
                volts: charged(*c).abs(),
            }],
        })
        .collect();
    let least = limits.iter().copied().fold(f64::INFINITY, f64::min);
    let mut course = Course::new(sheet, network, &[], &charged);
    let (mut t, mut h) = (0.0, FIRST);
    while t < FOLLOWED {
        let mut ahead = course.clone();
        ahead.step(h, &[])?;
        let change = capacitors
            .iter()
            .filter_map(|c| Some((course.volts(*c)?.abs(), ahead.volts(*c)?.abs())))
            .filter(|(before, after)| before.max(*after) > 0.2 * least)
            .map(|(before, after)| (before - after).abs() / before.max(after))
            .fold(0.0, f64::max);
        if change > SHARE && h > 1e-7 {
            h *= 0.5;
            continue;
        }
        course = ahead;
        t += h;
        for (fall, c) in found.iter_mut().zip(&capacitors) {
            let volts = course.volts(*c).map_or(0.0, f64::abs);
            fall.course.push(Left { seconds: t, volts });
        }
        if found
            .iter()
            .all(|f| f.course.last().is_some_and(|l| l.volts < least))
        {
            break;
        }
        if change < 0.5 * SHARE {
            h *= GROWTH;
        }
    }
    for fall in &mut found {
        for (limit, below) in limits.iter().zip(&mut fall.below) {
            *below = stays_below(&fall.course, *limit);
        }
    }
    Ok(found)
}

/// When a course comes below a limit for good, between its points by the exponential.
fn stays_below(course: &[Left], limit: f64) -> Option<f64> {
    let last_above = course.iter().rposition(|l| l.volts >= limit);
    let Some(k) = last_above else {
        return Some(0.0);
    };
    let (a, b) = (course[k], course.get(k + 1)?);
    let share = if b.volts > 0.0 {
        (a.volts / limit).ln() / (a.volts / b.volts).ln()
    } else {
        (a.volts - limit) / (a.volts - b.volts)
    };
    Some(a.seconds + share * (b.seconds - a.seconds))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_multiples_of_the_time_constant() {
        // ln(V / 60) and ln(V / 33): 340 V 1.73 and 2.33, 400 V 1.90 and 2.50, 1 kV 2.81 and 3.41, 2 kV 3.51 and 4.10.
        for (volts, to_60, to_33) in [
            (340.0, 1.73, 2.33),
            (400.0, 1.90, 2.50),
            (1000.0, 2.81, 3.41),
            (2000.0, 3.51, 4.10),
        ] {
            assert!((fall(1e-6, 1e6, volts, 60.0) - to_60).abs() < 0.006);
            assert!((fall(1e-6, 1e6, volts, 33.0) - to_33).abs() < 0.006);
        }
        // IEC 60950-1, 2.1.1.7: one time constant leaves 37 per cent, 126 V of 340.
        assert!((fall(1e-6, 1e6, 340.0, 126.0) - 1.0).abs() < 0.01);
        assert_eq!(fall(1e-6, 1e6, 50.0, 60.0), 0.0);
    }

    fn of(text: &str, fault: Option<&str>, volts: f64, limits: &[f64]) -> Vec<Fall> {
        let (sheet, _) = sheet::parse(text, "s.kdl");
        let faults: Vec<Fault> = fault
            .iter()
            .map(|f| Fault::parse(f, &sheet).unwrap())
            .collect();
        falls(&sheet, &faults, limits, |_| volts).unwrap()
    }

    #[test]
    fn a_bleeder_and_what_is_left_when_it_is_open() {
        let text = "sheet S { net G role=ground; capacitor C1 \"100u\" plus=A minus=G leak=\"2M\" volts=450; resistor R1 \"100k\" A G; }";
        // 100u and 100k in parallel with 2M: 9.524 s; ln(340 / 60) = 1.7346.
        let with = of(text, None, 340.0, &[60.0, 30.0]);
        let seconds = with[0].below[0].unwrap();
        assert!(
            (seconds / (9.5238 * 1.73460) - 1.0).abs() < 1e-3,
            "{seconds}"
        );
        // Open, only the leak is left: 200 s.
        let without = of(text, Some("R1 open"), 340.0, &[60.0, 30.0]);
        let seconds = without[0].below[1].unwrap();
        assert!(
            (seconds / (200.0 * (340.0_f64 / 30.0).ln()) - 1.0).abs() < 1e-3,
            "{seconds}"
        );
    }

    #[test]
    fn without_any_path_it_stays() {
        let text =
            "sheet S { net G role=ground; capacitor C1 \"1u\" A G; resistor R1 \"100k\" A G; }";
        let falls = of(text, Some("R1 open"), 1000.0, &[60.0]);
        assert_eq!(falls[0].below, [None]);
        assert!(falls[0].course.last().unwrap().volts > 999.0);
    }

    #[test]
    fn a_capacitor_that_is_charged_by_another_comes_back() {
        // C1 gives half its charge to C2, and both then fall together through a megohm.
        let text = "sheet S { net G role=ground; capacitor C1 \"10u\" A G; capacitor C2 \"10u\" B G; resistor R1 \"1k\" A B; resistor R2 \"1M\" B G; }";
        let (sheet, _) = sheet::parse(text, "s.kdl");
        let c1 = sheet.part("C1").unwrap();
        let falls = falls(&sheet, &[], &[60.0], |c| if c == c1 { 200.0 } else { 0.0 }).unwrap();
        // From 100 V with 20 s: 20 ln(100 / 60) = 10.2 s, for the one that began empty, too.
        for fall in &falls {
            let seconds = fall.below[0].unwrap();
            assert!((seconds - 10.22).abs() < 0.1, "{seconds}");
        }
    }
}
