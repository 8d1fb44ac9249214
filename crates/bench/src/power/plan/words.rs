//! The plan for people: cautions first, then stage by stage what is set, read and held.

use circuit::Fault;
use sheet::Sheet;
use units::Unit;

use super::stages::{Setting, Stage};
use super::{MainsView, StageView, View, stand_in};
use crate::risk::{self, Input, LimitView, Whole};
use crate::table::{Align, aligned};

pub(super) fn cautions(view: &risk::View, mains: &str) -> Vec<String> {
    let mut list = vec![
        mains.to_owned(),
        "A variable transformer and a series lamp are no isolation. An isolation transformer belongs to the machine, never to the oscilloscope: its earth stays on. Behind one, one touched wire gives no shock and trips nothing, and two do kill.".to_owned(),
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

/// What is connected at a stage, as the limits were solved.
pub(super) fn connected(whole: &Whole, stage: &Stage) -> String {
    let boards: Vec<&str> = whole.boards.iter().map(|b| b.0.as_str()).collect();
    let mut text = match boards.len() {
        0 => "The board with all that its sheet shows.".to_owned(),
        _ => format!("All boards in their slots: {}.", boards.join(", ")),
    };
    if stage.setting.kilovolts == Some(0.0) {
        text += " The kilovolts stay off, their supply unplugged and discharged.";
    }
    text
}

/// For how long a stage is held: chosen, as long as what is going to grow warm needs to be felt; the last for an hour.
pub(super) fn minutes(setting: Setting) -> f64 {
    let is_last = setting.share >= 1.0 && setting.kilovolts.is_none_or(|k| k >= 1.0);
    if is_last { 60.0 } else { 5.0 }
}

/// The stage in a few words: `50 %`, `kilovolts at 25 %`.
fn title(share: f64, kilovolts: Option<f64>) -> String {
    match kilovolts {
        Some(k) if k > 0.0 => format!("kilovolts at {:.0} %", 100.0 * k),
        Some(_) => format!("{:.0} %, kilovolts off", 100.0 * share),
        None => format!("{:.0} %", 100.0 * share),
    }
}

pub(super) fn hold(setting: Setting) -> String {
    if setting.share < 0.2 {
        "Hold: every reading within its limits, nothing warm, nothing to smell, for five minutes."
            .to_owned()
    } else if setting.share < 1.0 {
        "Hold: every reading within its limits and steady for five minutes; reservoirs cold to the touch only when off and proven discharged.".to_owned()
    } else if setting.kilovolts == Some(0.0) {
        "Hold before the kilovolts: rails and heater written down; heater glowing and its volts right; plate swing and centring proven with an X-Y oscilloscope in place of the tube; brightness down; somebody trained for kilovolts.".to_owned()
    } else if setting.kilovolts.is_some_and(|k| k < 1.0) {
        "Hold: every reading within its limits for five minutes, nothing hisses, nothing to smell of ozone; brightness stays down.".to_owned()
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

impl MainsView {
    /// What the rectifiers do, as a paragraph.
    pub fn words(&self) -> String {
        let volt = |x: f64| units::significant(x, 3, Unit::Volt);
        let ampere = |x: f64| units::significant(x, 3, Unit::Ampere);
        let reservoirs: Vec<String> = self
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
        let mut text = format!(
            "On {} at this share of the mains: {}; secondary peaks {}, {} on the way up; primary {} and what the core takes; it conducts for {:.0} degrees.",
            self.transformer,
            reservoirs.join(", "),
            ampere(self.peak),
            ampere(self.inrush),
            ampere(self.primary),
            self.conduction,
        );
        if !self.settled {
            text += " The cycles had not become alike: take these for rough.";
        }
        text += &format!(
            " Switched on here at once, the core alone draws up to {} in its first half cycle ({:.2} ampere squared seconds for a fuse): turn up from nothing, or let a lamp take it.",
            ampere(self.core),
            self.melting,
        );
        if let Some(l) = &self.lamp {
            text += &format!(
                " In series with the primary a lamp of {:.0} W lets a sound supply come up to {:.0} % of its volts in {:.1} s; with its filament cold at first the secondary takes up to {}, the core up to {}. Bright and staying so, it has found a load that should not be there.",
                l.watts,
                100.0 * l.share,
                l.seconds,
                ampere(l.inrush),
                ampere(l.core),
            );
        }
        text
    }
}

impl StageView {
    /// The stage in a few words: `50 %`, `kilovolts at 25 %`.
    pub fn title(&self) -> String {
        title(self.share, self.kilovolts)
    }
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
                "\nStage {}: {} ({})\n  Connected: {}\n",
                k + 1,
                stage.title(),
                set.join(", "),
                stage.connected
            );
            let limits: Vec<String> = stage
                .limits
                .iter()
                .map(|(name, amps)| {
                    format!("{name} {}", units::significant(*amps, 2, Unit::Ampere))
                })
                .collect();
            if !limits.is_empty() {
                text += &format!("  Current limits: {}\n", limits.join(", "));
            }
            if stage.readings.iter().any(|r| r.hands_off) {
                text += "! Above 60 V nothing is read with a hand on the probe: off, prove discharged, clip on, hands out, on, read, off.\n";
            }
            text += &self.readings_text(k);
            if let Some(m) = &stage.mains {
                text += &format!("  {}\n", m.words());
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
    pub fn late(&self) -> Vec<(&str, &str)> {
        let late = self.hazards.iter().filter(|h| !h.in_time);
        late.map(|h| (h.with.as_str(), h.says.as_str())).collect()
    }
}

/// What stands against a hazard that no stage shows before something is lost.
pub(super) fn against(
    sheet: &Sheet,
    fault: &Fault,
    limit: Option<&LimitView>,
    card: &[usize],
) -> String {
    let numbers: Vec<String> = card.iter().map(|c| (c + 1).to_string()).collect();
    match (limit, card.is_empty()) {
        (None, false) => format!(
            "No precaution tried contains it: no power before reading {} of the cold card lies on its good side.",
            numbers.join(", ")
        ),
        (Some(_), false) => format!(
            "Reading {} of the cold card rules it out. {}",
            numbers.join(", "),
            risk::precaution(limit)
        ),
        (_, true) => risk::against(sheet, fault, limit),
    }
}
