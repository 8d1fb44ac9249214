//! A store's findings as text for people.

use std::fmt::Write;

use super::view::{MeasurementView, StoreView, VoteView};

/// Explanations and rows of the map that are printed.
const SHOWN: usize = 5;
const SHOWN_WORDS: usize = 16;

impl StoreView {
    /// The findings in words.
    pub fn to_text(&self) -> String {
        let mut out = String::new();
        let against = self
            .held_against
            .as_ref()
            .map_or(String::new(), |a| format!(", held against {a}"));
        let _ = writeln!(
            out,
            "{} words of {} bits compared{against}: {} bits wrong, {} unsteady.",
            self.words, self.bits, self.wrong, self.unstable
        );
        if let Some(note) = &self.note {
            let _ = writeln!(out, "{note}");
        }
        if let Some(reminder) = self.reminder {
            let _ = writeln!(out, "{reminder}");
        }
        self.explanations_text(&mut out);
        for weak in &self.weak {
            let side = weak
                .of
                .as_ref()
                .map_or(String::new(), |s| format!(" in {s}"));
            let _ = writeln!(
                out,
                "\nUnsteady: {}{side} ({} of the {} bits that it could touch).",
                weak.element, weak.explains, weak.could
            );
            if !weak.alternatives.is_empty() {
                let _ = writeln!(out, "  or {}", weak.alternatives.join(", or "));
            }
        }
        for next in &self.next {
            measurement_text(next, &mut out);
        }
        self.map_text(&mut out);
        self.votes_text(&mut out);
        out
    }

    fn explanations_text(&self, out: &mut String) {
        if self.wrong > 0 && !self.fewest {
            let _ = writeln!(
                out,
                "The search was cut short: fewer elements than these may do."
            );
        }
        let mut groups: Vec<usize> = Vec::new();
        for e in &self.explanations {
            if !groups.contains(&e.group) {
                groups.push(e.group);
            }
        }
        for group in groups.iter().take(SHOWN) {
            let alike: Vec<_> = self
                .explanations
                .iter()
                .filter(|e| e.group == *group)
                .collect();
            let Some(first) = alike.first() else { continue };
            let together: f64 = alike.iter().map(|e| e.probability).sum();
            let blames = first
                .blames
                .as_ref()
                .map_or(String::new(), |b| format!(" in {b}"));
            let _ = writeln!(
                out,
                "\n{}{blames}. It explains {} wrong bits and leaves {}. {}.",
                first.elements.join(", and "),
                first.explains,
                first.leaves,
                of_hundred(together)
            );
            if first.parts.len() > 1 {
                for part in first.parts.iter().take(SHOWN_WORDS) {
                    let _ = writeln!(
                        out,
                        "  {} ({}): {} bits",
                        part.element, part.class, part.explains
                    );
                }
            }
            for other in alike.iter().skip(1).take(SHOWN) {
                let _ = writeln!(
                    out,
                    "  No read tells it from: {}.",
                    other.elements.join(", and ")
                );
            }
        }
        if groups.len() > SHOWN {
            let _ = writeln!(
                out,
                "\n{} more explanations of the same size.",
                groups.len() - SHOWN
            );
        }
    }

    fn map_text(&self, out: &mut String) {
        if self.map.is_empty() {
            return;
        }
        let _ = writeln!(
            out,
            "\nBits of the words concerned (# wrong, ~ unsteady, highest bit first):"
        );
        for row in self.map.iter().take(SHOWN_WORDS) {
            let mark = |bit: u8| {
                if row.wrong.contains(&bit) {
                    '#'
                } else if row.unstable.contains(&bit) {
                    '~'
                } else {
                    '.'
                }
            };
            let marks: String = (0..self.bits).rev().map(mark).collect();
            let _ = writeln!(out, "  {:04X}  {marks}", row.address);
        }
        if self.map.len() > SHOWN_WORDS {
            let _ = writeln!(out, "  and {} words more", self.map.len() - SHOWN_WORDS);
        }
    }
}

impl StoreView {
    fn votes_text(&self, out: &mut String) {
        let votes = self
            .map
            .iter()
            .flat_map(|row| row.votes.iter().map(|v| (row.address, v)));
        let votes: Vec<_> = votes.collect();
        if votes.is_empty() {
            return;
        }
        let _ = writeln!(out, "\nUnsteady bits, and what most reads say of them:");
        for (address, v) in votes.iter().take(SHOWN_WORDS) {
            let side = v.of.as_ref().map_or(String::new(), |s| format!(", {s}"));
            let _ = writeln!(out, "  {address:04X} bit {}{side}: {}", v.bit, v.words());
        }
        if votes.len() > SHOWN_WORDS {
            let _ = writeln!(out, "  and {} bits more", votes.len() - SHOWN_WORDS);
        }
    }
}

impl VoteView {
    /// The vote and what it is worth, in words.
    pub fn words(&self) -> String {
        match (self.majority, self.doubt) {
            (Some(level), Some(doubt)) => format!(
                "{} of {} reads say 1; taken as {level}, wrong {} in 100",
                self.ones,
                self.reads,
                if doubt < 0.01 {
                    "less than 1".to_owned()
                } else {
                    format!("{:.0}", doubt * 100.0)
                }
            ),
            _ => format!("{} of {} reads say 1: undecided", self.ones, self.reads),
        }
    }
}

fn measurement_text(next: &MeasurementView, out: &mut String) {
    let _ = writeln!(out, "\nNext:");
    for before in &next.before {
        let _ = writeln!(out, "  First: {before}");
    }
    let _ = writeln!(out, "  {}", next.what);
    for (outcome, _) in &next.outcomes {
        let _ = writeln!(out, "    {outcome}");
    }
}

/// A probability as a person says it; never certain.
pub fn of_hundred(p: f64) -> String {
    match p * 100.0 {
        x if x > 99.5 => "Over 99 in 100".to_owned(),
        x if x < 0.5 => "Under 1 in 100".to_owned(),
        x => format!("{x:.0} in 100"),
    }
}
