//! Words of recordings in sequence: two units side by side, where they part, and the loops they run in.

use ::signal::Capture;
use ::signal::states::{Divergence, divergences, loops, together, words_of};
use serde::Serialize;

use super::Known;
use crate::refused::Refused;

/// One word of both sequences, side by side.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Side {
    /// Number of the word in each sequence, from 0; none where one has nothing.
    pub step: [Option<usize>; 2],
    /// The words as hexadecimal digits, `?` with a doubtful bit.
    pub word: [String; 2],
    /// Whether they agree.
    pub agree: bool,
}

/// A run of words that a unit goes round in.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Round {
    /// Unit.
    pub unit: String,
    /// Number of its first word.
    pub start: usize,
    /// The words once round.
    pub words: Vec<String>,
    /// Times round.
    pub turns: usize,
}

/// A stretch where two sequences part.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Parting {
    /// First word of it in each sequence.
    pub step: [usize; 2],
    /// Time of it on each axis, seconds.
    pub at: [Option<f64>; 2],
    /// Words that each has there.
    pub words: [Vec<String>; 2],
    /// Whether they meet again.
    pub meets: bool,
}

/// Words of recordings in sequence, of two compared.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Sequences {
    /// Units.
    pub units: Vec<String>,
    /// How many words each has.
    pub count: Vec<usize>,
    /// Words that were passed before the two run together.
    pub skipped: [usize; 2],
    /// Where they part, the first first.
    pub partings: Vec<Parting>,
    /// Loops.
    pub rounds: Vec<Round>,
    /// Both side by side around the first parting, or from the start.
    pub sides: Vec<Side>,
    /// What keeps them from being compared.
    pub note: Option<String>,
}

/// Words that must agree before two sequences count as running together.
const RUN: usize = 4;
/// Words after which the search for that is given up.
const REACH: usize = 2000;
/// Words shown before a parting, and all shown.
const BEFORE: usize = 6;
const SHOWN: usize = 24;

/// Words of recordings in sequence; none if nothing says how they are read.
///
/// # Errors
/// If a recording lacks one of the channels.
pub fn sequences(
    known: &Known,
    captures: &[(&str, &Capture)],
) -> Option<Result<Sequences, Refused>> {
    let how = known.about.states.as_ref()?;
    let mut view = Sequences::default();
    let digits = how.bits.len().div_ceil(4);
    let shown = |w: Option<u64>| w.map_or("?".repeat(digits), |w| format!("{w:0digits$X}"));
    let mut all = Vec::new();
    for (unit, capture) in captures.iter().take(2) {
        match words_of(capture, how) {
            Ok(words) => all.push(words),
            Err(missing) => {
                return Some(Err(Refused::input(
                    format!(
                        "Unit {unit} has no channel {} that goes with the clock {}.",
                        missing.0, how.clock
                    ),
                    "Name the channels as the file names them; clock and bits must be of one recording.",
                )));
            }
        }
        view.units.push((*unit).to_owned());
    }
    let values: Vec<Vec<Option<u64>>> = all
        .iter()
        .map(|w| w.iter().map(|w| w.value).collect())
        .collect();
    view.count = values.iter().map(Vec::len).collect();
    for (unit, words) in view.units.iter().zip(&values) {
        for found in loops(words, 64) {
            view.rounds.push(Round {
                unit: unit.clone(),
                start: found.start,
                words: words[found.start..found.start + found.length]
                    .iter()
                    .map(|w| shown(*w))
                    .collect(),
                turns: found.turns,
            });
        }
    }
    let [a, b] = &values[..] else {
        view.sides = (0..values.first().map_or(0, Vec::len).min(SHOWN))
            .map(|k| Side {
                step: [Some(k), None],
                word: [shown(values[0][k]), String::new()],
                agree: true,
            })
            .collect();
        return Some(Ok(view));
    };
    let Some((i, j)) = together(a, b, RUN, REACH) else {
        view.note = Some(format!(
            "Nowhere do {RUN} words in a row agree, so the sequences were not laid together. Trigger both recordings on one event of the machine."
        ));
        return Some(Ok(view));
    };
    view.skipped = [i, j];
    let found = divergences(&a[i..], &b[j..], 512);
    let time = |n: usize, k: usize| all[n].get(k).map(|w| w.at);
    for d in &found {
        let (x, y) = (i + d.in_a.start, j + d.in_b.start);
        let words = |of: &[Option<u64>], r: &std::ops::Range<usize>, from: usize| -> Vec<String> {
            of[from + r.start..from + r.end]
                .iter()
                .take(8)
                .map(|w| shown(*w))
                .collect()
        };
        view.partings.push(Parting {
            step: [x, y],
            at: [time(0, x), time(1, y)],
            words: [words(a, &d.in_a, i), words(b, &d.in_b, j)],
            meets: i + d.in_a.end < a.len() && j + d.in_b.end < b.len(),
        });
    }
    view.sides = sides([a, b], [i, j], &found, &shown);
    Some(Ok(view))
}

fn sides(
    [a, b]: [&[Option<u64>]; 2],
    [i, j]: [usize; 2],
    found: &[Divergence],
    shown: &dyn Fn(Option<u64>) -> String,
) -> Vec<Side> {
    let mut rows = Vec::new();
    let (mut x, mut y) = (i, j);
    let both = |x: usize, y: usize| Side {
        step: [Some(x), Some(y)],
        word: [shown(a[x]), shown(b[y])],
        agree: true,
    };
    for d in found {
        while x < i + d.in_a.start && y < j + d.in_b.start {
            rows.push(both(x, y));
            (x, y) = (x + 1, y + 1);
        }
        let (end_a, end_b) = (i + d.in_a.end, j + d.in_b.end);
        while x < end_a || y < end_b {
            let (left, right) = (x < end_a, y < end_b);
            rows.push(Side {
                step: [left.then_some(x), right.then_some(y)],
                word: [
                    if left { shown(a[x]) } else { String::new() },
                    if right { shown(b[y]) } else { String::new() },
                ],
                agree: false,
            });
            x += usize::from(left);
            y += usize::from(right);
        }
        if rows.len() > 4 * SHOWN + d.in_a.start {
            break;
        }
    }
    while x < a.len() && y < b.len() && rows.len() < SHOWN {
        rows.push(both(x, y));
        (x, y) = (x + 1, y + 1);
    }
    let first = rows.iter().position(|r| !r.agree).unwrap_or(0);
    let from = first.saturating_sub(BEFORE);
    rows.into_iter().skip(from).take(SHOWN).collect()
}

/// Where two sequences part, in sentences.
pub fn sequences_told(s: &Sequences) -> String {
    match (s.units.len(), s.partings.first(), &s.note) {
        (_, _, Some(note)) => note.clone(),
        (2, Some(p), _) => {
            let did = |n: usize| {
                if p.words[n].is_empty() {
                    "nothing of its own".to_owned()
                } else {
                    p.words[n].join(" ")
                }
            };
            format!(
                "They part at word {} of {} ({} of {}): {} has {}, {} has {}; {}.",
                p.step[0],
                s.units[0],
                p.step[1],
                s.units[1],
                s.units[0],
                did(0),
                s.units[1],
                did(1),
                if p.meets {
                    "then they meet again"
                } else {
                    "they do not meet again"
                }
            )
        }
        (2, None, _) => "Both go through the same words.".to_owned(),
        _ => "One sequence, and nothing to hold it against.".to_owned(),
    }
}

/// Both sequences for people.
pub(super) fn sequences_text(s: &Sequences) -> String {
    let mut text = format!("\nWords: {}\n", sequences_told(s));
    for r in &s.rounds {
        text += &format!(
            "{} goes round {} words {} times from word {}: {}\n",
            r.unit,
            r.words.len(),
            r.turns,
            r.start,
            r.words
                .iter()
                .take(8)
                .cloned()
                .collect::<Vec<_>>()
                .join(" ")
        );
    }
    for side in &s.sides {
        let step = |k: usize| side.step[k].map_or("-".to_owned(), |n| n.to_string());
        text += &format!(
            "{:>6} {:>8} {:>8} {:>6} {}\n",
            step(0),
            side.word[0],
            side.word[1],
            step(1),
            if side.agree { "" } else { "differ" }
        );
    }
    text
}
