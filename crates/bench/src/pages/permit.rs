//! Leave to power a unit: which checks it wants and how they stand, and what the stages of its bring-up have read.

use record::event::{ColdCheck, PowerPermit, Stand, Test, Watch};
use record::work::{BringUp, Lapse};
use record::{Entry, Event, Id, Moment, ReadingKind, ReadingValue, Shown, Work};
use units::{is_over_range, read};

use super::power::{Row, View, held};
use crate::power::plan::{StageReading, StageView};
use crate::risk::CardView;

/// A check that is wanted before power.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// What is checked, with its lines.
    pub name: String,
    /// How it is made.
    pub what: What,
    /// How it stands.
    pub stand: Stand,
    /// What was read or seen; empty if nothing.
    pub value: String,
    /// Why something that is there does not count; empty if nothing is passed over.
    pub note: String,
}

/// How a check is made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum What {
    /// A reading of the card, by its index.
    Card(usize),
    /// By hand and eye: what to look at.
    Hand(Vec<String>),
    /// A limit was crossed, and what that was has to be found.
    Crossed(String),
}

/// A reading of a stage with what came.
#[derive(Clone, Debug, PartialEq)]
pub struct StageRow<'a> {
    /// Place and limits.
    pub reading: &'a StageReading,
    /// What was read last, and the entry of it.
    pub came: Option<(&'a Entry, &'a Watch)>,
}

/// Where a unit is with its power.
#[derive(Clone, Debug, PartialEq)]
pub struct State<'a> {
    /// The checks that a permit wants, in the order in which they are made.
    pub checks: Vec<Check>,
    /// The last permit, and what came of it.
    pub bring_up: Option<BringUp<'a>>,
}

impl<'a> State<'a> {
    /// The permit, while it is in force and rests on all that is wanted now.
    pub fn permit(&self) -> Option<&'a PowerPermit> {
        let bring_up = self.bring_up.as_ref()?;
        bring_up.permit().filter(|p| self.broken(p).is_none())
    }

    /// Why the last permit is no longer in force; none if it is, or if there is none.
    pub fn ended(&self) -> Option<String> {
        let bring_up = self.bring_up.as_ref()?;
        let lapse = bring_up.lapse.as_ref().map(Lapse::words);
        lapse.or_else(|| self.broken(bring_up.granted))
    }

    /// What a permit rests on and no longer holds, or what is wanted and it does not rest on.
    fn broken(&self, permit: &PowerPermit) -> Option<String> {
        self.checks.iter().find_map(|check| {
            let name = &check.name;
            let own = permit.checks().iter().find(|own| own.name == *name);
            match (own.map(|own| &own.stand), &check.stand) {
                (None, _) => Some(format!(
                    "Drawings or meter have changed since: it does not rest on `{name}`."
                )),
                (Some(Stand::Passed(_)), Stand::Failed(_)) => {
                    Some(format!("A check was made again since, and failed: {name}."))
                }
                (Some(Stand::Passed(_)), Stand::Owed) => {
                    Some(format!("A check no longer holds: {name}; {}", check.note))
                }
                _ => None,
            }
        })
    }

    /// The first check that is still to be made.
    pub fn next(&self) -> Option<usize> {
        self.checks.iter().position(|c| c.stand == Stand::Owed)
    }

    /// The checks as a permit takes them.
    pub fn cold_checks(&self) -> Vec<ColdCheck> {
        let one = |c: &Check| ColdCheck {
            name: c.name.clone(),
            stand: c.stand.clone(),
        };
        self.checks.iter().map(one).collect()
    }
}

/// Where a unit is: `rows` are the card's, `index` the unit's place among their cells.
pub fn state<'a>(
    view: &View,
    rows: &[Row],
    unit: (&str, usize),
    work: &'a Work,
    now: Moment,
) -> State<'a> {
    let (name, index) = unit;
    let bring_up = work.bring_up(name, now);
    let mut checks = by_hand(view, name, work, now);
    for (k, row) in rows.iter().enumerate() {
        checks.push(of_card(k, row, (name, index), work, now));
    }
    if let Some(BringUp {
        lapse: Some(Lapse::Crossed(entry)),
        ..
    }) = &bring_up
    {
        checks.push(after_crossing(entry, name, work, now));
    }
    State { checks, bring_up }
}

/// The checks of hands and eyes; boards in each other's slots are one check.
fn by_hand(view: &View, unit: &str, work: &Work, now: Moment) -> Vec<Check> {
    const SLOTS: &str = "Boards stand in their slots";
    let wanted = view.card.wiring.iter().filter(|w| w.before_power);
    let mut list: Vec<(String, Vec<String>)> = Vec::new();
    for w in wanted {
        let name = if w.kind == "slot swap" {
            SLOTS
        } else {
            &w.name
        };
        match list.iter_mut().find(|(own, _)| own == name) {
            Some((_, says)) => says.push(w.says.clone()),
            None => list.push((name.to_owned(), vec![w.says.clone()])),
        }
    }
    let made =
        |(name, says): (String, Vec<String>)| tested(name, What::Hand(says), unit, work, now);
    list.into_iter().map(made).collect()
}

/// A reading of the card: from the ledger where both leads are on one board, else from a test of its name.
fn of_card(k: usize, row: &Row, unit: (&str, usize), work: &Work, now: Moment) -> Check {
    if row.place.is_none() {
        return tested(row.name.clone(), What::Card(k), unit.0, work, now);
    }
    let mut check = Check {
        name: row.name.clone(),
        what: What::Card(k),
        stand: Stand::Owed,
        value: String::new(),
        note: String::new(),
    };
    let Some(cell) = row.cells.get(unit.1) else {
        return check;
    };
    check.value.clone_from(&cell.value);
    check.note.clone_from(&cell.note);
    if cell.value.is_empty() {
        return check;
    }
    let Some(id) = cell.entry.as_deref().and_then(Id::new) else {
        check.note = "it stands in a file, without the time at which it was taken".to_owned();
        return check;
    };
    match work.check_lapse(&id, now) {
        Some(lapse) => check.note = format!("taken before. {}", lapse.words()),
        None if cell.held.is_beyond() => check.stand = Stand::Failed(id),
        None => check.stand = Stand::Passed(id),
    }
    check
}

fn after_crossing(entry: &Entry, unit: &str, work: &Work, now: Moment) -> Check {
    let name = format!(
        "Found and mended: the limit crossed in entry {}",
        entry.number
    );
    let what = What::Crossed(entry.event.words());
    tested(name, what, unit, work, now)
}

/// A check that a test of its name shows.
fn tested(name: String, what: What, unit: &str, work: &Work, now: Moment) -> Check {
    let is_own = |test: &Test| test.site.unit == unit && test.name == name;
    let last = work.others().rev().find_map(|(entry, event)| match event {
        Event::Test(test) if is_own(test) => Some((entry, test)),
        _ => None,
    });
    let (mut stand, mut value, mut note) = (Stand::Owed, String::new(), String::new());
    if let Some((entry, test)) = last {
        value.clone_from(&test.text);
        match work.check_lapse(&entry.id, now) {
            Some(lapse) => note = format!("made before. {}", lapse.words()),
            None if test.passed => stand = Stand::Passed(entry.id.clone()),
            None => stand = Stand::Failed(entry.id.clone()),
        }
    }
    Check {
        name,
        what,
        stand,
        value,
        note,
    }
}

/// Whether a value that was typed lies on the good side of a card's lines; none if it cannot be read.
pub fn is_within(card: &CardView, value: &str) -> Option<bool> {
    let unit = ReadingKind::ALL
        .into_iter()
        .find(|k| k.word() == card.kind)?
        .unit();
    let one = |text: &str| match is_over_range(text) {
        true => Some(Shown::OverRange),
        false => read(text, unit).ok().map(|v| Shown::Number(v.number)),
    };
    let value = match value.split_once("..") {
        None => ReadingValue::Steady(one(value)?),
        Some((from, to)) => ReadingValue::Intermittent(one(from)?, one(to)?),
    };
    Some(!held(&value, card).is_beyond())
}

/// The readings of a stage, from 1, with what came under the permit.
pub fn stage_rows<'a>(
    stage: &'a StageView,
    number: u32,
    bring_up: Option<&BringUp<'a>>,
) -> Vec<StageRow<'a>> {
    let last = bring_up.map(|b| b.readings(number)).unwrap_or_default();
    let of = |reading: &'a StageReading| StageRow {
        came: last.iter().copied().find(|(_, w)| {
            (w.kind.word(), w.red.as_str(), w.black.as_deref())
                == (reading.kind, reading.at.as_str(), reading.black.as_deref())
        }),
        reading,
    };
    stage.readings.iter().map(of).collect()
}
