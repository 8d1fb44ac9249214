//! The answer of `board risk` for people: hazards, the card, and what contains the rest.

use super::precaution::{LimitValue, LimitView};
use super::view::{CardView, View};
use crate::table::{Align, aligned, measured};

/// A precaution as a sentence; none says not to power.
pub(crate) fn precaution(limit: Option<&LimitView>) -> String {
    let Some(limit) = limit else {
        return "No cold reading shows it and no precaution tried contains it: do not power until the part has been looked at by itself, one lead lifted.".to_owned();
    };
    let number = |unit| match &limit.value {
        LimitValue::Number(x) => units::significant(*x, 2, unit),
        LimitValue::Name(name) => name.clone(),
    };
    let at = limit.at.as_deref().unwrap_or("the supply");
    match limit.what.as_str() {
        "current limit" => format!(
            "First power from a bench supply in place of {at}, its current limit at {}: solved with this fault, nothing is then overloaded, and a healthy circuit comes up.",
            number(units::Unit::Ampere)
        ),
        "current limits" => format!(
            "First power from bench supplies in place of all, each with its current limit: {}: solved with this fault, nothing is then overloaded, and a healthy circuit comes up.",
            number(units::Unit::Ampere)
        ),
        "series lamp" => format!(
            "First power through a lamp of {} for {} in series with {at}: solved with this fault, nothing is then overloaded, and a healthy circuit comes up.",
            number(units::Unit::Watt),
            units::significant(limit.volts.unwrap_or(0.0), 3, units::Unit::Volt),
        ),
        _ => format!(
            "First power with {} unplugged, and read the rails before it is put back: solved with this fault, nothing else is then overloaded.",
            number(units::Unit::One)
        ),
    }
}

/// What stands against a capacitor that is in backwards, which no reading shows: a look.
pub(crate) fn polarity(part: &str, limit: Option<&LimitView>) -> String {
    let looked = format!(
        "No reading shows it, a look does: the plus mark of {part} against drawing and rail, before power."
    );
    match limit {
        None => looked,
        Some(_) => format!("{looked} {}", precaution(limit)),
    }
}

/// Hazards that are named one by one; the rest is counted.
const NAMED: usize = 40;

impl View {
    /// The answer for people. Cautions stand before the card.
    pub fn to_text(&self) -> String {
        let mut text = format!(
            "{}: {} faults were followed at switch-on; {} of them destroy something that is sound now.\n",
            self.sheet,
            self.faults,
            self.hazards.len()
        );
        if !self.left_out.is_empty() {
            text += &format!(
                "Left out, as another board feeds their rail: {}.\n",
                self.left_out.join(", ")
            );
        }
        text += "\nBefore the first lead is set down\n";
        for caution in &self.cautions {
            text += &format!("  ! {caution}\n");
        }
        for wiring in &self.wiring {
            text += &format!("  ! {}\n", wiring.says);
        }
        text += &self.hazards_text();
        text += &self.card_text();
        text += &self.rest_text();
        text
    }

    fn hazards_text(&self) -> String {
        if self.hazards.is_empty() {
            return "\nNo single fault that was followed destroys anything else. Faults that come in pairs, wiring and what this sheet does not show were not looked at.\n".to_owned();
        }
        let mut text = "\nHazards, worst first (severity: how hard the victims are to replace; a resistor is 1)\n".to_owned();
        let rows: Vec<Vec<String>> = self
            .hazards
            .iter()
            .enumerate()
            .take(NAMED)
            .map(|(k, h)| {
                let victims: Vec<String> = h
                    .victims
                    .iter()
                    .map(|v| format!("{} {} ({:.1} times)", v.part, v.why, v.times_rating))
                    .collect();
                let readings: Vec<String> =
                    h.detected_by.iter().map(|c| (c + 1).to_string()).collect();
                let fuses = match h.blown.len() {
                    0 => String::new(),
                    _ => format!("; {} opens", h.blown.join(", ")),
                };
                vec![
                    (k + 1).to_string(),
                    h.with.clone(),
                    units::number(h.severity),
                    if readings.is_empty() {
                        "-".to_owned()
                    } else {
                        readings.join(" ")
                    },
                    victims.join("; ") + &fuses,
                ]
            })
            .collect();
        text += &aligned(
            &[
                ("", Align::Right),
                ("fault", Align::Left),
                ("severity", Align::Right),
                ("card", Align::Left),
                ("what it destroys", Align::Left),
            ],
            &rows,
        );
        if self.hazards.len() > NAMED {
            text += &format!("and {} more.\n", self.hazards.len() - NAMED);
        }
        text
    }

    fn card_text(&self) -> String {
        if self.card.is_empty() {
            return String::new();
        }
        let mut text = format!(
            "\nCold card: {} readings, about {:.0} minutes; {} of 100 healthy units read beyond a line{}\n",
            self.card.len(),
            self.minutes.ceil(),
            match 100.0 * self.false_alarms {
                x if x < 0.1 => "fewer than 0.1".to_owned(),
                x => format!("{x:.1}"),
            },
            if self.proven {
                "; no cheaper set of readings rules out as much"
            } else {
                "; a cheaper set may exist, the search was stopped"
            }
        );
        let mut unplugged: &[String] = &[];
        let mut rows: Vec<Vec<String>> = Vec::new();
        let head = [
            ("", Align::Right),
            ("kind", Align::Left),
            ("red", Align::Left),
            ("black", Align::Left),
            ("healthy", Align::Right),
            ("should read", Align::Left),
            ("rules out", Align::Left),
        ];
        for (k, c) in self.card.iter().enumerate() {
            if c.unplugged != unplugged {
                if !rows.is_empty() {
                    text += &aligned(&head, &rows);
                    rows.clear();
                }
                text += &format!("With {} unplugged:\n", c.unplugged.join(", "));
                unplugged = &c.unplugged;
            }
            let faults: Vec<&str> = c
                .rules_out
                .iter()
                .map(|h| self.hazards[*h].with.as_str())
                .collect();
            rows.push(vec![
                (k + 1).to_string(),
                c.kind.to_owned(),
                c.red.clone(),
                c.black.clone(),
                measured(c.expected, c.measured_in),
                should(c),
                faults.join(", "),
            ]);
        }
        text += &aligned(&head, &rows);
        text += "A reading on the wrong side of its line speaks for one of the faults beside it; what it is, `board suspects` weighs.\n";
        text
    }

    fn rest_text(&self) -> String {
        let mut text = String::new();
        if !self.uncovered.is_empty() {
            text += "\nHazards that no permitted cold reading shows\n";
            for u in &self.uncovered {
                text += &format!("  {}: {}\n", self.hazards[u.hazard].with, u.says);
            }
        }
        if !self.refused.is_empty() {
            text +=
                "\nFaults that could not be followed, so that nothing is known of what they do\n";
            for r in &self.refused {
                text += &format!("  {} {}: {}\n", r.part, r.fault, r.why);
            }
        }
        if !self.doubtful.is_empty() {
            text += "\nParts that bear more than their rating when all is well: look at the part, or at the drawing\n";
            for d in &self.doubtful {
                text += &format!("  {} {}\n", d.part, d.why);
            }
        }
        text
    }
}

/// `above 820`, `below 1k3`, `between 820 and 1k3`.
pub(crate) fn should(c: &CardView) -> String {
    let shown = |x: f64| measured(Some(x), c.measured_in);
    match (c.low, c.high) {
        (Some(low), Some(high)) => format!("{} to {}", shown(low), shown(high)),
        (Some(low), None) => format!("above {}", shown(low)),
        (None, Some(high)) => format!("below {}", shown(high)),
        (None, None) => "anything".to_owned(),
    }
}
