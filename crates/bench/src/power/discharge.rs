//! `power discharge`: how long a charge stays above what may be touched, through what is really there.

use circuit::Fault;
use circuit::fault::Place;
use predict::stress::Powered;
use predict::time::{Fall, fall, falls};
use rayon::prelude::*;
use serde::Serialize;
use sheet::{Kind, NetId, PartId, Sheet};
use units::Unit;

use super::MAINS;
use crate::loading::{self, Text};
use crate::places;
use crate::refused::{Complaint, Refused};
use crate::table::{Align, aligned};

/// A voltage that rules name as the end of danger.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Limit {
    /// Volts d.c.
    pub volts: f64,
    /// Which rule.
    pub source: &'static str,
}

/// The limits, highest first. None of them is promised to protect: skin, wetness and surroundings differ.
pub const LIMITS: [Limit; 4] = [
    Limit {
        volts: 60.0,
        source: "IEC 60950-1 and 60065, d.c.",
    },
    Limit {
        volts: 42.4,
        source: "IEC 60335-1, 8.1.4",
    },
    Limit {
        volts: 33.0,
        source: "IEC 61010-1, second edition, effective (from memory)",
    },
    Limit {
        volts: 30.0,
        source: "MIL-HDBK-454, guideline 1 (from memory)",
    },
];

/// Seconds after which a capacitor should be below 30 V by itself (MIL-HDBK-454, guideline 1, from memory).
const PROMPT: f64 = 2.0;

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub enum Input {
    /// One capacitor and one resistance.
    Plain {
        /// Farads.
        farads: f64,
        /// Ohms.
        ohms: f64,
        /// Volts at switch-off.
        volts: f64,
    },
    /// All capacitors of a sheet, each charged as when powered.
    Sheet {
        /// The sheet.
        text: Text,
        /// Use good lines in spite of bad ones.
        lenient: bool,
    },
}

/// The answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct View {
    /// What has to be said first.
    pub cautions: Vec<String>,
    /// The limits.
    pub limits: Vec<Limit>,
    /// Capacitors, longest danger first.
    pub capacitors: Vec<ChargeView>,
    /// Bad lines that were skipped.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub skipped: Vec<Complaint>,
}

/// One capacitor.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ChargeView {
    /// Designator; none for the plain question.
    pub part: Option<String>,
    /// Farads.
    pub farads: f64,
    /// Volts at switch-off.
    pub volts: f64,
    /// Joules stored.
    pub joules: f64,
    /// Coulombs stored.
    pub coulombs: f64,
    /// The charge alone is beyond what IEC 60335-1 lets be touched above 42.4 V: 0.1 uF up to 450 V, 45 uC up to 15 kV.
    pub beyond_touch: bool,
    /// Seconds to each limit; null if it is not reached in ten hours.
    pub seconds: Vec<Option<f64>>,
    /// The open part that makes it worst, and the seconds to each limit with it.
    pub worst: Option<WorstView>,
}

/// With one part of its path open.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WorstView {
    /// The fault.
    pub with: String,
    /// Seconds to each limit; null if it is not reached in ten hours.
    pub seconds: Vec<Option<f64>>,
}

fn limits() -> Vec<f64> {
    LIMITS.iter().map(|l| l.volts).collect()
}

/// Whether the charge is beyond IEC 60335-1, 8.1.4, as a public forum of safety engineers quotes it.
fn beyond_touch(farads: f64, volts: f64) -> bool {
    match volts {
        v if v <= 42.4 => false,
        v if v <= 450.0 => farads > 0.1e-6,
        v if v <= 15e3 => farads * v > 45e-6,
        v => 0.5 * farads * v * v > 0.35,
    }
}

/// Works it out.
///
/// # Errors
/// Bad input, or a circuit without an operating point.
pub fn discharge(input: &Input) -> Result<View, Refused> {
    let (capacitors, skipped) = match input {
        Input::Plain {
            farads,
            ohms,
            volts,
        } => (vec![plain(*farads, *ohms, *volts)?], Vec::new()),
        Input::Sheet { text, lenient } => {
            let loaded = loading::sheet(text, *lenient)?;
            (of_sheet(&loaded.value)?, loaded.skipped)
        }
    };
    Ok(View {
        cautions: vec![
            MAINS.to_owned(),
            "A figure is no proof. Discharge through a resistor, then read the volts across each capacitor before it is touched, and again after a minute: a charge comes back by itself.".to_owned(),
            "No limit protects everybody: wet hands, damp rooms and a path across the chest make less dangerous.".to_owned(),
        ],
        limits: LIMITS.to_vec(),
        capacitors,
        skipped,
    })
}

fn plain(farads: f64, ohms: f64, volts: f64) -> Result<ChargeView, Refused> {
    if !(farads > 0.0 && ohms > 0.0 && volts > 0.0) {
        return Err(Refused::input(
            "Capacitance, resistance and voltage have to be above zero.",
            "Write them such as --farads 100u --ohms 100k --volts 340.",
        ));
    }
    let seconds = limits()
        .iter()
        .map(|l| Some(fall(farads, ohms, volts, *l)))
        .collect();
    Ok(charge(None, farads, volts, seconds))
}

fn charge(part: Option<String>, farads: f64, volts: f64, seconds: Vec<Option<f64>>) -> ChargeView {
    ChargeView {
        part,
        farads,
        volts,
        joules: 0.5 * farads * volts * volts,
        coulombs: farads * volts,
        beyond_touch: beyond_touch(farads, volts),
        seconds,
        worst: None,
    }
}

fn of_sheet(sheet: &Sheet) -> Result<Vec<ChargeView>, Refused> {
    if let Some(transformer) = places::undriven_rectifier(sheet) {
        return Err(places::undriven(&transformer));
    }
    let powered = Powered::new(sheet).map_err(|e| places::unsolved(&e, sheet))?;
    let potential = powered.potential();
    let charged = |c: PartId| {
        let pins = sheet.parts[c.index()].pins();
        let at = |net: NetId| potential[net.index()];
        at(pins[0].1) - at(pins[1].1)
    };
    let unsolved = |e| places::unsolved(&e, sheet);
    let plain = falls(sheet, &[], &limits(), charged).map_err(unsolved)?;
    let least = limits().into_iter().fold(f64::INFINITY, f64::min);
    let dangerous: Vec<&Fall> = plain.iter().filter(|f| f.from > least).collect();
    // What may be open of a charge's path: parts that carry direct current and lie at a dangerous capacitor.
    let suspects: Vec<Fault> = opens(sheet, &dangerous);
    let opened: Vec<(String, Vec<Fall>)> = suspects
        .par_iter()
        .filter_map(|fault| {
            let with = falls(sheet, std::slice::from_ref(fault), &limits(), charged).ok()?;
            Some((format!("{} open", fault.part_name(sheet)), with))
        })
        .collect();
    let mut views: Vec<ChargeView> = dangerous
        .iter()
        .map(|f| {
            let part = &sheet.parts[f.capacitor.index()];
            let Kind::Capacitor { farads, .. } = part.kind else {
                unreachable!("only capacitors are followed");
            };
            let mut view = charge(Some(part.name.clone()), farads.0, f.from, f.below.clone());
            let own = |falls: &[Fall]| {
                let mine = falls.iter().find(|o| o.capacitor == f.capacitor);
                mine.map_or(Vec::new(), |o| o.below.clone())
            };
            let worst = opened.iter().map(|(with, falls)| (with, own(falls)));
            view.worst = worst
                .filter(|(_, seconds)| longest(seconds) > 1.01 * longest(&view.seconds))
                .max_by(|a, b| longest(&a.1).total_cmp(&longest(&b.1)))
                .map(|(with, seconds)| WorstView {
                    with: with.clone(),
                    seconds,
                });
            view
        })
        .collect();
    views.sort_by(|a, b| {
        let of = |v: &ChargeView| {
            v.worst
                .as_ref()
                .map_or(longest(&v.seconds), |w| longest(&w.seconds))
        };
        of(b).total_cmp(&of(a))
    });
    Ok(views)
}

/// Seconds to the lowest limit; without end if it is not reached.
fn longest(seconds: &[Option<f64>]) -> f64 {
    seconds.last().copied().flatten().unwrap_or(f64::INFINITY)
}

fn opens(sheet: &Sheet, dangerous: &[&Fall]) -> Vec<Fault> {
    let nets: Vec<NetId> = dangerous
        .iter()
        .flat_map(|f| sheet.parts[f.capacitor.index()].pins())
        .map(|p| p.1)
        .filter(|n| sheet.ground() != Some(*n))
        .collect();
    let carries = |kind: &Kind| {
        matches!(
            kind,
            Kind::Resistor { .. }
                | Kind::Potentiometer { .. }
                | Kind::Inductor { .. }
                | Kind::Fuse { .. }
                | Kind::Switch { .. }
        )
    };
    sheet
        .parts
        .iter()
        .enumerate()
        .filter(|(_, p)| carries(&p.kind) && p.pins().iter().any(|pin| nets.contains(&pin.1)))
        .map(|(k, _)| Fault {
            place: Place::Part(PartId(k as u32)),
            mode: circuit::Mode::Open,
        })
        .collect()
}

/// `4.2 s`, `13 min`, `2.5 h`; not within ten hours.
pub(crate) fn duration(seconds: Option<f64>) -> String {
    match seconds {
        None => "over 10 h".to_owned(),
        Some(0.0) => "at once".to_owned(),
        Some(s) if s < 120.0 => units::significant(s, 2, Unit::Second),
        Some(s) if s < 7200.0 => format!("{:.0} min", (s / 60.0).ceil()),
        Some(s) => format!("{:.1} h", s / 3600.0),
    }
}

impl View {
    /// The answer for people.
    pub fn to_text(&self) -> String {
        let mut text = String::new();
        for caution in &self.cautions {
            text += &format!("! {caution}\n");
        }
        if self.capacitors.is_empty() {
            return text
                + "\nNo capacitor of this sheet is charged above the lowest limit when powered as drawn.\n";
        }
        text += "\nTime after switch-off until the volts stay below\n";
        let heads: Vec<String> = self
            .limits
            .iter()
            .map(|l| units::significant(l.volts, 3, Unit::Volt))
            .collect();
        let mut head = vec![
            ("", Align::Left),
            ("charged to", Align::Right),
            ("energy", Align::Right),
        ];
        head.extend(heads.iter().map(|h| (h.as_str(), Align::Right)));
        let mut rows = Vec::new();
        for c in &self.capacitors {
            let times = |s: &[Option<f64>]| s.iter().map(|s| duration(*s)).collect::<Vec<_>>();
            let mut row = vec![
                c.part.clone().unwrap_or_default(),
                units::significant(c.volts, 3, Unit::Volt),
                format!("{} J", units::significant(c.joules, 2, Unit::One)),
            ];
            row.extend(times(&c.seconds));
            rows.push(row);
            if let Some(worst) = &c.worst {
                let mut row = vec![
                    format!("  with {}", worst.with),
                    String::new(),
                    String::new(),
                ];
                row.extend(times(&worst.seconds));
                rows.push(row);
            }
        }
        text += &aligned(&head, &rows);
        for limit in &self.limits {
            text += &format!("  {} V: {}\n", units::number(limit.volts), limit.source);
        }
        let slow = self.capacitors.iter().any(|c| longest(&c.seconds) > PROMPT);
        if slow {
            text += "Slower than two seconds to 30 V (MIL-HDBK-454): discharge by hand, with a resistor and clips.\n";
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn touchable_charges_as_the_standard_has_them() {
        // 45 uC are 45 nF at 1 kV, 22.5 nF at 2 kV, 9 nF at 5 kV; 0.1 uF up to 450 V; 350 mJ above 15 kV.
        for (farads, volts, beyond) in [
            (44e-9, 1000.0, false),
            (46e-9, 1000.0, true),
            (22e-9, 2000.0, false),
            (9.1e-9, 5000.0, true),
            (0.1e-6, 450.0, false),
            (0.11e-6, 400.0, true),
            (1.0, 42.0, false),
            (3e-9, 16e3, true),
            (2.5e-9, 16e3, false),
        ] {
            assert_eq!(
                beyond_touch(farads, volts),
                beyond,
                "{farads} F at {volts} V"
            );
        }
    }

    #[test]
    fn a_plain_question_is_the_exponential() {
        let input = Input::Plain {
            farads: 100e-6,
            ohms: 100e3,
            volts: 340.0,
        };
        let view = discharge(&input).unwrap();
        // ln(340 / 60) = 1.7346 time constants of 10 s.
        assert!((view.capacitors[0].seconds[0].unwrap() - 17.346).abs() < 1e-2);
        assert!((view.capacitors[0].joules - 5.78).abs() < 1e-9);
        let text = view.to_text();
        assert!(text.starts_with("! ") && text.contains("17 s"), "{text}");
    }

    #[test]
    fn the_bleeder_open_is_the_worst_of_a_sheet() {
        let text = Text {
            file: "s.kdl".to_owned(),
            text: r#"sheet S {
                net G role=ground
                supply V1 volts=300 plus=A minus=G ohms=100
                capacitor C1 "50u" plus=A minus=G volts=350 style=electrolytic leak="4M"
                resistor R1 "220k" A G watts=2
                resistor R2 "1M" A B
                capacitor C2 "10n" B G volts=400
            }"#
            .to_owned(),
        };
        let view = discharge(&Input::Sheet {
            text,
            lenient: false,
        })
        .unwrap();
        let c1 = view
            .capacitors
            .iter()
            .find(|c| c.part.as_deref() == Some("C1"))
            .unwrap();
        // 50u with 220k and 4M in parallel, 10.43 s, from 300 V to 60: ln 5 = 1.609.
        assert!(
            (c1.seconds[0].unwrap() / (10.427 * 1.60944) - 1.0).abs() < 5e-3,
            "{:?}",
            c1.seconds
        );
        let worst = c1.worst.as_ref().unwrap();
        assert_eq!(worst.with, "R1 open");
        assert!((worst.seconds[0].unwrap() / (200.0 * 1.60944) - 1.0).abs() < 5e-3);
    }
}
