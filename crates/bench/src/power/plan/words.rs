//! The plan for people: cautions first, then stage by stage what is set, read and held.

use sheet::Sheet;
use units::Unit;

use super::{View, stand_in};
use crate::risk::{self, Input};
use crate::table::{Align, aligned};

pub(super) fn cautions(view: &risk::View, mains: &str) -> Vec<String> {
    let mut list = vec![
        mains.to_owned(),
        "A variable transformer and a series lamp are no isolation. An isolation transformer belongs to the machine, never to the oscilloscope: its earth stays on. Behind one, one touched wire gives no shock and trips nothing, and two do kill; its own earth leakage breaker no longer protects.".to_owned(),
        "One hand, dry, nothing on the wrists; somebody else in the room who knows where the switch is.".to_owned(),
    ];
    list.extend(view.cautions.iter().cloned());
    list.extend(
        view.wiring
            .iter()
            .filter(|w| w.before_power)
            .map(|w| w.says.clone()),
    );
    list
}

pub(super) fn before(view: &risk::View, input: &Input) -> Vec<String> {
    let mut list = vec![format!(
        "The cold card (`board risk`): {} readings, all on their good side.",
        view.card.len()
    )];
    list.push("Each reservoir capacitor measured on its own, reformed or replaced, and written down which.".to_owned());
    list.push("Fuse by its marking against the drawing, mains selector, earth bond from plug to chassis below 0.1 ohm (common practice; local rules may ask for less), line to earth above a megohm.".to_owned());
    list.push(
        "A dummy load in place of the rest of the machine; a ramp without load proves nothing."
            .to_owned(),
    );
    if matches!(input, Input::Machine { .. }) {
        list.push("Boards whose rails are not proven yet stay unplugged; kilovolts and tube last, on their own hold point.".to_owned());
    }
    list
}

pub(super) fn set(sheet: &Sheet) -> String {
    let mut text = "Each supply from a bench supply in its place, set to the volts of the stage; or its variable transformer turned up until its reservoir reads so. Limits are for these volts.".to_owned();
    if sheet.part(stand_in::NAME).is_some() {
        text += " The supply called `rectified` is not on the drawing: it stands for what the rectifiers deliver, as followed in time.";
    }
    text
}

pub(super) fn hold(share: f64) -> String {
    if share < 0.2 {
        "Hold: every reading within its limits, nothing warm, nothing to smell, for five minutes."
            .to_owned()
    } else if share < 1.0 {
        "Hold: every reading within its limits and steady for five minutes; reservoirs cold to the touch only when off and proven discharged.".to_owned()
    } else {
        "Hold: rails at the load and ripple written down now, after ten minutes and after an hour; then the next assembly.".to_owned()
    }
}

pub(super) fn when_crossed() -> Vec<String> {
    [
        "Off at the plug, not by turning down: a supply that folds back may jump.",
        "Wait, prove discharged, then write down what was read, at which setting, after how long.",
        "Do not try again to see what happens, and never defeat a trip or put in a larger fuse.",
        "Give the reading to `board suspects`; take the cold readings of the hazards that this stage shows.",
    ]
    .map(str::to_owned)
    .to_vec()
}

impl View {
    /// The answer for people.
    pub fn to_text(&self) -> String {
        let mut text = format!("{}: power in {} stages\n\n", self.sheet, self.stages.len());
        for caution in &self.cautions {
            text += &format!("! {caution}\n");
        }
        text += "\nBefore the first stage\n";
        for line in &self.before {
            text += &format!("  [ ] {line}\n");
        }
        text += &format!("\n{}\n", self.set);
        for (k, stage) in self.stages.iter().enumerate() {
            let set: Vec<String> = stage
                .supplies
                .iter()
                .map(|(name, volts)| {
                    format!("{name} {}", units::significant(*volts, 3, Unit::Volt))
                })
                .collect();
            text += &format!(
                "\nStage {}: {:.0} % ({})\n",
                k + 1,
                100.0 * stage.share,
                set.join(", ")
            );
            if stage.readings.iter().any(|r| r.hands_off) {
                text += "! Above 60 V nothing is read with a hand on the probe: off, prove discharged, clip on, hands out, on, read, off.\n";
            }
            text += &self.readings_text(k);
            if let Some(m) = &stage.mains {
                let volt = |x: f64| units::significant(x, 3, Unit::Volt);
                let ampere = |x: f64| units::significant(x, 3, Unit::Ampere);
                let reservoirs: Vec<String> = m
                    .reservoirs
                    .iter()
                    .map(|r| {
                        format!(
                            "{} {} with {} of ripple",
                            r.part,
                            volt(r.volts),
                            volt(r.ripple)
                        )
                    })
                    .collect();
                text += &format!(
                    "  On {} at this share of the mains: {}; secondary peaks {}, {} on the way up; primary {} and what the core takes; it conducts for {:.0} degrees.\n",
                    m.transformer,
                    reservoirs.join(", "),
                    ampere(m.peak),
                    ampere(m.inrush),
                    ampere(m.primary),
                    m.conduction,
                );
            }
            if !stage.shows.is_empty() {
                let faults: Vec<&str> = stage
                    .shows
                    .iter()
                    .map(|h| self.hazards[*h].with.as_str())
                    .collect();
                text += &format!("  A limit crossed here may be: {}\n", faults.join(", "));
            }
            text += &format!("  {}\n", stage.hold);
        }
        text += "\nWhen a limit is crossed\n";
        for line in &self.when_crossed {
            text += &format!("  {line}\n");
        }
        text + &self.late_text()
    }

    fn readings_text(&self, stage: usize) -> String {
        let rows: Vec<Vec<String>> = self.stages[stage]
            .readings
            .iter()
            .map(|r| {
                let unit = if r.kind == "volts" {
                    Unit::Volt
                } else {
                    Unit::Ampere
                };
                let shown = |x: f64| units::significant(x, 3, unit);
                vec![
                    r.kind.to_owned(),
                    r.at.clone(),
                    r.black.clone().unwrap_or_default(),
                    shown(r.expected),
                    shown(r.low),
                    shown(r.high),
                ]
            })
            .collect();
        aligned(
            &[
                ("  read", Align::Left),
                ("at", Align::Left),
                ("against", Align::Left),
                ("expected", Align::Right),
                ("stop below", Align::Right),
                ("stop above", Align::Right),
            ],
            &rows,
        )
    }

    fn late_text(&self) -> String {
        let late = self.late();
        if late.is_empty() {
            return String::new();
        }
        let mut text = "\nHazards that no stage shows before something is lost\n".to_owned();
        for (with, says) in late {
            text += &format!("  {with}: {says}\n");
        }
        text
    }

    /// Hazards that no stage shows before something is lost, each with what stands against it.
    pub fn late(&self) -> Vec<(&str, String)> {
        let late = self.hazards.iter().filter(|h| !h.in_time);
        late.map(|h| {
            let card: Vec<String> = h.detected_by.iter().map(|c| (c + 1).to_string()).collect();
            let says = match (&h.limit, card.is_empty()) {
                (None, false) => format!(
                    "No precaution tried contains it: no power before reading {} of the cold card lies on its good side.",
                    card.join(", ")
                ),
                (Some(limit), false) => format!(
                    "Reading {} of the cold card rules it out. {}",
                    card.join(", "),
                    risk::precaution(Some(limit))
                ),
                (limit, true) => risk::precaution(limit.as_ref()),
            };
            (h.with.as_str(), says)
        })
        .collect()
    }
}
