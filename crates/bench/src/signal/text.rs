//! Measurements and comparisons of recordings in words.

use ::signal::differences::engineering;

use super::{CompareView, MeasureView};
use crate::table::{Align, aligned};

/// A measurement as an aligned table.
pub fn measure_text(view: &MeasureView) -> String {
    let columns = [
        "low",
        "high",
        "edges",
        "rise",
        "fall",
        "period",
        "width",
        "overshoot",
    ];
    let mut head = vec![("channel", Align::Left)];
    head.extend(columns.map(|c| (c, Align::Right)));
    let time = |t: Option<f64>| t.map_or("-".to_owned(), |t| engineering(t, "s"));
    let rows: Vec<Vec<String>> = view
        .channels
        .iter()
        .map(|c| {
            let mut row = vec![
                c.name.clone(),
                engineering(c.levels.low, &c.unit),
                engineering(c.levels.high, &c.unit),
                c.edges.to_string(),
            ];
            row.extend([c.rise, c.fall, c.period, c.width].map(time));
            row.push(c.overshoot.map_or("-".to_owned(), |o| format!("{o:.1} %")));
            row
        })
        .collect();
    let notes = view
        .notes
        .iter()
        .map(|n| format!("{n}\n"))
        .collect::<String>();
    aligned(&head, &rows) + &notes
}

/// A comparison in words, the first divergence first; at most thirty differences a channel.
pub fn compare_text(view: &CompareView) -> String {
    let mut text = match view.first {
        Some(first) => format!("They first part at {} of A.\n", engineering(first, "s")),
        None => "No difference was found where they could be laid over each other.\n".to_owned(),
    };
    for (n, s) in view.sources.iter().enumerate() {
        let at = engineering(s.at, "s");
        text += &match &s.follows {
            None if n == 0 => format!(
                "{} parts first, at {at}: nothing that drives it differs earlier.\n",
                s.channel
            ),
            None => format!("{} parts at {at} by itself.\n", s.channel),
            Some(source) => format!(
                "{} parts at {at}; it may follow from {source}.\n",
                s.channel
            ),
        };
    }
    for c in &view.channels {
        match (c.offset, c.rate_ppm) {
            (Some(offset), Some(rate)) => {
                text += &format!(
                    "\n{}: B is {} behind A at A's zero, its clock {rate:+.3} in a million; {} edges in both.\n",
                    c.name,
                    engineering(offset, "s"),
                    c.matched
                );
            }
            _ => text += &format!("\n{}: not aligned.\n", c.name),
        }
        text += &c
            .note
            .iter()
            .map(|n| format!("  {n}\n"))
            .collect::<String>();
        let rows: Vec<Vec<String>> = c
            .differences
            .iter()
            .take(30)
            .map(|d| {
                vec![
                    engineering(d.at_a, "s"),
                    engineering(d.at_b, "s"),
                    d.kind.to_owned(),
                    if d.varies {
                        format!("{} A differs from itself so, too.", d.detail)
                    } else {
                        d.detail.clone()
                    },
                ]
            })
            .collect();
        if !rows.is_empty() {
            let head = [
                ("in A", Align::Right),
                ("in B", Align::Right),
                ("kind", Align::Left),
                ("what", Align::Left),
            ];
            text += &aligned(&head, &rows);
        }
        if c.differences.len() > 30 {
            text += &format!("and {} more\n", c.differences.len() - 30);
        }
    }
    text + &view
        .notes
        .iter()
        .map(|n| format!("{n}\n"))
        .collect::<String>()
}

/// A sentence about A and B with the units in their places.
pub fn in_words(sentence: &str, units: &[&str]) -> String {
    let word = |(n, word): (usize, &str)| {
        let (letter, rest) = word.split_at(word.chars().next().map_or(0, char::len_utf8));
        let unit = match letter {
            "A" => units.first(),
            "B" => units.get(1),
            _ => None,
        };
        match unit {
            Some(unit) if rest.chars().all(|c| c.is_ascii_punctuation()) => {
                let noun = if n == 0 { "Unit" } else { "unit" };
                format!("{noun} {unit}{rest}")
            }
            _ => word.to_owned(),
        }
    };
    let words: Vec<String> = sentence.split(' ').enumerate().map(word).collect();
    words.join(" ")
}

#[cfg(test)]
mod tests {
    use super::in_words;

    #[test]
    fn letters_become_units_and_other_words_stay() {
        let said = in_words("B lacks a pulse that is 9 s wide in A.", &["1", "2"]);
        assert_eq!(said, "Unit 2 lacks a pulse that is 9 s wide in unit 1.");
        assert_eq!(
            in_words("CLOCK of A: Bad", &["1", "2"]),
            "CLOCK of unit 1: Bad"
        );
    }
}
