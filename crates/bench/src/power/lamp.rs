//! `power lamp`: which lamp in series with the mains lets a load come up, and what its brightness says.

use circuit::laws::Lamp;
use predict::time::series_lamp;
use serde::Serialize;
use units::Unit;

use super::MAINS;
use crate::refused::Refused;
use crate::table::{Align, aligned};

/// What is asked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// Mains voltage, effective.
    pub mains: f64,
    /// What the load takes at that voltage, in ohms.
    pub ohms: f64,
}

/// The answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct View {
    /// What has to be said first.
    pub cautions: Vec<String>,
    /// Mains voltage.
    pub mains: f64,
    /// The load in ohms.
    pub ohms: f64,
    /// Lamps, smallest first.
    pub lamps: Vec<LampView>,
    /// Watts of the smallest lamp that leaves the load nine tenths of the mains; null if none does.
    pub choice: Option<f64>,
    /// What brightness means.
    pub meaning: Vec<String>,
}

/// One lamp.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LampView {
    /// Rated watts at the mains voltage.
    pub watts: f64,
    /// Volts that a sound load gets.
    pub load_volts: f64,
    /// The same as a share of the mains.
    pub share: f64,
    /// Amperes then.
    pub amps: f64,
    /// How the lamp then glows.
    pub glow: &'static str,
    /// Amperes if the load is a short: all that can ever flow once the filament is hot.
    pub short_amps: f64,
    /// Amperes at the first instant of a short, the filament cold.
    pub first_amps: f64,
}

/// Lamps in question, in watts.
pub(super) const WATTS: [f64; 9] = [15.0, 25.0, 40.0, 60.0, 75.0, 100.0, 150.0, 200.0, 300.0];
/// Hot over cold resistance: 100 W at 120 V 9.5 ohm cold, 144 ohm hot (an encyclopaedia as quoted).
const HOT_OVER_COLD: f64 = 15.0;
/// Share of the mains with which a load counts as come up: chosen, as mains itself may be a tenth low.
pub(super) const COMES_UP: f64 = 0.9;

/// Weighs the lamps.
///
/// # Errors
/// Numbers that are not above zero.
pub fn lamp(options: &Options) -> Result<View, Refused> {
    if !(options.mains > 0.0 && options.ohms > 0.0) {
        return Err(Refused::input(
            "The mains voltage and the load have to be above zero.",
            "Write them such as --mains 230 --watts 60, or --ohms 880.",
        ));
    }
    let lamps: Vec<LampView> = WATTS.iter().map(|w| one(options, *w)).collect();
    Ok(View {
        cautions: vec![
            MAINS.to_owned(),
            "A lamp in series is no isolation: every part of the machine is as live as without it.".to_owned(),
        ],
        mains: options.mains,
        ohms: options.ohms,
        choice: lamps.iter().find(|l| l.share >= COMES_UP).map(|l| l.watts),
        lamps,
        meaning: vec![
            "A flash that fades within a second: reservoirs charging.".to_owned(),
            "Dark or dull, steady: the load takes what it should.".to_owned(),
            "As bright as across the mains: a short behind it. Off at once.".to_owned(),
            "Growing brighter: something breaks down as it warms. Off at once.".to_owned(),
            "Some supplies (resonant regulators, switching ones) do not start through a lamp; pulsing then says nothing.".to_owned(),
        ],
    })
}

/// A lamp of so many watts at so many volts.
pub(super) fn bulb(volts: f64, watts: f64) -> Lamp {
    Lamp {
        volts,
        amps: watts / volts,
        cold: volts * volts / watts / HOT_OVER_COLD,
    }
}

fn one(options: &Options, watts: f64) -> LampView {
    let volts = options.mains;
    let lamp = bulb(volts, watts);
    let point = series_lamp(&lamp, volts, options.ohms);
    LampView {
        watts,
        load_volts: point.load_volts,
        share: point.load_volts / volts,
        amps: point.amps,
        glow: glow(point.lamp_volts / volts),
        short_amps: series_lamp(&lamp, volts, 0.0).amps,
        first_amps: volts / lamp.cold,
    }
}

/// Light goes as the voltage to 3.4 (lamp rerating rule): at a tenth of the volts there is none, at half a tenth of it.
fn glow(share: f64) -> &'static str {
    match share {
        s if s < 0.15 => "dark",
        s if s < 0.5 => "dull red",
        s if s < 0.85 => "half bright",
        _ => "bright",
    }
}

impl View {
    /// The answer for people.
    pub fn to_text(&self) -> String {
        let mut text = String::new();
        for caution in &self.cautions {
            text += &format!("! {caution}\n");
        }
        let volts = |x: f64| units::significant(x, 3, Unit::Volt);
        let amps = |x: f64| units::significant(x, 3, Unit::Ampere);
        text += &format!(
            "\nA load of {} on {} through a lamp for that voltage\n",
            units::significant(self.ohms, 3, Unit::Ohm),
            volts(self.mains)
        );
        let rows: Vec<Vec<String>> = self
            .lamps
            .iter()
            .map(|l| {
                vec![
                    format!("{} W", units::number(l.watts)),
                    volts(l.load_volts),
                    format!("{:.0} %", 100.0 * l.share),
                    l.glow.to_owned(),
                    amps(l.short_amps),
                    amps(l.first_amps),
                ]
            })
            .collect();
        text += &aligned(
            &[
                ("lamp", Align::Right),
                ("load gets", Align::Right),
                ("of mains", Align::Right),
                ("lamp is", Align::Left),
                ("into a short", Align::Right),
                ("first instant", Align::Right),
            ],
            &rows,
        );
        text += &match self.choice {
            Some(watts) => format!(
                "\nThe smallest that lets a sound load come up is {} W.\n",
                units::number(watts)
            ),
            None => "\nNone of these lets a sound load come up: use a variable transformer and a current meter, or several lamps in parallel.\n".to_owned(),
        };
        text += "\nWhat the lamp says\n";
        for line in &self.meaning {
            text += &format!("  {line}\n");
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tables of I as V^0.55, computed apart from this program: 230 V and 529 ohm give 101 V behind 60 W, 139 V behind 100 W.
    #[test]
    fn the_smallest_lamp_that_lets_a_load_come_up() {
        let view = lamp(&Options {
            mains: 230.0,
            ohms: 529.0,
        })
        .unwrap();
        let of = |watts: f64| view.lamps.iter().find(|l| l.watts == watts).unwrap();
        assert!((of(60.0).load_volts - 101.0).abs() < 1.0);
        assert!((of(100.0).load_volts - 139.0).abs() < 1.0);
        assert!((of(60.0).short_amps - 0.261).abs() < 1e-3);
        // 300 W leave it 205 V, short of nine tenths.
        assert!(of(300.0).share > 0.88);
        assert_eq!(view.choice, None);
        // Two kilohm get 193 V behind 60 W; nine tenths, 207 V, behind 100 W first.
        let light = lamp(&Options {
            mains: 230.0,
            ohms: 2000.0,
        })
        .unwrap();
        assert_eq!(light.choice, Some(100.0));
        let text = light.to_text();
        assert!(text.starts_with("! Mains") && !text.contains("safe"));
        assert!(
            lamp(&Options {
                mains: 230.0,
                ohms: -1.0
            })
            .is_err()
        );
    }
}
