//! `power reform`: how an electrolytic that lay for years is brought back to its voltage, what it should leak, and when it is given up.

use serde::Serialize;
use units::Unit;

use super::MAINS;
use crate::refused::Refused;
use crate::table::{Align, aligned};

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Capacitance in farads.
    pub farads: f64,
    /// Rated volts.
    pub volts: f64,
    /// Years without voltage, if known.
    pub years: Option<f64>,
    /// What was noted so far: minutes, volts at the capacitor, amperes; in time's order.
    pub log: Vec<Noted>,
}

/// One line of a log.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Noted {
    /// Minutes since the supply was connected.
    pub minutes: f64,
    /// Volts across the capacitor.
    pub volts: f64,
    /// Amperes into it.
    pub amps: f64,
}

/// The answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct View {
    /// What has to be said first.
    pub cautions: Vec<String>,
    /// Farads.
    pub farads: f64,
    /// Rated volts.
    pub volts: f64,
    /// Leakage limits that were published, in amperes.
    pub limits: Vec<LeakLimit>,
    /// Ways of reforming that were published; none is imposed.
    pub schools: Vec<School>,
    /// What the log says, if there is one.
    pub verdict: Option<Verdict>,
}

/// A published limit of leakage.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LeakLimit {
    /// Amperes.
    pub amps: f64,
    /// Who says so.
    pub source: &'static str,
}

/// A published way of reforming.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct School {
    /// Its name here.
    pub name: &'static str,
    /// Series resistor in ohms.
    pub ohms: f64,
    /// Watts that the resistor must bear if the capacitor is a short.
    pub watts: f64,
    /// Amperes if it is a short: the most that can flow.
    pub most: f64,
    /// Minutes with voltage.
    pub minutes: f64,
    /// Volts lost in the resistor at the published leakage limit.
    pub drop: f64,
    /// Leakage to be expected, in amperes, at some minutes.
    pub expected: Vec<(f64, f64)>,
    /// When it is done, and when it is given up.
    pub ends: String,
    /// Who says so.
    pub source: &'static str,
}

/// What a log says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Verdict {
    /// `goes on`, `holds`, or `given up`.
    pub word: &'static str,
    /// Why.
    pub why: String,
}

/// JAN-C-62 and EIA: I in mA = K C + 0.3, C in uF; K by rated voltage (two independent radio-amateur lists).
pub fn jan_limit(farads: f64, volts: f64) -> f64 {
    let k = match volts {
        v if v <= 100.0 => 0.01,
        v if v <= 250.0 => 0.02,
        v if v <= 350.0 => 0.025,
        _ => 0.04,
    };
    (k * farads * 1e6 + 0.3) * 1e-3
}

/// A data sheet's form for small parts: 0.01 C V in uA, at least 3 uA.
pub fn small_part_limit(farads: f64, volts: f64) -> f64 {
    (0.01 * farads * 1e6 * volts).max(3.0) * 1e-6
}

/// Share of the rated voltage that the capacitor has reached when its leakage counts.
const REACHED: f64 = 0.95;
/// Of the early excess of leakage a hundredth is left after so many minutes at voltage: chosen; published courses differ
/// widely, and the log tells better.
const FADES: f64 = 20.0;

/// Works out the ways.
///
/// # Errors
/// Numbers that are not above zero, a log out of order.
pub fn reform(options: &Options) -> Result<View, Refused> {
    let (farads, volts) = (options.farads, options.volts);
    if !(farads > 0.0 && volts > 0.0) {
        return Err(Refused::input(
            "Capacitance and rated voltage have to be above zero.",
            "Write them such as --farads 20u --volts 450.",
        ));
    }
    if options.log.windows(2).any(|w| w[1].minutes < w[0].minutes) {
        return Err(Refused::input(
            "The log goes back in time.",
            "Sort its lines by the minutes since the supply was connected.",
        ));
    }
    let limit = jan_limit(farads, volts);
    Ok(View {
        cautions: vec![
            MAINS.to_owned(),
            "An old electrolytic can burst or vent when it is reformed: out of the machine or its lead lifted, behind a shield, goggles on, and not left alone.".to_owned(),
            "When it is done it is charged: discharge it through a resistor and read the volts before it is touched.".to_owned(),
        ],
        farads,
        volts,
        limits: vec![
            LeakLimit {
                amps: limit,
                source: "JAN-C-62 and EIA: K C + 0.3 mA, at rated voltage for five minutes",
            },
            LeakLimit {
                amps: small_part_limit(farads, volts),
                source: "a small part's data sheet: 0.01 C V uA, at least 3 uA (modern parts)",
            },
        ],
        schools: schools(farads, volts, options.years, limit),
        verdict: verdict(options, limit),
    })
}

fn schools(farads: f64, volts: f64, years: Option<f64>, limit: f64) -> Vec<School> {
    let months = years.map_or(60.0, |y| 12.0 * y);
    let school = |name, ohms: f64, minutes: f64, ends: &str, source| School {
        name,
        ohms,
        watts: volts * volts / ohms,
        most: volts / ohms,
        minutes,
        drop: limit * ohms,
        expected: expected(farads, volts, ohms, limit),
        ends: ends.to_owned(),
        source,
    };
    vec![
        school(
            "preconditioning",
            if volts <= 100.0 { 100.0 } else { 1000.0 },
            60.0,
            "After an hour discharged through about an ohm a volt and left for half a day to two days; then the leakage is read.",
            "EIA-815 (abstract): rated voltage through 100 ohm up to 100 V, 1 kilohm above, one hour; for parts of known condition",
        ),
        school(
            "voltage treatment",
            1000.0,
            60.0,
            "Leakage read at the end.",
            "capacitor makers' application notes: about 1 kilohm, rated voltage, 30 to 60 minutes",
        ),
        school(
            "re-ageing",
            if volts <= 75.0 { 10e3 } else { 100e3 },
            240.0,
            "Voltage raised slowly so that no more than 1 mA flows; four hours at rated voltage, then tested again.",
            "a capacitor maker's note of 1993: 10 kilohm up to 75 V, 100 kilohm above",
        ),
        school(
            "trade rule",
            30e3,
            5.0 + months,
            "Given up if after an hour the resistor still drops more than a tenth of the voltage (another text: a fifth).",
            "a trade note (public copies): through 20 to 50 kilohm, 5 minutes and one more for each month stored; five years taken where not said",
        ),
        school(
            "slow method",
            470e3,
            24.0 * 60.0,
            "A day and more; given up if the voltage stops rising short of the rating.",
            "a radio-amateur's page: 450 V parts through 470 kilohm, 2 W",
        ),
    ]
}

/// Leakage in amperes at some minutes of a capacitor that comes back: what charges it has died away, and what leaks fades
/// towards half the published limit.
fn expected(farads: f64, volts: f64, ohms: f64, limit: f64) -> Vec<(f64, f64)> {
    let most = volts / ohms;
    [1.0, 5.0, 15.0, 30.0, 60.0, 120.0]
        .iter()
        .map(|minutes| {
            let charging = most * (-60.0 * minutes / (ohms * farads)).exp();
            let excess = (most - 0.5 * limit).clamp(0.0, 20.0 * limit);
            let leaking = 0.5 * limit.min(most) + excess * (-minutes * 100f64.ln() / FADES).exp();
            (*minutes, (charging + leaking).min(most))
        })
        .collect()
}

fn verdict(options: &Options, limit: f64) -> Option<Verdict> {
    let last = options.log.last()?;
    let amps = |x: f64| units::significant(x, 2, Unit::Ampere);
    let reached = last.volts >= REACHED * options.volts;
    let held = options
        .log
        .iter()
        .find(|n| n.volts >= REACHED * options.volts)
        .map_or(0.0, |n| last.minutes - n.minutes);
    let earlier = options
        .log
        .iter()
        .rev()
        .find(|n| n.minutes <= last.minutes - 15.0);
    Some(if reached && held >= 5.0 && last.amps <= limit {
        Verdict {
            word: "holds",
            why: format!(
                "It has stood at its voltage for {held:.0} minutes and leaks {}, of {} that JAN-C-62 allows. Write down the course, and look at it again after a day without voltage.",
                amps(last.amps),
                amps(limit)
            ),
        }
    } else if last.minutes >= 60.0 && !reached {
        Verdict {
            word: "given up",
            why: format!(
                "After {:.0} minutes it has not come to {} of its {}: the trade rule gives it up.",
                last.minutes,
                units::significant(REACHED * options.volts, 3, Unit::Volt),
                units::significant(options.volts, 3, Unit::Volt)
            ),
        }
    } else if let Some(before) = earlier.filter(|b| {
        last.volts >= b.volts && last.amps > 1.2 * b.amps && last.volts < 1.02 * b.volts
    }) {
        Verdict {
            word: "given up",
            why: format!(
                "Its leakage grows at the same voltage, from {} to {} in {:.0} minutes: it heats itself. Off, and let it cool behind the shield.",
                amps(before.amps),
                amps(last.amps),
                last.minutes - before.minutes
            ),
        }
    } else {
        Verdict {
            word: "goes on",
            why: format!(
                "It stands at {} and leaks {}; {} are allowed at {} after five minutes there.",
                units::significant(last.volts, 3, Unit::Volt),
                amps(last.amps),
                amps(limit),
                units::significant(options.volts, 3, Unit::Volt)
            ),
        }
    })
}

/// Reads a log: CSV with the columns minutes, volts, amps.
///
/// # Errors
/// Lines that cannot be read.
pub fn read_log(text: &str, file: &str) -> Result<Vec<Noted>, Refused> {
    let mut complaints = Vec::new();
    let mut noted = Vec::new();
    for (k, line) in text.lines().enumerate().skip(1) {
        if line.trim().is_empty() {
            continue;
        }
        let cells: Vec<&str> = line.split(',').map(str::trim).collect();
        let number = |k: usize, unit| {
            cells
                .get(k)
                .and_then(|c| units::read(c, unit).ok())
                .map(|v| v.number)
        };
        match (number(0, Unit::One), number(1, Unit::Volt), number(2, Unit::Ampere)) {
            (Some(minutes), Some(volts), Some(amps)) => noted.push(Noted { minutes, volts, amps }),
            _ => complaints.push(crate::refused::Complaint {
                file: Some(file.to_owned()),
                line: Some(k + 1),
                ..crate::refused::Complaint::new(
                    format!("`{line}` is no line of a log."),
                    "Write minutes, volts at the capacitor and amperes into it, such as 10,420,1.2m.",
                )
            }),
        }
    }
    if complaints.is_empty() {
        Ok(noted)
    } else {
        Err(Refused::Input(complaints))
    }
}

impl View {
    /// The answer for people.
    pub fn to_text(&self) -> String {
        let mut text = String::new();
        for caution in &self.cautions {
            text += &format!("! {caution}\n");
        }
        let amps = |x: f64| units::significant(x, 2, Unit::Ampere);
        text += &format!(
            "\n{} for {}\n",
            units::significant(self.farads, 3, Unit::Farad),
            units::significant(self.volts, 3, Unit::Volt)
        );
        for limit in &self.limits {
            text += &format!("  leaks at most {}: {}\n", amps(limit.amps), limit.source);
        }
        text += "\nPublished ways; the choice is yours, as is replacing it\n";
        let rows: Vec<Vec<String>> = self
            .schools
            .iter()
            .map(|s| {
                let at = |m: f64| {
                    s.expected
                        .iter()
                        .find(|e| e.0 == m)
                        .map_or(String::new(), |e| amps(e.1))
                };
                vec![
                    s.name.to_owned(),
                    units::significant(s.ohms, 2, Unit::Ohm),
                    units::significant(s.watts, 2, Unit::Watt),
                    amps(s.most),
                    super::discharge::duration(Some(60.0 * s.minutes)),
                    at(5.0),
                    at(60.0),
                ]
            })
            .collect();
        text += &aligned(
            &[
                ("way", Align::Left),
                ("resistor", Align::Right),
                ("bears, if short", Align::Right),
                ("at most", Align::Right),
                ("takes", Align::Right),
                ("leaks at 5 min", Align::Right),
                ("at 60 min", Align::Right),
            ],
            &rows,
        );
        for s in &self.schools {
            text += &format!("  {}: {} ({})\n", s.name, s.ends, s.source);
        }
        if let Some(v) = &self.verdict {
            text += &format!("\nThe log: {}. {}\n", v.word, v.why);
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_leakage_limits() {
        // 20 uF: 1.1 mA at 450 V, 0.7 mA at 250 V (JAN-C-62 as two radio-amateur lists give it); 47 uF 40 V: 18.8 uA.
        assert!((jan_limit(20e-6, 450.0) - 1.1e-3).abs() < 1e-9);
        assert!((jan_limit(20e-6, 250.0) - 0.7e-3).abs() < 1e-9);
        assert!((small_part_limit(47e-6, 40.0) - 18.8e-6).abs() < 1e-12);
        assert!((small_part_limit(1e-6, 10.0) - 3e-6).abs() < 1e-12);
    }

    fn options(log: &[(f64, f64, f64)]) -> Options {
        let log = log.iter().map(|(minutes, volts, amps)| Noted {
            minutes: *minutes,
            volts: *volts,
            amps: *amps,
        });
        Options {
            farads: 20e-6,
            volts: 450.0,
            years: Some(10.0),
            log: log.collect(),
        }
    }

    #[test]
    fn several_ways_none_imposed() {
        let view = reform(&options(&[])).unwrap();
        let of = |name: &str| view.schools.iter().find(|s| s.name == name).unwrap();
        assert!(view.schools.len() >= 4);
        assert_eq!(of("preconditioning").ohms, 1000.0);
        assert_eq!(of("re-ageing").ohms, 100e3);
        // Ten years are 120 months: two hours and five minutes.
        assert_eq!(of("trade rule").minutes, 125.0);
        // 450 V on 30 k: 15 mA and 6.75 W if it is a short.
        assert!((of("trade rule").watts - 6.75).abs() < 1e-9);
        for school in &view.schools {
            assert!(school.expected.windows(2).all(|w| w[1].1 <= w[0].1));
            assert!(school.expected.iter().all(|e| e.1 <= school.most));
        }
        assert!(view.to_text().starts_with("! "));
        assert_eq!(view.verdict, None);
    }

    #[test]
    fn a_log_is_followed_to_its_end() {
        let word = |log: &[(f64, f64, f64)]| reform(&options(log)).unwrap().verdict.unwrap().word;
        assert_eq!(word(&[(1.0, 200.0, 8e-3)]), "goes on");
        assert_eq!(
            word(&[
                (1.0, 200.0, 8e-3),
                (30.0, 440.0, 2e-3),
                (40.0, 442.0, 0.9e-3)
            ]),
            "holds"
        );
        // At its voltage, but for two minutes only.
        assert_eq!(
            word(&[(30.0, 440.0, 2e-3), (32.0, 442.0, 0.9e-3)]),
            "goes on"
        );
        assert_eq!(word(&[(1.0, 200.0, 8e-3), (61.0, 300.0, 5e-3)]), "given up");
        assert_eq!(
            word(&[(10.0, 400.0, 2e-3), (30.0, 402.0, 3e-3)]),
            "given up"
        );
        assert!(reform(&options(&[(5.0, 1.0, 1.0), (4.0, 1.0, 1.0)])).is_err());
    }

    #[test]
    fn bad_lines_of_a_log_are_named() {
        let log = read_log("minutes,volts,amps\n1,200,8m\n\n10,440V,900u\n", "c.csv").unwrap();
        assert_eq!((log.len(), log[1].volts, log[1].amps), (2, 440.0, 900e-6));
        let refused = read_log("minutes,volts,amps\n1,much,8m\n", "c.csv").unwrap_err();
        assert_eq!(refused.complaints()[0].line, Some(2));
    }
}
