//! Adjustments: each trimmer's marks and turns, in set-up order, and what is still to be checked again.

use super::Work;
use super::refusal::{Refusal, refuse};
use super::rules::{reason, refers};
use crate::event::{Mark, Recheck, Site, Turn};
use crate::{Entry, Event};

/// One trimmer of a board.
#[derive(Clone, Debug, PartialEq)]
pub struct TrimmerState<'a> {
    /// Designator.
    pub trimmer: &'a str,
    /// Its place in the set-up order, counted from 1; none if it is not in it.
    pub place: Option<usize>,
    /// Marks, oldest first; the first is how it was found.
    pub marks: Vec<(&'a Entry, &'a Mark)>,
    /// Turns, oldest first.
    pub turns: Vec<(&'a Entry, &'a Turn)>,
    /// It was last turned before one that should have been set earlier.
    pub out_of_order: bool,
    /// What its turns made necessary and nobody has checked since: the turn, and what.
    pub owed: Vec<(&'a Entry, &'a str)>,
}

impl Work {
    /// The trimmers of a board, in set-up order, then the others as they were first met.
    pub fn trimmers(&self, unit: &str, board: &str) -> Vec<TrimmerState<'_>> {
        let mut order: &[String] = &[];
        let mut list: Vec<TrimmerState> = Vec::new();
        for (entry, event) in self.others() {
            match event {
                Event::Order(e) if at(&e.site, unit, board) => order = &e.trimmers,
                Event::Mark(e) if at(&e.site, unit, board) => {
                    of(&mut list, &e.trimmer).marks.push((entry, e));
                }
                Event::Turn(e) if at(&e.site, unit, board) => {
                    let state = of(&mut list, &e.trimmer);
                    state.turns.push((entry, e));
                    let owed = e.recheck.iter().map(|what| (entry, what.as_str()));
                    state.owed.extend(owed);
                }
                Event::Recheck(e) => {
                    for state in &mut list {
                        state
                            .owed
                            .retain(|(turn, what)| turn.id != e.turn || *what != e.what);
                    }
                }
                _ => {}
            }
        }
        for trimmer in order {
            of(&mut list, trimmer);
        }
        arrange(&mut list, order);
        list
    }
}

fn at(site: &Site, unit: &str, board: &str) -> bool {
    site.unit == unit && site.board.as_deref() == Some(board)
}

fn of<'l, 'a>(list: &'l mut Vec<TrimmerState<'a>>, trimmer: &'a str) -> &'l mut TrimmerState<'a> {
    let found = list.iter().position(|t| t.trimmer == trimmer);
    let index = found.unwrap_or_else(|| {
        list.push(TrimmerState {
            trimmer,
            place: None,
            marks: Vec::new(),
            turns: Vec::new(),
            out_of_order: false,
            owed: Vec::new(),
        });
        list.len() - 1
    });
    &mut list[index]
}

fn arrange(list: &mut [TrimmerState], order: &[String]) {
    for state in list.iter_mut() {
        let place = order.iter().position(|name| name == state.trimmer);
        state.place = place.map(|p| p + 1);
    }
    list.sort_by_key(|t| t.place.unwrap_or(usize::MAX));
    let last = |t: &TrimmerState| t.turns.last().map(|(entry, _)| entry.number);
    // One that was never turned stands as found, and hinders none behind it.
    let mut latest = 0;
    for state in list.iter_mut().filter(|t| t.place.is_some()) {
        if let Some(number) = last(state) {
            state.out_of_order = number < latest;
            latest = latest.max(number);
        }
    }
}

pub(super) fn mark(mark: &Mark) -> Result<(), Refusal> {
    if mark.position.trim().is_empty() || mark.measured.trim().is_empty() {
        return refuse(
            format!("{} is not marked and measured.", mark.trimmer),
            "Write where it stands, and what the thing that it sets reads now.",
        );
    }
    Ok(())
}

pub(super) fn turn(work: &Work, turn: &Turn) -> Result<(), Refusal> {
    reason(&turn.reason)?;
    let marked = work.others().any(|(_, event)| {
        matches!(event, Event::Mark(m) if m.site == turn.site && m.trimmer == turn.trimmer)
    });
    let admitted = turn
        .unmarked
        .as_deref()
        .is_some_and(|why| !why.trim().is_empty());
    if marked || admitted {
        return Ok(());
    }
    refuse(
        format!(
            "{} was not marked and measured before it is turned.",
            turn.trimmer
        ),
        "Mark it and write what it reads now; if it was turned already, say why it was not marked.",
    )
}

pub(super) fn recheck(work: &Work, recheck: &Recheck) -> Result<(), Refusal> {
    let (entry, event) = refers(work, &recheck.turn, "a turn", |e| {
        matches!(e, Event::Turn(_))
    })?;
    let owed = match event {
        Event::Turn(turn) => turn.recheck.contains(&recheck.what),
        _ => false,
    };
    if owed {
        return Ok(());
    }
    refuse(
        format!(
            "Entry {} does not ask for `{}`.",
            entry.number, recheck.what
        ),
        "Name what is to be checked as the turn has it.",
    )
}
