//! The cold card: the cheapest readings, with limits, that rule out what would destroy something at switch-on.

mod order;

use cover::cheapest_cover;

pub use order::{Stop, effort, in_order};

/// On which side of healthy a fault reads, and where the card draws the line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Side {
    /// A reading below this speaks for the fault.
    Below(f64),
    /// A reading above this, or over range, speaks for the fault.
    Above(f64),
}

/// What a reading shows of one hazard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sign {
    /// Index of the hazard.
    pub hazard: usize,
    /// The line.
    pub side: Side,
    /// Standard deviations of healthy units between their middle and the line; infinite where over range tells.
    pub clear: f64,
}

/// A cold reading that could be on the card.
#[derive(Clone, Debug, PartialEq)]
pub struct ColdReading {
    /// Minutes to take it.
    pub minutes: f64,
    /// Hazards that it separates.
    pub signs: Vec<Sign>,
}

/// A reading on the card.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Index of the reading.
    pub reading: usize,
    /// It should not read below this.
    pub low: Option<f64>,
    /// It should not read above this, nor over range.
    pub high: Option<f64>,
    /// Hazards that it rules out: every one whose own line lies at or beyond the card's.
    pub rules_out: Vec<usize>,
    /// Share of healthy units that read beyond a line.
    pub alarms: f64,
}

/// The card.
#[derive(Clone, Debug, PartialEq)]
pub struct Card {
    /// Readings, ascending by index.
    pub entries: Vec<Entry>,
    /// Hazards that no reading separates.
    pub uncovered: Vec<usize>,
    /// Minutes for all, searches after false alarms included.
    pub minutes: f64,
    /// Whether no cheaper card covers as much.
    pub proven: bool,
}

/// Least distances of a line from the middle of healthy units, in standard deviations; a nearer line raises more false
/// alarms, and so costs more.
const CLEAR: [f64; 4] = [4.0, 3.0, 2.5, 2.0];
/// Minutes that a false alarm costs: an afternoon's search for a fault that is not there (chosen, and so that a card of
/// thirty readings alarms at fewer than one healthy unit in fifty).
const FALSE_ALARM: f64 = 240.0;
/// Steps in which minutes are counted, so that sums are exact: a tenth.
const STEP: f64 = 0.1;

/// Chance that a normal deviate lies beyond so many standard deviations on one side.
fn beyond(deviations: f64) -> f64 {
    0.5 * libm::erfc(deviations * std::f64::consts::FRAC_1_SQRT_2)
}

/// What a line at least so clear costs, in minutes of search after false alarms.
fn alarm(clear: f64) -> f64 {
    FALSE_ALARM * beyond(clear)
}

fn steps(minutes: f64) -> u64 {
    (minutes / STEP).round().max(1.0) as u64
}

/// The sets among which the card is chosen, as (reading, hazards, price in steps): each reading at each clearness.
pub fn choices(readings: &[ColdReading]) -> Vec<(usize, Vec<usize>, u64)> {
    let mut found: Vec<(usize, Vec<usize>, u64)> = Vec::new();
    for (index, reading) in readings.iter().enumerate() {
        let mut before = 0;
        for clear in CLEAR {
            let mut hazards: Vec<usize> = reading
                .signs
                .iter()
                .filter(|s| s.clear >= clear - 1e-9)
                .map(|s| s.hazard)
                .collect();
            hazards.sort_unstable();
            hazards.dedup();
            // A nearer line that shows no more is never better.
            if hazards.len() > before {
                before = hazards.len();
                let price = steps(reading.minutes) + (alarm(clear) / STEP).round() as u64;
                found.push((index, hazards, price));
            }
        }
    }
    found
}

/// Chooses the cheapest readings that separate every one of `hazards` hazards that any of them separates.
///
/// When `stop` ends the search the best card met is given.
pub fn choose(hazards: usize, readings: &[ColdReading], stop: &dyn Fn() -> bool) -> Card {
    let choices = choices(readings);
    let mut seen = vec![false; hazards];
    choices
        .iter()
        .flat_map(|c| &c.1)
        .for_each(|h| seen[*h] = true);
    let items: Vec<usize> = (0..hazards).filter(|h| seen[*h]).collect();
    let mut number = vec![usize::MAX; hazards];
    for (at, hazard) in items.iter().enumerate() {
        number[*hazard] = at;
    }
    let sets: Vec<Vec<usize>> = choices
        .iter()
        .map(|c| c.1.iter().map(|h| number[*h]).collect())
        .collect();
    let costs: Vec<u64> = choices.iter().map(|c| c.2).collect();
    let cover = cheapest_cover(items.len(), &sets, &costs, stop)
        .expect("only what some reading separates is to be covered");
    let mut chosen: Vec<usize> = cover.chosen.iter().map(|c| choices[*c].0).collect();
    chosen.sort_unstable();
    chosen.dedup();
    Card {
        entries: entries(readings, &chosen, &items),
        uncovered: (0..hazards).filter(|h| !seen[*h]).collect(),
        minutes: cover.cost as f64 * STEP,
        proven: cover.proven,
    }
}

/// Draws the lines: each hazard counts at the reading that shows it most clearly, so that no line is nearer to healthy
/// units than it has to be.
fn entries(readings: &[ColdReading], chosen: &[usize], items: &[usize]) -> Vec<Entry> {
    let clearest = |hazard: usize| {
        let of = |r: &&usize| {
            let signs = readings[**r].signs.iter();
            let here = signs.filter(|s| s.hazard == hazard).map(|s| s.clear);
            here.fold(f64::NEG_INFINITY, f64::max)
        };
        // The first of equals, so that the choice does not depend on the order of comparison.
        let mut best: Option<(usize, f64)> = None;
        for r in chosen {
            let clear = of(&r);
            if clear > best.map_or(f64::NEG_INFINITY, |b| b.1) {
                best = Some((*r, clear));
            }
        }
        best.map(|b| b.0)
    };
    let home: Vec<(usize, Option<usize>)> = items.iter().map(|h| (*h, clearest(*h))).collect();
    chosen
        .iter()
        .map(|r| {
            let signs = &readings[*r].signs;
            let mine = |s: &&Sign| home.contains(&(s.hazard, Some(*r)));
            let low = signs.iter().filter(mine).filter_map(|s| match s.side {
                Side::Below(x) => Some(x),
                Side::Above(_) => None,
            });
            let high = signs.iter().filter(mine).filter_map(|s| match s.side {
                Side::Above(x) => Some(x),
                Side::Below(_) => None,
            });
            let low = low.fold(None, |m: Option<f64>, x| Some(m.map_or(x, |m| m.max(x))));
            let high = high.fold(None, |m: Option<f64>, x| Some(m.map_or(x, |m| m.min(x))));
            let shown = |s: &&Sign| match s.side {
                Side::Below(x) => low.is_some_and(|l| l >= x),
                Side::Above(x) => high.is_some_and(|h| h <= x),
            };
            let mut rules_out: Vec<usize> = signs.iter().filter(shown).map(|s| s.hazard).collect();
            rules_out.sort_unstable();
            rules_out.dedup();
            let nearest = |side: fn(&Side) -> bool| {
                let mine = signs.iter().filter(mine).filter(|s| side(&s.side));
                mine.map(|s| s.clear).fold(f64::INFINITY, f64::min)
            };
            Entry {
                reading: *r,
                low,
                high,
                rules_out,
                alarms: beyond(nearest(|s| matches!(s, Side::Below(_))))
                    + beyond(nearest(|s| matches!(s, Side::Above(_)))),
            }
        })
        .filter(|e| !e.rules_out.is_empty())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn below(hazard: usize, line: f64, clear: f64) -> Sign {
        Sign {
            hazard,
            side: Side::Below(line),
            clear,
        }
    }

    fn above(hazard: usize, line: f64, clear: f64) -> Sign {
        Sign {
            hazard,
            side: Side::Above(line),
            clear,
        }
    }

    #[test]
    fn one_reading_that_shows_both_sides_is_enough() {
        let both = ColdReading {
            minutes: 1.0,
            signs: vec![below(0, 800.0, 6.0), above(1, 1200.0, 6.0)],
        };
        let one = ColdReading {
            minutes: 0.9,
            signs: vec![below(0, 10.0, 9.0)],
        };
        let card = choose(3, &[one, both], &|| false);
        assert!(card.proven);
        assert_eq!(card.uncovered, [2]);
        let expected = Entry {
            reading: 1,
            low: Some(800.0),
            high: Some(1200.0),
            rules_out: vec![0, 1],
            // One in 1.01e9 on either side of six deviations (tables of the normal distribution).
            alarms: card.entries[0].alarms,
        };
        assert!((card.entries[0].alarms / (2.0 * 9.866e-10) - 1.0).abs() < 1e-3);
        assert_eq!(card.entries, [expected]);
        assert!((card.minutes - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_line_near_healthy_units_costs_its_false_alarms() {
        // Shown at two deviations one unit in 44 is searched for four hours: 5.5 minutes more than it takes to read.
        let near = ColdReading {
            minutes: 0.5,
            signs: vec![below(0, 900.0, 2.0)],
        };
        let clear = |minutes| ColdReading {
            minutes,
            signs: vec![below(0, 500.0, 5.0)],
        };
        let reading = |list: &[ColdReading]| choose(1, list, &|| false).entries[0].reading;
        assert_eq!(reading(&[near.clone(), clear(5.9)]), 1);
        assert_eq!(reading(&[near, clear(6.2)]), 0);
    }

    #[test]
    fn lines_are_drawn_for_hazards_that_no_other_reading_shows_more_clearly() {
        // The first reading shows hazard 0 dimly; the second, taken for hazard 1 anyhow, shows it clearly.
        let first = ColdReading {
            minutes: 0.5,
            signs: vec![below(0, 900.0, 2.0), below(2, 100.0, 9.0)],
        };
        let second = ColdReading {
            minutes: 0.5,
            signs: vec![below(0, 50.0, 8.0), below(1, 40.0, 8.0)],
        };
        let card = choose(3, &[first, second], &|| false);
        assert_eq!(card.entries[0].low, Some(100.0));
        assert_eq!(card.entries[0].rules_out, [2]);
        assert_eq!(
            (card.entries[1].low, &card.entries[1].rules_out[..]),
            (Some(50.0), &[0, 1][..])
        );
    }

    #[test]
    fn nothing_to_rule_out_is_an_empty_card() {
        let card = choose(0, &[], &|| false);
        assert_eq!(
            (card.entries.len(), card.proven, card.minutes),
            (0, true, 0.0)
        );
    }
}
