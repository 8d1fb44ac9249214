//! The stages of a bring-up: what the supplies are set to, what is read, and limits from drawn healthy units.

use predict::random;
use predict::stress::{Operating, Powered};
use predict::time::{Mains, Rectified};
use rayon::prelude::*;
use serde::Serialize;
use std::sync::atomic::{AtomicUsize, Ordering};

use sheet::{Kind, NetId, Part, PartId, Role, Sheet};
use units::Volts;

use crate::Progress;
use crate::places;
use crate::power::lamp;
use crate::refused::Refused;
use crate::risk::{self, Whole};

/// Shares of the full voltage: chosen; a first look where little can happen, then halfway, and near the end in smaller steps.
pub const SHARES: [f64; 5] = [0.1, 0.25, 0.5, 0.75, 1.0];
/// Shares of the kilovolts, once all else stands at its full voltage: chosen.
const OF_KILOVOLTS: [f64; 3] = [0.25, 0.5, 1.0];
/// A supply from here on is turned up last, on stages of its own: chosen, far above plate supplies.
const KILOVOLTS: f64 = 500.0;
/// Fixes the drawn units.
const SEED: u64 = 41;
/// Limits lie so many standard deviations from the mean of the drawn units, and as many half ones beyond the furthest of
/// them: chosen, so that of a thousand units none crosses one of some dozens of limits.
const WIDE: f64 = 6.0;
const BEYOND: f64 = 3.0;
/// The instrument's share of a limit: of the reading, and of the full value; chosen, a hand-held meter's.
const METER: f64 = 0.01;
const METER_FLOOR: f64 = 2e-3;
/// The smallest current to which a bench supply is commonly set, in amperes (common practice).
const LEAST_LIMIT: f64 = 0.01;

/// How far the supplies are turned up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Setting {
    /// Share of the full voltage.
    pub share: f64,
    /// The same of the kilovolts; none where there are none.
    pub kilovolts: Option<f64>,
}

/// Heaters, rails and plates first and the kilovolts off; then the kilovolts, with all else at its full voltage.
pub(super) fn settings(sheet: &Sheet) -> Vec<Setting> {
    let has_kilovolts = sheet.parts.iter().any(is_kilovolts);
    let low = SHARES.map(|share| Setting {
        share,
        kilovolts: has_kilovolts.then_some(0.0),
    });
    let high = OF_KILOVOLTS.map(|share| Setting {
        share: 1.0,
        kilovolts: Some(share),
    });
    let high = high.into_iter().filter(|_| has_kilovolts);
    low.into_iter().chain(high).collect()
}

fn is_kilovolts(part: &Part) -> bool {
    matches!(&part.kind, Kind::Supply { volts, .. } if volts.0.abs() >= KILOVOLTS)
}

/// A stage, worked out.
#[derive(Clone, Debug)]
pub(super) struct Stage {
    pub setting: Setting,
    pub sheet: Sheet,
    pub supplies: Vec<(String, f64)>,
    pub readings: Vec<StageReading>,
    places: Vec<What>,
}

/// What a reading of a stage is of.
#[derive(Clone, Copy, Debug)]
enum What {
    Volts(NetId, NetId),
    Amps(PartId),
}

/// A reading of a stage.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StageReading {
    /// `volts` or `amps`.
    pub kind: &'static str,
    /// The net, or the supply.
    pub at: String,
    /// Black lead, for volts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub black: Option<String>,
    /// With nominal parts.
    pub expected: f64,
    /// Below this: stop.
    pub low: f64,
    /// Above this: stop.
    pub high: f64,
    /// Above 60 V: off, prove discharged, clip on, hands out, on, read, off.
    pub hands_off: bool,
}

/// What the rectifiers do at one setting of a variable transformer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MainsView {
    /// Transformer.
    pub transformer: String,
    /// Share of the rated mains.
    pub share: f64,
    /// Reservoirs: name, mean volts, ripple from peak to peak.
    pub reservoirs: Vec<ReservoirView>,
    /// Largest current of a secondary in a settled cycle, in amperes.
    pub peak: f64,
    /// The same on the way from the stage before.
    pub inrush: f64,
    /// Effective primary current in amperes, without what the core itself takes.
    pub primary: f64,
    /// Degrees of a cycle during which a secondary conducts one way.
    pub conduction: f64,
    /// Whether the cycles had become alike.
    pub settled: bool,
    /// Largest current that the core alone can draw in its first half cycle, in amperes; an upper bound.
    pub core: f64,
    /// What that does to a fuse, in ampere squared seconds.
    pub melting: f64,
    /// The lamp in series with the primary through which a sound supply comes up; at the full voltage alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lamp: Option<LampStage>,
}

/// A supply brought up through a lamp whose filament heats.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LampStage {
    /// Rated watts at the volts of the primary.
    pub watts: f64,
    /// Least share of its volts that a reservoir comes to.
    pub share: f64,
    /// Seconds until the cycles are alike.
    pub seconds: f64,
    /// Largest current of a secondary on the way, the filament cold at first, in amperes.
    pub inrush: f64,
    /// Largest current that the core alone can draw through the cold filament, in amperes.
    pub core: f64,
}

/// A capacitor of a board with rectifiers.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ReservoirView {
    /// Designator.
    pub part: String,
    /// Mean volts, from its first pin to its second.
    pub volts: f64,
    /// Ripple from peak to peak, in volts.
    pub ripple: f64,
}

impl What {
    fn of(self, point: &Operating) -> f64 {
        match self {
            What::Volts(red, black) => {
                point.potential[red.index()] - point.potential[black.index()]
            }
            What::Amps(supply) => {
                let own = point.delivered.iter().find(|d| d.0 == supply);
                own.map_or(0.0, |d| d.1)
            }
        }
    }
}

impl Stage {
    /// To what the current of each supply that is set is limited: the next usual step above what any healthy unit takes.
    pub fn limits(&self) -> Vec<(String, f64)> {
        let amps = self.readings.iter().filter(|r| r.kind == "amps");
        let set = amps.filter(|r| self.supplies.iter().any(|s| s.0 == r.at));
        set.map(|r| (r.at.clone(), risk::step_up(r.high.max(LEAST_LIMIT))))
            .collect()
    }

    /// Whether a limit is crossed.
    pub fn crossed(&self, point: &Operating) -> bool {
        self.places.iter().zip(&self.readings).any(|(what, r)| {
            let value = what.of(point);
            !(r.low..=r.high).contains(&value)
        })
    }
}

/// The stages with their limits.
///
/// # Errors
/// If a stage or most of the drawn units have no operating point.
pub(super) fn stages(
    sheet: &Sheet,
    plain: &Powered<'_>,
    units: usize,
    progress: Progress<'_>,
) -> Result<Vec<Stage>, Refused> {
    let places = read_at(sheet, plain);
    let settings = settings(sheet);
    let (done, all) = (AtomicUsize::new(0), settings.len() * units);
    let drawn = || progress(done.fetch_add(1, Ordering::Relaxed) + 1, all);
    settings
        .into_iter()
        .map(|setting| stage(sheet, plain, setting, &places, units, &drawn))
        .collect()
}

/// Rails and the far side of supplies against ground, and the current of every supply that delivers any.
fn read_at(sheet: &Sheet, plain: &Powered<'_>) -> Vec<What> {
    let ground = sheet.ground().unwrap_or(NetId(0));
    let mut nets: Vec<NetId> = (0..sheet.nets.len() as u32)
        .map(NetId)
        .filter(|n| sheet.nets[n.index()].role == Some(Role::Rail))
        .collect();
    for part in &sheet.parts {
        if let Kind::Supply { plus, minus, .. } = part.kind {
            nets.extend([plus, minus]);
        }
    }
    nets.sort_unstable();
    nets.dedup();
    let forbidden = |n: &NetId| sheet.nevers.iter().any(|v| v.net == *n);
    nets.retain(|n| sheet.nets[n.index()].role != Some(Role::Ground) && !forbidden(n));
    let volts = nets.into_iter().map(|n| What::Volts(n, ground));
    let delivered = plain.delivered();
    let amps = delivered
        .iter()
        .filter(|d| d.1 > 1e-5)
        .map(|d| What::Amps(d.0));
    volts.chain(amps).collect()
}

fn stage(
    sheet: &Sheet,
    plain: &Powered<'_>,
    setting: Setting,
    places: &[What],
    units: usize,
    done: &(dyn Fn() + Sync),
) -> Result<Stage, Refused> {
    let (at, supplies) = set_to(sheet, setting);
    let under = Powered::under(plain, &at).map_err(|e| places::unsolved(&e, &at))?;
    let nominal = under
        .operating(None, None)
        .map_err(|e| places::unsolved(&e, &at))?;
    let drawn: Vec<Operating> = (0..units as u64)
        .into_par_iter()
        .filter_map(|unit| {
            let z = random::normals(&mut random::stream(SEED, unit), under.variables());
            let point = under.operating(Some(&z), None).ok();
            done();
            point
        })
        .collect();
    if 2 * drawn.len() < units {
        return Err(Refused::unable(
            format!(
                "Of {units} healthy units most have no operating point at {:.0} % of the voltage.",
                100.0 * setting.share
            ),
            "Look at the sheet's tolerances.",
        ));
    }
    // Nothing is read of a supply that is off.
    let is_set = |what: &What| match what {
        What::Amps(supply) => {
            let name = &sheet.parts[supply.index()].name;
            supplies.iter().any(|s| s.0 == *name)
        }
        What::Volts(..) => true,
    };
    let places: Vec<What> = places.iter().copied().filter(is_set).collect();
    let readings = places
        .iter()
        .map(|what| {
            let values: Vec<f64> = drawn.iter().map(|p| what.of(p)).collect();
            limits(sheet, *what, what.of(&nominal), &values)
        })
        .collect();
    Ok(Stage {
        setting,
        supplies,
        readings,
        places,
        sheet: at,
    })
}

/// The sheet with its supplies set, and to what; those that are off are not told.
fn set_to(sheet: &Sheet, setting: Setting) -> (Sheet, Vec<(String, f64)>) {
    let mut at = sheet.clone();
    let mut set = Vec::new();
    for part in &mut at.parts {
        let share = match setting.kilovolts {
            Some(share) if is_kilovolts(part) => share,
            _ => setting.share,
        };
        if let Kind::Supply { volts, .. } = &mut part.kind {
            *volts = Volts(volts.0 * share);
            if volts.0 != 0.0 {
                set.push((part.name.clone(), volts.0));
            }
        }
    }
    (at, set)
}

fn limits(sheet: &Sheet, what: What, expected: f64, values: &[f64]) -> StageReading {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let sd = (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (count - 1.0).max(1.0))
        .sqrt();
    let lowest = values.iter().copied().fold(expected, f64::min);
    let highest = values.iter().copied().fold(expected, f64::max);
    let meter = METER * expected.abs() + METER_FLOOR;
    let (at, black) = match what {
        What::Volts(red, black) => (
            sheet.net_name(red).to_owned(),
            Some(sheet.net_name(black).to_owned()),
        ),
        What::Amps(supply) => (sheet.parts[supply.index()].name.clone(), None),
    };
    let low = (mean - WIDE * sd).min(lowest - BEYOND * sd) - meter;
    let high = (mean + WIDE * sd).max(highest + BEYOND * sd) + meter;
    StageReading {
        kind: if black.is_some() { "volts" } else { "amps" },
        hands_off: black.is_some() && low.abs().max(high.abs()) > crate::candidates::HAND_HELD,
        at,
        black,
        expected,
        low,
        high,
    }
}

/// What rectifiers do at each stage: of the first board that has a transformer with them, by itself.
pub(super) fn mains(whole: &Whole, hertz: f64) -> Vec<Option<MainsView>> {
    let with = whole
        .cold
        .iter()
        .filter(|c| whole.cold.len() == 1 || !c.unplugged.is_empty())
        .find_map(|c| Some((c, Rectified::new(&c.sheet)?)));
    let Some((cold, mut rectified)) = with else {
        return Vec::new();
    };
    SHARES
        .iter()
        .map(|share| {
            let mains = Mains {
                hertz,
                share: *share,
                lamp: None,
            };
            let cycle = rectified.settle(&mains, cold.sheet.nets.len()).ok()?;
            let reservoirs = cold.sheet.parts.iter().filter_map(|p| match &p.kind {
                Kind::Capacitor { ends, farads, .. } if farads.0 >= 50e-6 => Some(ReservoirView {
                    part: format!("{}{}", cold.prefix, p.name),
                    volts: cycle.mean[ends[0].index()] - cycle.mean[ends[1].index()],
                    // Of two nets the one that moves more; the other is ground as a rule.
                    ripple: cycle.ripple[ends[0].index()].max(cycle.ripple[ends[1].index()]),
                }),
                _ => None,
            });
            let surge = rectified.core_surge(*share, hertz, 0.0);
            let is_full = *share >= 1.0;
            Some(MainsView {
                core: surge.peak,
                melting: surge.melting,
                lamp: is_full
                    .then(|| lamp_stage(&cold.sheet, &cycle.mean, hertz))
                    .flatten(),
                transformer: format!(
                    "{}{}",
                    cold.prefix,
                    cold.sheet.parts[rectified.transformer.index()].name
                ),
                share: *share,
                reservoirs: reservoirs.collect(),
                peak: cycle.peak,
                inrush: cycle.inrush,
                primary: cycle.primary,
                conduction: cycle.conduction.to_degrees(),
                settled: cycle.settled,
            })
        })
        .collect()
}

/// The smallest lamp of the trade through which every reservoir comes to nine tenths of what it has without, followed in
/// time from a cold filament.
fn lamp_stage(sheet: &Sheet, bare: &[f64], hertz: f64) -> Option<LampStage> {
    let reservoirs: Vec<[NetId; 2]> = sheet
        .parts
        .iter()
        .filter_map(|p| match &p.kind {
            Kind::Capacitor { ends, farads, .. } if farads.0 >= 50e-6 => Some(*ends),
            _ => None,
        })
        .collect();
    let across = |mean: &[f64], ends: &[NetId; 2]| mean[ends[0].index()] - mean[ends[1].index()];
    let try_one = |watts: f64| {
        let mut rectified = Rectified::new(sheet)?;
        let volts = rectified.primary_volts();
        let bulb = lamp::bulb(volts, watts);
        let mains = Mains {
            hertz,
            share: 1.0,
            lamp: Some(bulb),
        };
        let cycle = rectified.settle(&mains, sheet.nets.len()).ok()?;
        let shares = reservoirs
            .iter()
            .map(|ends| across(&cycle.mean, ends) / across(bare, ends));
        Some(LampStage {
            watts,
            share: shares.fold(f64::INFINITY, f64::min),
            seconds: cycle.cycles as f64 / hertz,
            inrush: cycle.inrush,
            core: rectified.core_surge(1.0, hertz, bulb.cold).peak,
        })
    };
    // More watts leave the supply more: the smallest that does is found by halving the list.
    let watts = lamp::WATTS;
    let (mut low, mut high, mut found) = (0, watts.len(), None);
    while low < high {
        let middle = (low + high) / 2;
        match try_one(watts[middle]).filter(|l| l.share.is_finite()) {
            Some(stage) if stage.share >= lamp::COMES_UP => {
                high = middle;
                found = Some(stage);
            }
            _ => low = middle + 1,
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn demo(name: &str) -> Sheet {
        let text = match name {
            "a1" => include_str!("../../../demo/sheets/a1.kdl"),
            "a2" => include_str!("../../../demo/sheets/a2.kdl"),
            "a3" => include_str!("../../../demo/sheets/a3.kdl"),
            _ => include_str!("../../../demo/sheets/a4.kdl"),
        };
        sheet::parse(text, name).0
    }

    /// Healthy units, other ones than those that set the limits: a thousand with KNOWNGOOD_FULL=1.
    #[test]
    fn no_healthy_unit_crosses_a_limit() {
        let full = std::env::var("KNOWNGOOD_FULL").is_ok_and(|v| v == "1");
        let units = if full { 1000 } else { 150 };
        let mut crossed = Vec::new();
        let mut seen = 0;
        for name in ["a1", "a2", "a3", "a4", "a6"] {
            let sheet = demo(name);
            let plain = Powered::new(&sheet).unwrap();
            for stage in stages(&sheet, &plain, 200, &|_, _| ()).unwrap() {
                assert!(!stage.readings.is_empty());
                let under = Powered::under(&plain, &stage.sheet).unwrap();
                for unit in 0..units {
                    let z = random::normals(&mut random::stream(977, unit), under.variables());
                    let point = under.operating(Some(&z), None).unwrap();
                    seen += 1;
                    if stage.crossed(&point) {
                        crossed.push((name, stage.setting, unit));
                    }
                }
            }
        }
        assert!(seen >= (4 * 5 + 8) * units);
        assert!(crossed.is_empty(), "{crossed:?}");
    }

    #[test]
    fn kilovolts_are_off_until_all_else_stands() {
        let text = include_str!("../../../demo/sheets/a6.kdl");
        let sheet = sheet::parse(text, "a6").0;
        let plain = Powered::new(&sheet).unwrap();
        let all = stages(&sheet, &plain, 20, &|_, _| ()).unwrap();
        let kilovolts = |s: &Stage| s.supplies.iter().find(|v| v.0 == "V2").map(|v| v.1);
        let set: Vec<Option<f64>> = all.iter().map(kilovolts).collect();
        let none = [None; 5];
        assert_eq!(set[..5], none);
        // A quarter, half and all of the 1 650 V on the drawing.
        assert_eq!(set[5..], [Some(412.5), Some(825.0), Some(1650.0)]);
        let heater = |s: &Stage| s.supplies.iter().find(|v| v.0 == "V3").map(|v| v.1);
        assert_eq!(heater(&all[4]), Some(12.0));
        assert_eq!(heater(&all[5]), Some(12.0));
        assert_eq!(settings(&demo("a1")).len(), 5);
    }

    #[test]
    fn limits_are_of_the_stage_and_kilovolts_are_not_read_by_hand() {
        let sheet = demo("a4");
        let plain = Powered::new(&sheet).unwrap();
        let all = stages(&sheet, &plain, 50, &|_, _| ()).unwrap();
        let rail = |s: &Stage| s.readings.iter().find(|r| r.at == "+120V").unwrap().clone();
        // 120 V behind 100 ohm; at half of it half as much, about.
        let (quarter, half, whole) = (rail(&all[1]), rail(&all[2]), rail(&all[4]));
        assert!(
            (whole.expected - 118.8).abs() < 1.0
                && (half.expected / whole.expected - 0.5).abs() < 0.02
        );
        assert!(whole.hands_off && !quarter.hands_off);
        assert!(whole.low < whole.expected && whole.expected < whole.high);
        // KV is a place where no probe may be sent, so that nothing is read there.
        assert!(all.iter().all(|s| s.readings.iter().all(|r| r.at != "KV")));
    }
}
