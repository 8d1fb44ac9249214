//! `meter show`: a profile with all its ranges, in words and as it may stand in a meter file.

use circuit::meter::Setup;
use record::ReadingKind;
use serde::Serialize;
use sheet::meter::Meter;
use units::Unit;

use crate::meters::question;

/// The answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct View {
    /// Name of the profile.
    pub meter: String,
    /// Where its numbers come from.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// One line a range, for people.
    pub ranges: Vec<String>,
    /// Above this voltage the instrument is in danger, and the person too; null if not known.
    pub max_volts: Option<f64>,
    /// The profile in the grammar of meter files.
    pub profile: String,
}

/// All that a profile says.
pub fn show(meter: &Meter) -> View {
    let ranges = [ReadingKind::Ohms, ReadingKind::Diode, ReadingKind::Volts]
        .into_iter()
        .filter_map(|kind| question(meter, kind))
        .flat_map(|q| q.setups)
        .map(|setup| words(&setup))
        .collect();
    View {
        meter: meter.name.clone(),
        source: meter.source.clone(),
        ranges,
        max_volts: meter.volts.and_then(|v| v.max).map(|v| v.0),
        profile: meter.print(),
    }
}

fn words(setup: &Setup) -> String {
    let of = |unit| move |x: f64| units::significant(x, 3, unit);
    let (ohm, volt, amp) = (of(Unit::Ohm), of(Unit::Volt), of(Unit::Ampere));
    let percent = |x: f64| format!("{} %", (x * 1e6).round() / 1e4);
    let plus = |floor: f64, text: String| {
        if floor > 0.0 {
            format!(" + {text}")
        } else {
            String::new()
        }
    };
    match *setup {
        Setup::CurrentOhms {
            amps,
            limit,
            full_scale,
            accuracy,
            floor,
        } => format!(
            "ohms to {}: {} until {}, within {}{}",
            ohm(full_scale),
            amp(amps),
            volt(limit),
            percent(accuracy),
            plus(floor, ohm(floor))
        ),
        Setup::SeriesOhms {
            source,
            open,
            full_scale,
            reversed,
            accuracy,
        } => format!(
            "ohms to {}: {} behind {}, {}within {} of the arc",
            ohm(full_scale),
            volt(open),
            ohm(source),
            if reversed { "red lead negative, " } else { "" },
            percent(accuracy)
        ),
        Setup::Diode {
            amps,
            limit,
            accuracy,
            floor,
        } => format!(
            "diode: {} until {}, within {}{}",
            amp(amps),
            volt(limit),
            percent(accuracy),
            plus(floor, volt(floor))
        ),
        Setup::Volts {
            ohms,
            accuracy,
            floor,
        } => format!(
            "volts: {} between the leads, within {}{}",
            ohm(ohms),
            percent(accuracy),
            plus(floor, volt(floor))
        ),
        Setup::Source { volts, ohms } => format!("{} behind {}", volt(volts), ohm(ohms)),
    }
}

impl View {
    /// The answer for people, which is a meter file as well: the words are comments in it.
    pub fn to_text(&self) -> String {
        let mut text = String::new();
        for range in &self.ranges {
            text += &format!("// {range}\n");
        }
        if let Some(max) = self.max_volts {
            let max = units::significant(max, 3, Unit::Volt);
            text += &format!("// never above {max}\n");
        }
        text + &self.profile
    }
}
