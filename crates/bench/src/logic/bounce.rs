//! Bounce of contacts from recordings, key by key and unit by unit.

use ::signal::bounce::{Bounce, bounces};
use serde::Serialize;

use crate::refused::Refused;
use crate::signal::{Asked, Recording, engineering, take};

/// Seconds without a change after which a contact is quiet, if nobody says otherwise: longer than contacts of keyboards bounce, shorter
/// than fingers are (common practice).
pub const QUIET: f64 = 0.02;
/// A contact is told as worse than the same in the other unit if it bounces so many times as long, and longer than good contacts do:
/// a few milliseconds (common practice).
const WORSE: f64 = 2.0;
const LONG: f64 = 3e-3;

/// What the contacts of one recording did.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BounceView {
    /// Seconds without a change after which a contact was taken to be quiet.
    pub quiet: f64,
    /// Contacts, in the order of the first recording's channels.
    pub contacts: Vec<ContactView>,
    /// Channels of which nothing can be said, and what the files do not say outright.
    pub notes: Vec<String>,
}

/// A contact, by the name of its channel.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ContactView {
    /// The channel: a key, or a line.
    pub name: String,
    /// One for each recording; none where it has no such channel.
    pub units: Vec<Option<ContactBounce>>,
    /// What the difference comes to, if there are two and they differ much.
    pub told: Option<String>,
}

/// What a contact did in one recording; times in seconds.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct ContactBounce {
    /// How often it went over.
    pub strokes: usize,
    /// Longest and median bounce.
    pub longest: f64,
    /// Median bounce.
    pub median: f64,
    /// Most changes in one stroke; 1 is no bounce.
    pub most_changes: usize,
    /// Shortest time between two changes.
    pub shortest: Option<f64>,
    /// How often it spoke and came back to where it was.
    pub spoke: usize,
}

impl ContactBounce {
    fn of(list: &[Bounce]) -> Self {
        let strokes: Vec<&Bounce> = list.iter().filter(|b| !b.is_back()).collect();
        let mut times: Vec<f64> = strokes.iter().map(|b| b.time).collect();
        times.sort_by(f64::total_cmp);
        let middle = times.len() / 2;
        Self {
            strokes: strokes.len(),
            longest: times.last().copied().unwrap_or_default(),
            median: match times.len() {
                0 => 0.0,
                n if n % 2 == 1 => times[middle],
                _ => (times[middle - 1] + times[middle]) / 2.0,
            },
            most_changes: strokes.iter().map(|b| b.changes).max().unwrap_or_default(),
            shortest: strokes.iter().filter_map(|b| b.shortest).reduce(f64::min),
            spoke: list.len() - strokes.len(),
        }
    }

    /// In a few words.
    pub fn words(&self) -> String {
        if self.strokes == 0 && self.spoke == 0 {
            return "never went over".to_owned();
        }
        let mut text = format!(
            "{} strokes, {} at most, {} in the middle, up to {} changes",
            self.strokes,
            engineering(self.longest, "s"),
            engineering(self.median, "s"),
            self.most_changes
        );
        if self.spoke > 0 {
            text += &format!("; spoke {} times and came back", self.spoke);
        }
        text
    }
}

/// Bounce of every contact in one recording, or in one of each unit.
///
/// # Errors
/// If a recording cannot be read, if `quiet` is no time, or if a channel that was asked for is in none of them.
pub fn bounce(
    recordings: Vec<Recording>,
    asked: &Asked,
    quiet: f64,
) -> Result<BounceView, Refused> {
    if !(quiet.is_finite() && quiet > 0.0) {
        return Err(Refused::input(
            "The time of quiet is not above zero.",
            "Write seconds, such as --quiet 20m.",
        ));
    }
    let count = recordings.len();
    let mut view = BounceView {
        quiet,
        contacts: Vec::new(),
        notes: Vec::new(),
    };
    for (at, recording) in recordings.into_iter().enumerate() {
        let file = recording.file.clone();
        let capture = take(recording, asked)?;
        view.notes
            .extend(capture.notes.iter().map(|n| format!("{file}: {n}")));
        for channel in &capture.channels {
            if asked.channel.as_ref().is_some_and(|c| *c != channel.name) {
                continue;
            }
            let Some(list) = bounces(&channel.trace, quiet) else {
                view.notes
                    .push(format!("{file}: channel {} holds no level.", channel.name));
                continue;
            };
            let known = view.contacts.iter().position(|c| c.name == channel.name);
            let place = known.unwrap_or_else(|| {
                view.contacts.push(ContactView {
                    name: channel.name.clone(),
                    units: vec![None; count],
                    told: None,
                });
                view.contacts.len() - 1
            });
            view.contacts[place].units[at] = Some(ContactBounce::of(&list));
        }
    }
    if view.contacts.is_empty() {
        let name = asked.channel.clone().unwrap_or_default();
        return Err(Refused::input(
            format!("There is no channel {name} with a level in it."),
            "Channels are named in the recording's first line; leave --channel out for all.",
        ));
    }
    for contact in &mut view.contacts {
        contact.told = told(&contact.units);
    }
    Ok(view)
}

/// What two units' contacts differ in.
fn told(units: &[Option<ContactBounce>]) -> Option<String> {
    let [Some(a), Some(b)] = units else {
        return None;
    };
    let worse = |x: &ContactBounce, y: &ContactBounce| {
        x.longest > WORSE * y.longest && x.longest > LONG || x.spoke > y.spoke
    };
    match (a.strokes, b.strokes) {
        (0, 1..) => return Some("it never goes over in the first".to_owned()),
        (1.., 0) => return Some("it never goes over in the second".to_owned()),
        _ => {}
    }
    match (worse(a, b), worse(b, a)) {
        (true, false) => Some("the first is worse".to_owned()),
        (false, true) => Some("the second is worse".to_owned()),
        (true, true) => Some("each is worse in its way".to_owned()),
        (false, false) => None,
    }
}

/// The answer for people.
pub fn bounce_text(view: &BounceView) -> String {
    let mut text = format!(
        "a contact is quiet after {} without a change\n",
        engineering(view.quiet, "s")
    );
    for note in &view.notes {
        text += &format!("note: {note}\n");
    }
    for contact in &view.contacts {
        let several = contact.units.len() > 1;
        for (at, unit) in contact.units.iter().enumerate() {
            let whose = if several {
                format!(" {}", ["first ", "second"][at.min(1)])
            } else {
                String::new()
            };
            let words = unit
                .as_ref()
                .map_or("not in this recording".to_owned(), ContactBounce::words);
            text += &format!("{:<10}{whose}  {words}\n", contact.name);
        }
        if let Some(told) = &contact.told {
            text += &format!("{:<10}         {told}\n", "");
        }
    }
    text
}
