//! How many readings a band holds, by kind, and what it would hold if it were narrower or wider.

use std::collections::BTreeMap;

/// Kinds of reading, judged apart because their distributions have nothing in common.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Ohms that do not depend on the test current.
    OhmsAway,
    /// Ohms that do.
    OhmsNearAKnee,
    /// Diode test.
    Diode,
    /// Volts.
    Volts,
}

/// Factors on the band's half-widths that are counted besides the band itself.
const NARROW: f64 = 0.85;
const WIDE: f64 = 1.2;

#[derive(Clone, Copy, Debug, Default)]
struct Count {
    readings: usize,
    inside: usize,
    inside_narrow: usize,
    inside_wide: usize,
    /// Readings of bands that end in over range, and how many they hold.
    open: usize,
    inside_open: usize,
}

/// The counts.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    kinds: BTreeMap<Kind, Count>,
    places: BTreeMap<(Kind, String), Count>,
    readings: usize,
    disagreements: usize,
}

type Band = (Option<f64>, Option<f64>);

fn holds(read: Option<f64>, (low, high): Band) -> bool {
    match read {
        None => high.is_none(),
        Some(x) => low.is_some_and(|l| x >= l) && high.is_none_or(|h| x <= h),
    }
}

fn scaled((low, high): Band, factor: f64) -> Band {
    match (low, high) {
        (Some(l), Some(h)) => {
            let (middle, half) = (0.5 * (l + h), 0.5 * factor * (h - l));
            (Some(middle - half), Some(middle + half))
        }
        open => open,
    }
}

impl Count {
    fn add(&mut self, read: Option<f64>, band: Band) {
        let inside = |factor| usize::from(holds(read, scaled(band, factor)));
        if band.1.is_none() {
            self.open += 1;
            self.inside_open += inside(1.0);
            return;
        }
        self.readings += 1;
        self.inside += inside(1.0);
        self.inside_narrow += inside(NARROW);
        self.inside_wide += inside(WIDE);
    }

    fn share(&self, inside: usize) -> f64 {
        100.0 * inside as f64 / self.readings.max(1) as f64
    }
}

impl Tally {
    /// Counts a reading of a place.
    pub fn add(&mut self, kind: Kind, place: &str, read: Option<f64>, band: Band, disagrees: bool) {
        self.kinds.entry(kind).or_default().add(read, band);
        let place = (kind, place.to_owned());
        self.places.entry(place).or_default().add(read, band);
        self.readings += 1;
        self.disagreements += usize::from(disagrees);
    }

    fn disagreements_of_200(&self) -> f64 {
        200.0 * self.disagreements as f64 / self.readings as f64
    }

    /// The figures for people, with the places furthest from 95.
    pub fn told(&self) -> String {
        let mut text = String::new();
        for (kind, count) in &self.kinds {
            let places = self.places.keys().filter(|p| p.0 == *kind).count();
            text += &format!(
                "{kind:?}: {:.2} % of {} readings of {places} places inside ({:.1} % if the bands were {NARROW} as wide, {:.1} % if {WIDE}); {} of {} inside bands that end in over range\n",
                count.share(count.inside),
                count.readings,
                count.share(count.inside_narrow),
                count.share(count.inside_wide),
                count.inside_open,
                count.open,
            );
        }
        let mut odd: Vec<_> = self.places.iter().filter(|p| p.1.readings > 0).collect();
        let off = |c: &Count| (c.share(c.inside) - 95.0).abs();
        odd.sort_by(|a, b| off(b.1).total_cmp(&off(a.1)));
        for ((_, place), count) in odd.iter().take(12) {
            text += &format!("  {place}: {:.1} %\n", count.share(count.inside));
        }
        text + &format!(
            "a healthy unit of 200 readings gets {:.3} disagreements\n",
            self.disagreements_of_200()
        )
    }

    /// Fails unless each of these kinds holds 95 +- 1.5 %, and would not if its bands were off by a sixth.
    pub fn must_hold(&self, kinds: &[Kind]) {
        for kind in kinds {
            let count = self.kinds.get(kind).copied().unwrap_or_default();
            assert!(
                count.readings >= 3_000,
                "{kind:?}: {count:?}\n{}",
                self.told()
            );
            let right = |inside| (count.share(inside) - 95.0).abs() <= 1.5;
            assert!(right(count.inside), "{kind:?}\n{}", self.told());
            assert!(
                !right(count.inside_narrow),
                "{kind:?} narrow\n{}",
                self.told()
            );
            assert!(!right(count.inside_wide), "{kind:?} wide\n{}", self.told());
        }
        // Of a band that ends in over range only the lower end can be missed: 97.5 %.
        let open: usize = self.kinds.values().map(|c| c.open).sum();
        let inside: usize = self.kinds.values().map(|c| c.inside_open).sum();
        let share = 100.0 * inside as f64 / open.max(1) as f64;
        assert!(
            open == 0 || (share - 97.5).abs() <= 1.5,
            "{share} %\n{}",
            self.told()
        );
        assert!(self.disagreements_of_200() < 0.5, "{}", self.told());
    }
}
